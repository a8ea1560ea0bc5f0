//! Lateness that no panel has: in one stretch of the looks, and not in the rest. Frames that were
//! lost, a clock that was set by a few counts and a clip that changes its speed all look so.

use super::looks::{Looks, Times};
use super::window::Scored;
use crate::timecode::{HalfOpen, Ratio};

/// Stretches, late and on time in turns, that one change makes: a frame lost, a clock set.
pub(super) const ONE_CHANGE: usize = 2;
/// ... and a speed between the two of a clip that changes its speed. More are a display that
/// beats with the camera.
pub(super) const FEW_STRETCHES: usize = 3;

/// When the looks of a sighting are late.
pub(super) struct Turns {
    /// Stretches, late and on time in turns.
    pub stretches: usize,
    /// The counts at the reference that the first look would give on a display that is never late.
    pub first_look: HalfOpen,
}

impl Turns {
    /// `counts` are those that the start says were displayed. `None` where no display that is
    /// late is needed.
    pub fn of(
        looks: &Looks,
        times: &Times,
        start: &Scored,
        counts: &[i64],
        reference_tick: i64,
    ) -> Option<Self> {
        start.refresh?;
        let form = start.pace.form;
        let per_tick = start.pace.counts_per_second() * times.tick_s;
        // In units, so many to the count that all are whole.
        let units = per_tick.den();
        let from = |look: usize| {
            let since = i128::from(looks.ticks[look] - reference_tick);
            i128::from(counts[look]) * units - per_tick.num() * since
        };
        let plain: Vec<usize> = (0..looks.len())
            .filter(|&look| !looks.is_mixed(look))
            .filter(|&look| looks.agreement_at(look, form, counts[look]).agrees())
            .collect();
        let lowest = plain.iter().map(|&look| from(look)).min()?;
        let highest = plain.iter().map(|&look| from(look)).max()?;
        // Each count tells by its first look how early it came up, and by its last how late it
        // stood.
        let is_late = |shown: &[usize]| {
            let makes_late = from(shown[0]) >= lowest + units;
            let is_late = from(shown[shown.len() - 1]) + units <= highest;
            (is_late != makes_late).then_some(is_late)
        };
        let by_count = plain.chunk_by(|&a, &b| counts[a] == counts[b]);
        let mut stretches: Vec<bool> = by_count.filter_map(is_late).collect();
        stretches.dedup();
        let first = Ratio::new(from(*plain.first()?), units);
        Some(Self {
            stretches: stretches.len(),
            first_look: HalfOpen::new(first, first + Ratio::ONE),
        })
    }

    /// What the first look says by itself, where the display seems late in `most` stretches or
    /// fewer.
    pub fn first_look_alone(&self, most: usize) -> Option<HalfOpen> {
        (ONE_CHANGE..=most)
            .contains(&self.stretches)
            .then_some(self.first_look)
    }
}

/// True if more of the counts came up than a display that draws this seldom can show: of a clock
/// of 100 a panel of 60 Hz leaves out two in five. `counts` are those that the start says were
/// displayed.
pub(super) fn shows_too_many(looks: &Looks, start: &Scored, counts: &[i64]) -> bool {
    let form = start.pace.form;
    let agrees = |&look: &usize| looks.agreement_at(look, form, counts[look]).agrees();
    let mut shown: Vec<i64> = (0..looks.len()).filter(agrees).map(|i| counts[i]).collect();
    shown.dedup();
    let (Some(first), Some(last)) = (shown.first(), shown.last()) else {
        return false;
    };
    // The first and the last may fall on either side of a refresh.
    let passed = Ratio::from_integer(last - first);
    start.slack() > Ratio::ONE
        && Ratio::from_integer(shown.len() as i64 - 2) * start.slack() > passed
}
