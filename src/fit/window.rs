//! One sighting against every pace: which starts explain it, and how tightly.

use super::looks::{FIRST_MISREAD_SHARE, Looks, Times};
use super::pace::{Pace, REFRESHES};
use super::search::{self, Candidate};
use super::sweep::{DOUBT, Grid, Strip, Swept};
use crate::timecode::{HalfOpen, Label, Ratio};

/// Starts this far behind the best one, in nats, are dropped before the last,
/// finer weighing: more than any reweighing can make up for.
const HOPELESS: f64 = 60.0;
/// Starts kept for the last weighing.
const WEIGHED: usize = 8;
/// A phase known to less than this many tenths of a count shows that the
/// looks fall on different phases of the clock.
const UNLOCKED_TENTHS: i64 = 9;

/// One start of a sighting, weighed.
#[derive(Clone, Debug)]
pub(super) struct Scored {
    pub pace: Pace,
    /// The clock's count at the reference tick, as displayed. Low end within the
    /// day or a few counts before it.
    pub bounds: HalfOpen,
    /// Entry of the refresh table that explains late digits.
    pub refresh: Option<usize>,
    /// ln of the probability, up to a constant that all starts of one sighting share.
    pub score: f64,
    /// Nats gained against knowing nothing.
    pub gain: f64,
}

/// What one sighting says by itself.
pub(super) struct WindowFit {
    /// Tick at which the counts of `scored` hold.
    pub reference_tick: i64,
    /// Tick of the first look.
    pub first_tick: i64,
    /// Starts, best first. Empty if there is nothing to go by.
    pub scored: Vec<Scored>,
}

impl WindowFit {
    pub const EMPTY: Self = Self {
        reference_tick: 0,
        first_tick: 0,
        scored: Vec::new(),
    };
}

impl Scored {
    pub fn slack(&self) -> Ratio {
        self.refresh.map_or(Ratio::ZERO, |i| {
            self.pace.form.rate().ratio() / Ratio::from_integer(REFRESHES[i].0)
        })
    }

    /// The same labels on a drop-frame clock, where the looks do not go over a
    /// minute: there, they cannot tell the two apart.
    fn skipping_labels(&self, looks: &Looks, grid: &Grid) -> Option<Self> {
        let plain = self.pace.form;
        let pace = self
            .pace
            .with_drop_frame(true)
            .filter(|_| !plain.drop_frame())?;
        let count = i64::try_from(self.bounds.middle().floor()).ok()?;
        let [first, last] =
            [0, looks.len() - 1].map(|look| plain.label(count + grid.count_at(look, 0)));
        if (first.hours(), first.minutes()) != (last.hours(), last.minutes()) {
            return None;
        }
        let skipping = pace.form.count(&plain.label(count)).ok()?;
        Some(Self {
            pace,
            bounds: self.bounds.shift(Ratio::from_integer(
                skipping - count.rem_euclid(plain.counts_per_day()),
            )),
            ..self.clone()
        })
    }
}

/// Weighs all paces. Reweighs the looks with the share of misread digits that
/// the best start shows.
pub(super) fn fit_window(
    looks: &mut Looks,
    times: &Times,
    paces: &[Pace],
    drop_frame: Option<bool>,
) -> WindowFit {
    if looks.len() == 0 {
        return WindowFit::EMPTY;
    }
    looks.weigh(FIRST_MISREAD_SHARE);
    let reference_tick = search::reference_tick(looks, times);
    let grids: Vec<Option<Grid>> = paces
        .iter()
        .map(|pace| Grid::of(looks, times, pace, reference_tick))
        .collect();
    let candidates = search::candidates(looks, times, paces, &grids);
    let mut starts: Vec<Start> = Vec::new();
    for candidate in &candidates {
        let pace = paces[candidate.pace];
        let Some(grid) = &grids[candidate.pace] else {
            continue;
        };
        for start in counts_of(candidate, pace, grid, looks) {
            if !starts.iter().any(|s| s.is_near(&start)) {
                starts.push(start);
            }
        }
    }
    // First weighing: on time, or a common panel.
    for start in &mut starts {
        let grid = Grid::of(looks, times, &start.pace, reference_tick).expect("had a grid above");
        let strip = start.strip(looks, &grid);
        start.score = start.pace.prior
            + [None, Some(PANEL)]
                .map(|refresh| strip.sweep(refresh).mean + prior(refresh))
                .into_iter()
                .fold(f64::MIN, f64::max);
    }
    starts.sort_by(|a, b| b.score.total_cmp(&a.score));
    let Some(best) = starts.first() else {
        return WindowFit {
            reference_tick,
            first_tick: looks.ticks[0],
            scored: Vec::new(),
        };
    };
    let hopeless = best.score - HOPELESS;
    let grid = Grid::of(looks, times, &best.pace, reference_tick).expect("had a grid above");
    let share = misread_share(looks, best, &grid);
    starts.retain(|s| s.score >= hopeless);
    starts.truncate(WEIGHED);
    looks.weigh(share);
    let mut scored: Vec<Scored> = Vec::new();
    for start in &starts {
        let grid = Grid::of(looks, times, &start.pace, reference_tick).expect("had a grid above");
        let one = start.weigh(looks, &grid);
        if drop_frame.is_none() {
            scored.extend(one.skipping_labels(looks, &grid));
        }
        scored.push(one);
    }
    if let Some(wanted) = drop_frame {
        scored
            .retain(|s| s.pace.form.drop_frame() == wanted || !s.pace.form.rate().has_drop_frame());
    }
    scored.sort_by(|a, b| b.score.total_cmp(&a.score));
    WindowFit {
        reference_tick,
        first_tick: looks.ticks[0],
        scored,
    }
}

/// Index of 60 Hz in the refresh table.
const PANEL: usize = 1;

fn prior(refresh: Option<usize>) -> f64 {
    refresh.map_or(0.0, |i| REFRESHES[i].1)
}

/// A start before its last weighing.
#[derive(Clone, Copy)]
struct Start {
    pace: Pace,
    count: i64,
    score: f64,
}

/// The counts that a candidate's label may stand for. Labels were put together
/// without drop-frame; where a clock skips labels, the label at the other end
/// of the sighting may be the one that was put together right.
fn counts_of(candidate: &Candidate, pace: Pace, grid: &Grid, looks: &Looks) -> Vec<Start> {
    let mut starts = Vec::new();
    let mut add = |pace: Pace, label: Label, back: i64| {
        let skipped = pace.form.base() as u16 / 15;
        let later = Label::new(
            label.hours(),
            label.minutes(),
            label.seconds(),
            label.part() + skipped,
        );
        let count = pace.form.count(&label).or_else(|_| pace.form.count(&later));
        if let Ok(count) = count {
            starts.push(Start {
                pace,
                count: count - back,
                score: 0.0,
            });
        }
    };
    add(pace, candidate.label, 0);
    // Without drop-frame, to see whether the sighting goes over a minute.
    let plain = pace.with_drop_frame(false).unwrap_or(pace);
    let Ok(count) = plain.form.count(&candidate.label) else {
        return starts;
    };
    let ends = [0, looks.len() - 1].map(|look| grid.count_at(look, 0));
    let labels = ends.map(|off| plain.form.label(count + off));
    let minute = |label: Label| (label.hours(), label.minutes());
    if minute(labels[0]) == minute(labels[1]) {
        return starts;
    }
    let skipping = pace.with_drop_frame(true);
    for pace in [
        Some(pace).filter(|p| p.form.drop_frame()),
        skipping.filter(|_| !pace.form.drop_frame()),
    ]
    .into_iter()
    .flatten()
    {
        for (label, off) in labels.into_iter().zip(ends) {
            add(pace, label, off);
        }
    }
    starts
}

impl Start {
    fn is_near(&self, other: &Self) -> bool {
        self.pace == other.pace && (self.count - other.count).abs() <= 1
    }

    fn strip<'g>(&self, looks: &Looks, grid: &'g Grid) -> Strip<'g> {
        // A candidate lies anywhere in a stretch as wide as the lag it was found with.
        let reach = search::lag_counts(&self.pace) + 2;
        Strip::of(looks, grid, self.pace.form, self.count, reach)
    }

    /// Chooses the least slack that explains the looks, and bounds the phase.
    fn weigh(&self, looks: &Looks, grid: &Grid) -> Scored {
        let strip = self.strip(looks, grid);
        let kinds: Vec<Option<usize>> = std::iter::once(None)
            .chain((0..REFRESHES.len()).map(Some))
            .collect();
        let swept: Vec<(Option<usize>, Swept)> = kinds
            .into_iter()
            .map(|refresh| (refresh, strip.sweep(refresh)))
            .collect();
        let total = |(refresh, swept): &(Option<usize>, Swept)| swept.mean + prior(*refresh);
        // The first of equals is the one with the least slack.
        let mut chosen = 0;
        for (i, entry) in swept.iter().enumerate() {
            if total(entry) > total(&swept[chosen]) {
                chosen = i;
            }
        }
        let most = total(&swept[chosen]);
        let (refresh, winner) = &swept[chosen];
        let mut hull = winner
            .hull(|best, _| best >= winner.best - DOUBT)
            .expect("the best piece passes");
        // Looks that all fall on one phase of the clock cannot tell a late
        // display: its lag is then constant, and the count is as displayed.
        let locked = (hull.1 - hull.0) * 10 >= UNLOCKED_TENTHS * grid.units;
        if !locked {
            for (i, entry) in swept.iter().enumerate() {
                if i == chosen || total(entry) < most - DOUBT {
                    continue;
                }
                let (refresh, other) = entry;
                let more = other.hull(|best, mean| {
                    best >= other.best - DOUBT && mean + prior(*refresh) >= most - DOUBT
                });
                if let Some(more) = more {
                    hull = (hull.0.min(more.0), hull.1.max(more.1));
                }
            }
        }
        let counts = |units: i64| {
            Ratio::from_integer(self.count) + Ratio::new(units.into(), grid.units.into())
        };
        Scored {
            pace: self.pace,
            bounds: HalfOpen::new(counts(hull.0), counts(hull.1)),
            refresh: *refresh,
            score: most + self.pace.prior,
            gain: winner.best,
        }
    }
}

/// The share of digits that the best start calls misread, drawn towards the
/// share taken at first as by 50 more digits: few digits cannot tell much.
fn misread_share(looks: &Looks, best: &Start, grid: &Grid) -> f32 {
    const DRAWN_BY: f32 = 50.0;
    let strip = best.strip(looks, grid);
    let swept = strip.sweep(Some(PANEL));
    let Some((low, high)) = swept.hull(|best, _| best >= swept.best) else {
        return FIRST_MISREAD_SHARE;
    };
    let phase = low + (high - low) / 2;
    let (mut read, mut against) = (0, 0);
    for look in 0..looks.len() {
        let count = best.count + strip.shown(look, phase, Some(PANEL));
        let agreement = looks.agreement(look, best.pace.form.digits(count).as_slice());
        read += agreement.read;
        against += agreement.against;
    }
    (against as f32 + DRAWN_BY * FIRST_MISREAD_SHARE) / (read as f32 + DRAWN_BY)
}

/// The counts that a start says were displayed.
pub(super) fn place(
    looks: &Looks,
    times: &Times,
    start: &Scored,
    reference_tick: i64,
) -> Option<Vec<i64>> {
    let grid = Grid::of(looks, times, &start.pace, reference_tick)?;
    let middle = start.bounds.middle();
    let count = i64::try_from(middle.floor()).ok()?;
    let phase = (middle - Ratio::from_integer(count)) * Ratio::from_integer(grid.units);
    let phase = i64::try_from(phase.floor()).ok()?;
    let strip = Strip::of(looks, &grid, start.pace.form, count, 1);
    let shown = |look| count + strip.shown(look, phase, start.refresh);
    Some((0..looks.len()).map(shown).collect())
}

/// Nats that one clock standing still at its best label explains.
pub(super) fn standing_gain(looks: &Looks) -> f64 {
    let places = looks.dial.places();
    let mut digits = [0u8; 9];
    for place in 0..places {
        let mut sums = [0f64; 10];
        for look in 0..looks.len() {
            for (sum, said) in sums.iter_mut().zip(looks.place(look, place)) {
                *sum += f64::from(*said);
            }
        }
        let best = (0..10u8).max_by(|&a, &b| sums[usize::from(a)].total_cmp(&sums[usize::from(b)]));
        digits[looks.dial.hidden_digits() + place] = best.unwrap_or(0);
    }
    (0..looks.len())
        .map(|look| f64::from(looks.says(look, &digits[..looks.dial.hidden_digits() + places])))
        .sum()
}
