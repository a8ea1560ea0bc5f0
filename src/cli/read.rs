//! `rollmark read`: clip after clip in the order given, each saved as soon as
//! it is read. A bad clip is a result like any other; it stops nothing.

use super::bars::ClipBar;
use super::handing::{ByHand, Clips, Handed, deliver, withdraw};
use super::names::{ClipNames, distinct_names};
use super::settings::{ReadSettings, Show};
use super::table::{Closing, Look, Row, Table};
use super::{Status, complaint, memory, plain, remark};
use rollmark::card::{self, STATE_FOLDER, Stop};
use rollmark::clip::{ClipRead, read_clip, tool};
use rollmark::error::{Error, Result};
use rollmark::fault;
use rollmark::outcome::{ClipOutcome, Evidence};
use rollmark::path_text::text_of;
use rollmark::save::{self, Ledger};
use rollmark::sidecar::json;
use rollmark::vision::Eye;
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Reads all clips and shows them.
///
/// # Errors
/// [`ErrorKind::CannotWrite`] if an output folder does not take files, found
/// out before the first clip is read, or if standard output does not;
/// [`ErrorKind::Model`] if the built-in networks do not load.
pub fn run(settings: &ReadSettings) -> Result<Status> {
    for folder in [&settings.out, &settings.pictures].into_iter().flatten() {
        save::prepare_folder(folder)?;
    }
    let file = settings.handing.corrections.as_deref();
    let by_hand = ByHand::open(file, &settings.options.known)?;
    let eye = Eye::open()?;
    let names = distinct_names(&settings.clips);
    let texts: Vec<String> = names.iter().map(ClipNames::text).collect();
    by_hand.meet(texts.iter().map(String::as_str));
    remove_leftovers(settings, &names);
    let mut results = Results::new(settings.show);
    let mut status = Status::Fine;
    let mut handed_to = match &settings.out {
        Some(out) => Some((out.as_path(), Ledger::open(out, STATE_FOLDER)?)),
        None => None,
    };
    let (mut outcomes, mut untold) = (Vec::new(), None);
    for (number, (clip, names)) in (1..).zip(settings.clips.iter().zip(&names)) {
        let name = plain(&names.clip.to_string_lossy());
        let mut read = {
            let mut bar = ClipBar::new(format!("{number}/{} {name}", settings.clips.len()));
            fault::catch(|| read_clip(&eye, clip, &settings.options, &mut bar)).unwrap_or_else(
                |said| ClipRead {
                    outcome: fault::outcome(clip, &said, tool()),
                    evidence: Evidence::default(),
                    stages: Vec::new(),
                },
            )
        };
        memory::give_back();
        read.outcome = by_hand.apply(&names.text(), read.outcome);
        if read.outcome.needs_a_look() {
            status = status.max(Status::NeedsALook);
        }
        let faults = save_clip(settings, clip, names, &read, &mut handed_to);
        for error in faults {
            status = Status::CouldNotRun;
            remark(&complaint(&error));
        }
        if handed_to.is_some() {
            outcomes.push(read.outcome.clone());
        }
        let keeps_files = settings.out.is_some() || settings.pictures.is_some();
        match results.take(name, read.outcome) {
            Ok(()) => {}
            // The files are what was asked for: they come to their end, and then it is told.
            Err(error) if keeps_files => untold = untold.or(Some(error)),
            Err(error) => return Err(error),
        }
        if results.is_closed && !keeps_files {
            // Nobody reads on, and nothing is kept: the rest would be for nothing.
            return Ok(status);
        }
    }
    let mut remarks = Vec::new();
    for error in by_hand.unused(texts.iter().map(String::as_str)) {
        status = Status::CouldNotRun;
        remarks.push(complaint(&error));
    }
    if let Some((out, ledger)) = &mut handed_to {
        let handed = hand_over(settings, out, ledger, &names, outcomes);
        status = status.max(handed.status);
        remarks.extend(handed.remarks);
    }
    results.finish(settings.out.as_deref(), &remarks)?;
    untold.map_or(Ok(status), Err)
}

/// Removes what a killed run left half-written where this one writes.
fn remove_leftovers(settings: &ReadSettings, names: &[ClipNames]) {
    let mut files = Vec::new();
    for names in names {
        let sidecar = settings.out.iter().map(|out| out.join(names.sidecar()));
        let pictures = settings.pictures.iter();
        let picture = pictures.map(|folder| folder.join(names.pictures()).join("any"));
        files.extend(sidecar.chain(picture));
    }
    let folders: BTreeSet<&Path> = files.iter().filter_map(|file| file.parent()).collect();
    folders.into_iter().for_each(save::remove_leftovers);
}

/// Writes what `--write` asks for, and tells what earlier runs wrote and no longer holds.
fn hand_over(
    settings: &ReadSettings,
    out: &Path,
    ledger: &mut Ledger,
    names: &[ClipNames],
    outcomes: Vec<ClipOutcome>,
) -> Handed {
    let named = names
        .iter()
        .zip(outcomes)
        .map(|(names, outcome)| (names.text(), text_of(&names.sidecar()), outcome));
    let card = card::of_single_clips(named.collect(), tool());
    let below_out: Vec<PathBuf> = names.iter().map(|names| names.clip.clone()).collect();
    let clips = Clips {
        card: &card,
        sources: &settings.clips,
        below_out: &below_out,
    };
    let handing = &settings.handing;
    let withdrawal = withdraw(&clips, handing, out, ledger);
    let mut handed = deliver(&clips, handing, out, ledger, &Stop::new());
    handed.status = handed.status.max(withdrawal.status);
    handed.remarks.splice(0..0, withdrawal.remarks);
    handed
}

/// Writes what was asked for. What cannot be written is returned, and stops
/// neither the other files of this clip nor the clips that follow.
fn save_clip(
    settings: &ReadSettings,
    clip: &Path,
    names: &ClipNames,
    read: &ClipRead,
    handed_to: &mut Option<(&Path, Ledger)>,
) -> Vec<Error> {
    let mut saved = Vec::new();
    if let Some((folder, ledger)) = handed_to {
        let name = names.sidecar();
        let holder = ledger.holder(&name, clip);
        let written = save::sidecar(&read.outcome, &folder.join(&name), &holder, None);
        // Its own path, as it was typed, means another clip to a run in another folder.
        saved.push(written.and_then(|()| ledger.note_source(&name, clip)));
    }
    if let Some(folder) = &settings.pictures {
        let folder = folder.join(names.pictures());
        saved.extend(read.stages.iter().map(|stage| {
            save::picture(&stage.picture, &folder.join(format!("{}.png", stage.name)))
        }));
    }
    saved.into_iter().filter_map(Result::err).collect()
}

/// Standard output, in one of its shapes.
struct Results {
    show: Show,
    rows: Vec<Row<'static>>,
    /// The reader has gone, as `head` does when it has enough.
    is_closed: bool,
}

impl Results {
    fn new(show: Show) -> Self {
        Self {
            show,
            rows: Vec::new(),
            is_closed: false,
        }
    }

    fn take(&mut self, name: String, outcome: ClipOutcome) -> Result<()> {
        match self.show {
            Show::Table { .. } => {
                let outcome = Cow::Owned(outcome);
                self.rows.push(Row { name, outcome });
                Ok(())
            }
            Show::Json => self.print(&json::to_bytes(&outcome)),
            Show::JsonLines => self.print(format!("{}\n", json::to_line(&outcome)).as_bytes()),
        }
    }

    fn finish(&mut self, sidecars: Option<&Path>, remarks: &[String]) -> Result<()> {
        let Show::Table { in_colour } = self.show else {
            remarks.iter().for_each(|line| remark(line));
            return Ok(());
        };
        let table = Table {
            rows: &self.rows,
            closing: Closing::Read { sidecars },
            look: Look::of_terminal(in_colour),
        };
        let (rows, summary) = (table.rows(), table.summary());
        // What is to be told goes elsewhere, and is told though the rows are not taken.
        let printed = self.print(rows.as_bytes());
        remarks.iter().for_each(|line| remark(line));
        printed?;
        self.print(summary.as_bytes())
    }

    fn print(&mut self, bytes: &[u8]) -> Result<()> {
        self.is_closed = self.is_closed || !super::print(bytes)?;
        Ok(())
    }
}
