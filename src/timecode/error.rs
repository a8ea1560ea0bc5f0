//! Why a label, a rate or a ratio is refused.

use std::fmt;

/// What is wrong with a label, a rate or a ratio; the text names what would be right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TimecodeError {
    /// The text is not shaped like a label of this clock.
    NotALabel { text: String, pattern: &'static str },
    /// One field of the label is too large.
    OutOfRange {
        field: &'static str,
        value: u32,
        largest: u32,
    },
    /// Drop-frame counting skips this label.
    Dropped { label: String, skipped: u32 },
    /// The text has the mark of drop-frame and the clock counts without.
    UnexpectedDropMark { text: String },
    /// Drop-frame is not defined at this rate.
    NoDropFrame { rate: String },
    /// A frame clock of this rate has no two- or three-digit frame field.
    NoFrameField { rate: String },
    /// The text is not a rate.
    NotARate { text: String },
    /// The text is not a ratio.
    NotARatio { text: String },
}

impl fmt::Display for TimecodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotALabel { text, pattern } => {
                write!(f, "`{text}` is not a label of the form {pattern}")
            }
            Self::OutOfRange {
                field,
                value,
                largest,
            } => write!(f, "{field} {value} is above the largest, {largest}"),
            Self::Dropped { label, skipped } => write!(
                f,
                "`{label}` does not exist: drop-frame skips the first {skipped} labels of \
                 every minute that is not divisible by ten"
            ),
            Self::UnexpectedDropMark { text } => write!(
                f,
                "`{text}` has the semicolon of drop-frame, but this clock counts without; \
                 write a colon"
            ),
            Self::NoDropFrame { rate } => write!(
                f,
                "there is no drop-frame at {rate}: it is defined at 29.97, 59.94 and 119.88"
            ),
            Self::NoFrameField { rate } => write!(
                f,
                "a clock that counts frames needs a rate from 1 to 1000, not {rate}"
            ),
            Self::NotARate { text } => write!(
                f,
                "`{text}` is not a known rate; write one of 23.976 (or 23.98), 24, 25, 29.97, \
                 30, 47.952, 48, 50, 59.94, 60, 100, 119.88, 120, or a ratio such as 30000/1001"
            ),
            Self::NotARatio { text } => write!(
                f,
                "`{text}` is not a number; write an integer, a decimal or a ratio such as 1/25"
            ),
        }
    }
}

impl std::error::Error for TimecodeError {}
