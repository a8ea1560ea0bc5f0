//! The start that was chosen, widened by those that cannot be told from it; and starts of unlike clocks,
//! compared by their labels.

use super::doubt::Doubt;
use super::join::Joint;
use super::judge::label_of;
use super::pace::Pace;
use super::reasons;
use super::sight::{DAY_S, Seen};
use super::sweep::DOUBT;
use super::table::Table;
use crate::timecode::{HalfOpen, Ratio, wrapped};

impl Table<'_> {
    /// The chosen start, widened by every other that cannot be told from it; a
    /// doubt for each that differs by more than a frame.
    pub fn hull(&self, chosen: &Joint, survivors: &[&Joint], doubts: &mut Vec<Doubt>) -> HalfOpen {
        let grain = self.grain(&chosen.pace);
        // The middle of all may be within a frame of each where the chosen start is not.
        let twice = grain * Ratio::from_integer(2);
        let (mut hull, mut elsewhere) = self.hull_within(chosen, survivors, twice);
        if !elsewhere.is_empty() || hull.width() > twice {
            let more;
            (hull, more) = self.hull_within(chosen, survivors, grain);
            elsewhere = more;
        }
        for (here, there) in elsewhere {
            let doubt = either(here, there);
            if !doubts.iter().any(|d| d.what == doubt.what) {
                doubts.push(doubt);
            }
        }
        let blur = self.blur(&chosen.pace);
        HalfOpen::new(hull.low - blur, hull.high + blur)
    }

    /// The start, with half a frame either way as where all digits are piles, unless it has that.
    pub fn widened_by_piles(&self, chosen: &Joint, start: HalfOpen) -> HalfOpen {
        if !self.blur(&chosen.pace).is_zero() {
            return start;
        }
        let half = self.frame_s() * chosen.pace.counts_per_second() / Ratio::from_integer(2);
        HalfOpen::new(start.low - half, start.high + half)
    }

    /// The chosen start, widened by all that are at most so many counts away, and the pairs that
    /// are further apart than that, or than a frame from the middle of all.
    fn hull_within<'j>(
        &self,
        chosen: &'j Joint,
        survivors: &[&'j Joint],
        most: Ratio,
    ) -> (HalfOpen, Vec<(Shown<'j>, Shown<'j>)>) {
        let mut hull = chosen.start;
        let grain = self.grain(&chosen.pace);
        let round_s = self.round_s(chosen);
        let apart = |a: Shown, b: Shown| apart(a, b, round_s);
        // Starts are told with the lag, in which a clock may pass labels that another one skips.
        let lag_s = self.known.lag();
        let told = |pace: &'j Pace, start: HalfOpen| {
            let told = start.shift(pace.form.count_at(lag_s));
            (pace, told.middle())
        };
        let of_chosen = told(&chosen.pace, chosen.start);
        let mut elsewhere = Vec::new();
        let mut within = Vec::new();
        for other in survivors {
            let of_other = told(&other.pace, other.start);
            let apart = apart(of_chosen, of_other);
            if apart.abs() > most {
                elsewhere.push((of_chosen, of_other));
                continue;
            }
            // Counts are compared by their labels, so that another clock's fit in.
            let moved = chosen.start.middle() + apart - other.start.middle();
            let start = self.believable(other, chosen).shift(moved);
            hull.low = hull.low.min(start.low);
            hull.high = hull.high.max(start.high);
            within.push(of_other);
        }
        let of_all = told(&chosen.pace, hull);
        let is_far = |other: &Shown| apart(of_all, *other).abs() > grain;
        elsewhere.extend(
            within
                .into_iter()
                .filter(is_far)
                .map(|other| (of_chosen, other)),
        );
        (hull, elsewhere)
    }

    /// Seconds after which the labels that were read repeat. Where no hours were, each start has some
    /// of its own, which tell nothing.
    fn round_s(&self, chosen: &Joint) -> i64 {
        let members = chosen.chosen.iter().zip(self.seen);
        let mut members = members.filter_map(|(start, seen)| start.as_ref().and(Some(seen)));
        if members.any(Seen::tells_hours) {
            DAY_S
        } else {
            HOUR_S
        }
    }

    /// The start of a rival. One that is far behind already uses up the doubt
    /// that its own bounds allow for.
    fn believable(&self, rival: &Joint, chosen: &Joint) -> HalfOpen {
        match rival.chosen.iter().flatten().next() {
            Some(start) if rival.score < chosen.score - DOUBT / 2.0 => HalfOpen::new(
                rival.start.low + (start.core.low - start.bounds.low),
                rival.start.high - (start.bounds.high - start.core.high),
            ),
            _ => rival.start,
        }
    }
}

const HOUR_S: i64 = 3600;

/// A clock, and a count of it.
pub(super) type Shown<'a> = (&'a Pace, Ratio);

/// The doubt between two starts that are more than a frame apart.
fn either(here: Shown, there: Shown) -> Doubt {
    let ((a, at_a), (b, at_b)) = (here, there);
    let (here, there) = (label_of(a.form, at_a), label_of(b.form, at_b));
    if a.form.base() != b.form.base() {
        reasons::clock_unclear(&here, &there)
    } else if a.speed != b.speed {
        reasons::speed_unknown(a.speed, b.speed, &here, &there)
    } else if a.form.rate() != b.form.rate() {
        reasons::rate_unknown(a.form.rate(), b.form.rate(), &here, &there)
    } else if a.form.drop_frame() != b.form.drop_frame() {
        reasons::drop_frame_unknown(&here, &there)
    } else {
        reasons::start_unclear(&here, &there)
    }
}

/// Counts from the label of `a` to that of `b`, as a person would compare them:
/// the parts of one second directly, else by the time of day that they show, which repeats after
/// `round_s`.
fn apart(a: Shown, b: Shown, round_s: i64) -> Ratio {
    let ((seconds_a, part_a), (seconds_b, part_b)) = (label_at(a), label_at(b));
    match seconds_a == seconds_b {
        true => part_b - part_a,
        false => shown_apart(a, b, round_s) * Ratio::from_integer(a.0.form.base()),
    }
}

/// Seconds from the time of day that `a` shows to that of `b`, which repeats after `round_s`.
pub(super) fn shown_apart(a: Shown, b: Shown, round_s: i64) -> Ratio {
    let ((seconds_a, part_a), (seconds_b, part_b)) = (label_at(a), label_at(b));
    let share = |(pace, _): Shown, part: Ratio| part / Ratio::from_integer(pace.form.base());
    let seconds = wrapped(seconds_b - seconds_a, round_s);
    Ratio::from_integer(seconds) + share(b, part_b) - share(a, part_a)
}

/// The seconds of the day that a label shows, and the part of one, with what follows on the label.
fn label_at((pace, at): Shown) -> (i64, Ratio) {
    let count = at.floor();
    let label = pace.form.label(i64::try_from(count).unwrap_or_default());
    let part = Ratio::from_integer(label.part()) + at - Ratio::from_integer(count);
    let seconds = i64::from(label.hours()) * 3600
        + i64::from(label.minutes()) * 60
        + i64::from(label.seconds());
    (seconds, part)
}
