//! A whole card, or several, unattended: [`run`].
//!
//! ```text
//! scan: files -> probe -> sift: clips, skipped -> batch: one outcome per clip, on disk at once
//!      -> corrections by hand -> agree: what the clips say about each other -> sidecars, card.json
//! ```
//!
//! - `names`: paths as text, natural order, where sidecars lie
//! - `scan`: what lies in the folders; `sift`: which of it are clips
//! - `records`: what a run leaves for the next one; `gone`: clips that it does not meet again
//! - `batch`: jobs on several threads; `stop`: the way to end them early
//! - `agree`: from measured outcomes to final ones, pure; of it `chapters` (recordings in
//!   numbered files), `gaps` and `joints` (what lies between chapters, and starts carried over
//!   it), `settle` (drop-frame, carried over), `cameras` (who shot what), `own_clock` (the
//!   camera's clock against the filmed one), `moment` (its times), `words` (them for people),
//!   `given` (a rate that clips contradict), `stamps` (a camera's own clock in its pictures)
//!
//! - `single`: clips that were read one by one, in the shape of a card
//!
//! Reading a clip is an argument, [`Work`]: nothing here knows of video.

mod agree;
mod batch;
mod cameras;
mod chapters;
mod gaps;
mod given;
mod gone;
mod joints;
mod moment;
mod names;
mod own_clock;
mod records;
mod scan;
mod settle;
mod sift;
mod single;
mod stamps;
mod stop;
#[cfg(test)]
mod tests;
mod words;

pub use batch::{Ended, GAVE_UP};
pub use scan::{CARD_FILE, REPORT_FILE, STATE_FOLDER};
pub use single::{SingleClip, of_single_clips};
pub use stop::Stop;

use self::agree::Member;
use self::batch::Job;
use self::joints::CHAPTER_MISSING;
use self::records::Records;
use self::scan::Found;
use self::sift::Fate;
use crate::error::{Error, ErrorKind, Result, in_words};
use crate::facts::HeaderFacts;
use crate::note::Note;
use crate::outcome::{
    CARD_FORMAT_VERSION, CardClip, CardOutcome, ClipOutcome, Evidence, Skipped, Tool,
};
use crate::path_text::text_of;
use crate::progress::{Event, Listener};
use crate::save::{self, Ledger};
use std::collections::BTreeSet;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

/// The job that is done for each clip.
pub trait Work: Sync {
    /// What the container claims; quick, since every file on the card is probed.
    ///
    /// # Errors
    /// Why it is no clip, or why it cannot be opened.
    fn probe(&self, path: &Path) -> Result<HeaderFacts>;

    /// True if a picture of the clip can be decoded. Asked of clips of which a smaller copy would
    /// be passed over: what the container claims does not tell.
    fn shows_a_picture(&self, path: &Path) -> bool;

    /// Reads the clip. Ends soon, with any outcome, when the listener wants it to stop.
    fn read(&self, path: &Path, listener: &mut dyn Listener) -> (ClipOutcome, Evidence);
}

/// What a run needs to know.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The cards.
    pub folders: Vec<PathBuf>,
    /// Where results go; made if missing.
    pub out: PathBuf,
    /// Clips read at once.
    pub workers: NonZeroUsize,
    /// All options that change what is read of a clip, as text: clips are read again
    /// when it differs from that of the last run.
    pub reading: String,
    /// This tool and its model; clips are read again when it differs.
    pub tool: Tool,
}

/// A clip that will be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    /// [`CardClip::name`].
    pub name: String,
    /// Clip seconds, if the container tells.
    pub duration_s: Option<f64>,
}

/// What happens during a run; clips by their index in [`CardOutcome::clips`].
#[derive(Clone, Debug, PartialEq)]
pub enum CardEvent<'a> {
    /// The folders were listed.
    Scanned { files: usize },
    /// One more file was probed.
    Probed { done: usize, of: usize },
    /// It is known what to read.
    Planned { clips: &'a [Planned] },
    /// The reading of a clip begins.
    Began { clip: usize },
    /// Something happened in a clip that is being read.
    Clip { clip: usize, event: Event },
    /// The outcome of a clip is there, measured, and on disk if that could be done.
    Finished {
        clip: usize,
        outcome: &'a ClipOutcome,
        /// From an earlier run: no [`CardEvent::Began`] came before.
        is_from_record: bool,
    },
}

/// Receives events, from several threads. Implemented for closures.
pub trait CardListener: Sync {
    fn hear(&self, event: CardEvent<'_>);
}

impl<F: Fn(CardEvent<'_>) + Sync> CardListener for F {
    fn hear(&self, event: CardEvent<'_>) {
        self(event);
    }
}

/// What a person said about clips: from a clip's name and its measured outcome to its
/// outcome as corrected.
pub type ByHandHook<'a> = &'a (dyn Fn(&str, ClipOutcome) -> ClipOutcome + Sync);

/// What came of a run.
pub struct CardRun {
    pub outcome: CardOutcome,
    pub ended: Ended,
    /// What could not be written. All else is on disk.
    pub faults: Vec<Error>,
    /// Clips whose outcome came from the records of an earlier run.
    pub resumed: usize,
    /// The clips' paths: as the folders were named, links resolved, and below the output folder.
    sources: Vec<PathBuf>,
    whole: Vec<PathBuf>,
    below_out: Vec<PathBuf>,
    /// Keeps other runs away until the report is written, too.
    records: Records,
}

impl CardRun {
    /// What was kept to check a clip by eye; from disk, so that a large card does not fill
    /// the memory. Empty if nothing was kept.
    ///
    /// # Panics
    /// If there is no such clip.
    pub fn evidence(&self, clip: usize) -> Evidence {
        self.records.evidence(&self.whole[clip])
    }

    /// Adds remarks on the card as a whole, which its object in the folder `out` tells, too.
    ///
    /// # Errors
    /// Those of [`save::card`].
    pub fn add_notes(&mut self, notes: Vec<Note>, out: &Path) -> Result<()> {
        self.outcome.notes.extend(notes);
        save::card(&self.outcome, &out.join(CARD_FILE))
    }

    /// Where each clip lies.
    pub fn sources(&self) -> &[PathBuf] {
        &self.sources
    }

    /// Folder and file name that the files of each clip keep below the output folder.
    pub fn below_out(&self) -> &[PathBuf] {
        &self.below_out
    }
}

/// Reads all clips in the folders and writes the results below [`Settings::out`]: the
/// sidecars and [`CARD_FILE`]. A clip that was read before and has not changed is not read
/// again.
///
/// # Errors
/// Only what keeps the run from beginning: a folder that is missing, an output folder that
/// takes no files or that another run works in. What happens to single clips, or once
/// results exist, is in [`CardRun`].
pub fn run(
    settings: &Settings,
    work: &dyn Work,
    by_hand: ByHandHook<'_>,
    listener: &dyn CardListener,
    stop: &Stop,
) -> Result<CardRun> {
    if settings.folders.is_empty() {
        return Err(Error::new(ErrorKind::BadRequest, "no folder was named")
            .next("name the folder that holds the clips"));
    }
    // A slip in a folder's name leaves no output folder behind.
    scan::roots(&settings.folders)?;
    let records = Records::open(&settings.out, &settings.reading, &settings.tool)?;
    let listed_before = gone::listed_before(&settings.out);
    let mut made = Ledger::open(&settings.out, STATE_FOLDER)?;
    let plan = plan(settings, &records, &made, work, listener, stop)?;
    clear(&records, &plan);
    let batch = batch::read(
        settings,
        &plan.jobs,
        &plan.roots,
        &records,
        work,
        by_hand,
        listener,
        stop,
    );
    // Moved, not copied: on a large card these are most of what is in memory.
    let (measured, earlier_paths): (Vec<_>, Vec<_>) = batch
        .done
        .into_iter()
        .map(|done| match done {
            Some(done) => (Some(done.outcome), done.earlier_path),
            None => (None, None),
        })
        .unzip();
    let said = |job: &Job, measured| match measured {
        Some(outcome) => by_hand(&job.name, outcome),
        None => batch::not_read(&job.file.path, batch.ended, settings.tool.clone()),
    };
    let mut outcome = agreed(settings, &plan, measured, &said);
    outcome.gone = gone::gone(listed_before, &plan.sidecars, &settings.out);
    let mut faults = batch.faults;
    faults.extend(save_sidecars(
        &outcome,
        &plan.jobs,
        &plan.sidecars,
        &earlier_paths,
        &mut made,
        &faults,
    ));
    remark(&mut outcome, batch.ended, &faults, &settings.out);
    if let Err(error) = save::card(&outcome, &settings.out.join(CARD_FILE)) {
        faults.push(error);
    }
    Ok(CardRun {
        outcome,
        ended: batch.ended,
        faults,
        resumed: batch.resumed,
        sources: plan.jobs.iter().map(|job| job.file.path.clone()).collect(),
        whole: plan.jobs.into_iter().map(|job| job.whole).collect(),
        below_out: plan.below_out,
        records,
    })
}

/// What is to be done.
struct Plan {
    /// The folders, links resolved.
    roots: Vec<PathBuf>,
    /// One for each clip.
    jobs: Vec<Job>,
    /// Folder and file name below the output folder that the files of each clip keep, and where its
    /// sidecar lies.
    below_out: Vec<PathBuf>,
    sidecars: Vec<PathBuf>,
    skipped: Vec<Skipped>,
}

/// Lists the files, probes them, and tells the clips from the rest.
fn plan(
    settings: &Settings,
    records: &Records,
    made: &Ledger,
    work: &dyn Work,
    listener: &dyn CardListener,
    stop: &Stop,
) -> Result<Plan> {
    let scan = scan::scan(&settings.folders, &settings.out, &|file| made.lists(file))?;
    let files = &scan.files;
    listener.hear(CardEvent::Scanned { files: files.len() });
    let whole: Vec<PathBuf> = files
        .iter()
        .map(|file| scan.roots[file.card].join(&file.relative))
        .collect();
    let probes = batch::probe(settings, files, &whole, records, work, listener, stop)?;
    let listed: Vec<(usize, PathBuf)> = files
        .iter()
        .map(|file| (file.card, file.relative.clone()))
        .collect();
    let prefixes = names::prefixes(&scan.roots, &listed);
    let originals = sift::originals(files, &probes);
    let unreadable = batch::unreadable(settings, originals, files, &whole, records, work, stop)?;
    let fates = sift::sift(files, &probes, &unreadable);
    let clips = in_order(files, &fates);
    let skipped = skipped(&scan, &fates, &prefixes);
    let below_out: Vec<PathBuf> = clips
        .iter()
        .map(|&i| prefixes[files[i].card].join(&files[i].relative))
        .collect();
    let sidecars = names::sidecars(&below_out);
    let jobs = clips
        .iter()
        .zip(&below_out)
        .zip(&sidecars)
        .map(|((&i, name), sidecar)| Job {
            file: files[i].clone(),
            whole: whole[i].clone(),
            name: text_of(name),
            sidecar: settings.out.join(sidecar),
            holder: made.holder(sidecar, &whole[i]),
            duration_s: probes[i].duration_s(),
        })
        .collect();
    Ok(Plan {
        jobs,
        below_out,
        sidecars,
        skipped,
        roots: scan.roots,
    })
}

/// Removes what earlier runs left and this one has no use for.
fn clear(records: &Records, plan: &Plan) {
    let whole: Vec<&Path> = plan.jobs.iter().map(|job| &*job.whole).collect();
    records.forget_others(&whole, &plan.roots);
    let sidecars = plan.jobs.iter().map(|job| &job.sidecar);
    let folders: BTreeSet<&Path> = sidecars.filter_map(|sidecar| sidecar.parent()).collect();
    for folder in folders {
        save::remove_leftovers(folder);
    }
}

/// What the clips say together: of each, what was `measured`, if it was come to, as it is `said`.
fn agreed(
    settings: &Settings,
    plan: &Plan,
    measured: Vec<Option<ClipOutcome>>,
    said: &dyn Fn(&Job, Option<ClipOutcome>) -> ClipOutcome,
) -> CardOutcome {
    let members: Vec<Member> = measured
        .into_iter()
        .zip(&plan.jobs)
        .map(|(measured, job)| Member {
            card: job.file.card,
            path: text_of(&job.file.relative),
            name: job.name.clone(),
            outcome: said(job, measured),
        })
        .collect();
    let folders = named(&settings.folders);
    let agreed = agree::agree(&folder_names(&folders), members);
    CardOutcome {
        format: CARD_FORMAT_VERSION,
        folders: folders
            .iter()
            .map(|f| f.to_string_lossy().into_owned())
            .collect(),
        clips: agreed
            .clips
            .into_iter()
            .zip(plan.jobs.iter().zip(&plan.sidecars))
            .map(|((outcome, camera), (job, sidecar))| CardClip {
                name: job.name.clone(),
                sidecar: text_of(sidecar),
                camera,
                outcome,
            })
            .collect(),
        cameras: agreed.cameras,
        skipped: plan.skipped.clone(),
        gone: Vec::new(),
        notes: agreed.notes,
        tool: settings.tool.clone(),
    }
}

/// Adds the remarks on the card as a whole, and on how the run ended.
fn remark(card: &mut CardOutcome, ended: Ended, faults: &[Error], out: &Path) {
    let empty = no_clips(card.clips.len(), card.skipped.len());
    card.notes.extend(empty);
    card.notes.extend(folder_unread(&card.skipped));
    card.notes.extend(clips_cut_short(&card.clips));
    card.notes.extend(chapters_missing(&card.clips));
    card.notes.extend(gone::note(&card.gone));
    card.notes.extend(ending(ended, &card.clips, faults, out));
}

/// Indices of the clips, as they were scanned, with the chapters of a recording together.
fn in_order(files: &[Found], fates: &[Fate]) -> Vec<usize> {
    let clips: Vec<usize> = (0..files.len())
        .filter(|&i| fates[i] == Fate::Clip)
        .collect();
    let texts: Vec<String> = clips.iter().map(|&i| text_of(&files[i].relative)).collect();
    let named: Vec<(usize, &str)> = clips
        .iter()
        .zip(&texts)
        .map(|(&i, text)| (files[i].card, &**text))
        .collect();
    let order = chapters::together(&named);
    order.into_iter().map(|at| clips[at]).collect()
}

/// All files that are not looked at, in natural order.
fn skipped(scan: &scan::Scan, fates: &[Fate], prefixes: &[PathBuf]) -> Vec<Skipped> {
    let sifted = scan
        .files
        .iter()
        .zip(fates)
        .filter_map(|(file, fate)| match fate {
            Fate::Clip => None,
            Fate::Skip(note) => Some((file.card, file.relative.clone(), note.clone())),
        });
    let mut all: Vec<_> = scan.skipped.iter().cloned().chain(sifted).collect();
    all.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| names::natural(&a.1, &b.1)));
    all.into_iter()
        .map(|(card, relative, reason)| Skipped {
            name: text_of(&prefixes[card].join(relative)),
            reason,
        })
        .collect()
}

/// The folders as they were named; `.` and what ends with `..` by its whole path.
fn named(folders: &[PathBuf]) -> Vec<PathBuf> {
    let whole = |folder: &PathBuf| folder.canonicalize().unwrap_or_else(|_| folder.clone());
    folders
        .iter()
        .map(|folder| match folder.file_name() {
            Some(_) => folder.clone(),
            None => whole(folder),
        })
        .collect()
}

/// What to call the folders.
fn folder_names(folders: &[PathBuf]) -> Vec<String> {
    folders
        .iter()
        .map(|folder| match folder.file_name() {
            Some(name) => name.to_string_lossy().into_owned(),
            None => folder.to_string_lossy().into_owned(),
        })
        .collect()
}

/// Writes the final sidecars; those that say what they said before are not touched.
fn save_sidecars(
    card: &CardOutcome,
    jobs: &[Job],
    below_out: &[PathBuf],
    earlier_paths: &[Option<String>],
    ledger: &mut Ledger,
    before: &[Error],
) -> Vec<Error> {
    let mut faults: Vec<Error> = Vec::new();
    let jobs = jobs.iter().zip(below_out);
    for ((clip, (job, name)), earlier_path) in card.clips.iter().zip(jobs).zip(earlier_paths) {
        if clip.outcome.was_left_out() {
            continue;
        }
        // Told once.
        if before.iter().any(|b| b.file() == Some(&*job.sidecar)) {
            continue;
        }
        let earlier_path = earlier_path.as_deref();
        let saved = save::sidecar(&clip.outcome, &job.sidecar, &job.holder, earlier_path);
        let noted = saved.and_then(|()| ledger.note_source(name, &job.whole));
        if let Err(error) = noted {
            let is_hopeless = error.kind() == ErrorKind::CannotWrite;
            faults.push(error);
            if is_hopeless {
                break;
            }
        }
    }
    faults
}

/// Code of the note on folders that could not be read.
pub const FOLDER_UNREAD: &str = "folder_unread";

/// Code of the note on a file that could not be written.
pub const NOT_WRITTEN: &str = "not_written";

/// The remark on a card without clips: an empty result is explained.
fn no_clips(clips: usize, skipped: usize) -> Option<Note> {
    let files = match skipped {
        0 => "there are no files".to_owned(),
        1 => "the only file was passed over, and the report says why".to_owned(),
        n => format!("all {n} files were passed over, and the report says why"),
    };
    (clips == 0).then(|| {
        let said = format!("no clip was found: {files}; check that this is the right folder");
        Note::new("no_clips", said)
    })
}

/// Remark on folders that could not be read: their clips are missing, and nobody would know.
fn folder_unread(skipped: &[Skipped]) -> Option<Note> {
    let unread = skipped
        .iter()
        .filter(|s| s.reason.code == ErrorKind::CannotOpen.code());
    let names: Vec<&str> = unread.map(|s| s.name.as_str()).collect();
    let what = match names.as_slice() {
        [] => return None,
        [one] => format!("{one} could not be read, and what is in it is missing"),
        [first, ..] => format!(
            "{} files and folders could not be read, {first} for one, and what is in them is missing",
            names.len()
        ),
    };
    let said = format!("{what}; ask for the right to read it, and run the same command again");
    Some(Note::new(FOLDER_UNREAD, said))
}

/// Remark on chapters that are not here: a line behind a fold is not enough for lost footage.
fn chapters_missing(clips: &[CardClip]) -> Option<Note> {
    let mut missing = clips.iter().filter_map(|clip| {
        let mut notes = clip.outcome.notes.iter();
        Some((clip, notes.find(|note| note.code == CHAPTER_MISSING)?))
    });
    let (first, note) = missing.next()?;
    let said = match missing.count() {
        0 => format!("{}: {}", first.name, note.sentence),
        more => format!(
            "{}: {}; before {more} more clips, chapters are missing, too",
            first.name, note.sentence
        ),
    };
    Some(Note::new("chapters_missing", said))
}

/// Remark on clips that end early.
fn clips_cut_short(clips: &[CardClip]) -> Option<Note> {
    let cut = clips
        .iter()
        .filter(|clip| clip.outcome.cut_short().is_some());
    let names: Vec<&str> = cut.map(|clip| clip.name.as_str()).collect();
    let said = match names.as_slice() {
        [] => return None,
        [one] => format!("{one} ends early; copy it from the card again"),
        [first, ..] => format!(
            "{} clips end early, {first} for one; copy them from the card again",
            names.len()
        ),
    };
    Some(Note::new("clips_cut_short", said))
}

/// Remarks on how the run ended.
fn ending(ended: Ended, clips: &[CardClip], faults: &[Error], out: &Path) -> Vec<Note> {
    let left = clips
        .iter()
        .filter(|clip| clip.outcome.was_left_out())
        .count();
    let left = format!(
        "{left} of {} clips were not read; run the same command again to go on",
        clips.len()
    );
    let mut notes = Vec::new();
    match ended {
        Ended::Complete => {}
        Ended::Stopped => notes.push(Note::new("stopped", format!("stopped early: {left}"))),
        Ended::OutputFailed => notes.push(Note::new(
            "output_failed",
            format!("results could not be written, so the run ended early: {left}"),
        )),
        Ended::CardGone => notes.push(Note::new(
            "card_gone",
            format!("a folder of clips went away, so the run ended early: {left}"),
        )),
    }
    notes.extend(faults.iter().map(|error| not_written(error, out)));
    notes
}

/// Remark on a file that could not be written.
pub fn not_written(error: &Error, out: &Path) -> Note {
    let cause = std::error::Error::source(error);
    let file = error
        .file()
        .map(|file| file.strip_prefix(out).unwrap_or(file));
    let file = file.map_or_else(String::new, |file| format!("{}: ", file.display()));
    let cause = cause.map_or_else(String::new, |cause| format!(" ({})", in_words(&cause)));
    let next = error
        .advice()
        .map_or_else(String::new, |next| format!("; {next}"));
    Note::new(NOT_WRITTEN, format!("{file}{}{cause}{next}", error.what()))
}
