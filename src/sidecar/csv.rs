//! A card as a table, `clips.csv`: RFC 4180, UTF-8, one row a clip in the order of the
//! card. `docs/interchange.md` explains the columns.

use crate::clip_base;
use crate::outcome::{CardClip, CardOutcome};
use crate::timecode::Ratio;

/// The heads of the columns. New ones come last, so that a column keeps its letter.
pub const COLUMNS: [&str; 22] = [
    "name",
    "camera",
    "verdict",
    "clip_label",
    "clip_frame",
    "clip_rate",
    "clip_drop_frame",
    "clock_label",
    "clock_form",
    "clock_rate",
    "clock_drop_frame",
    "seconds",
    "seconds_either_way",
    "estimate_seconds",
    "estimate_either_way",
    "frames",
    "duration_seconds",
    "variable_rate",
    "recording",
    "inherited_from",
    "by_hand",
    "reasons",
];

/// The table.
pub fn to_bytes(card: &CardOutcome) -> Vec<u8> {
    let mut table = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    let mut write = |row: &[String]| table.write_record(row).expect(IN_MEMORY);
    write(&COLUMNS.map(str::to_owned));
    for clip in &card.clips {
        write(&row(card, clip));
    }
    table.into_inner().expect(IN_MEMORY)
}

const IN_MEMORY: &str = "rows of one length written to memory";

fn row(card: &CardOutcome, clip: &CardClip) -> [String; COLUMNS.len()] {
    let outcome = &clip.outcome;
    let start = outcome.start.as_ref();
    let based = start.and_then(|start| start.in_clip_base.as_ref());
    let clock = outcome.clock.as_ref();
    let estimate = outcome.estimate.as_ref();
    // Half a minute off and more, if the clock is the other one of those that are open.
    let is_open =
        clock.is_some_and(clip_base::is_open) || clip_base::why_no_place(outcome).is_some();
    let clock_of_seconds = clock.filter(|_| !is_open);
    let seconds = clock_of_seconds.and_then(|_| clip_base::seconds_of_day(outcome));
    let bounds_s = clock_of_seconds
        .and_then(clip_base::clock_form)
        .zip(start.and_then(clip_base::phi_bounds))
        .map(|(form, counts)| form.seconds_of(counts));
    let half = |width: Ratio| micros_up(width / Ratio::from_integer(2));
    let reasons: Vec<&str> = outcome
        .reasons
        .iter()
        .map(|reason| reason.sentence.as_str())
        .collect();
    let camera = card.cameras.get(clip.camera);
    [
        text(&clip.name),
        text(camera.map_or("", |camera| &camera.name)),
        outcome.verdict.word().into(),
        based.map_or(String::new(), |based| based.label.clone()),
        based.map_or(String::new(), |based| based.count.to_string()),
        text(outcome.clip.rate.as_deref().unwrap_or("")),
        yes_no(based.map(|based| based.drop_frame)),
        text(start.map_or("", |start| &start.label)),
        text(clock.map_or("", |clock| &clock.form)),
        text(clock.map_or("", |clock| &clock.rate)),
        yes_no(clock.and_then(|clock| clock.drop_frame)),
        seconds.map_or(String::new(), micros),
        bounds_s.map_or(String::new(), |bounds| half(bounds.width())),
        // In the clock's own day already, which rounding must not leave.
        estimate.map_or(String::new(), |e| e.seconds.to_string()),
        estimate.map_or(String::new(), |e| {
            let millis = (e.seconds_bounds[1] - e.seconds_bounds[0]) * 500.0;
            format!("{:.3}", millis.ceil() / 1000.0)
        }),
        outcome.clip.frames.map_or(String::new(), |n| n.to_string()),
        duration(outcome.clip.exact_duration_seconds.as_deref()),
        yes_no(Some(outcome.clip.variable_rate)),
        text(outcome.chapter.as_ref().map_or("", |c| &c.recording)),
        text(
            start
                .and_then(|s| s.inherited_from.as_deref())
                .unwrap_or(""),
        ),
        text(outcome.by_hand.as_ref().map_or("", |hand| hand.what.word())),
        text(&reasons.join("; ")),
    ]
}

fn yes_no(value: Option<bool>) -> String {
    match value {
        Some(true) => "yes",
        Some(false) => "no",
        None => "",
    }
    .into()
}

/// Text that a spreadsheet will not take for a formula: an apostrophe stands before what
/// begins with `=`, `+`, `-`, `@`, a tab or a line break (OWASP, "CSV Injection"). Numbers
/// of ours are never negative and need none.
fn text(value: &str) -> String {
    match value.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n') => format!("'{value}"),
        _ => value.to_owned(),
    }
}

fn duration(exact: Option<&str>) -> String {
    let seconds: Option<Ratio> = exact.and_then(|text| text.parse().ok());
    seconds.map_or(String::new(), micros)
}

const MILLION: i128 = 1_000_000;

/// Seconds with six decimals, rounded to the nearest; not below zero.
fn micros(seconds: Ratio) -> String {
    decimal((seconds * Ratio::from_integer(MILLION)).round())
}

/// Seconds with six decimals, rounded up.
fn micros_up(seconds: Ratio) -> String {
    decimal((seconds * Ratio::from_integer(MILLION)).ceil())
}

fn decimal(micros: i128) -> String {
    format!("{}.{:06}", micros / MILLION, micros % MILLION)
}
