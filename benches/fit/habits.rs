//! Displays, cameras and readers that do not keep to what the fit assumes of them.

use crate::filming::Clock;

/// How a scene departs from an even clock before an even camera.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Habit {
    Even,
    /// This share of counts never comes up: the one before stands in its place.
    Misses(f64),
    /// What stands above the parts of a second comes from another source, so many counts late.
    TwoSources(i64),
    /// After 12:59:59 comes 01:00:00.
    TwelveHours,
    /// A place keeps the digit that it had on frame 0.
    Frozen(usize),
    /// Seen through a player that shows a new picture about once in so many real seconds.
    Stale(f64),
    /// Set on by so many counts, at a time in real seconds.
    Set {
        at_s: f64,
        by: i64,
    },
    /// The reader swaps two neighbouring digits in this share of frames.
    Swaps(f64),
    /// The camera loses this share of frames, and stamps the others as if none were lost.
    Loses(f64),
    /// From a time in clip seconds on the clip plays at another speed.
    Ramp {
        at_s: f64,
        speed: f64,
    },
}

/// A value from 0 to 1 that is always the same for a seed and a number.
fn even(seed: u64, number: i64) -> f64 {
    let mut x = seed ^ (number as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    for factor in [0xBF58_476D_1CE4_E5B9, 0x94D0_49BB_1331_11EB] {
        x = (x ^ (x >> 29)).wrapping_mul(factor);
    }
    (x >> 11) as f64 / (1u64 << 53) as f64
}

impl Habit {
    /// When the picture that is seen at a real time was made.
    pub fn made_s(self, real_s: f64, seed: u64) -> f64 {
        let Self::Stale(every_s) = self else {
            return real_s;
        };
        let renewed = |k: i64| (k as f64 + even(seed, k)) * every_s;
        let now = (real_s / every_s).floor() as i64;
        let last = (now - 2..=now).rev().map(renewed).find(|&s| s <= real_s);
        last.expect("renewed in each stretch before this one")
    }

    /// The count that a display shows where an even one shows `count` at a real time.
    pub fn shows(self, count: i64, real_s: f64, seed: u64) -> i64 {
        match self {
            Self::Misses(share) if even(seed, count) < share => count - 1,
            Self::Set { at_s, by } if real_s >= at_s => count + by,
            _ => count,
        }
    }

    /// The digits of a count; `phi` is the count on frame 0.
    pub fn digits(self, clock: &Clock, count: i64, phi: f64) -> Vec<u8> {
        let mut digits = clock.digits(count);
        match self {
            Self::TwoSources(late) => {
                digits[..6].copy_from_slice(&clock.digits(count - late)[..6]);
            }
            Self::TwelveHours => {
                let hour = (10 * digits[0] + digits[1] + 11) % 12 + 1;
                (digits[0], digits[1]) = (hour / 10, hour % 10);
            }
            Self::Frozen(place) => digits[place] = clock.digits(phi.floor() as i64)[place],
            _ => {}
        }
        digits
    }

    /// The count of the label that a person reads on frame 0, `phi` being the parts' own.
    pub fn read_on_frame_0(self, clock: &Clock, phi: f64) -> f64 {
        match self {
            Self::TwoSources(late) if clock.label(phi.floor() as i64)[3] < late => {
                phi - clock.base as f64
            }
            Self::TwelveHours if clock.label(phi.floor() as i64)[0] > 12 => {
                phi - clock.day() as f64 / 2.0
            }
            _ => phi,
        }
    }

    /// Counts by which the display may be late for it, at `rate` counts a real second.
    pub fn latest_counts(self, rate: f64) -> f64 {
        match self {
            Self::Misses(_) => 1.0,
            Self::Stale(every_s) => 2.0 * every_s * rate,
            _ => 0.0,
        }
    }

    /// Real seconds at a time in the clip, at a speed that may change.
    pub fn real_s(self, clip_s: f64, speed: f64) -> f64 {
        match self {
            Self::Ramp { at_s, speed: then } if clip_s > at_s => {
                at_s * speed + (clip_s - at_s) * then
            }
            _ => clip_s * speed,
        }
    }
}
