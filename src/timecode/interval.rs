//! Intervals that say which end belongs to them.

use super::Ratio;
use std::fmt;

/// `[low, high)`: holds `low`, does not hold `high`. Empty if `high <= low`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct HalfOpen {
    pub low: Ratio,
    pub high: Ratio,
}

impl HalfOpen {
    pub const fn new(low: Ratio, high: Ratio) -> Self {
        Self { low, high }
    }

    pub fn is_empty(self) -> bool {
        self.high <= self.low
    }

    pub fn contains(self, value: Ratio) -> bool {
        self.low <= value && value < self.high
    }

    /// What both hold; may be empty.
    #[must_use]
    pub fn intersect(self, other: Self) -> Self {
        Self {
            low: self.low.max(other.low),
            high: self.high.min(other.high),
        }
    }

    /// `high - low`; zero if empty.
    pub fn width(self) -> Ratio {
        (self.high - self.low).max(Ratio::ZERO)
    }

    /// The interval moved by `distance`.
    #[must_use]
    pub fn shift(self, distance: Ratio) -> Self {
        Self {
            low: self.low + distance,
            high: self.high + distance,
        }
    }

    /// The interval moved by the whole days that bring its middle nearest to `place`.
    #[must_use]
    pub fn nearest_to(self, place: Ratio, day: Ratio) -> Self {
        let apart = self.middle() - place;
        self.shift(apart.wrapped(day) - apart)
    }

    /// The interval with its ends on whole parts, of which `parts` make one: it holds all that it
    /// held, and its terms are small.
    #[must_use]
    pub fn outward(self, parts: i64) -> Self {
        let whole = |end: Ratio| end * Ratio::from_integer(parts);
        let part = |count: i128| Ratio::new(count, parts.into());
        Self {
            low: part(whole(self.low).floor()),
            high: part(whole(self.high).ceil()),
        }
    }

    /// Halfway between the ends.
    pub fn middle(self) -> Ratio {
        (self.low + self.high) / Ratio::from_integer(2)
    }
}

impl fmt::Display for HalfOpen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "[{}, {})", self.low, self.high)
    }
}
