//! What the next tool reads, written below an output folder: XMP sidecars, timelines, edit
//! lists, a table, copies with timecode and previews. Formats are made elsewhere
//! ([`crate::sidecar`], [`crate::media`], [`crate::preview`]); here they get their names and
//! come to disk. `withdrawn`: what earlier runs handed over and no longer holds.

mod withdrawn;

pub use withdrawn::Withdrawn;

use crate::clip_base;
use crate::digest;
use crate::error::{Error, ErrorKind, Result};
use crate::fault;
use crate::media::{self, CopyTimecode};
use crate::note::Note;
use crate::outcome::{CardOutcome, ClipOutcome};
use crate::path_text::{folded, text_of, with_suffix};
use crate::preview;
use crate::progress::{Event, Wish};
use crate::save::{FileStamp, Ledger, Told};
use crate::sidecar::{self, Admit, csv, edl, json, otio, xmp};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use withdrawn::{told_of, told_of_all};

/// One kind of file that can be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Product {
    /// `NAME.xmp` beside each clip's sidecar.
    Xmp,
    /// `timeline.otio`
    Otio,
    /// `timeline.edl`, and more for further frame rates.
    Edl,
    /// `clips.csv`
    Csv,
    /// A copy of each clip with a timecode track, under the clip's own name or, in another
    /// container, with that one's ending behind it.
    Copy,
    /// A short movie of each slate with our label beside the filmed digits.
    Preview,
}

impl Product {
    pub const ALL: [Self; 6] = [
        Self::Xmp,
        Self::Otio,
        Self::Edl,
        Self::Csv,
        Self::Copy,
        Self::Preview,
    ];

    /// What the names of such files end with; `None` of a copy, which is named as its clip is.
    const fn ending(self) -> Option<&'static str> {
        match self {
            Self::Xmp => Some(xmp::SUFFIX),
            Self::Otio => Some(".otio"),
            Self::Edl => Some(".edl"),
            Self::Csv => Some(".csv"),
            Self::Copy => None,
            Self::Preview => Some(preview::SUFFIX),
        }
    }

    /// The kind of a file that was handed over, by its name.
    fn of(file: &Path) -> Self {
        let name = file.to_string_lossy();
        let is_of = |one: &Self| one.ending().is_some_and(|ending| name.ends_with(ending));
        Self::ALL.into_iter().find(is_of).unwrap_or(Self::Copy)
    }

    /// As it is asked for on the command line.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Xmp => "xmp",
            Self::Otio => "otio",
            Self::Edl => "edl",
            Self::Csv => "csv",
            Self::Copy => "copy",
            Self::Preview => "preview",
        }
    }
}

/// What is to be written, of what, and where.
pub struct Delivery<'a> {
    pub card: &'a CardOutcome,
    /// Where each clip lies.
    pub sources: &'a [PathBuf],
    /// Folder and file name that the files of each clip keep below the output folder.
    pub below_out: &'a [PathBuf],
    pub out: &'a Path,
    pub products: &'a BTreeSet<Product>,
    pub admit: Admit,
}

/// What came of it.
#[derive(Debug, Default)]
pub struct Delivered {
    /// Files that are there now, below the output folder.
    pub files: Vec<PathBuf>,
    /// What could not be written; it stopped nothing else.
    pub faults: Vec<Error>,
    /// Clips of which there can be no copy, and why: cut off, or of a kind that holds no
    /// timecode; and those that a timeline or a list has no place for.
    pub refusals: Vec<Error>,
    /// Remarks about single clips, by index.
    pub notes: Vec<(usize, Note)>,
    /// Lists of other clips or starts, of an earlier run that read clips one by one, which those of
    /// this run took the place of.
    pub replaced: Vec<PathBuf>,
    /// True if it was stopped before all copies and previews were made.
    pub is_stopped: bool,
}

impl Delivery<'_> {
    /// Writes everything, the quick files first. `listener` hears which clip is worked on and
    /// how far it is; when it wants to stop, what is finished stays.
    pub fn write(
        &self,
        ledger: &mut Ledger,
        listener: &mut dyn FnMut(usize, Event) -> Wish,
    ) -> Delivered {
        let mut done = Delivered {
            refusals: self.without_a_label(),
            ..Delivered::default()
        };
        if self.products.contains(&Product::Xmp) {
            let clips = self.card.clips.iter().zip(self.sources);
            for ((clip, source), name) in clips.zip(self.xmp_names()) {
                let bytes = xmp::to_bytes(&clip.outcome, self.admit);
                if let (Some(bytes), Some(told)) = (bytes, told_of(clip)) {
                    let written = put_of_one(ledger, &name, &bytes, &told, source);
                    done.take(written, name);
                }
            }
        }
        let copies = self.copies(ledger, listener, &mut done);
        if self.products.contains(&Product::Preview) {
            self.previews(ledger, listener, &mut done);
        }
        let told = told_of_all(self.card);
        done.refusals.extend(self.unlisted());
        if self.products.contains(&Product::Otio) {
            let media = |index: usize| match copies.get(&index) {
                Some(copy) => text_of(copy),
                None => {
                    let whole = fs::canonicalize(&self.sources[index]);
                    let whole = whole.unwrap_or_else(|_| self.sources[index].clone());
                    format!("/{}", text_of(&whole))
                }
            };
            let names: BTreeMap<&str, usize> = (0..)
                .zip(&self.card.clips)
                .map(|(index, clip)| (&*clip.name, index))
                .collect();
            let options = otio::Options {
                admit: self.admit,
                media: &|clip| names.get(&*clip.name).map_or(String::new(), |&i| media(i)),
            };
            let name = PathBuf::from("timeline.otio");
            let bytes = otio::to_bytes(self.card, &options);
            self.put_list(ledger, name, &bytes, &told, &mut done);
        }
        if self.products.contains(&Product::Edl) {
            for (name, bytes) in edl::to_files(self.card, self.admit) {
                self.put_list(ledger, PathBuf::from(name), &bytes, &told, &mut done);
            }
        }
        if self.products.contains(&Product::Csv) {
            let name = PathBuf::from("clips.csv");
            let bytes = csv::to_bytes(self.card);
            self.put_list(ledger, name, &bytes, &told, &mut done);
        }
        done
    }

    /// Clips that are let in and have no label in a base of their own, each with all that it does
    /// not get for it.
    fn without_a_label(&self) -> Vec<Error> {
        let clips = self.card.clips.iter().zip(self.sources);
        let told = clips.filter_map(|(clip, source)| {
            let outcome = &clip.outcome;
            let why = clip_base::why_no_label(outcome).filter(|_| self.admit.lets_in(outcome))?;
            let has = |product| self.products.contains(&product);
            let in_lists = (has(Product::Otio) || has(Product::Edl))
                && clip_base::why_no_place(outcome).is_some();
            let lacks: Vec<&str> = [
                (has(Product::Xmp), "XMP sidecar"),
                (has(Product::Copy), "copy"),
                (in_lists, "place in a timeline"),
            ]
            .into_iter()
            .filter_map(|(is_wanted, what)| is_wanted.then_some(what))
            .collect();
            let what = format!("has no {}: {why}", lacks.join(", no "));
            let error = Error::new(ErrorKind::BadRequest, what).in_file(source);
            (!lacks.is_empty()).then_some(error)
        });
        told.collect()
    }

    /// Other clips that timelines or lists would be thought to hold, and do not.
    fn unlisted(&self) -> Vec<Error> {
        let has = |product| self.products.contains(&product);
        let mut unlisted = Vec::new();
        if has(Product::Otio) || has(Product::Edl) {
            let clips = sidecar::without_a_place(self.card, self.admit);
            unlisted.extend(clips.into_iter().map(|clip| ("timeline", clip)));
        }
        if has(Product::Edl) {
            let clips = edl::without_a_label(self.card, self.admit);
            unlisted.extend(clips.into_iter().map(|clip| ("edit list", clip)));
        }
        let place = |name: &str| self.card.clips.iter().position(|clip| clip.name == name);
        unlisted
            .into_iter()
            .filter_map(|(list, (name, why))| {
                let at = place(name)?;
                let is_told = clip_base::why_no_place(&self.card.clips[at].outcome).is_some();
                let what = format!("stands in no {list}: {why}");
                let error = Error::new(ErrorKind::BadRequest, what);
                (!is_told).then(|| error.in_file(&self.sources[at]))
            })
            .collect()
    }

    /// Writes a file that speaks of all clips. A card is read again as a whole; of clips that are named
    /// one by one, those of an earlier run are not in it any more, and nobody would know.
    fn put_list(
        &self,
        ledger: &mut Ledger,
        name: PathBuf,
        bytes: &[u8],
        told: &Told,
        done: &mut Delivered,
    ) {
        let is_there = self.out.join(&name).is_file();
        let before = ledger.told(&name).filter(|_| is_there);
        let is_other = self.card.folders.is_empty() && before.is_some_and(|before| before != told);
        let written = put(ledger, &name, bytes, told);
        if is_other && written.is_ok() {
            done.replaced.push(name.clone());
        }
        done.take(written, name);
    }

    /// What the XMP sidecar of each clip is called: as the clip without its
    /// ending, as readers look for it (XMP specification, part 3); the whole name where two
    /// clips differ in nothing else.
    fn xmp_names(&self) -> Vec<PathBuf> {
        let short = |path: &Path| with_suffix(&path.with_extension(""), xmp::SUFFIX);
        let mut users: BTreeMap<String, usize> = BTreeMap::new();
        for path in self.below_out {
            *users.entry(folded(short(path))).or_default() += 1;
        }
        let paths = self.below_out.iter();
        paths
            .map(|path| {
                let short = short(path);
                match users[&folded(&short)] {
                    1 => short,
                    _ => with_suffix(path, xmp::SUFFIX),
                }
            })
            .collect()
    }

    /// Makes the copies; where each lies, below the output folder.
    fn copies(
        &self,
        ledger: &mut Ledger,
        listener: &mut dyn FnMut(usize, Event) -> Wish,
        done: &mut Delivered,
    ) -> BTreeMap<usize, PathBuf> {
        let mut copies = BTreeMap::new();
        if !self.products.contains(&Product::Copy) {
            return copies;
        }
        for (index, clip) in self.card.clips.iter().enumerate() {
            let told = told_of(clip).filter(|_| self.admit.lets_in(&clip.outcome));
            let (Some(told), None) = (told, clip_base::why_no_label(&clip.outcome)) else {
                continue;
            };
            let made = caught(&self.sources[index], "copy", || {
                self.copy(index, ledger, listener)
            });
            let noted = made.and_then(|made| {
                if let Some((name, _)) = &made {
                    ledger.note_told(name, &told)?;
                }
                Ok(made)
            });
            match noted {
                Ok(Some((name, notes))) => {
                    done.files.push(name.clone());
                    done.notes
                        .extend(notes.into_iter().map(|note| (index, note)));
                    copies.insert(index, name);
                }
                Ok(None) => {
                    done.is_stopped = true;
                    break;
                }
                Err(error) => match error.kind() {
                    ErrorKind::BadRequest | ErrorKind::Undecodable => done.refusals.push(error),
                    _ => done.faults.push(error),
                },
            }
        }
        copies
    }

    /// Where a clip's copy goes. A name that is not the clip's own may be another clip's after
    /// all, where somebody called it `A001.mkv.mov`, in this run or in an earlier one: then its
    /// ending follows once more.
    fn copy_name(&self, index: usize, ledger: &Ledger) -> Result<PathBuf> {
        let own = &self.below_out[index];
        let copied = media::copied_name(&self.sources[index])?;
        let mut name = own.with_file_name(&copied);
        let Some(ending) = copied.extension().filter(|_| name != *own) else {
            return Ok(name);
        };
        let ending = format!(".{}", ending.to_string_lossy());
        // Cut where the two together are too long.
        name = with_suffix(own, &ending);
        while self.is_of_another(&name, index, ledger) {
            name = with_suffix(&name, &ending);
        }
        Ok(name)
    }

    /// True if the name below the output folder is that of another clip than this one.
    fn is_of_another(&self, name: &Path, index: usize, ledger: &Ledger) -> bool {
        let its = folded(name);
        let clip = &self.card.clips[index].name;
        let is_ours = || {
            ledger
                .told(name)
                .is_some_and(|told| told.clip.as_ref() == Some(clip))
        };
        let has_sidecar = || self.out.join(with_suffix(name, json::SUFFIX)).exists();
        self.below_out.iter().any(|other| folded(other) == its) || has_sidecar() && !is_ours()
    }

    /// `None` if the listener wanted to stop.
    fn copy(
        &self,
        index: usize,
        ledger: &mut Ledger,
        listener: &mut dyn FnMut(usize, Event) -> Wish,
    ) -> Result<Option<(PathBuf, Vec<Note>)>> {
        let source = &self.sources[index];
        let start = copy_timecode(&self.card.clips[index].outcome)
            .map_err(|error| error.in_file(source))?;
        let name = self.copy_name(index, ledger)?;
        let rate = start.form().rate();
        let made_from = made_from(source, &format!("{} {rate}", start.label()))?;
        if let Some(notes) = ledger.made(&name, &made_from) {
            return Ok(Some((name, notes.to_vec())));
        }
        ledger.must_not_be_anothers(&name, source)?;
        let target = self.out.join(&name);
        let report = media::copy_with_timecode(source, &target, &start, &mut |event| {
            listener(index, event)
        })?;
        let Some(report) = report else {
            return Ok(None);
        };
        let lost = report.not_carried.join(", ");
        let mut notes = report.notes;
        if !lost.is_empty() {
            notes.push(Note::new(
                "not_carried",
                format!("the copy has no room for: {lost}"),
            ));
        }
        ledger.note_made(&name, &made_from, &notes)?;
        ledger.note_source(&name, source)?;
        Ok(Some((name, notes)))
    }

    fn previews(
        &self,
        ledger: &mut Ledger,
        listener: &mut dyn FnMut(usize, Event) -> Wish,
        done: &mut Delivered,
    ) {
        for (index, clip) in self.card.clips.iter().enumerate() {
            let outcome = &clip.outcome;
            let told = told_of(clip).filter(|_| Self::has_preview(outcome));
            let Some(told) = told else { continue };
            let name = with_suffix(&self.below_out[index], preview::SUFFIX);
            let source = &self.sources[index];
            let made = made_from(source, &preview_of(outcome)).and_then(|from| {
                if ledger.made(&name, &from).is_some() {
                    return Ok(Some(()));
                }
                ledger.must_not_be_anothers(&name, source)?;
                caught(source, "preview", || {
                    ledger.make(&name, &from, |file| {
                        preview::write(source, outcome, file, &mut |event| listener(index, event))
                    })
                })
            });
            match made {
                Ok(Some(())) => {
                    let noted = ledger.note_told(&name, &told);
                    done.take(noted.and_then(|()| ledger.note_source(&name, source)), name);
                }
                Ok(None) => {
                    done.is_stopped = true;
                    break;
                }
                Err(error) => done.faults.push(error),
            }
        }
    }

    fn has_preview(outcome: &ClipOutcome) -> bool {
        outcome.start.is_some() && !outcome.windows.is_empty()
    }
}

/// Writes a file and notes what it hands on, in this order: of a run that is killed between
/// the two, the next one finds a file that says something else than is noted, and looks.
fn put(ledger: &mut Ledger, name: &Path, bytes: &[u8], told: &Told) -> Result<()> {
    ledger.write(name, bytes)?;
    ledger.note_told(name, told)
}

/// As [`put`], of a file that speaks of one clip: that of another clip is kept.
fn put_of_one(
    ledger: &mut Ledger,
    name: &Path,
    bytes: &[u8],
    told: &Told,
    source: &Path,
) -> Result<()> {
    ledger.must_not_be_anothers(name, source)?;
    put(ledger, name, bytes, told)?;
    ledger.note_source(name, source)
}

impl Delivered {
    fn take(&mut self, written: Result<()>, name: PathBuf) {
        match written {
            Ok(()) => self.files.push(name),
            Err(error) => self.faults.push(error),
        }
    }
}

/// What `job` gives; a fault of this program in the middle of it is that clip's alone.
fn caught<T>(source: &Path, product: &str, job: impl FnOnce() -> Result<T>) -> Result<T> {
    fault::catch(job).unwrap_or_else(|said| {
        Err(Error::new(
            ErrorKind::CannotWrite,
            format!("making its {product} hit a fault of this program ({said})"),
        )
        .in_file(source)
        .next("report it with the clip"))
    })
}

/// The start that a copy carries.
fn copy_timecode(outcome: &ClipOutcome) -> Result<CopyTimecode> {
    let base = outcome.start.as_ref().and_then(|s| s.in_clip_base.as_ref());
    let rate = base.and_then(|base| clip_base::exact_rate(&base.rate));
    let (Some(base), Some(rate)) = (base, rate) else {
        return Err(Error::new(
            ErrorKind::BadRequest,
            "has no start in its own rate, and so no copy",
        ));
    };
    CopyTimecode::new(rate, base.drop_frame, base.count)
}

/// Of all that a preview shows.
fn preview_of(outcome: &ClipOutcome) -> String {
    let shown = (&outcome.start, &outcome.clock, outcome.clip.speed);
    let shown = serde_json::to_vec(&(shown, &outcome.windows)).expect("an outcome serialises");
    digest::sha256(&shown)
}

/// What a long file was made from: another text, another file.
fn made_from(source: &Path, told: &str) -> Result<String> {
    let facts = fs::metadata(source).map_err(|e| {
        Error::new(ErrorKind::CannotOpen, "cannot read this file")
            .in_file(source)
            .next("connect the card again and run the same command")
            .because(e)
    })?;
    let FileStamp {
        size_byte,
        changed_ns,
    } = FileStamp::of(&facts);
    Ok(format!(
        "{} {size_byte} {changed_ns} {told} {}",
        text_of(source),
        env!("CARGO_PKG_VERSION")
    ))
}
