//! What `read` and `card` share once clips are read: corrections by hand, the files that
//! `--write` asks for, and those of earlier runs that no longer hold.

use super::bars::ClipBar;
use super::settings::Handing;
use super::{Status, complaint, plain};
use rollmark::card::{self, Stop};
use rollmark::delivery::{Delivered, Delivery, Withdrawn};
use rollmark::error::{Error, ErrorKind, Result};
use rollmark::fit::Known;
use rollmark::note::Note;
use rollmark::outcome::{CardOutcome, ClipOutcome};
use rollmark::path_text::text_of;
use rollmark::progress::{Listener, Wish};
use rollmark::save::Ledger;
use rollmark::sidecar::corrections::{Corrections, Given, apply};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use std::{fs, io};

/// What a person said about the clips, if anything.
pub struct ByHand {
    corrections: Corrections,
    /// The same as they are meant of the clips, once these are known.
    meant: OnceLock<Corrections>,
    file: Option<PathBuf>,
    given: Given,
}

impl ByHand {
    /// Reads the file of corrections.
    ///
    /// # Errors
    /// [`ErrorKind::BadRequest`] if it cannot be read or says something impossible, with the
    /// line.
    pub fn open(file: Option<&Path>, known: &Known) -> Result<Self> {
        let corrections = match file {
            None => Corrections::default(),
            Some(file) => fs::read_to_string(file)
                .map_err(|e| {
                    let next = match e.kind() {
                        io::ErrorKind::InvalidData => "save it as text in UTF-8",
                        io::ErrorKind::NotFound => "look at the name after --corrections",
                        _ => "name a text file that may be read",
                    };
                    Error::new(ErrorKind::BadRequest, "cannot read the corrections")
                        .next(next)
                        .because(e)
                })
                .and_then(|text| Corrections::from_text(&text))
                .map_err(|e| e.in_file(file))?,
        };
        Ok(Self {
            corrections,
            meant: OnceLock::new(),
            file: file.map(Path::to_path_buf),
            given: Given {
                speed: known.speed,
                lag_s: known.lag(),
            },
        })
    }

    /// Takes the names of all clips, once.
    pub fn meet<'a>(&self, names: impl IntoIterator<Item = &'a str>) {
        let meant = self.corrections.clone().meant_of(names);
        if self.meant.set(meant).is_err() {
            unreachable!("the clips of a run are named once");
        }
    }

    pub fn apply(&self, name: &str, outcome: ClipOutcome) -> ClipOutcome {
        apply(self.meant(), name, outcome, self.given)
    }

    fn meant(&self) -> &Corrections {
        let meant = self.meant.get();
        meant.expect("clips are named before they are read")
    }

    /// Corrections that met no clip: slips of the pen.
    pub fn unused<'a>(&self, names: impl IntoIterator<Item = &'a str>) -> Vec<Error> {
        let unused = self.meant().unused(names);
        unused
            .into_iter()
            .map(|note| {
                let error = Error::new(ErrorKind::BadRequest, note.sentence);
                match &self.file {
                    Some(file) => error.in_file(file),
                    None => error,
                }
            })
            .collect()
    }
}

/// Clips, and where their files are.
pub struct Clips<'a> {
    pub card: &'a CardOutcome,
    pub sources: &'a [PathBuf],
    pub below_out: &'a [PathBuf],
}

/// What became of the files that were asked for.
pub struct Handed {
    pub status: Status,
    /// What is to be told about single files, a line each, safe to print.
    pub remarks: Vec<String>,
    /// What is missing, as remarks on the card.
    pub missing: Vec<Note>,
    /// False if it was stopped before all were written.
    pub is_complete: bool,
}

/// What became of files that no longer hold.
pub struct Withdrawal {
    pub status: Status,
    /// A line for each file, safe to print.
    pub remarks: Vec<String>,
    /// The remark on the card, if any such file stays.
    pub note: Option<Note>,
}

/// Writes the files that were asked for, with a bar for the long ones.
pub fn deliver(
    clips: &Clips<'_>,
    handing: &Handing,
    out: &Path,
    ledger: &mut Ledger,
    stop: &Stop,
) -> Handed {
    let delivered = write(&delivery(clips, handing, out), clips, ledger, stop);
    let notes = delivered.notes.iter().map(|(clip, note)| {
        let name = &clips.card.clips[*clip].name;
        format!("{}: {}", plain(name), plain(&note.sentence))
    });
    let errors = delivered.refusals.iter().chain(&delivered.faults);
    let missing = errors.clone().map(|error| card::not_written(error, out));
    let replaced = delivered.replaced.iter().map(|list| {
        format!(
            "{}: took the place of a list of other clips or starts; name all clips in one run to have \
             them in one list",
            plain(&list.to_string_lossy())
        )
    });
    let stopped = delivered.is_stopped.then(|| {
        "stopped before all copies and previews were made; the same command again makes those that \
         are missing"
            .to_owned()
    });
    Handed {
        status: if delivered.is_stopped || !delivered.faults.is_empty() {
            Status::CouldNotRun
        } else if !delivered.refusals.is_empty() {
            Status::NeedsALook
        } else {
            Status::Fine
        },
        missing: missing.collect(),
        remarks: notes
            .chain(replaced)
            .chain(errors.map(complaint))
            .chain(stopped)
            .collect(),
        is_complete: !delivered.is_stopped,
    }
}

/// Looks after what earlier runs wrote and what no longer holds: removed, or told.
pub fn withdraw(clips: &Clips<'_>, handing: &Handing, out: &Path, ledger: &Ledger) -> Withdrawal {
    let (withdrawn, faults) = delivery(clips, handing, out).withdraw(ledger);
    let left: Vec<&Withdrawn> = withdrawn.iter().filter(|one| !one.is_removed).collect();
    let note = left.first().map(|first| {
        let files = match left.len() {
            1 => "a file of an earlier run says".to_owned(),
            n => format!("{n} files of earlier runs say"),
        };
        Note::new(
            "withdrawn",
            format!(
                "{files} what no longer holds, {} for one; delete such files, or have those of clips with a start made \
                 anew",
                text_of(&first.file)
            ),
        )
    });
    let remarks = withdrawn.iter().map(|one| {
        let file = out.join(&one.file);
        format!(
            "{} {}",
            plain(&file.to_string_lossy()),
            plain(&one.sentence)
        )
    });
    Withdrawal {
        status: match (faults.is_empty(), &note) {
            (false, _) => Status::CouldNotRun,
            (true, Some(_)) => Status::NeedsALook,
            (true, None) => Status::Fine,
        },
        remarks: remarks.chain(faults.iter().map(complaint)).collect(),
        note,
    }
}

fn delivery<'a>(clips: &Clips<'a>, handing: &'a Handing, out: &'a Path) -> Delivery<'a> {
    Delivery {
        card: clips.card,
        sources: clips.sources,
        below_out: clips.below_out,
        out,
        products: &handing.products,
        admit: handing.admit,
    }
}

fn write(
    delivery: &Delivery<'_>,
    clips: &Clips<'_>,
    ledger: &mut Ledger,
    stop: &Stop,
) -> Delivered {
    let mut shown: Option<(usize, ClipBar)> = None;
    delivery.write(ledger, &mut |clip, event| {
        if shown.as_ref().is_none_or(|(other, _)| *other != clip) {
            // The old bar goes before the new one comes.
            shown = None;
            let title = plain(&clips.card.clips[clip].name);
            shown = Some((clip, ClipBar::new(title)));
        }
        if let Some((_, bar)) = &mut shown {
            bar.hear(event);
        }
        if stop.is_asked() {
            Wish::Stop
        } else {
            Wish::GoOn
        }
    })
}
