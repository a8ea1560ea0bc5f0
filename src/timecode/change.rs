//! From the filmed clock's count to the clip's own timecode base.
//!
//! The label keeps real elapsed time: frame 0 of the clip gets the count that a
//! counter at the clip's rate would have reached, had it started from zero at
//! the clock's midnight. `docs/rate-changes.md` shows what that gives for every
//! clock and every clip.

use super::{ClockForm, Rate, Ratio};
use std::fmt;

/// A start in the clip's own timecode base.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InClipBase {
    /// Frames at the clip's rate; drop-frame is decided.
    pub form: ClockForm,
    /// Frames since midnight of this base, `0..form.counts_per_day()`.
    pub count: i64,
    /// `count` as text.
    pub label: String,
    /// Midnights of this base between the clock's midnight and frame 0: 1 where the clock's
    /// day is the longer one (23.976 counts for 86 486.4 s) and frame 0 lies in its last
    /// seconds, else 0.
    pub midnights: i64,
    /// How the label stands to the clock's own.
    pub change: Change,
}

/// How a label in the clip's base stands to the label of the clock. The epoch is
/// always the last midnight of the clock before frame 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// The clip counts as the clock does: the same label.
    SameCount,
    /// The frame fields differ, and hours, minutes and seconds are the clock's own.
    SameSpeed,
    /// One side counts drop-frame and the other real seconds: within 0.15 s all day
    /// (1.8 frames of 29.97 either way within ten minutes, and after 24 hours the
    /// drop-frame label is 2.6 more ahead).
    DropFrame,
    /// The two count at different speeds; nothing but elapsed real time ties them.
    Apart {
        clock: ClockForm,
        clip: ClockForm,
        /// The clip's label minus the clock's, read as hours, minutes and seconds.
        ahead_s: Ratio,
    },
}

/// Puts a clip's frame 0 into the timecode base of the clip.
///
/// `phi` is the clock's count at frame 0, in counts since the clock's midnight,
/// before or after it by any number of days; its fraction counts. `None` if the
/// clip's rate has no timecode base: those that have one are the integers from 1
/// to 1000 and 1000/1001 of them (SMPTE ST 12-1 to 30 and in pairs to 60, ST 12-3
/// to 120; beyond that common practice, no source). Labels at any other rate,
/// 12.5 say, would run at another speed than the seconds they name.
///
/// Drop-frame: where the clip's rate has it, the clip takes it from a clock of
/// the 29.97 family, and from any other clock that keeps real seconds, because
/// the labels then stay within 0.15 s of the clock's, where labels without it fall
/// 3.6 s behind every hour. A clock whose seconds are 1001/1000 of real ones gives
/// a clip without.
///
/// ```
/// use rollmark::timecode::{ClockForm, Rate, Ratio, in_clip_base};
/// let clock = ClockForm::frames(Rate::F29_97, true).unwrap();
/// let phi = Ratio::new(2 * 581_256 + 1, 2);
/// let start = in_clip_base(clock, phi, Rate::F59_94).unwrap();
/// assert_eq!(clock.text(581_256), "05:23:14;18");
/// assert_eq!(start.label, "05:23:14;37");
/// ```
///
/// # Panics
/// If the exact product of `phi` and a rate leaves the range of [`Ratio`]; counts
/// of real clips stay far below.
pub fn in_clip_base(clock: ClockForm, phi: Ratio, clip_rate: Rate) -> Option<InClipBase> {
    let form = clip_form(clock, clip_rate)?;
    let epoch = clock.counts_per_day();
    let phi_today =
        phi - Ratio::from_integer(phi.floor().div_euclid(epoch.into()) * i128::from(epoch));
    let frames = form.count_at(clock.seconds(phi_today)).floor();
    let day = i128::from(form.counts_per_day());
    // Both are below a few days of frames at 1000 a second.
    let (midnights, count) = (frames.div_euclid(day) as i64, frames.rem_euclid(day) as i64);
    Some(InClipBase {
        form,
        count,
        label: form.text(count),
        midnights,
        change: change(clock, phi_today.floor() as i64, form, count),
    })
}

/// How clips of this rate are labelled beside that clock.
fn clip_form(clock: ClockForm, rate: Rate) -> Option<ClockForm> {
    if rate.ratio().den() != 1 && !rate.is_ntsc() {
        return None;
    }
    let drop_frame = rate.has_drop_frame() && label_seconds(clock) != LabelSeconds::Slow;
    ClockForm::frames(rate, drop_frame).ok()
}

/// How the seconds of a clock's labels stand to real ones.
#[derive(Clone, Copy, PartialEq, Eq)]
enum LabelSeconds {
    /// Real seconds.
    Real,
    /// Real seconds, kept by skipping labels.
    DropFrame,
    /// 1001/1000 of real seconds.
    Slow,
    /// Another share: a clock at an odd rate, which no device of the trade has.
    Odd,
}

fn label_seconds(form: ClockForm) -> LabelSeconds {
    let rate = form.rate();
    if form.drop_frame() {
        LabelSeconds::DropFrame
    } else if rate.is_ntsc() {
        LabelSeconds::Slow
    } else if rate.ratio().den() == 1 {
        LabelSeconds::Real
    } else {
        LabelSeconds::Odd
    }
}

fn change(clock: ClockForm, clock_count: i64, clip: ClockForm, clip_count: i64) -> Change {
    match (label_seconds(clock), label_seconds(clip)) {
        _ if clock == clip => Change::SameCount,
        (a, b) if a == b && a != LabelSeconds::Odd => Change::SameSpeed,
        (LabelSeconds::Real, LabelSeconds::DropFrame)
        | (LabelSeconds::DropFrame, LabelSeconds::Real) => Change::DropFrame,
        _ => Change::Apart {
            clock,
            clip,
            ahead_s: (named_s(clip, clip_count) - named_s(clock, clock_count))
                .wrapped(Ratio::from_integer(86_400)),
        },
    }
}

/// The time of day that a label names, in its own seconds.
fn named_s(form: ClockForm, count: i64) -> Ratio {
    let label = form.label(count);
    let seconds = (i128::from(label.hours()) * 60 + i128::from(label.minutes())) * 60
        + i128::from(label.seconds());
    Ratio::from_integer(seconds) + Ratio::new(label.part().into(), form.base().into())
}

impl Change {
    /// True where the clip's label names another time of day than the clock did, so that
    /// people should be told.
    pub const fn is_worth_a_note(self) -> bool {
        matches!(self, Self::Apart { .. })
    }
}

/// One sentence without a final stop.
impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SameCount => f.write_str("the clip counts as the clock does"),
            Self::SameSpeed => f.write_str(
                "the clip counts other frames in the same seconds: hours, minutes and seconds \
                 are the clock's own",
            ),
            Self::DropFrame => f.write_str(
                "one of clock and clip counts drop-frame and the other real seconds: their \
                 labels stay within 0.15 s of each other",
            ),
            Self::Apart {
                clock,
                clip,
                ahead_s,
            } => {
                let tenths = (ahead_s.abs() * Ratio::from_integer(10)).round();
                let side = if *ahead_s < Ratio::ZERO {
                    "behind"
                } else {
                    "ahead of"
                };
                write!(
                    f,
                    "the clock counts {} and the clip {}, whose labels run at different speeds; the \
                     clip's label keeps the real time since the clock's midnight, and here lies \
                     {}.{} s {side} what the clock showed",
                    named(*clock),
                    named(*clip),
                    tenths / 10,
                    tenths % 10,
                )
            }
        }
    }
}

/// `29.97 drop-frame`, `25`, `real seconds`.
fn named(form: ClockForm) -> String {
    let ClockForm::Frames(_) = form else {
        return "real seconds".into();
    };
    let rate = form.rate();
    let kind = match (rate.has_drop_frame(), form.drop_frame()) {
        (true, true) => " drop-frame",
        (true, false) => " non-drop-frame",
        (false, _) => "",
    };
    format!("{}{kind}", rate.decimal())
}
