//! Progress of long work, on standard error. Where that is not a terminal,
//! indicatif draws nothing.

use super::plain;
use indicatif::{MultiProgress, ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};
use rollmark::card::CardEvent;
use rollmark::fault::FAULT;
use rollmark::progress::{Event, Listener, Wish};
use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, IsTerminal, Write};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// The bar counts in this many steps per second of clip.
const STEPS_PER_S: f64 = 10.0;

/// How often the bar moves by itself, so that one sees the program is alive.
const TICK: Duration = Duration::from_millis(200);

/// Shows how far the reading of one clip has come. Gone when dropped.
pub struct ClipBar {
    bar: ProgressBar,
}

impl ClipBar {
    /// `title` names the clip, without control characters.
    pub fn new(title: String) -> Self {
        Self::on(
            ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr()),
            title,
        )
    }

    /// On a bar that stands among others.
    fn on(bar: ProgressBar, title: String) -> Self {
        bar.set_style(style("{prefix}  {spinner} {msg}"));
        bar.set_prefix(title);
        bar.set_message("opening");
        bar.enable_steady_tick(TICK);
        Self { bar }
    }

    fn place(&self, doing: &'static str, at_s: f64) {
        self.bar.set_position((at_s.max(0.0) * STEPS_PER_S) as u64);
        self.bar.set_message(doing);
    }
}

impl Listener for ClipBar {
    fn hear(&mut self, event: Event) -> Wish {
        match event {
            Event::Opened {
                duration_s: Some(duration_s),
            } => {
                self.bar
                    .set_length((duration_s.max(0.0) * STEPS_PER_S) as u64);
                self.bar.set_style(style("{prefix}  {bar:24} {msg}"));
            }
            Event::Opened { duration_s: None } => {}
            Event::Searching { at_s } => self.place("looking for a clock", at_s),
            Event::Reading { at_s } => self.place("reading the clock", at_s),
            Event::Copying {
                done_bytes,
                total_bytes,
            } => {
                self.bar.set_length(total_bytes);
                self.bar.set_position(done_bytes.min(total_bytes));
                self.bar.set_style(style("{prefix}  {bar:24} {msg}"));
                self.bar.set_message("copying with timecode");
            }
        }
        Wish::GoOn
    }
}

impl Drop for ClipBar {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// Shows how many clips of a practice card are filmed. Gone when dropped.
pub struct FilmBar {
    bar: ProgressBar,
}

impl FilmBar {
    pub fn new(clips: usize) -> Self {
        let length = u64::try_from(clips).expect("a card holds few clips");
        let bar = ProgressBar::with_draw_target(Some(length), ProgressDrawTarget::stderr());
        bar.set_style(style("filming {pos}/{len}  {bar:24} {msg}"));
        bar.enable_steady_tick(TICK);
        Self { bar }
    }

    /// The next clip is begun.
    pub fn film(&self, name: &str) {
        self.bar.inc(1);
        self.bar.set_message(name.to_owned());
    }
}

impl Drop for FilmBar {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// Shows how a whole card comes along: one bar for the card and a line for each clip that is
/// being read. Where standard error is no terminal, one plain line per finished clip.
pub struct BatchBars {
    /// `None` if events are told elsewhere.
    shown: Option<Shown>,
}

struct Shown {
    bars: MultiProgress,
    whole: ProgressBar,
    is_terminal: bool,
    clips: Mutex<BTreeMap<usize, ClipBar>>,
    done: AtomicUsize,
    of: AtomicUsize,
    /// Clips that were read in this run.
    read: Arc<AtomicUsize>,
}

impl Shown {
    fn on(target: ProgressDrawTarget, is_terminal: bool) -> Self {
        let bars = MultiProgress::with_draw_target(target);
        let whole = bars.add(ProgressBar::no_length());
        whole.set_style(style("{spinner} {msg}"));
        whole.set_message("looking for clips");
        whole.enable_steady_tick(TICK);
        Self {
            bars,
            whole,
            is_terminal,
            clips: Mutex::default(),
            done: AtomicUsize::new(0),
            of: AtomicUsize::new(0),
            read: Arc::default(),
        }
    }

    /// A line that stays, above the bars if there are any.
    fn tell(&self, line: &str) {
        // A closed terminal, like a closed pipe, has nobody who reads.
        let _ = match self.is_terminal {
            true => self.bars.println(line),
            false => writeln!(io::stderr(), "{line}"),
        };
    }
}

impl BatchBars {
    pub fn new(is_wanted: bool) -> Self {
        let shown =
            is_wanted.then(|| Shown::on(ProgressDrawTarget::stderr(), io::stderr().is_terminal()));
        Self { shown }
    }

    /// `name` gives the names of planned clips, without control characters.
    pub fn hear<'a>(&self, event: &CardEvent<'_>, name: &dyn Fn(usize) -> &'a str) {
        let Some(shown) = &self.shown else { return };
        let mut clips = shown.clips.lock().expect("no thread panics while it draws");
        match event {
            CardEvent::Scanned { files } => {
                shown.whole.set_message(match files {
                    1 => "1 file, opening it".to_owned(),
                    _ => format!("{files} files, opening each"),
                });
            }
            CardEvent::Probed { done, of } => {
                let files = if *of == 1 { "file" } else { "files" };
                shown
                    .whole
                    .set_message(format!("{done} of {of} {files} opened"));
            }
            CardEvent::Planned { clips } => {
                shown.of.store(clips.len(), Ordering::Relaxed);
                shown.whole.set_length(clips.len() as u64);
                shown.whole.reset_elapsed();
                let read = shown.read.clone();
                shown.whole.set_style(with_time_left(clips.len(), read));
                shown.whole.force_draw();
            }
            CardEvent::Began { clip } => {
                let bar = shown.bars.add(ProgressBar::no_length());
                clips.insert(*clip, ClipBar::on(bar, name(*clip).to_owned()));
            }
            CardEvent::Clip { clip, event } => {
                if let Some(bar) = clips.get_mut(clip) {
                    bar.hear(event.clone());
                }
            }
            CardEvent::Finished {
                clip,
                outcome,
                is_from_record,
            } => {
                clips.remove(clip);
                shown.whole.inc(1);
                let done = shown.done.fetch_add(1, Ordering::Relaxed) + 1;
                // What comes from a record is there at once: no measure of the time that is left.
                shown
                    .read
                    .fetch_add(usize::from(!is_from_record), Ordering::Relaxed);
                if let Some(fault) = outcome.reasons.iter().find(|r| r.code == FAULT) {
                    shown.tell(&format!("{}: {}", name(*clip), plain(&fault.sentence)));
                }
                // What an earlier run found stands in the table, and was there at once.
                if !shown.is_terminal && !is_from_record {
                    let start = outcome.start.as_ref().map_or("", |start| &start.label);
                    let of = shown.of.load(Ordering::Relaxed);
                    let line = format!(
                        "{done}/{of} {}  {} {start}",
                        name(*clip),
                        outcome.verdict.word()
                    );
                    shown.tell(line.trim_end());
                }
            }
        }
    }

    /// Takes everything off the screen.
    pub fn end(&self) {
        if let Some(shown) = &self.shown {
            shown
                .clips
                .lock()
                .expect("no thread panics while it draws")
                .clear();
            shown.whole.finish_and_clear();
        }
    }
}

/// The bar of a whole card of so many clips; `read` counts those that took their time.
fn with_time_left(clips: usize, read: Arc<AtomicUsize>) -> ProgressStyle {
    let tell = move |state: &ProgressState, text: &mut dyn fmt::Write| {
        let to_come = state.len().unwrap_or(0).saturating_sub(state.pos());
        if let Some(left) = time_left(state.elapsed(), read.load(Ordering::Relaxed), to_come) {
            let _ = write!(text, "about {} left", roughly(left));
        }
    };
    let clips = if clips == 1 { "clip" } else { "clips" };
    let template = format!("{{pos}} of {{len}} {clips}  {{bar:24}} {{left}}");
    style(&template).with_key("left", tell)
}

/// By the mean of the clips so far. (The bar's own estimate trusts the last seconds most: while
/// one long clip is read and none is finished, it grows to weeks.)
fn time_left(elapsed: Duration, read: usize, to_come: u64) -> Option<Duration> {
    let mean_s = elapsed.as_secs_f64() / read as f64;
    Duration::try_from_secs_f64(mean_s * to_come as f64).ok()
}

/// `5 s`, `2 min`, `3 h 10 min`: an estimate has no seconds to spare.
fn roughly(left: Duration) -> String {
    let (seconds, minutes) = (left.as_secs().div_ceil(5) * 5, left.as_secs().div_ceil(60));
    match minutes {
        0..=1 => format!("{} s", seconds.max(5)),
        2..=59 => format!("{minutes} min"),
        _ => format!("{} h {:02} min", minutes / 60, minutes % 60),
    }
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).expect("our templates are well formed")
}

#[cfg(test)]
mod tests {
    use super::*;
    use indicatif::TermLike;
    use rollmark::card::Planned;
    use std::path::Path;
    use std::sync::Arc;

    fn heard(events: impl IntoIterator<Item = Event>) -> ClipBar {
        let mut bar = ClipBar {
            bar: ProgressBar::hidden(),
        };
        for event in events {
            assert_eq!(bar.hear(event), Wish::GoOn);
        }
        bar
    }

    #[test]
    fn the_bar_stands_where_the_clip_is_looked_at() {
        let bar = heard([
            Event::Opened {
                duration_s: Some(60.0),
            },
            Event::Searching { at_s: 55.0 },
            Event::Reading { at_s: 12.5 },
        ]);
        assert_eq!(bar.bar.length(), Some(600));
        assert_eq!(bar.bar.position(), 125);
        assert_eq!(bar.bar.message(), "reading the clock");
    }

    #[test]
    fn a_clip_without_a_known_length_has_no_length_and_no_panic() {
        let bar = heard([
            Event::Opened { duration_s: None },
            Event::Searching { at_s: -1.0 },
        ]);
        assert_eq!(bar.bar.length(), None);
        assert_eq!(bar.bar.position(), 0);
    }

    #[test]
    fn one_long_clip_does_not_make_the_time_left_explode() {
        let left = |elapsed_s, read, to_come| {
            time_left(Duration::from_secs(elapsed_s), read, to_come).map(roughly)
        };
        assert_eq!(left(3, 0, 6), None);
        assert_eq!(left(40, 5, 1).as_deref(), Some("10 s"));
        assert_eq!(left(125, 5, 1).as_deref(), Some("25 s"));
        assert_eq!(left(125, 5, 0).as_deref(), Some("5 s"));
        assert_eq!(left(60, 2, 90).as_deref(), Some("45 min"));
        assert_eq!(left(60, 1, 190).as_deref(), Some("3 h 10 min"));
    }

    const WIDTH: usize = 80;

    /// A terminal that keeps what is drawn.
    #[derive(Clone, Debug, Default)]
    struct Paper {
        lines: Arc<Mutex<Vec<String>>>,
        row: Arc<Mutex<usize>>,
    }

    impl Paper {
        /// Puts `text` where the cursor stands; a full line goes on in the next.
        fn put(&self, text: &str) {
            let mut lines = self.lines.lock().unwrap();
            let mut row = self.row.lock().unwrap();
            for letter in text.chars() {
                if lines
                    .get(*row)
                    .is_some_and(|line| line.chars().count() == WIDTH)
                {
                    *row += 1;
                }
                if lines.len() <= *row {
                    lines.resize(*row + 1, String::new());
                }
                lines[*row].push(letter);
            }
        }

        fn shown(&self) -> Vec<String> {
            let lines = self.lines.lock().unwrap();
            lines
                .iter()
                .map(|line| line.trim_end().to_owned())
                .collect()
        }
    }

    impl TermLike for Paper {
        fn width(&self) -> u16 {
            WIDTH as u16
        }
        fn move_cursor_up(&self, n: usize) -> io::Result<()> {
            let mut row = self.row.lock().unwrap();
            *row = row.saturating_sub(n);
            Ok(())
        }
        fn move_cursor_down(&self, n: usize) -> io::Result<()> {
            *self.row.lock().unwrap() += n;
            Ok(())
        }
        fn move_cursor_right(&self, _: usize) -> io::Result<()> {
            Ok(())
        }
        fn move_cursor_left(&self, _: usize) -> io::Result<()> {
            Ok(())
        }
        fn write_line(&self, text: &str) -> io::Result<()> {
            self.put(text);
            *self.row.lock().unwrap() += 1;
            Ok(())
        }
        fn write_str(&self, text: &str) -> io::Result<()> {
            self.put(text);
            Ok(())
        }
        fn clear_line(&self) -> io::Result<()> {
            let row = *self.row.lock().unwrap();
            if let Some(line) = self.lines.lock().unwrap().get_mut(row) {
                line.clear();
            }
            Ok(())
        }
        fn flush(&self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn what_is_one_is_told_as_one() {
        for (many, told) in [
            (
                1,
                ["1 file, opening it", "1 of 1 file opened", "0 of 1 clip  "],
            ),
            (
                2,
                [
                    "2 files, opening each",
                    "2 of 2 files opened",
                    "0 of 2 clips  ",
                ],
            ),
        ] {
            let paper = Paper::default();
            let target = ProgressDrawTarget::term_like(Box::new(paper.clone()));
            let bars = BatchBars {
                shown: Some(Shown::on(target, true)),
            };
            let planned: Vec<Planned> = (0..many)
                .map(|nth| Planned {
                    name: format!("{nth}.mov"),
                    duration_s: None,
                })
                .collect();
            let events = [
                CardEvent::Scanned { files: many },
                CardEvent::Probed {
                    done: many,
                    of: many,
                },
                CardEvent::Planned { clips: &planned },
            ];
            for (event, told) in events.iter().zip(told) {
                bars.hear(event, &|_| "");
                let shown = paper.shown();
                assert!(shown.iter().any(|line| line.contains(told)), "{shown:?}");
            }
        }
    }

    #[test]
    fn a_fault_of_the_program_stays_on_the_screen_above_the_bars() {
        let paper = Paper::default();
        // Without a limit to how often it draws, which would let the last change out now and then.
        let target = ProgressDrawTarget::term_like(Box::new(paper.clone()));
        let bars = BatchBars {
            shown: Some(Shown::on(target, true)),
        };
        let names = ["a.mov", "b.mov"];
        let name = |clip: usize| names[clip];
        let planned = names.map(|name| Planned {
            name: name.into(),
            duration_s: Some(60.0),
        });
        bars.hear(&CardEvent::Planned { clips: &planned }, &name);
        for clip in 0..2 {
            bars.hear(&CardEvent::Began { clip }, &name);
        }
        let tool = rollmark::clip::tool();
        let outcome = rollmark::fault::outcome(Path::new("a.mov"), "division by zero", tool);
        let finished = CardEvent::Finished {
            clip: 0,
            outcome: &outcome,
            is_from_record: false,
        };
        bars.hear(&finished, &name);
        let at = |shown: &[String], words: &str| shown.iter().position(|l| l.contains(words));
        let shown = paper.shown();
        let fault = at(&shown, "division by zero");
        assert!(
            fault.is_some() && fault < at(&shown, "of 2 clips"),
            "{shown:?}"
        );
        bars.end();
        let shown = paper.shown();
        assert!(at(&shown, "division by zero").is_some(), "{shown:?}");
        assert_eq!(at(&shown, "of 2 clips"), None, "{shown:?}");
    }
}
