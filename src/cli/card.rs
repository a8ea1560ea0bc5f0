//! `rollmark card`: everything on one or more cards, unattended, and a folder that says
//! what is ready, what needs an eye and what can't be helped.

use super::bars::BatchBars;
use super::handing::{ByHand, Clips, deliver, withdraw};
use super::settings::{CardSettings, CardShow};
use super::table::{Closing, Look, Row, Table};
use super::{Status, complaint, memory, plain, remark};
use rollmark::card::{
    self, CardEvent, CardRun, Ended, FOLDER_UNREAD, NOT_WRITTEN, REPORT_FILE, STATE_FOLDER, Stop,
    Work,
};
use rollmark::clip::{ReadOptions, read_clip, tool};
use rollmark::error::{Error, ErrorKind, Result};
use rollmark::facts::HeaderFacts;
use rollmark::outcome::{ClipOutcome, Evidence, Verdict};
use rollmark::progress::Listener;
use rollmark::save::Ledger;
use rollmark::vision::Eye;
use rollmark::{media, report};
use serde_json::{Value, json};
use std::borrow::Cow;
use std::io::{self, Write};
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock};
use std::time::{Duration, Instant};

/// Runs the card.
///
/// # Errors
/// Those of [`card::run`]; [`ErrorKind::BadRequest`] for corrections that cannot be read;
/// [`ErrorKind::Model`] if the built-in networks do not load; [`ErrorKind::CannotWrite`] if
/// standard output does not take the results, which are on disk by then.
pub fn run(settings: &CardSettings) -> Result<Status> {
    let begun = Instant::now();
    let file = settings.handing.corrections.as_deref();
    let by_hand = ByHand::open(file, &settings.options.known)?;
    let stop = Arc::new(Stop::new());
    listen_for_ctrl_c(&stop)?;
    let eye = Eye::open()?;
    let reader = Reader {
        eye: &eye,
        options: &settings.options,
        at_once: AtomicUsize::new(settings.workers.get()),
    };
    let teller = Teller::new(settings.show);
    let mut run = card::run(
        &card::Settings {
            folders: settings.folders.clone(),
            out: settings.out.clone(),
            workers: settings.workers,
            reading: format!("{:?} {:?}", settings.options.look, settings.options.known),
            tool: tool(),
        },
        &reader,
        &|name, outcome| by_hand.apply(name, outcome),
        &|event: CardEvent<'_>| {
            if let CardEvent::Planned { clips } = event {
                by_hand.meet(clips.iter().map(|clip| clip.name.as_str()));
            }
            reader.hear(&event);
            teller.hear(&event);
        },
        &stop,
    )?;
    let mut status = status_of(&run);
    teller.end();
    let names = run.outcome.clips.iter().map(|clip| clip.name.as_str());
    let mut remarks = Vec::new();
    let mut faults: Vec<Error> = by_hand.unused(names);
    let mut ledger = Ledger::open(&settings.out, STATE_FOLDER)?;
    let mut is_complete = run.ended == Ended::Complete;
    let mut has_report = false;
    if !stop.is_now() && matches!(run.ended, Ended::Complete | Ended::Stopped) {
        // What a stopped run did not come to may still give a later chapter its start.
        if is_complete {
            let withdrawal = withdraw(&clips(&run), &settings.handing, &settings.out, &ledger);
            status = status.max(withdrawal.status);
            remarks.extend(withdrawal.remarks);
            if let Some(note) = withdrawal.note {
                faults.extend(run.add_notes(vec![note], &settings.out).err());
            }
        }
        // Copies take long: the report is there before them.
        let report = write_report(&run, &mut ledger);
        has_report = report.is_ok() && run.ended == Ended::Complete;
        faults.extend(report.err());
        let handed = deliver(
            &clips(&run),
            &settings.handing,
            &settings.out,
            &mut ledger,
            &stop,
        );
        status = status.max(handed.status);
        remarks.extend(handed.remarks);
        is_complete &= handed.is_complete;
        if !handed.missing.is_empty() {
            faults.extend(run.add_notes(handed.missing, &settings.out).err());
            faults.extend(write_report(&run, &mut ledger).err());
        }
    }
    for error in run.faults.iter().chain(&faults) {
        remarks.push(complaint(error));
        status = Status::CouldNotRun;
    }
    match settings.show {
        CardShow::Json => {
            remarks.iter().for_each(|line| remark(line));
            let notes = run.outcome.notes.iter();
            let not_written = notes.filter(|note| note.code == NOT_WRITTEN).count();
            teller.tell(&json!({
                "event": "done",
                "clips": run.outcome.clips.len(),
                "complete": is_complete,
                "not_written": not_written,
            }));
            teller.has_told()?;
        }
        CardShow::Table { in_colour } => {
            let took = begun.elapsed();
            show(&run, settings, in_colour, has_report, &remarks, took)?;
        }
    }
    Ok(status)
}

fn write_report(run: &CardRun, ledger: &mut Ledger) -> Result<()> {
    ledger.write_long(Path::new(REPORT_FILE), |page| {
        report::write(&run.outcome, &|clip| run.evidence(clip), page)
    })
}

fn clips(run: &CardRun) -> Clips<'_> {
    Clips {
        card: &run.outcome,
        sources: run.sources(),
        below_out: run.below_out(),
    }
}

/// Prints the table, clips that need a look last, so that they stay on the screen, then
/// `remarks`, then the summary.
fn show(
    run: &CardRun,
    settings: &CardSettings,
    in_colour: bool,
    has_report: bool,
    remarks: &[String],
    took: Duration,
) -> Result<()> {
    let mut rows: Vec<Row> = run
        .outcome
        .clips
        .iter()
        .filter(|clip| !clip.outcome.was_left_out())
        .map(|clip| Row {
            name: plain(&clip.name),
            outcome: Cow::Borrowed(&clip.outcome),
        })
        .collect();
    let attention = |verdict| match verdict {
        Verdict::Sure => 0,
        Verdict::None => 1,
        Verdict::Unsure => 2,
        Verdict::Failed => 3,
    };
    rows.sort_by_key(|row| attention(row.outcome.verdict));
    let table = Table {
        rows: &rows,
        closing: Closing::Card {
            out: &settings.out,
            notes: &run.outcome.notes,
            resumed: run.resumed,
            not_read: run.outcome.clips.len() - rows.len(),
            took,
            has_report,
        },
        look: Look::of_terminal(in_colour),
    };
    // What is to be told goes elsewhere, and is told though the rows are not taken.
    let printed = super::print(table.rows().as_bytes());
    remarks.iter().for_each(|line| remark(line));
    printed?;
    super::print(table.summary().as_bytes())?;
    Ok(())
}

fn status_of(run: &CardRun) -> Status {
    let clips = &run.outcome.clips;
    let has_gap = run.outcome.notes.iter().any(|n| n.code == FOLDER_UNREAD);
    if run.ended != Ended::Complete || has_gap {
        Status::CouldNotRun
    } else if clips.is_empty() || clips.iter().any(|clip| clip.outcome.needs_a_look()) {
        Status::NeedsALook
    } else {
        Status::Fine
    }
}

/// The first Ctrl-C lets what runs finish; the second ends it.
fn listen_for_ctrl_c(stop: &Arc<Stop>) -> Result<()> {
    let stop = Arc::clone(stop);
    ctrlc::set_handler(move || {
        if stop.is_asked() {
            stop.now();
        } else {
            stop.finish();
            let _ = writeln!(
                io::stderr(),
                "rollmark: finishing the clips at hand; Ctrl-C again stops at once"
            );
        }
    })
    .map_err(|e| Error::new(ErrorKind::BadRequest, "cannot listen for Ctrl-C").because(e))
}

/// Reads clips with the real eye.
struct Reader<'a> {
    eye: &'a Eye,
    options: &'a ReadOptions,
    /// Clips that are read at once.
    at_once: AtomicUsize,
}

impl Reader<'_> {
    fn hear(&self, event: &CardEvent<'_>) {
        if let CardEvent::Planned { clips } = event {
            self.at_once.fetch_min(clips.len(), Ordering::Relaxed);
        }
    }

    fn beside(&self) -> usize {
        self.at_once.load(Ordering::Relaxed).saturating_sub(1)
    }
}

impl Work for Reader<'_> {
    fn probe(&self, path: &Path) -> Result<HeaderFacts> {
        media::header(path)
    }

    fn shows_a_picture(&self, path: &Path) -> bool {
        media::open_beside(path, self.beside()).is_ok()
    }

    fn read(&self, path: &Path, listener: &mut dyn Listener) -> (ClipOutcome, Evidence) {
        let options = ReadOptions {
            beside: self.beside(),
            ..self.options.clone()
        };
        let read = read_clip(self.eye, path, &options, listener);
        memory::give_back();
        (read.outcome, read.evidence)
    }
}

/// Tells how the run goes: bars on a terminal, plain lines elsewhere, JSON lines on request.
struct Teller {
    show: CardShow,
    bars: BatchBars,
    names: OnceLock<Vec<Name>>,
    /// The first line that standard output did not take, and why.
    fault: Mutex<Option<Error>>,
}

/// What a clip is called.
struct Name {
    /// In `card.json`, and so in events for scripts.
    text: String,
    /// Safe on a terminal.
    shown: String,
}

impl Teller {
    fn new(show: CardShow) -> Self {
        Self {
            show,
            bars: BatchBars::new(show != CardShow::Json),
            names: OnceLock::new(),
            fault: Mutex::new(None),
        }
    }

    fn hear(&self, event: &CardEvent<'_>) {
        if let CardEvent::Planned { clips } = event {
            let name = |text: &str| Name {
                text: text.to_owned(),
                shown: plain(text),
            };
            let names = clips.iter().map(|clip| name(&clip.name)).collect();
            if self.names.set(names).is_err() {
                unreachable!("a run is planned once");
            }
        }
        let name = |clip: usize| {
            let names = self
                .names
                .get()
                .expect("clips are planned before they are read");
            &names[clip]
        };
        self.bars.hear(event, &|clip| &*name(clip).shown);
        if self.show != CardShow::Json {
            return;
        }
        let line = match event {
            CardEvent::Scanned { files } => json!({"event": "scanned", "files": files}),
            CardEvent::Planned { clips } => json!({"event": "planned", "clips": clips.len()}),
            CardEvent::Began { clip } => json!({"event": "began", "clip": name(*clip).text}),
            CardEvent::Finished {
                clip,
                outcome,
                is_from_record,
            } => json!({
                "event": "finished",
                "clip": name(*clip).text,
                "verdict": outcome.verdict,
                "start": outcome.start.as_ref().map(|start| &start.label),
                "from_record": is_from_record,
            }),
            CardEvent::Probed { .. } | CardEvent::Clip { .. } => return,
        };
        self.tell(&line);
    }

    fn tell(&self, line: &Value) {
        if let Err(error) = super::print(format!("{line}\n").as_bytes()) {
            self.fault().get_or_insert(error);
        }
    }

    /// # Errors
    /// [`ErrorKind::CannotWrite`] if standard output did not take all lines.
    fn has_told(&self) -> Result<()> {
        self.fault().take().map_or(Ok(()), Err)
    }

    fn fault(&self) -> MutexGuard<'_, Option<Error>> {
        self.fault.lock().expect("no thread panics while it prints")
    }

    fn end(&self) {
        self.bars.end();
    }
}
