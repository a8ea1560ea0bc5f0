//! Exact time: what everything else counts with. Standard library only, no
//! floats but for display.
//!
//! - [`Ratio`]: a rational number over `i128`; [`wrapped`]: the short way round a dial
//! - [`Rate`]: counts or frames per second, as an integer ratio
//! - [`ClockForm`], [`Frames`]: how a clock counts; count to label, label to count, count to seconds
//! - [`Label`], [`Digits`]: the text form of a count, split up
//! - [`in_clip_base`]: from the clock's count to the clip's own timecode base
//! - [`HalfOpen`]: an interval `[low, high)` of ratios

mod change;
mod error;
mod form;
mod interval;
mod label;
mod rate;
mod ratio;
#[cfg(test)]
pub(crate) mod tests;

pub use change::{Change, InClipBase, in_clip_base};
pub use error::TimecodeError;
pub use form::{ClockForm, Frames};
pub use interval::HalfOpen;
pub use label::{Digits, Label};
pub use rate::Rate;
pub(crate) use ratio::gcd;
pub use ratio::{Ratio, wrapped};
