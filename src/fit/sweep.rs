//! The sweep: how well every phase in a neighbourhood explains the looks, as a
//! function that is constant between breakpoints, and the exact interval in
//! which the phase then lies.
//!
//! A look at x (in counts after the reference time) that shows count c says
//! `c <= phase + x < c + 1 + slack`. Everything is in whole *units*, so many to
//! the count that every look, and every slack, lies on a whole unit.

use super::looks::{Looks, Times};
use super::pace::Pace;
use super::refresh::Refresh;
use crate::timecode::{ClockForm, gcd};
use std::ops::RangeInclusive;

/// How far a phase may fall behind the best one, in nats, and still count as
/// possible: e^7 is about 1,100, the coverage of 99.9 % that bounds must have.
pub(super) const DOUBT: f64 = 7.0;

/// The same where frames do not come evenly. What makes them uneven also repeats old pictures,
/// whose digits are all late by a frame: two or three of them must not bound the phase.
pub(super) const DOUBT_UNEVEN: f64 = 14.0;

/// Looks at one phase of the clock that count as independent where phases are bounded. A
/// camera locked to the clock catches each change at the same moment, so that a reader who
/// takes the blend for the wrong digit does so in every frame.
const ALIKE_LOOKS: f64 = 10.0;
/// Phases that are one to [`ALIKE_LOOKS`], as a part of a count.
const ALIKE_PHASES: i64 = 100;

/// Positions of the looks for one pace, exact.
pub(super) struct Grid {
    /// Units per count.
    pub units: i64,
    /// Units of one tick.
    step: i64,
    /// Units from the reference tick to each look, raised by the rounding of
    /// the stamps (the slacks then hold twice that).
    at: Vec<i64>,
    /// Slack in units without a late display: what the stamps' rounding needs.
    rounding: i64,
    /// For [`Refresh::ALL`]: units by which the display may be late.
    late: [i64; Refresh::ALL.len()],
}

impl Grid {
    /// `None` if the positions leave 64 bits, which takes a sighting of days.
    pub fn of(looks: &Looks, times: &Times, pace: &Pace, reference_tick: i64) -> Option<Self> {
        let per_tick = pace.counts_per_second() * times.tick_s;
        let clock = pace.form.rate().ratio();
        // A late display lags by clock / hz counts; this makes all of them whole.
        let late_den = clock.den().checked_mul(Refresh::LCM_HZ.into())?;
        let shared = gcd(per_tick.den().unsigned_abs(), late_den.unsigned_abs());
        let units = (per_tick.den() / i128::try_from(shared).ok()?).checked_mul(late_den)?;
        let step = i64::try_from(units / per_tick.den() * per_tick.num()).ok()?;
        let late_unit = units / late_den * clock.num();
        let rounding = step.checked_mul(times.rounding_ticks)?;
        let at = looks
            .ticks
            .iter()
            .map(|&tick| {
                let at = tick.checked_sub(reference_tick)?.checked_mul(step)?;
                // Leaves room for a few thousand counts of search either way.
                (at.unsigned_abs() < 1 << 61).then_some(at + rounding)
            })
            .collect::<Option<_>>()?;
        let mut late = [0; Refresh::ALL.len()];
        for (units, refresh) in late.iter_mut().zip(Refresh::ALL) {
            *units = i64::try_from(late_unit * i128::from(Refresh::LCM_HZ / refresh.hz())).ok()?;
        }
        Some(Self {
            units: i64::try_from(units).ok()?,
            step,
            at,
            rounding: 2 * rounding,
            late,
        })
    }

    /// Count that an on-time display shows at a look, relative to count 0 at phase 0.
    pub fn count_at(&self, look: usize, phase: i64) -> i64 {
        (phase + self.at[look]).div_euclid(self.units)
    }

    /// Counts from the reference to the first look, at phase 0.
    pub fn first_count(&self) -> i64 {
        self.count_at(0, 0)
    }

    /// Counts from the reference to the last look, at phase 0.
    pub fn last_count(&self) -> i64 {
        self.count_at(self.at.len() - 1, 0)
    }

    /// The units of so many ticks.
    pub fn units_of(&self, ticks: i64) -> i64 {
        ticks.saturating_mul(self.step)
    }

    /// True if, with one of `counts` at the reference, looks may lie on both sides of a
    /// minute. `plain` counts without drop-frame. A clock that skips labels stood up to that
    /// many labels earlier before the minute: where few looks lie there, `plain` puts them on
    /// labels after it, the very ones that are skipped.
    pub fn goes_over_a_minute(&self, plain: ClockForm, counts: RangeInclusive<i64>) -> bool {
        let skipped = i64::from(plain.base() / 15);
        let first = plain.label(counts.start() + self.first_count() - skipped);
        let last = plain.label(counts.end() + self.last_count());
        (first.hours(), first.minutes()) != (last.hours(), last.minutes())
    }

    /// Slack in units for a display, or for one that is never late.
    pub fn slack(&self, refresh: Option<Refresh>) -> i64 {
        self.rounding + refresh.map_or(0, |refresh| self.late[refresh as usize])
    }

    /// A slack in counts, rounded up.
    fn slack_counts(&self, refresh: Option<Refresh>) -> i64 {
        (self.slack(refresh) + self.units - 1).div_euclid(self.units)
    }
}

/// What the looks say for each count near a candidate: the cache of a sweep.
pub(super) struct Strip<'g> {
    grid: &'g Grid,
    /// Lowest phase swept, a whole count, in units.
    low: i64,
    /// Counts swept.
    counts: i64,
    /// First count cached for each look.
    first: Vec<i64>,
    /// Counts cached for each look.
    width: usize,
    /// Nats against knowing nothing, by look and count.
    says: Vec<f32>,
    /// Looks by the phase within a count at which their count steps up.
    order: Vec<(i64, u32)>,
    /// What each look weighs where phases are bounded; see [`ALIKE_LOOKS`].
    weights: Vec<f64>,
}

/// A stretch of phases that explain the looks equally well.
#[derive(Clone, Copy, Debug)]
struct Piece {
    low: i64,
    /// Sum over looks of the best count allowed.
    best: f64,
    /// The same, less ln of the number of counts allowed: a display that may
    /// show either of two counts foretells each with one half.
    mean: f64,
    /// The best, with each look weighed.
    weighed: f64,
}

/// A count that a look may show from a phase on, or may show no longer.
struct Step {
    /// Units into the count.
    at: i64,
    look: u32,
    enters: bool,
}

/// The result of one sweep.
pub(super) struct Swept {
    pieces: Vec<Piece>,
    low: i64,
    high: i64,
    pub best: f64,
    pub mean: f64,
    pub weighed: f64,
}

impl<'g> Strip<'g> {
    /// Looks at the counts `count + k` for phases within `reach` counts of
    /// `count`; phase 0 is midnight.
    pub fn of(looks: &Looks, grid: &'g Grid, form: ClockForm, count: i64, reach: i64) -> Self {
        let units = grid.units;
        // Phases are kept relative to `count` until they leave this module.
        let low = -reach * units;
        let slacks = Refresh::ALL.map(|refresh| grid.slack_counts(Some(refresh)));
        let most_late = slacks.into_iter().fold(0, i64::max);
        let width = usize::try_from(2 * reach + most_late + 2).expect("small");
        let first: Vec<i64> = (0..looks.len())
            .map(|i| grid.count_at(i, low) - most_late - 1)
            .collect();
        // Looks in a row share most of their counts. Between stamps that lie hours apart there are
        // millions that none of them shows.
        let (mut digits, mut begin) = (Vec::new(), 0);
        let mut says = Vec::with_capacity(looks.len() * width);
        for (look, &first) in first.iter().enumerate() {
            if !(begin..=begin + digits.len() as i64).contains(&first) {
                digits.clear();
                begin = first;
            }
            let known = begin + digits.len() as i64..first + width as i64;
            digits.extend(known.map(|c| form.digits(count + c)));
            let from = (first - begin) as usize;
            says.extend(
                digits[from..from + width]
                    .iter()
                    .map(|d| looks.says(look, d.as_slice())),
            );
        }
        let mut order: Vec<(i64, u32)> = grid
            .at
            .iter()
            .zip(0u32..)
            .map(|(&at, look)| ((-at).rem_euclid(units), look))
            .collect();
        order.sort_unstable();
        let mut weights = vec![1.0; looks.len()];
        for alike in order.chunk_by(|a, b| {
            let part = |at: i64| at / (units / ALIKE_PHASES).max(1);
            part(a.0) == part(b.0)
        }) {
            let weight = (ALIKE_LOOKS / alike.len() as f64).min(1.0);
            for &(_, look) in alike {
                weights[look as usize] = weight;
            }
        }
        Self {
            grid,
            low,
            counts: 2 * reach,
            first,
            width,
            says,
            order,
            weights,
        }
    }

    /// Counts from the reference to a look, in such parts of a count: the least and the most that
    /// its stamp allows.
    pub fn position(&self, look: usize, parts: i64) -> (i64, i64) {
        let parts_at = |units: i64| {
            let parts = i128::from(units) * i128::from(parts);
            (parts.div_euclid(self.grid.units.into())) as i64
        };
        let at = self.grid.at[look];
        (parts_at(at - self.grid.rounding), parts_at(at) + 1)
    }

    /// Nats of the best of `counts` at a look, relative to the count that the strip was made for.
    pub fn says_at_best(&self, look: usize, counts: RangeInclusive<i64>) -> f64 {
        let cached =
            |count: i64| (count - self.first[look]).clamp(0, self.width as i64 - 1) as usize;
        let row = &self.says[look * self.width..(look + 1) * self.width];
        let some = &row[cached(*counts.start())..=cached(*counts.end())];
        f64::from(some.iter().copied().fold(f32::MIN, f32::max))
    }

    /// Nats of the best count of each look, summed: what no phase can exceed.
    pub fn ceiling(&self) -> f64 {
        let best = |row: &[f32]| f64::from(row.iter().copied().fold(f32::MIN, f32::max));
        self.says.chunks_exact(self.width).map(best).sum()
    }

    /// Sweeps all phases of the strip for one kind of display.
    pub fn sweep(&self, refresh: Option<Refresh>) -> Swept {
        let mut pieces = Vec::with_capacity(1 + 2 * self.order.len() * self.counts as usize);
        self.walk(refresh, |piece| pieces.push(piece));
        Swept {
            best: pieces.iter().map(|p| p.best).fold(f64::MIN, f64::max),
            mean: pieces.iter().map(|p| p.mean).fold(f64::MIN, f64::max),
            weighed: pieces.iter().map(|p| p.weighed).fold(f64::MIN, f64::max),
            low: self.low,
            high: self.low + self.counts * self.grid.units,
            pieces,
        }
    }

    /// The highest best and the highest mean of a sweep.
    pub fn peaks(&self, refresh: Option<Refresh>) -> (f64, f64) {
        let mut peaks = (f64::MIN, f64::MIN);
        self.walk(refresh, |piece| {
            peaks = (peaks.0.max(piece.best), peaks.1.max(piece.mean));
        });
        peaks
    }

    /// Hands on the pieces in the order of their phases.
    fn walk(&self, refresh: Option<Refresh>, mut each: impl FnMut(Piece)) {
        let units = self.grid.units;
        let slack = self.grid.slack(refresh);
        let mut frames: Vec<Allowed> = (0..self.first.len())
            .map(|look| {
                let at = self.grid.at[look] + self.low;
                let row = &self.says[look * self.width..(look + 1) * self.width];
                let newest = (at.div_euclid(units) - self.first[look]) as usize;
                let oldest = ((at - slack).div_euclid(units) - self.first[look]) as usize;
                Allowed::new(row, oldest, newest)
            })
            .collect();
        let mut best: f64 = frames.iter().map(|f| f64::from(f.best)).sum();
        // One count more than the slack covers may be allowed, and one that has entered before
        // another leaves.
        let most = self.grid.slack_counts(refresh) + 3;
        let lns: Vec<f64> = (1..=most).map(|counts| (counts as f64).ln()).collect();
        let spread_of = |frame: &Allowed| lns[frame.newest - frame.oldest];
        let mut spread: f64 = frames.iter().map(spread_of).sum();
        let weighs = |(frame, weight): (&Allowed, &f64)| f64::from(frame.best) * weight;
        let mut weighed: f64 = frames.iter().zip(&self.weights).map(weighs).sum();
        each(Piece {
            low: self.low,
            best,
            mean: best - spread,
            weighed,
        });
        let steps = self.steps(slack);
        for count in 0..self.counts {
            let base = self.low + count * units;
            for together in steps.chunk_by(|a, b| a.at == b.at) {
                // The first state already holds what changes at the very start.
                if count == 0 && together[0].at == 0 {
                    continue;
                }
                for step in together {
                    let look = step.look as usize;
                    let frame = &mut frames[look];
                    let before = (f64::from(frame.best), spread_of(frame));
                    let row = &self.says[look * self.width..(look + 1) * self.width];
                    if step.enters {
                        frame.enter(row);
                    } else {
                        frame.leave(row);
                    }
                    let gained = f64::from(frame.best) - before.0;
                    best += gained;
                    weighed += gained * self.weights[look];
                    spread += spread_of(frame) - before.1;
                }
                each(Piece {
                    low: base + together[0].at,
                    best,
                    mean: best - spread,
                    weighed,
                });
            }
        }
    }

    /// What happens while the phase rises by one count, in order: the same in every count.
    fn steps(&self, slack: i64) -> Vec<Step> {
        let units = self.grid.units;
        let step = |at, look, enters| Step { at, look, enters };
        // Oldest counts leave where newest ones entered, a slack later: the same order, turned.
        let turn = slack.rem_euclid(units);
        let (stay, wrap) = self
            .order
            .split_at(self.order.partition_point(|&(at, _)| at < units - turn));
        let wrapped = wrap.iter().map(|&(at, look)| (at + turn - units, look));
        let stayed = stay.iter().map(|&(at, look)| (at + turn, look));
        let mut entering = self.order.iter().copied().peekable();
        let mut steps = Vec::with_capacity(2 * self.order.len());
        for (leaves_at, look) in wrapped.chain(stayed) {
            while let Some((at, look)) = entering.next_if(|&(at, _)| at <= leaves_at) {
                steps.push(step(at, look, true));
            }
            steps.push(step(leaves_at, look, false));
        }
        steps.extend(entering.map(|(at, look)| step(at, look, true)));
        steps
    }

    /// The likeliest count that a display of this kind shows at a look.
    pub fn shown(&self, look: usize, phase: i64, refresh: Option<Refresh>) -> i64 {
        let newest = self.grid.count_at(look, phase);
        let oldest = self.grid.count_at(look, phase - self.grid.slack(refresh));
        let says = |count: i64| {
            usize::try_from(count - self.first[look])
                .ok()
                .filter(|&k| k < self.width)
                .map_or(f32::MIN, |k| self.says[look * self.width + k])
        };
        (oldest..=newest)
            .rev()
            .reduce(|a, b| if says(b) > says(a) { b } else { a })
            .expect("oldest is not above newest")
    }
}

impl Swept {
    /// The middle of the longest stretch of phases that explain the looks best.
    pub fn likeliest(&self) -> i64 {
        // Sums are taken along the way and may differ in the last bits.
        let is_best = |p: &Piece| p.best >= self.best - 1e-6;
        let mut longest = (self.low, self.low);
        let mut from = None;
        for (i, piece) in self.pieces.iter().enumerate() {
            if !is_best(piece) {
                from = None;
                continue;
            }
            let from = *from.get_or_insert(piece.low);
            let to = self.pieces.get(i + 1).map_or(self.high, |p| p.low);
            if to - from > longest.1 - longest.0 {
                longest = (from, to);
            }
        }
        longest.0 + (longest.1 - longest.0) / 2
    }

    /// From the first to the last phase that falls behind the best one by no more than
    /// `doubt` nats, looks weighed, and whose mean is at least `least`. In units, half-open.
    pub fn hull(&self, doubt: f64, least: f64) -> Option<(i64, i64)> {
        let possible = |p: &Piece| p.weighed >= self.weighed - doubt && p.mean >= least;
        let first = self.pieces.iter().position(possible)?;
        let last = self.pieces.iter().rposition(possible)?;
        let high = self.pieces.get(last + 1).map_or(self.high, |p| p.low);
        Some((self.pieces[first].low, high))
    }
}

/// The counts that a look may show at the current phase.
struct Allowed {
    oldest: usize,
    newest: usize,
    best: f32,
}

impl Allowed {
    fn new(row: &[f32], oldest: usize, newest: usize) -> Self {
        let mut allowed = Self {
            oldest,
            newest,
            best: 0.0,
        };
        allowed.search(row);
        allowed
    }

    fn search(&mut self, row: &[f32]) {
        self.best = row[self.oldest..=self.newest]
            .iter()
            .copied()
            .fold(f32::MIN, f32::max);
    }

    fn enter(&mut self, row: &[f32]) {
        self.newest += 1;
        self.best = self.best.max(row[self.newest]);
    }

    fn leave(&mut self, row: &[f32]) {
        let leaving = row[self.oldest];
        self.oldest += 1;
        if leaving >= self.best {
            self.search(row);
        }
    }
}
