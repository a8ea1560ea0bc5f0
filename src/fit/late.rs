//! Lateness that no panel has: in one stretch of the looks, and not in the rest. Frames that were
//! lost, a clock that was set by a few counts and a clip that changes its speed all look so.

use super::looks::Times;
use super::placed::Placed;
use super::sight::is_coarse;
use super::window::Scored;
use crate::timecode::{HalfOpen, Ratio};

/// Stretches, late and on time in turns, that one change makes: a frame lost, a clock set. More
/// are a display that beats with the camera.
const ONE_CHANGE: usize = 2;
/// Counts of a stretch: fewer are digits that were caught in their change, or drawn late once.
const SHORTEST_STRETCH: usize = 3;

/// The counts at the reference that the first look would give on a display that is never late,
/// if the looks that are late for this start, and those that make them so, are two stretches.
///
/// Panels refresh at whole multiples of the rates of seconds and tenths, or nearly: there, one
/// change is what a panel makes, too. Then it is taken for a frame lost or repeated, of
/// `frame_s` seconds, and no more than that.
pub(super) fn first_look_alone(
    placed: &Placed,
    times: &Times,
    start: &Scored,
    reference_tick: i64,
    frame_s: Ratio,
) -> Option<HalfOpen> {
    start.refresh?;
    let (looks, form, counts) = (placed.looks, placed.form, &placed.counts);
    let per_tick = start.pace.counts_per_second() * times.tick_s;
    // In units, so many to the count that all are whole.
    let units = per_tick.den();
    let from = |look: usize| {
        let since = i128::from(looks.ticks[look] - reference_tick);
        i128::from(counts[look]) * units - per_tick.num() * since
    };
    let plain = placed.plainly_agreeing();
    let lowest = plain.iter().map(|&look| from(look)).min()?;
    let highest = plain.iter().map(|&look| from(look)).max()?;
    // Each count tells by its first look how early it came up, and by its last how late it stood.
    let is_late = |shown: &[usize]| {
        let makes_late = from(shown[0]) >= lowest + units;
        let is_late = from(shown[shown.len() - 1]) + units <= highest;
        (is_late != makes_late).then_some(is_late)
    };
    let by_count = plain.chunk_by(|&a, &b| counts[a] == counts[b]);
    let told: Vec<bool> = by_count.filter_map(is_late).collect();
    let runs = told.chunk_by(|a, b| a == b);
    let mut stretches: Vec<bool> = runs
        .filter(|run| run.len() >= SHORTEST_STRETCH)
        .map(|run| run[0])
        .collect();
    stretches.dedup();
    if stretches.len() != ONE_CHANGE {
        return None;
    }
    let first = Ratio::new(from(*plain.first()?), units);
    let first = HalfOpen::new(first, first + Ratio::ONE);
    if !is_coarse(form) {
        return Some(first);
    }
    let frame = frame_s * start.pace.counts_per_second();
    let HalfOpen { low, high } = start.bounds;
    Some(match stretches[0] {
        // All that came after a lost frame is ahead of what came before.
        true => HalfOpen::new(first.low.max(low - frame), high),
        false => HalfOpen::new(low, first.high.min(high + frame)),
    })
}

/// True if more of the counts came up than a display that draws this seldom can show: of a clock
/// of 100 a panel of 60 Hz leaves out two in five.
pub(super) fn shows_too_many(placed: &Placed, start: &Scored) -> bool {
    let mut shown: Vec<i64> = placed.agreeing().map(|i| placed.counts[i]).collect();
    shown.dedup();
    let (Some(first), Some(last)) = (shown.first(), shown.last()) else {
        return false;
    };
    // The first and the last may fall on either side of a refresh.
    let passed = Ratio::from_integer(last - first);
    start.slack() > Ratio::ONE
        && Ratio::from_integer(shown.len() as i64 - 2) * start.slack() > passed
}
