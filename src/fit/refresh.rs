//! How often displays are drawn anew.

use crate::timecode::{Rate, Ratio};

/// A display that refreshes so many times a second, and may be late by one refresh, in the order of
/// how late. Those slower than any panel redraw at every second refresh or less often.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Refresh {
    Hz120,
    Hz60,
    Hz50,
    Hz30,
    Hz25,
    Hz24,
}

impl Refresh {
    pub const ALL: [Self; 6] = [
        Self::Hz120,
        Self::Hz60,
        Self::Hz50,
        Self::Hz30,
        Self::Hz25,
        Self::Hz24,
    ];
    /// What most displays do.
    pub const USUAL: Self = Self::Hz60;
    /// The fastest that is told from none.
    pub const FASTEST: Self = Self::Hz120;
    /// The slowest panel in common use.
    pub const SLOWEST_PANEL: Self = Self::Hz50;
    /// Least common multiple of all of them, in hertz.
    pub const LCM_HZ: u32 = {
        let (mut lcm, mut next) = (1, 0);
        while next < Self::ALL.len() {
            let hz = Self::ALL[next].hz();
            let mut multiple = lcm;
            while multiple % hz != 0 {
                multiple += lcm;
            }
            (lcm, next) = (multiple, next + 1);
        }
        lcm
    };

    pub const fn hz(self) -> u32 {
        match self {
            Self::Hz120 => 120,
            Self::Hz60 => 60,
            Self::Hz50 => 50,
            Self::Hz30 => 30,
            Self::Hz25 => 25,
            Self::Hz24 => 24,
        }
    }

    /// ln of how likely it is beforehand, against 0 for digits that are never late: burned in, or lit
    /// directly.
    pub const fn prior(self) -> f64 {
        match self {
            Self::Hz120 | Self::Hz60 => -2.0,
            Self::Hz50 => -3.0,
            Self::Hz30 => -6.0,
            Self::Hz25 | Self::Hz24 => -7.0,
        }
    }

    /// Counts of a clock of `rate` that pass in one refresh.
    pub fn counts(self, rate: Rate) -> Ratio {
        rate.ratio() / Ratio::from_integer(self.hz())
    }
}
