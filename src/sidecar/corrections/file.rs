//! The file as people write it, and what is wrong with it, by line.

use super::{Corrections, Entry, Says, Shape, What};
use crate::error::{Error, ErrorKind, Result};
use crate::timecode::{ClockForm, Rate};
use serde::Deserialize;
use std::ops::Range;
use toml::Spanned;

/// The largest frame number that a correction may name: a year at 120 fps.
const MOST_FRAMES: i64 = 4_000_000_000;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    clip: Vec<Lines>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Lines {
    name: Spanned<String>,
    start: Option<Spanned<String>>,
    frame: Option<Spanned<i64>>,
    rate: Option<Spanned<toml::Value>>,
    drop_frame: Option<Spanned<bool>>,
    reject: Option<Spanned<bool>>,
    #[serde(default)]
    remark: String,
}

impl Corrections {
    /// Reads a file of corrections.
    ///
    /// # Errors
    /// [`ErrorKind::BadRequest`] with the line: text that is not TOML, unknown or
    /// contradicting keys, a label or a rate that does not exist, two entries for one clip.
    pub fn from_text(text: &str) -> Result<Self> {
        let file: File = toml::from_str(text).map_err(|error| {
            let line = line_of(text, error.span().map_or(0, |span| span.start));
            let what = error.message().lines().collect::<Vec<_>>().join(", ");
            refused(line, &what).next(
                "write one [[clip]] for each clip, with `name` in quotes, and below it `start` in \
                 quotes, `rate`, `drop_frame` or `reject`",
            )
        })?;
        let mut entries: Vec<Entry> = Vec::new();
        for lines in file.clip {
            let entry = entry(text, lines)?;
            if let Some(first) = entries.iter().find(|other| other.name == entry.name) {
                return Err(refused(
                    entry.line,
                    &format!(
                        "`{}` was corrected on line {} already",
                        entry.name, first.line
                    ),
                )
                .next("keep one of the two"));
            }
            entries.push(entry);
        }
        Ok(Self { entries })
    }
}

fn entry(text: &str, lines: Lines) -> Result<Entry> {
    let at = |span: Range<usize>| line_of(text, span.start);
    let line = at(lines.name.span());
    let says = Says {
        rate: lines
            .rate
            .as_ref()
            .map(|value| rate(text, value, at(value.span())))
            .transpose()?,
        drop_frame: lines.drop_frame.as_ref().map(|value| *value.get_ref()),
    };
    if let (Some(rate), Some(true)) = (says.rate, says.drop_frame) {
        ClockForm::frames(rate, true).map_err(|error| refused(line, &error.to_string()))?;
    }
    let is_rejected = lines.reject.as_ref().map(|value| *value.get_ref());
    let has_more = lines.start.is_some() || says.rate.is_some() || says.drop_frame.is_some();
    let what = match (is_rejected, &lines.start) {
        (Some(true), _) if has_more || lines.frame.is_some() => {
            return Err(
                refused(line, "a clip cannot be rejected and set at the same time")
                    .next("keep `reject`, or the other keys"),
            );
        }
        (Some(true), _) => What::Reject,
        (_, Some(start)) => {
            let frame = frame(lines.frame.as_ref(), at)?;
            start_of(start.get_ref(), frame, says, at(start.span()))?
        }
        (_, None) if !has_more => {
            return Err(refused(line, "nothing is said about this clip")
                .next("add `start = \"HH:MM:SS:FF\"`, `rate`, `drop_frame` or `reject = true`"));
        }
        (_, None) if lines.frame.is_some() => {
            return Err(refused(line, "there is a `frame` and no `start`")
                .next("add the label that this frame shows as `start`"));
        }
        (_, None) => What::Clock(says),
    };
    Ok(Entry {
        name: lines.name.into_inner(),
        line,
        what,
        remark: lines.remark,
    })
}

/// `25`, `29.97` or `"30000/1001"`, as it was typed: no number goes through a float.
fn rate(text: &str, value: &Spanned<toml::Value>, line: usize) -> Result<Rate> {
    let typed = text.get(value.span()).unwrap_or_default();
    let typed = typed.trim_matches(['"', '\'']);
    let rate: Rate = typed
        .parse()
        .map_err(|error: crate::timecode::TimecodeError| refused(line, &error.to_string()))?;
    ClockForm::frames(rate, false)
        .map(|_| rate)
        .map_err(|error| refused(line, &error.to_string()))
}

fn frame(value: Option<&Spanned<i64>>, at: impl Fn(Range<usize>) -> usize) -> Result<i64> {
    match value {
        None => Ok(0),
        Some(value) if (0..=MOST_FRAMES).contains(value.get_ref()) => Ok(*value.get_ref()),
        Some(value) => Err(refused(
            at(value.span()),
            &format!("{} is not a frame of a clip", value.get_ref()),
        )
        .next("count frames from 0")),
    }
}

fn start_of(label: &str, frame: i64, says: Says, line: usize) -> Result<What> {
    let wrong = |what: String| {
        refused(line, &what).next(
            "write what the clock shows: HH:MM:SS:FF, HH:MM:SS;FF with drop-frame, HH:MM:SS, or \
             HH:MM:SS.d with up to three digits",
        )
    };
    let label = label.trim();
    let third_mark = label.match_indices([':', ';', '.', ',']).nth(2);
    let part = third_mark.map_or("", |(at, _)| &label[at..]);
    let shape = match (part.chars().next(), part.len()) {
        (Some(mark @ (':' | ';')), 2..=4) => Shape::Frames {
            has_semicolon: mark == ';',
        },
        (None, _) => Shape::Fraction(ClockForm::Seconds),
        (Some('.' | ','), 2) => Shape::Fraction(ClockForm::Tenths),
        (Some('.' | ','), 3) => Shape::Fraction(ClockForm::Hundredths),
        (Some('.' | ','), 4) => Shape::Fraction(ClockForm::Thousandths),
        _ => return Err(wrong(format!("`{label}` is not a label"))),
    };
    match shape {
        Shape::Fraction(form) => {
            form.parse(label)
                .map_err(|error| wrong(error.to_string()))?;
            if says.rate.is_some() || says.drop_frame.is_some() {
                return Err(refused(line, "a clock without frames has no frame rate")
                    .next("take `rate` and `drop_frame` out"));
            }
        }
        Shape::Frames { has_semicolon } => {
            if has_semicolon && says.drop_frame == Some(false) {
                return Err(refused(line, "the label has the semicolon of drop-frame")
                    .next("write a colon, or `drop_frame = true`"));
            }
            // Without the rate, what no clock shows; all else once the clip is known.
            let judged = match says.rate {
                Some(rate) => {
                    ClockForm::frames(rate, has_semicolon || says.drop_frame == Some(true))
                        .and_then(|form| form.parse(label))
                }
                None => ClockForm::frames(Rate::F120, false)
                    .and_then(|form| form.parse(&label.replace(';', ":"))),
            };
            judged.map_err(|error| wrong(error.to_string()))?;
        }
    }
    Ok(What::Start {
        label: label.trim().to_owned(),
        frame,
        shape,
        says,
    })
}

fn refused(line: usize, what: &str) -> Error {
    Error::new(ErrorKind::BadRequest, format!("line {line}: {what}"))
}

/// Lines count from 1.
fn line_of(text: &str, at: usize) -> usize {
    let before = text.as_bytes().get(..at).unwrap_or(text.as_bytes());
    before.iter().filter(|&&byte| byte == b'\n').count() + 1
}
