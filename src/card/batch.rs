//! One job per file, several at once. A file that fails, even by a fault of the program,
//! is a result like any other; each result is on disk before the next clip is begun.

use super::Settings;
use super::records::Records;
use super::scan::Found;
use super::sift::Probe;
use super::stop::Stop;
use super::{CardEvent, CardListener, Planned, Work};
use crate::error::{Error, ErrorKind, Result, in_words};
use crate::fault;
use crate::note::Note;
use crate::outcome::{ClipOutcome, Evidence, NOT_READ, Tool, Verdict};
use crate::progress::{Event, Listener, Wish};
use crate::save::{self, FileStamp, Holder};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;

/// Code of a clip at which the program ended in earlier runs.
pub const GAVE_UP: &str = "gave_up";

/// Readings of one clip that may end the program before it is left out. Users who kill it
/// because they are in a hurry get a few tries, too.
const MOST_ATTEMPTS: u32 = 3;

/// As [`in_parallel`], before the first clip is read: all results.
///
/// # Errors
/// [`ErrorKind::BadRequest`] if the run was stopped meanwhile.
fn all_in_parallel<T: Send>(
    workers: NonZeroUsize,
    count: usize,
    stop: &Stop,
    job: impl Fn(usize) -> T + Sync,
) -> Result<Vec<T>> {
    let results = in_parallel(workers, count, || stop.is_asked(), job);
    let all: Option<Vec<T>> = results.into_iter().collect();
    all.ok_or_else(|| {
        Error::new(
            ErrorKind::BadRequest,
            "stopped before the first clip was read",
        )
        .next("run the same command again")
    })
}

/// Calls `job` for `0..count` on `workers` threads, lowest first, until `is_over` says so.
/// Results lie as the numbers do, whichever thread made them; `None` where none was begun.
fn in_parallel<T: Send>(
    workers: NonZeroUsize,
    count: usize,
    is_over: impl Fn() -> bool + Sync,
    job: impl Fn(usize) -> T + Sync,
) -> Vec<Option<T>> {
    let next = AtomicUsize::new(0);
    let results: Mutex<Vec<Option<T>>> = Mutex::new((0..count).map(|_| None).collect());
    thread::scope(|scope| {
        for _ in 0..workers.get().min(count) {
            scope.spawn(|| {
                while !is_over() {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= count {
                        break;
                    }
                    let result = job(index);
                    results.lock().expect("no job panics while it holds this")[index] =
                        Some(result);
                }
            });
        }
    });
    results.into_inner().expect("all threads have ended")
}

/// Probes all files, those that an earlier run probed from its records.
///
/// # Errors
/// [`ErrorKind::CannotWrite`] if the records cannot be kept; [`ErrorKind::BadRequest`] if
/// the run was stopped meanwhile.
pub(super) fn probe(
    settings: &Settings,
    files: &[Found],
    whole: &[PathBuf],
    records: &Records,
    work: &dyn Work,
    listener: &dyn CardListener,
    stop: &Stop,
) -> Result<Vec<Probe>> {
    let key = |index: usize| crate::path_text::text_of(&whole[index]);
    let kept = records.probes();
    let done = AtomicUsize::new(0);
    let probes = all_in_parallel(settings.workers, files.len(), stop, |index| {
        let file = &files[index];
        let probe = match kept.get(&key(index)) {
            Some((stamp, probe)) if *stamp == file.stamp => probe.clone(),
            _ => fault::catch(|| work.probe(&file.path))
                .map_or_else(|_| Probe::fault(), |result| Probe::of(&result)),
        };
        listener.hear(CardEvent::Probed {
            done: done.fetch_add(1, Ordering::Relaxed) + 1,
            of: files.len(),
        });
        probe
    })?;
    let lasting: BTreeMap<_, _> = (0..files.len())
        .filter(|&index| probes[index].is_lasting())
        .map(|index| (key(index), (files[index].stamp, probes[index].clone())))
        .collect();
    if lasting != kept {
        records.keep_probes(lasting)?;
    }
    Ok(probes)
}

/// Those of some files that show no picture: by the records of an earlier run, or by trying.
///
/// # Errors
/// [`ErrorKind::BadRequest`] if the run was stopped meanwhile.
pub(super) fn unreadable(
    settings: &Settings,
    originals: BTreeSet<usize>,
    files: &[Found],
    whole: &[PathBuf],
    records: &Records,
    work: &dyn Work,
    stop: &Stop,
) -> Result<BTreeSet<usize>> {
    let originals: Vec<usize> = originals.into_iter().collect();
    let is_readable = |at: usize| {
        let file = &files[originals[at]];
        match records.outcome(&whole[originals[at]], file.stamp) {
            Some(outcome) => outcome.verdict != Verdict::Failed,
            None => fault::catch(|| work.shows_a_picture(&file.path)).unwrap_or(false),
        }
    };
    let readable = all_in_parallel(settings.workers, originals.len(), stop, is_readable)?;
    let pairs = originals.iter().zip(readable);
    Ok(pairs
        .filter(|(_, is_readable)| !is_readable)
        .map(|(&original, _)| original)
        .collect())
}

/// One clip to read.
pub(super) struct Job {
    pub file: Found,
    /// The whole path, by which records know the clip.
    pub whole: PathBuf,
    pub name: String,
    /// Where its sidecar lies, and whose start lies there now.
    pub sidecar: PathBuf,
    pub holder: Holder,
    pub duration_s: Option<f64>,
}

/// Why no further clips were begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// All clips were read.
    Complete,
    /// The user asked for it.
    Stopped,
    /// Results could not be written: a full disk, or a folder that became read-only.
    OutputFailed,
    /// A folder of clips went away.
    CardGone,
}

/// What came of one job.
pub(super) struct Done {
    /// As measured.
    pub outcome: ClipOutcome,
    /// The path by which an earlier run knew the clip, and its sidecar may still.
    pub earlier_path: Option<String>,
}

/// What came of all jobs.
pub(super) struct Batch {
    /// One per job; `None` if it was not come to.
    pub done: Vec<Option<Done>>,
    pub ended: Ended,
    /// What could not be written, in the order of the jobs.
    pub faults: Vec<Error>,
    /// Clips whose outcome came from the records.
    pub resumed: usize,
}

struct Run<'a> {
    jobs: &'a [Job],
    roots: &'a [PathBuf],
    tool: &'a Tool,
    records: &'a Records,
    work: &'a dyn Work,
    by_hand: super::ByHandHook<'a>,
    listener: &'a dyn CardListener,
    stop: &'a Stop,
    output_failed: AtomicBool,
    card_gone: AtomicBool,
    faults: Mutex<Vec<(usize, Error)>>,
    resumed: AtomicUsize,
}

/// Reads all clips, or what is left of them after an earlier run.
#[expect(clippy::too_many_arguments, reason = "one call, in the conductor")]
pub(super) fn read(
    settings: &Settings,
    jobs: &[Job],
    roots: &[PathBuf],
    records: &Records,
    work: &dyn Work,
    by_hand: super::ByHandHook<'_>,
    listener: &dyn CardListener,
    stop: &Stop,
) -> Batch {
    let planned: Vec<Planned> = jobs
        .iter()
        .map(|job| Planned {
            name: job.name.clone(),
            duration_s: job.duration_s,
        })
        .collect();
    listener.hear(CardEvent::Planned { clips: &planned });
    let run = Run {
        jobs,
        roots,
        tool: &settings.tool,
        records,
        work,
        by_hand,
        listener,
        stop,
        output_failed: AtomicBool::new(false),
        card_gone: AtomicBool::new(false),
        faults: Mutex::new(Vec::new()),
        resumed: AtomicUsize::new(0),
    };
    let done: Vec<Option<Done>> = in_parallel(
        settings.workers,
        jobs.len(),
        || run.is_over(),
        |index| run.clip(index),
    )
    .into_iter()
    .map(Option::flatten)
    .collect();
    // A run that ends early still knows what earlier ones found.
    let done: Vec<Option<Done>> = (0..)
        .zip(done)
        .map(|(index, done)| done.or_else(|| run.recorded(index)))
        .collect();
    let ended = if run.output_failed.into_inner() {
        Ended::OutputFailed
    } else if run.card_gone.into_inner() {
        Ended::CardGone
    } else if done.iter().any(Option::is_none) {
        Ended::Stopped
    } else {
        Ended::Complete
    };
    let mut faults = run.faults.into_inner().expect("all threads have ended");
    faults.sort_by_key(|(index, _)| *index);
    Batch {
        done,
        ended,
        faults: faults.into_iter().map(|(_, error)| error).collect(),
        resumed: run.resumed.into_inner(),
    }
}

impl Run<'_> {
    fn is_over(&self) -> bool {
        self.stop.is_asked()
            || self.output_failed.load(Ordering::Relaxed)
            || self.card_gone.load(Ordering::Relaxed)
    }

    /// The outcome of one clip; `None` if its reading was given up.
    fn clip(&self, index: usize) -> Option<Done> {
        if let Some(done) = self.recorded(index) {
            return Some(done);
        }
        let done = self.read(index)?;
        self.listener.hear(CardEvent::Finished {
            clip: index,
            outcome: &done.outcome,
            is_from_record: false,
        });
        Some(done)
    }

    /// What an earlier run measured, if that still holds.
    fn recorded(&self, index: usize) -> Option<Done> {
        let job = &self.jobs[index];
        let mut outcome = self.records.outcome(&job.whole, job.file.stamp)?;
        self.resumed.fetch_add(1, Ordering::Relaxed);
        let path = job.file.path.to_string_lossy().into_owned();
        let earlier_path = std::mem::replace(&mut outcome.clip.path, path);
        if earlier_path != outcome.clip.path {
            // So that the next run knows the sidecar by its path of today.
            let evidence = self.records.evidence(&job.whole);
            let kept = self
                .records
                .keep(&job.whole, job.file.stamp, &outcome, &evidence);
            self.note_fault(index, kept);
        }
        self.listener.hear(CardEvent::Finished {
            clip: index,
            outcome: &outcome,
            is_from_record: true,
        });
        Some(Done {
            outcome,
            earlier_path: Some(earlier_path),
        })
    }

    fn note_fault(&self, index: usize, saved: Result<()>) {
        let Err(error) = saved else { return };
        // What fails for one clip for want of room fails for all that follow.
        if error.kind() == ErrorKind::CannotWrite {
            self.output_failed.store(true, Ordering::Relaxed);
        }
        self.faults
            .lock()
            .expect("no thread panics while it holds this")
            .push((index, error));
    }

    fn read(&self, index: usize) -> Option<Done> {
        let job = &self.jobs[index];
        let earlier_path = self.records.earlier_path(&job.whole);
        self.listener.hear(CardEvent::Began { clip: index });
        let mut ear = Ear {
            run: self,
            clip: index,
            was_stopped: false,
        };
        let attempts = self.records.begin(&job.whole, job.file.stamp);
        if attempts > MOST_ATTEMPTS {
            return Some(Done {
                outcome: gave_up(&job.file.path, self.tool.clone()),
                earlier_path,
            });
        }
        let result = fault::catch(|| self.work.read(&job.file.path, &mut ear));
        self.records.end(&job.whole);
        if ear.was_stopped {
            return None;
        }
        let is_fault = result.is_err();
        let (mut outcome, evidence) = result.unwrap_or_else(|said| {
            let outcome = fault::outcome(&job.file.path, &said, self.tool.clone());
            (outcome, Evidence::default())
        });
        outcome.clip.path = job.file.path.to_string_lossy().into_owned();
        let is_whole = self.check_source(job, &mut outcome);
        // What another try may change is not kept for the next run.
        let is_transient = outcome
            .reasons
            .iter()
            .any(|reason| reason.code == ErrorKind::CannotOpen.code());
        let mut saved = Ok(());
        if is_whole && !is_fault && !is_transient {
            saved = self
                .records
                .keep(&job.whole, job.file.stamp, &outcome, &evidence);
        }
        let saved = saved.and_then(|()| {
            let corrected = (self.by_hand)(&job.name, outcome.clone());
            let earlier_path = earlier_path.as_deref();
            save::sidecar(&corrected, &job.sidecar, &job.holder, earlier_path)
        });
        self.note_fault(index, saved);
        Some(Done {
            outcome,
            earlier_path,
        })
    }

    /// False if the file went away or changed while it was read; says so in the outcome.
    fn check_source(&self, job: &Job, outcome: &mut ClipOutcome) -> bool {
        match fs::metadata(&job.file.path) {
            Ok(facts) if FileStamp::of(&facts) == job.file.stamp => true,
            Ok(_) => {
                outcome.notes.push(Note::new(
                    "changed_while_read",
                    "the file was written to while it was read; run again when it is complete",
                ));
                false
            }
            Err(e) => {
                // The place where a drive was mounted stays, empty.
                let is_gone = fs::read_dir(&self.roots[job.file.card])
                    .map_or(true, |mut entries| entries.next().is_none());
                if is_gone {
                    self.card_gone.store(true, Ordering::Relaxed);
                }
                let cause = in_words(&e);
                let error = Error::new(
                    ErrorKind::CannotOpen,
                    format!("the clip went away while it was read ({cause})"),
                )
                .next("connect the card again and run the same command");
                *outcome = ClipOutcome::failed(&job.file.path, &error, self.tool.clone());
                false
            }
        }
    }
}

/// Passes events on, and the wish to stop at once back.
struct Ear<'a> {
    run: &'a Run<'a>,
    clip: usize,
    was_stopped: bool,
}

impl Listener for Ear<'_> {
    fn hear(&mut self, event: Event) -> Wish {
        if self.run.stop.is_now() {
            self.was_stopped = true;
            return Wish::Stop;
        }
        self.run.listener.hear(CardEvent::Clip {
            clip: self.clip,
            event,
        });
        Wish::GoOn
    }
}

/// The outcome of a clip that is left out so that the others can be read.
fn gave_up(path: &Path, tool: Tool) -> ClipOutcome {
    let error = Error::new(ErrorKind::Undecodable, "reading it ended the program");
    let mut outcome = ClipOutcome::failed(path, &error, tool);
    outcome.reasons = vec![Note::new(
        GAVE_UP,
        format!(
            "left out: the program ended {MOST_ATTEMPTS} times while it read this clip; read it \
             alone, and report it if that ends the program again"
        ),
    )];
    outcome
}

/// The outcome of a clip that was not come to.
pub(super) fn not_read(path: &Path, why: Ended, tool: Tool) -> ClipOutcome {
    let because = match why {
        Ended::Complete | Ended::Stopped => "the run was stopped before",
        Ended::OutputFailed => "the run ended before, since results could not be written",
        Ended::CardGone => "the run ended before, since a folder of clips went away",
    };
    let error = Error::new(ErrorKind::CannotOpen, because);
    let mut outcome = ClipOutcome::failed(path, &error, tool);
    outcome.reasons = vec![Note::new(
        NOT_READ,
        format!("not read: {because}; run the same command again to go on"),
    )];
    outcome
}
