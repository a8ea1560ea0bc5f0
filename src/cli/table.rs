//! Outcomes for people: one row per clip, in the order given or on a card those that need a look last, the reason below
//! the row it belongs to, and what to do next at the end, where it is still on
//! the screen when the rest has scrolled away.

use super::plain;
use comfy_table::{Attribute, Cell, CellAlignment, Color, ContentArrangement, presets};
use rollmark::card::{NOT_WRITTEN, REPORT_FILE};
use rollmark::note::{Note, sentence};
use rollmark::outcome::{ClipOutcome, Clock, Verdict};
use rollmark::timecode::Rate;
use std::borrow::Cow;
use std::path::Path;
use std::time::Duration;

const HEADER: [&str; 6] = ["clip", "verdict", "start", "clock", "± frames", "seen at"];

/// Names are not cut below this many columns, however narrow the terminal.
const NARROWEST_NAME: usize = 16;

/// Reasons stand this far in, so that the rows stay easy to find.
const REASON_INDENT: &str = "     ";

/// Longest line of a reason where the width is unknown or very great; longer
/// lines are hard to follow (common practice, no source).
const WIDEST_REASON: usize = 96;

/// A clip and what it is called in this run, without control characters.
#[derive(Clone, Debug)]
pub struct Row<'a> {
    pub name: String,
    pub outcome: Cow<'a, ClipOutcome>,
}

/// What the place that shows the table can do.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    pub in_colour: bool,
    /// Columns; `None` if the output is not a terminal, and nothing is cut.
    pub width: Option<usize>,
}

impl Look {
    pub fn of_terminal(in_colour: bool) -> Self {
        Self {
            in_colour,
            width: comfy_table::Table::new().width().map(usize::from),
        }
    }
}

/// [`Table::rows`], then [`Table::summary`]; complaints go between the two, so that
/// nothing that needs an eye scrolls away.
pub struct Table<'a> {
    pub rows: &'a [Row<'a>],
    pub closing: Closing<'a>,
    pub look: Look,
}

/// What stands below the table.
pub enum Closing<'a> {
    Read {
        /// Where sidecars were written.
        sidecars: Option<&'a Path>,
    },
    Card {
        out: &'a Path,
        /// Remarks about the card as a whole.
        notes: &'a [Note],
        /// Clips that were not read again.
        resumed: usize,
        /// Clips that the run did not come to; they have no row.
        not_read: usize,
        took: Duration,
        /// All clips were read, and the page that shows them was written.
        has_report: bool,
    },
}

impl Table<'_> {
    /// The rows, and a blank line; nothing if there are none.
    pub fn rows(&self) -> String {
        if self.rows.is_empty() {
            return String::new();
        }
        let facts: Vec<_> = self.rows.iter().map(|row| facts(&row.outcome)).collect();
        let name_room = self.name_room(&facts);
        let mut grid = comfy_table::Table::new();
        grid.load_style(presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Disabled)
            .set_header(HEADER.map(|title| self.cell(title).add_attribute(Attribute::Dim)));
        if self.look.in_colour {
            grid.enforce_styling();
        } else {
            grid.force_no_tty();
        }
        for (row, facts) in self.rows.iter().zip(&facts) {
            let verdict = row.outcome.verdict;
            let mut cells = vec![
                self.cell(&shortened(&row.name, name_room)),
                self.cell(verdict.word()).fg(colour(verdict)),
            ];
            cells.extend(facts.iter().map(|fact| self.cell(fact)));
            grid.add_row(cells);
        }
        // One blank column on either side of each cell; the outer one is not needed.
        for column in grid.column_iter_mut() {
            column.set_padding((0, 2));
        }
        if let Some(column) = grid.column_mut(4) {
            column.set_cell_alignment(CellAlignment::Right);
        }
        let mut lines = grid.lines();
        let head = lines.next().unwrap_or_default();
        let mut text = vec![head.trim_end().to_owned()];
        for (row, line) in self.rows.iter().zip(lines) {
            text.push(line.trim_end().to_owned());
            let reason = self.reason(&row.outcome).into_iter();
            text.extend(reason.map(|line| format!("{REASON_INDENT}{line}")));
        }
        text.join("\n") + "\n\n"
    }

    fn cell(&self, text: &str) -> Cell {
        Cell::new(text)
    }

    /// Columns that are left for names when the other cells are as wide as they are.
    fn name_room(&self, facts: &[[String; 4]]) -> usize {
        let Some(width) = self.look.width else {
            return usize::MAX;
        };
        let widest = |column: usize| {
            facts
                .iter()
                .map(|row| columns(&row[column]))
                .chain([columns(HEADER[column + 2])])
                .max()
                .unwrap_or(0)
        };
        let others: usize = (0..4).map(|column| widest(column) + 2).sum();
        let verdict = "verdict".len() + 2;
        width
            .saturating_sub(others + verdict + 2)
            .max(NARROWEST_NAME)
    }

    /// Why a clip is not `sure`, and that it ends early, as lines that fit.
    fn reason(&self, outcome: &ClipOutcome) -> Vec<String> {
        let room = self.room(REASON_INDENT.len());
        let is_open = outcome.verdict != Verdict::Sure;
        let reasons = outcome.reasons.iter().filter(|_| is_open);
        let estimate = outcome.estimate.as_ref().filter(|_| is_open);
        let estimate = estimate.map(|estimate| &estimate.sentence);
        reasons
            .chain(outcome.cut_short())
            .map(|note| &note.sentence)
            .chain(estimate)
            .flat_map(|words| wrapped(&sentence(&plain(words)), room))
            .collect()
    }

    /// Columns for a sentence that stands `indent` columns in.
    fn room(&self, indent: usize) -> usize {
        self.look.width.map_or(WIDEST_REASON, |width| {
            width
                .saturating_sub(indent + 1)
                .clamp(NARROWEST_NAME, WIDEST_REASON)
        })
    }

    /// How many clips came out how, and what to do next.
    pub fn summary(&self) -> String {
        let count = |verdict| {
            self.rows
                .iter()
                .filter(|row| row.outcome.verdict == verdict)
                .count()
        };
        let not_read = match self.closing {
            Closing::Card { not_read, .. } => not_read,
            Closing::Read { .. } => 0,
        };
        let clips = match self.rows.len() + not_read {
            1 => "1 clip".to_owned(),
            n => format!("{n} clips"),
        };
        let rejected = self.rows.iter().filter(|row| row.outcome.was_rejected());
        let rejected = rejected.count();
        let without_clock = count(Verdict::None) - rejected;
        let parts: Vec<_> = [
            (count(Verdict::Sure), "sure"),
            (count(Verdict::Unsure), "unsure"),
            (without_clock, "without a running clock"),
            (rejected, "rejected by hand"),
            (count(Verdict::Failed), "failed"),
            (not_read, "not read"),
        ]
        .into_iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, words)| format!("{count} {words}"))
        .collect();
        let mut tally = match parts.as_slice() {
            [] => format!("{clips}."),
            _ => format!("{clips}: {}.", parts.join(", ")),
        };
        let mut lines = Vec::new();
        // Paths are never broken: somebody will copy them.
        let mut last = None;
        match self.closing {
            Closing::Read { sidecars } => {
                let advice = ADVICE.into_iter().filter(|(verdict, _)| match verdict {
                    Verdict::None => without_clock > 0,
                    verdict => count(*verdict) > 0,
                });
                lines.extend(advice.map(|(_, words)| words.to_owned()));
                last = sidecars.map(|folder| format!("Sidecars: {}", shown(folder)));
            }
            Closing::Card {
                out,
                notes,
                resumed,
                took,
                has_report,
                ..
            } => {
                tally.push_str(&match resumed {
                    0 => String::new(),
                    n if n == self.rows.len() => " All from an earlier run.".to_owned(),
                    n => format!(" {n} of them from an earlier run."),
                });
                tally.push_str(&format!(" It took {}.", duration(took)));
                // What could not be written was complained of above, file by file.
                let notes = notes.iter().filter(|note| note.code != NOT_WRITTEN);
                lines.extend(notes.map(|note| sentence(&plain(&note.sentence))));
                if has_report {
                    let seen = match self.rows.len() {
                        0 => "what was passed over",
                        _ => "what each start rests on",
                    };
                    last = Some(format!(
                        "Open {} to see {seen}.",
                        shown(&out.join(REPORT_FILE))
                    ));
                }
            }
        }
        lines.insert(0, tally);
        let room = self.room(0);
        let wrapped = lines.iter().flat_map(|line| wrapped(line, room));
        wrapped.chain(last).map(|line| line + "\n").collect()
    }
}

/// A path on one line.
fn shown(path: &Path) -> String {
    plain(&path.to_string_lossy())
}

/// What to do about clips of each verdict.
const ADVICE: [(Verdict, &str); 3] = [
    (
        Verdict::Unsure,
        "Unsure: compare the start with the clip by eye; --pictures DIR shows what was seen.",
    ),
    (
        Verdict::None,
        "No running clock: if there is one, try --pictures DIR to see what was looked at.",
    ),
    (
        Verdict::Failed,
        "Failed: the line below each such clip says what to do.",
    ),
];

/// `0.8 s`, `42 s`, `3 min 05 s`, `2 h 10 min`.
fn duration(took: Duration) -> String {
    let seconds = took.as_secs();
    match seconds {
        // Nothing takes no time.
        0..=9 => format!("{:.1} s", took.as_secs_f64().max(0.1)),
        10..=59 => format!("{seconds} s"),
        60..=3599 => format!("{} min {:02} s", seconds / 60, seconds % 60),
        _ => format!("{} h {:02} min", seconds / 3600, seconds / 60 % 60),
    }
}

/// Start, clock, bounds and place of a clip; empty where nothing is known.
fn facts(outcome: &ClipOutcome) -> [String; 4] {
    [
        outcome.start.as_ref().map(|start| start.label.clone()),
        outcome.clock.as_ref().map(clock_words),
        outcome.either_way().map(|way| way.to_string()),
        Some(seen_at(outcome)),
    ]
    .map(|fact| plain(&fact.unwrap_or_default()))
}

const fn colour(verdict: Verdict) -> Color {
    match verdict {
        Verdict::Sure => Color::Green,
        Verdict::Unsure => Color::Yellow,
        Verdict::None => Color::Reset,
        Verdict::Failed => Color::Red,
    }
}

/// `25`, `29.97 drop`, `29.97 drop?`, `1/100 s`.
fn clock_words(clock: &Clock) -> String {
    let Ok(rate) = clock.rate.parse::<Rate>() else {
        return clock.rate.clone();
    };
    // Clocks without frames count parts of a second, whatever the user said.
    match clock.form.as_str() {
        "HH:MM:SS" => return "seconds".to_owned(),
        "HH:MM:SS.d" => return "1/10 s".to_owned(),
        "HH:MM:SS.dd" => return "1/100 s".to_owned(),
        "HH:MM:SS.ddd" => return "1/1000 s".to_owned(),
        _ => {}
    }
    let drop_frame = match clock.drop_frame {
        Some(true) => " drop",
        None if rate.has_drop_frame() => " drop?",
        _ => "",
    };
    format!("{}{drop_frame}", rate.decimal())
}

/// `0:01.2-0:03.4`, with a count of the windows that are not shown.
fn seen_at(outcome: &ClipOutcome) -> String {
    let span = |window: &rollmark::outcome::Window| {
        format!(
            "{}-{}",
            minutes(window.first_seconds),
            minutes(window.last_seconds)
        )
    };
    match outcome.windows.as_slice() {
        [] => String::new(),
        [only] => span(only),
        [first, rest @ ..] => format!("{} +{}", span(first), rest.len()),
    }
}

/// `m:ss.s`
fn minutes(seconds: f64) -> String {
    let tenths = (seconds.max(0.0) * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}

/// Columns that a text takes in a terminal: two for the wide letters of East
/// Asia, one for all others. Combining marks would need Unicode's tables; here
/// they cost a column, and a name is cut a little earlier than it must be.
fn columns(text: &str) -> usize {
    text.chars().map(|c| if is_wide(c) { 2 } else { 1 }).sum()
}

/// The main blocks that Unicode Standard Annex 11 lists as wide.
const fn is_wide(c: char) -> bool {
    matches!(c,
        '\u{1100}'..='\u{115f}' | '\u{2e80}'..='\u{a4cf}' | '\u{ac00}'..='\u{d7a3}'
        | '\u{f900}'..='\u{faff}' | '\u{fe30}'..='\u{fe6f}' | '\u{ff00}'..='\u{ff60}'
        | '\u{1f300}'..='\u{1faff}' | '\u{20000}'..='\u{3fffd}')
}

/// Cuts the middle out of a name that needs more than `room` columns: numbers
/// that tell clips apart stand at the end.
fn shortened(name: &str, room: usize) -> String {
    if columns(name) <= room {
        return name.to_owned();
    }
    let head_room = room.saturating_sub(1) / 3;
    let tail_room = room.saturating_sub(1) - head_room;
    let fitting = |letters: &mut dyn Iterator<Item = char>, room: usize| {
        let mut used = 0;
        letters
            .take_while(|&c| {
                used += columns(c.encode_utf8(&mut [0; 4]));
                used <= room
            })
            .collect::<Vec<_>>()
    };
    let head: String = fitting(&mut name.chars(), head_room).into_iter().collect();
    let tail: String = fitting(&mut name.chars().rev(), tail_room)
        .into_iter()
        .rev()
        .collect();
    format!("{head}…{tail}")
}

/// Breaks a sentence at spaces into lines of at most `room` columns; a longer
/// word gets a line of its own.
fn wrapped(text: &str, room: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if columns(line) + 1 + columns(word) <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
#[path = "table_tests.rs"]
mod tests;
