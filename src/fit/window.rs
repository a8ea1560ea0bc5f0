//! One sighting against every pace: which starts explain it, and how tightly.

use super::ballot::{Ballot, ENOUGH};
use super::looks::{Looks, Times};
use super::pace::Pace;
use super::placed::Placed;
use super::refresh::Refresh;
use super::search::{self, Candidate};
use super::sweep::{DOUBT, DOUBT_UNEVEN, Grid, Strip, Swept};
use crate::timecode::{HalfOpen, Label, Ratio, wrapped};

/// Starts this far behind the best one, in nats, are dropped before the last,
/// finer weighing: more than any reweighing can make up for.
const HOPELESS: f64 = 60.0;
/// Starts kept for the last weighing.
const WEIGHED: usize = 16;
/// Counts swept beyond the reach of a candidate: one for the step of the search, one for a
/// display that lags more.
const REACH_MORE: i64 = 2;
/// A phase known to less than this many tenths of a count, or of the time between two looks
/// where that is shorter, shows that the looks fall on different phases of the clock.
const UNLOCKED_TENTHS: i64 = 9;

/// Part of the exposure by which a reader may miss its middle: it takes a digit caught in its
/// change for the old one a little too long, or not long enough. An estimate, no measurement.
const MIXED_MARGIN: f64 = 0.1;

/// One start of a sighting, weighed.
#[derive(Clone, Debug)]
pub(super) struct Scored {
    pub pace: Pace,
    /// The clock's count at the reference tick, as displayed. Low end within the
    /// day or a few counts before it.
    pub bounds: HalfOpen,
    /// The same without doubt: what the looks say if they are taken at their word.
    pub core: HalfOpen,
    /// Where the looks are explained best, within `bounds` or near them.
    likeliest: Ratio,
    /// The refresh that explains late digits.
    pub refresh: Option<Refresh>,
    /// ln of the probability, up to a constant that all starts of one sighting share.
    pub score: f64,
    /// The same if the display may be late by as much as any panel is, and
    /// nothing is made of the pattern in which it is.
    pub lenient_score: f64,
    /// Nats gained against knowing nothing.
    pub gain: f64,
}

/// What one sighting says by itself.
pub(super) struct WindowFit {
    /// Tick at which the counts of `scored` hold.
    pub reference_tick: i64,
    /// Tick of the first look.
    pub first_tick: i64,
    /// Tick of the last look.
    pub last_tick: i64,
    /// Starts, best first. Empty if there is nothing to go by.
    pub scored: Vec<Scored>,
    /// What the looks say against other hours, minutes and seconds than those of
    /// the best start; empty if that was not asked.
    pub ballots: Vec<Ballot>,
}

impl WindowFit {
    pub const EMPTY: Self = Self {
        reference_tick: 0,
        first_tick: 0,
        last_tick: 0,
        scored: Vec::new(),
        ballots: Vec::new(),
    };
}

impl Scored {
    pub fn slack(&self) -> Ratio {
        let counts = |refresh: Refresh| refresh.counts(self.pace.form.rate());
        self.refresh.map_or(Ratio::ZERO, counts)
    }

    /// The same phase at a time of day about `foretold` counts, at its cost in
    /// nats, where the looks do not object: a sighting whose hours are dark may
    /// take them from another.
    pub fn moved_near(&self, foretold: Ratio, ballots: &[Ballot]) -> Option<Self> {
        let form = self.pace.form;
        let count = i64::try_from(self.bounds.middle().floor()).ok()?;
        let label = form.label(count);
        let foretold_count = i64::try_from(foretold.floor()).ok()?;
        let base = i64::from(form.base());
        let (near, cost) = [-base, 0, base]
            .into_iter()
            .filter_map(|second| {
                let there = form.label(foretold_count + second);
                let near = Label::new(
                    there.hours(),
                    there.minutes(),
                    there.seconds(),
                    label.part(),
                );
                let cost = ballots.iter().map(|b| b.cost(label, near)).sum::<f64>();
                Some((form.count(&near).ok()?, cost))
            })
            .min_by_key(|&(near, _)| wrapped(near - foretold_count, form.counts_per_day()).abs())?;
        let moved = Ratio::from_integer(near - count);
        let start = Self {
            bounds: self.bounds.shift(moved),
            core: self.core.shift(moved),
            likeliest: self.likeliest + moved,
            score: self.score - cost,
            lenient_score: self.lenient_score - cost,
            ..self.clone()
        };
        (cost < ENOUGH).then_some(start)
    }

    /// The same labels on a drop-frame clock, where the looks do not go over a
    /// minute: there, they cannot tell the two apart.
    fn skipping_labels(&self, grid: &Grid) -> Option<Self> {
        let plain = self.pace.form;
        let pace = self
            .pace
            .with_drop_frame(true)
            .filter(|_| !plain.drop_frame())?;
        let low = i64::try_from(self.bounds.low.floor()).ok()?;
        let high = i64::try_from(self.bounds.high.ceil()).ok()?;
        if grid.goes_over_a_minute(plain, low..=high) {
            return None;
        }
        let count = i64::try_from(self.bounds.middle().floor()).ok()?;
        let skipping = pace.form.count(&plain.label(count)).ok()?;
        let moved = Ratio::from_integer(skipping - count.rem_euclid(plain.counts_per_day()));
        Some(Self {
            pace,
            bounds: self.bounds.shift(moved),
            core: self.core.shift(moved),
            likeliest: self.likeliest + moved,
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
    looks.weigh_first();
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
        for start in counts_of(candidate, pace, grid) {
            if !starts.iter().any(|s| s.is_near(&start)) {
                starts.push(start);
            }
        }
    }
    // First weighing: on time, or a common panel; or a panel whose pattern is not looked at.
    let (mut most, mut most_lenient) = (f64::MIN, f64::MIN);
    for start in &mut starts {
        let grid = Grid::of(looks, times, &start.pace, reference_tick).expect("had a grid above");
        let strip = start.strip(looks, &grid);
        // No phase explains more than each look's best count does.
        let at_most = start.pace.prior + strip.ceiling();
        if at_most < most.min(most_lenient) - HOPELESS {
            continue;
        }
        let usual = Some(Refresh::USUAL);
        let [(_, on_time), (best, late)] = [None, usual].map(|refresh| strip.peaks(refresh));
        start.score = start.pace.prior + on_time.max(late + prior(usual));
        start.lenient_score = start.pace.prior + best;
        most = most.max(start.score);
        most_lenient = most_lenient.max(start.lenient_score);
    }
    let Some(best) = starts
        .iter()
        .copied()
        .max_by(|a, b| a.score.total_cmp(&b.score))
    else {
        return WindowFit::EMPTY;
    };
    for start in &mut starts {
        start.behind = (best.score - start.score).min(most_lenient - start.lenient_score);
    }
    let grid = Grid::of(looks, times, &best.pace, reference_tick).expect("had a grid above");
    let shares = misread_shares(looks, &best, &grid);
    starts.retain(|s| s.behind <= HOPELESS);
    starts.sort_by(|a, b| a.behind.total_cmp(&b.behind));
    starts.truncate(WEIGHED);
    looks.weigh(&shares);
    let doubt = if times.is_uneven { DOUBT_UNEVEN } else { DOUBT };
    let mut weighed: Vec<(Grid, Start, Scored)> = Vec::new();
    for start in starts {
        let grid = Grid::of(looks, times, &start.pace, reference_tick).expect("had a grid above");
        let one = start.weigh(looks, &grid, doubt);
        weighed.push((grid, start, one));
    }
    weighed.sort_by(|a, b| b.2.score.total_cmp(&a.2.score));
    let mut scored: Vec<Scored> = Vec::new();
    for (i, (grid, _, one)) in weighed.iter().enumerate() {
        // What lies in the strip of a better start was weighed there: the same, shown later.
        if weighed[..i].iter().any(|(_, better, _)| better.holds(one)) {
            continue;
        }
        if drop_frame.is_none() {
            scored.extend(one.skipping_labels(grid));
        }
        scored.push(one.clone());
    }
    if let Some(wanted) = drop_frame {
        scored
            .retain(|s| s.pace.form.drop_frame() == wanted || !s.pace.form.rate().has_drop_frame());
    }
    scored.sort_by(|a, b| b.score.total_cmp(&a.score));
    WindowFit {
        reference_tick,
        first_tick: looks.ticks[0],
        last_tick: looks.ticks[looks.len() - 1],
        scored,
        ballots: Vec::new(),
    }
}

/// Nats within which a phase explains the looks as well as the best one.
const CERTAIN: f64 = 0.5;

fn prior(refresh: Option<Refresh>) -> f64 {
    refresh.map_or(0.0, Refresh::prior)
}

/// A start before its last weighing.
#[derive(Clone, Copy)]
struct Start {
    pace: Pace,
    count: i64,
    /// Counts by which the search may have missed.
    reach: i64,
    /// As in [`Scored`], from the first weighing.
    score: f64,
    lenient_score: f64,
    /// Nats behind the best start, by the score that favours it more.
    behind: f64,
}

/// The counts that a candidate's label may stand for. Labels were put together without
/// drop-frame.
fn counts_of(candidate: &Candidate, pace: Pace, grid: &Grid) -> Vec<Start> {
    let start = |pace: Pace, count: i64| Start {
        pace,
        count,
        reach: candidate.reach,
        score: f64::MIN,
        lenient_score: f64::MIN,
        behind: f64::MAX,
    };
    let reach = candidate.reach + REACH_MORE;
    let mut starts = Vec::new();
    starts.extend(pace.form.count(&candidate.label).map(|c| start(pace, c)));
    if let Some(skipping) = pace.with_drop_frame(true) {
        let counts = search::skipping_counts(&pace, &candidate.label, grid, reach);
        starts.extend(counts.into_iter().map(|count| start(skipping, count)));
    }
    starts
}

impl Start {
    fn is_near(&self, other: &Self) -> bool {
        let lag = search::lag_counts(&self.pace);
        self.pace == other.pace && (self.count - other.count).abs() <= lag
    }

    /// True if `other` lies within the counts that this start is swept over.
    fn holds(&self, other: &Scored) -> bool {
        let reach = Ratio::from_integer(self.reach + REACH_MORE);
        self.pace == other.pace
            && (other.bounds.middle() - Ratio::from_integer(self.count)).abs() < reach
    }

    fn strip<'g>(&self, looks: &Looks, grid: &'g Grid) -> Strip<'g> {
        let reach = self.reach + REACH_MORE;
        Strip::of(looks, grid, self.pace.form, self.count, reach)
    }

    /// Chooses the least slack that explains the looks, and bounds the phase.
    fn weigh(&self, looks: &Looks, grid: &Grid, doubt: f64) -> Scored {
        let strip = self.strip(looks, grid);
        let total = |(refresh, swept): &(Option<Refresh>, Swept)| swept.mean + prior(*refresh);
        let ceiling = strip.ceiling();
        let mut swept: Vec<(Option<Refresh>, Swept)> = Vec::new();
        let mut most = f64::MIN;
        for refresh in std::iter::once(None).chain(Refresh::ALL.map(Some)) {
            // Slower displays only serve what no panel explains.
            if refresh > Some(Refresh::SLOWEST_PANEL) && most > ceiling + prior(refresh) {
                break;
            }
            swept.push((refresh, strip.sweep(refresh)));
            most = most.max(total(&swept[swept.len() - 1]));
        }
        // The first of equals is the one with the least slack.
        let mut chosen = 0;
        for (i, entry) in swept.iter().enumerate() {
            if total(entry) > total(&swept[chosen]) {
                chosen = i;
            }
        }
        let (refresh, winner) = &swept[chosen];
        let by_slow_panel = (swept.iter())
            .find(|(refresh, _)| *refresh == Some(Refresh::SLOWEST_PANEL))
            .expect("no panel is left out");
        let mut hull = winner.hull(doubt, f64::MIN).expect("the best piece passes");
        // Looks that all fall on one phase of the clock cannot tell a late
        // display: its lag is then constant, and the count is as displayed.
        let core = winner
            .hull(CERTAIN, f64::MIN)
            .expect("the best piece passes");
        let between = looks.usual_step_ticks().unwrap_or(i64::MAX);
        let finest = grid.units.min(grid.units_of(between));
        let locked = (hull.1 - hull.0) * 10 >= UNLOCKED_TENTHS * finest;
        if !locked {
            for (i, entry) in swept.iter().enumerate() {
                if i == chosen || total(entry) < most - DOUBT {
                    continue;
                }
                let (refresh, other) = entry;
                let more = other.hull(doubt, most - DOUBT - prior(*refresh));
                if let Some(more) = more {
                    hull = (hull.0.min(more.0), hull.1.max(more.1));
                }
            }
        }
        let counts = |units: i64| {
            Ratio::from_integer(self.count) + Ratio::new(units.into(), grid.units.into())
        };
        // A shutter is open from one look to the next at the longest.
        let open = (grid.units as f64 * looks.mixed_share()).min(grid.units_of(between) as f64);
        let margin = (MIXED_MARGIN * open) as i64;
        hull = (hull.0 - margin, hull.1 + margin);
        // A start that fits at a narrow range of phases only had little chance to.
        let chance = ((core.1 - core.0) as f64 / grid.units as f64).ln();
        Scored {
            pace: self.pace,
            bounds: HalfOpen::new(counts(hull.0), counts(hull.1)),
            core: HalfOpen::new(counts(core.0), counts(core.1)),
            likeliest: counts(winner.likeliest()),
            refresh: *refresh,
            score: most + self.pace.prior + chance,
            lenient_score: by_slow_panel.1.best + self.pace.prior,
            gain: winner.best,
        }
    }
}

/// For each place, the share of digits that the best start calls misread, drawn towards a
/// usual share as by 50 more: few digits cannot tell much. By place, since frames that repeat
/// an older picture, and late ones, are wrong in the last digit.
fn misread_shares(looks: &Looks, best: &Start, grid: &Grid) -> Vec<f32> {
    const DRAWN_BY: f32 = 50.0;
    const USUAL: f32 = 0.005;
    let strip = best.strip(looks, grid);
    let swept = strip.sweep(Some(Refresh::USUAL));
    let phase = swept.likeliest();
    let hidden = looks.dial.hidden_digits();
    let mut told = vec![(0, 0); looks.dial.places()];
    for look in 0..looks.len() {
        let count = best.count + strip.shown(look, phase, Some(Refresh::USUAL));
        let digits = best.pace.form.digits(count);
        for (place, (read, against)) in told.iter_mut().enumerate() {
            let digit = digits.as_slice()[hidden + place];
            if let Some(is_against) = looks.place_against(look, place, digit) {
                *read += 1;
                *against += i32::from(is_against);
            }
        }
    }
    let share = |(read, against)| (against as f32 + DRAWN_BY * USUAL) / (read as f32 + DRAWN_BY);
    told.into_iter().map(share).collect()
}

/// The looks, with the counts that a start says were displayed.
pub(super) fn place<'p>(
    looks: &'p Looks,
    times: &Times,
    start: &Scored,
    reference_tick: i64,
) -> Option<Placed<'p>> {
    let form = start.pace.form;
    let grid = Grid::of(looks, times, &start.pace, reference_tick)?;
    let count = i64::try_from(start.likeliest.floor()).ok()?;
    let phase = (start.likeliest - Ratio::from_integer(count)) * Ratio::from_integer(grid.units);
    let phase = i64::try_from(phase.floor()).ok()?;
    let strip = Strip::of(looks, &grid, form, count, 1);
    let shown = |look| count + strip.shown(look, phase, start.refresh);
    Some(Placed {
        looks,
        form,
        counts: (0..looks.len()).map(shown).collect(),
    })
}

/// One clock that stands still, at the label that all looks together say.
pub(super) struct Standing {
    /// Nats that it explains.
    pub gain: f64,
    /// Looks in which a digit could be told, and those of them that agree with the label.
    pub read: usize,
    pub agreeing: usize,
    /// Of the whole label; 0 for those that the display does not show.
    pub digits: Vec<u8>,
}

impl Standing {
    /// True if most looks agree with the label.
    pub fn is_agreed(&self) -> bool {
        2 * self.agreeing > self.read
    }
}

pub(super) fn standing(looks: &Looks) -> Standing {
    let hidden = looks.dial.hidden_digits();
    let places = looks.dial.places();
    let mut digits = vec![0u8; hidden + places];
    for place in 0..places {
        let mut sums = [0f64; 10];
        for look in 0..looks.len() {
            for (sum, said) in sums.iter_mut().zip(looks.place(look, place)) {
                *sum += f64::from(*said);
            }
        }
        let best = (0..10u8).max_by(|&a, &b| sums[usize::from(a)].total_cmp(&sums[usize::from(b)]));
        digits[hidden + place] = best.unwrap_or(0);
    }
    let gain = (0..looks.len())
        .map(|look| f64::from(looks.says(look, &digits)))
        .sum();
    let (mut read, mut agreeing) = (0, 0);
    for look in (0..looks.len()).filter(|&look| looks.is_read(look)) {
        read += 1;
        agreeing += usize::from(looks.agreement(look, &digits).agrees());
    }
    Standing {
        gain,
        read,
        agreeing,
        digits,
    }
}
