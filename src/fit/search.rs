//! Finding starts worth a sweep, from the last digits upwards.
//!
//! For a given pace the digits fall into levels: parts of a second, seconds,
//! minutes, hours. The phase within the first level is found by trying all of
//! it; each further level then only has to say which of its 60 (24) values it
//! held, with the carries from below already known. All looks vote at every
//! level with all of their odds, so no single look has to be readable.

use super::looks::{Looks, Times};
use super::pace::Pace;
use super::refresh::Refresh;
use super::sweep::Grid;
use crate::timecode::{Label, Ratio};
use crate::wide::widely;
use std::ops::Range;

/// Looks that vote on the pace and the phase; more add cost but no new candidates.
const SCREENED_LOOKS: usize = 64;
/// Clip seconds that the looks which vote may be apart, at most: short enough that 24
/// and 23.976 counts a second are still one (0.15 counts apart).
pub(super) const SCREENED_SPAN_S: i128 = 6;
/// Phases tried within one count of a frame: a display that may lag by one count
/// leaves at least a count of phases alike.
const STEPS_PER_COUNT: i64 = 2;
/// Phases tried within one count of a second or a tenth, which many frames share.
const STEPS_PER_LONG_COUNT: i64 = 12;
/// Best phases kept for each pace, at least a few counts apart.
const PHASES_KEPT: usize = 2;
/// Most phases kept where they tie, as on a dial whose tens are dark: the seconds then tell them
/// apart.
const PHASES_TIED: usize = 12;
/// Phases of all paces that are followed up to whole labels.
const PHASES_CLIMBED: usize = 40;
/// Nats within which phases tie.
const TIED: f32 = 20.0;
/// Starts kept in all, before the exact sweep.
const STARTS_KEPT: usize = 24;
/// Nats within which neighbouring phases do alike.
const ALIKE: f32 = 3.0;
/// Best values kept of a coarser level.
const VALUES_KEPT: usize = 2;
/// Nats by which a second one may be behind the first.
const RUNNER_UP: f64 = 40.0;
/// An hour that a dial of one digit cannot show, in nats.
const IMPOSSIBLE: f32 = -30.0;

/// A start worth a sweep.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    /// Index into the paces.
    pub pace: usize,
    /// Label shown at the reference tick.
    pub label: Label,
    /// Counts by which the phase may lie elsewhere.
    pub reach: i64,
    /// How well it does, in nats; comparable within one search only.
    pub score: f64,
}

/// Starts that are swept however far behind they are.
const STARTS_TRIED: usize = 6;
/// Share of the best start's nats by which others may be behind: the search
/// counts stray frames and late digits more roughly than the sweep does.
const FAR_BEHIND: f64 = 0.2;

/// Counts that a display may lag behind in the search: one refresh of the
/// slowest panel, rounded up.
pub(super) fn lag_counts(pace: &Pace) -> i64 {
    i64::from(pace.form.base().div_ceil(Refresh::SLOWEST_PANEL.hz()))
}

/// The tick at the middle of the looks that vote first.
pub(super) fn reference_tick(looks: &Looks, times: &Times) -> i64 {
    let voters = voters(looks, times);
    looks.ticks[voters[voters.len() / 2]]
}

/// The looks that vote first: the stretch with the most read looks, thinned.
fn voters(looks: &Looks, times: &Times) -> Vec<usize> {
    let read: Vec<usize> = (0..looks.len()).filter(|&i| looks.is_read(i)).collect();
    let read = if read.is_empty() {
        (0..looks.len()).collect()
    } else {
        read
    };
    let span = times.tick_s.recip() * Ratio::from_integer(SCREENED_SPAN_S);
    let span = i64::try_from(span.floor()).unwrap_or(i64::MAX);
    let (mut from, mut to) = (0, 0);
    let mut first = 0;
    for last in 0..read.len() {
        while looks.ticks[read[last]] - looks.ticks[read[first]] > span {
            first += 1;
        }
        if last - first > to - from {
            (from, to) = (first, last);
        }
    }
    let stretch = &read[from..=to];
    if stretch.len() <= SCREENED_LOOKS {
        return stretch.to_vec();
    }
    // Evenly thinned, without a step that could beat with the clock.
    (0..SCREENED_LOOKS)
        .map(|i| stretch[i * stretch.len() / SCREENED_LOOKS])
        .collect()
}

/// What two neighbouring places (one, three) of a look say for each value below `size`.
fn values(looks: &Looks, look: usize, places: Range<usize>, size: usize, out: &mut [f32]) {
    let ten = |place| looks.place(look, place);
    match places.len() {
        1 => {
            let units = ten(places.start);
            for (value, out) in out[..size].iter_mut().enumerate() {
                *out = units.get(value).copied().unwrap_or(IMPOSSIBLE);
            }
        }
        2 => {
            let (tens, units) = (ten(places.start), ten(places.start + 1));
            for (value, out) in out[..size].iter_mut().enumerate() {
                *out = tens[value / 10] + units[value % 10];
            }
        }
        _ => {
            let (hundreds, tens, units) = (
                ten(places.start),
                ten(places.start + 1),
                ten(places.start + 2),
            );
            for (value, out) in out[..size].iter_mut().enumerate() {
                *out = hundreds[value / 100] + tens[value / 10 % 10] + units[value % 10];
            }
        }
    }
}

/// Starts worth a sweep, best first. `grids` holds one grid for each pace.
pub(super) fn candidates(
    looks: &Looks,
    times: &Times,
    paces: &[Pace],
    grids: &[Option<Grid>],
) -> Vec<Candidate> {
    let voters = voters(looks, times);
    let hours = looks.dial.hour_digits as usize;
    let fine = if looks.dial.last_digits > 0 {
        hours + 4..looks.dial.places()
    } else {
        hours + 2..hours + 4
    };
    let steps = match looks.dial.last_digits {
        0 | 1 => STEPS_PER_LONG_COUNT,
        _ => STEPS_PER_COUNT,
    };
    let mut phases = Vec::new();
    let mut table = Fine::default();
    let mut found: Vec<(usize, Range<usize>)> = Vec::new();
    for (index, (pace, grid)) in paces.iter().zip(grids).enumerate() {
        let Some(grid) = grid else { continue };
        // 23.976 and 24 are one clock to the voters: only the positions of the others differ.
        let is_twin =
            |other: &Pace| other.form.base() == pace.form.base() && other.speed == pace.speed;
        let twin = found.iter().find(|&&(other, _)| is_twin(&paces[other]));
        if let Some((_, range)) = twin.cloned() {
            for at in range {
                let phase: Phase = phases[at];
                phases.push(Phase {
                    pace: index,
                    ..phase
                });
            }
            continue;
        }
        let base = pace.form.base() as usize;
        let size = if looks.dial.last_digits > 0 { base } else { 60 };
        table.fill(looks, &voters, fine.clone(), size, lag_counts(pace));
        let from = phases.len();
        table.best_phases(
            &voters,
            grid,
            lag_counts(pace),
            steps,
            |shift, reach, score| {
                phases.push(Phase {
                    pace: index,
                    shift,
                    steps,
                    reach,
                    score: score + pace.prior,
                });
            },
        );
        found.push((index, from..phases.len()));
    }
    phases.sort_by(|a, b| b.score.total_cmp(&a.score));
    // A clock that skips labels in view has two phases here, and half of the voters for each.
    let may_skip = |phase: &Phase| {
        let pace = &paces[phase.pace];
        pace.form.rate().has_drop_frame() && pace.speed == Ratio::ONE
    };
    let mut rank = 0..;
    phases.retain(|phase| rank.next() < Some(PHASES_CLIMBED) || may_skip(phase));
    let coarse = Coarse::of(looks);
    let mut starts = Vec::new();
    for phase in &phases {
        let grid = grids[phase.pace].as_ref().expect("had a grid above");
        let pace = &paces[phase.pace];
        let first = starts.len();
        climb(looks, &coarse, pace, grid, phase, &mut starts);
        for start in &mut starts[first..] {
            let counts = skipping_counts(pace, &start.label, grid, start.reach);
            let scores = counts
                .iter()
                .map(|&count| skipping_score(looks, &coarse, &voters, pace, grid, phase, count));
            start.score = scores.fold(start.score, f64::max);
        }
    }
    starts.sort_by(|a, b| b.score.total_cmp(&a.score));
    if let Some(best) = starts.first().map(|s| s.score) {
        let hopeless = best - FAR_BEHIND * best.abs();
        let worth = starts.iter().filter(|s| s.score >= hopeless).count();
        starts.truncate(worth.max(STARTS_TRIED));
    }
    starts.truncate(STARTS_KEPT);
    starts
}

/// A phase within the finest level: `shift / steps` counts.
#[derive(Clone, Copy)]
struct Phase {
    pace: usize,
    shift: i64,
    steps: i64,
    /// Counts by which it may lie elsewhere.
    reach: i64,
    score: f64,
}

/// What each voter says for each value of the finest level.
#[derive(Default)]
struct Fine {
    size: usize,
    lag: i64,
    /// Twice `size` values per voter, so that a shifted row is one slice.
    says: Vec<f32>,
}

impl Fine {
    /// A display may lag: each value also gets what the values just below it get.
    fn fill(
        &mut self,
        looks: &Looks,
        voters: &[usize],
        places: Range<usize>,
        size: usize,
        lag: i64,
    ) {
        if self.size == size && self.lag == lag {
            return;
        }
        (self.size, self.lag) = (size, lag);
        self.says.clear();
        self.says.resize(voters.len() * 2 * size, 0.0);
        let lag = (lag as usize).min(size / 2);
        let mut raw = vec![0.0; size];
        for (row, &look) in self.says.chunks_exact_mut(2 * size).zip(voters) {
            values(looks, look, places.clone(), size, &mut raw);
            for (value, out) in row[..size].iter_mut().enumerate() {
                *out = (0..=lag)
                    .map(|late| raw[(value + size - late) % size])
                    .fold(f32::MIN, f32::max);
            }
            row.copy_within(..size, size);
        }
    }

    fn best_phases(
        &self,
        voters: &[usize],
        grid: &Grid,
        lag: i64,
        steps: i64,
        mut keep: impl FnMut(i64, i64, f64),
    ) {
        let size = self.size;
        let mut scores = vec![0f32; size * steps as usize];
        widely(|| {
            for (step, scores) in (0..steps).zip(scores.chunks_exact_mut(size)) {
                let phase = step * grid.units / steps;
                for (row, &look) in self.says.chunks_exact(2 * size).zip(voters) {
                    let from = grid.count_at(look, phase).rem_euclid(size as i64) as usize;
                    for (score, says) in scores.iter_mut().zip(&row[from..from + size]) {
                        *score += says;
                    }
                }
            }
        });
        // Neighbours of a kept phase would only lead to the same sweep.
        let apart = (lag + 1) * steps;
        let around = size as i64 * steps;
        let index = |shift: i64| {
            let (count, step) = (shift / steps, shift % steps);
            (step * size as i64 + count) as usize
        };
        let mut most = f32::MIN;
        for kept in 0..PHASES_TIED {
            let mut best = (0, f32::MIN);
            for shift in 0..around {
                if scores[index(shift)] > best.1 {
                    best = (shift, scores[index(shift)]);
                }
            }
            most = most.max(best.1);
            let enough = kept >= PHASES_KEPT && best.1 < most - TIED;
            if best.1 == f32::MIN || enough {
                break;
            }
            // Lag, and places that cannot be read, leave a stretch of phases alike.
            let is_alike = |shift: i64| scores[index(shift.rem_euclid(around))] > best.1 - ALIKE;
            let run = |way: i64| {
                (1..around / 2)
                    .take_while(|k| is_alike(best.0 + way * k))
                    .count()
            };
            let (before, after) = (run(-1) as i64, run(1) as i64);
            let middle = best.0 + (after - before).div_euclid(2);
            keep(
                middle.rem_euclid(around),
                (before + after) / 2 / steps + 1,
                f64::from(best.1),
            );
            for off in -before - apart..=after + apart {
                scores[index((best.0 + off).rem_euclid(around))] = f32::MIN;
            }
        }
    }
}

/// From a phase of the finest level to whole labels: seconds, minutes, hours.
fn climb(
    looks: &Looks,
    coarse: &Coarse,
    pace: &Pace,
    grid: &Grid,
    phase: &Phase,
    starts: &mut Vec<Candidate>,
) {
    let size = if looks.dial.last_digits > 0 {
        i64::from(pace.form.base())
    } else {
        60
    };
    let count = phase.shift / phase.steps;
    let units = phase.shift * grid.units / phase.steps;
    let carries: Vec<i64> = (0..looks.len())
        .map(|look| grid.count_at(look, units).div_euclid(size))
        .collect();
    let sums = Sums::of(coarse, &carries);
    let has_parts = looks.dial.last_digits > 0;
    if has_parts {
        for (seconds, said) in sums.best(SECONDS, |carry| carry) {
            let minute = |carry: i64| (seconds + carry).div_euclid(60);
            for (minutes, more) in sums.best(MINUTES, minute) {
                let hour = |carry: i64| (minutes + minute(carry)).div_euclid(60);
                for (hour, most) in sums.best(HOURS, hour) {
                    starts.push(Candidate {
                        pace: phase.pace,
                        label: Label::new(hour as u8, minutes as u8, seconds as u8, count as u16),
                        reach: phase.reach,
                        score: phase.score + said + more + most,
                    });
                }
            }
        }
    } else {
        for (minutes, said) in sums.best(MINUTES, |carry| carry) {
            let hour = |carry: i64| (minutes + carry).div_euclid(60);
            for (hour, more) in sums.best(HOURS, hour) {
                starts.push(Candidate {
                    pace: phase.pace,
                    label: Label::new(hour as u8, minutes as u8, count as u8, 0),
                    reach: phase.reach,
                    score: phase.score + said + more,
                });
            }
        }
    }
}

/// Counts at the reference of a clock that skips labels, where `label` was put together
/// without; none if the sighting does not go over a minute. The label may have been put
/// together from either side of it.
pub(super) fn skipping_counts(pace: &Pace, label: &Label, grid: &Grid, reach: i64) -> Vec<i64> {
    let forms = [false, true].map(|skips| pace.with_drop_frame(skips).map(|p| p.form));
    let [Some(plain), Some(skipping)] = forms else {
        return Vec::new();
    };
    let Ok(count) = plain.count(label) else {
        return Vec::new();
    };
    if !grid.goes_over_a_minute(plain, count - reach..=count + reach) {
        return Vec::new();
    }
    let skipped = i64::from(plain.base() / 15);
    let mut counts: Vec<i64> = [0, grid.first_count(), grid.last_count()]
        .into_iter()
        .filter_map(|off| {
            let there = count + off;
            let labels = [plain.label(there), plain.label(there + skipped)];
            let count = labels.iter().find_map(|label| skipping.count(label).ok())?;
            Some(count - off)
        })
        .collect();
    counts.dedup();
    counts
}

/// What [`climb`] would have found for a clock that skips labels.
fn skipping_score(
    looks: &Looks,
    coarse: &Coarse,
    voters: &[usize],
    pace: &Pace,
    grid: &Grid,
    phase: &Phase,
    count: i64,
) -> f64 {
    let Some(Pace { form, .. }) = pace.with_drop_frame(true) else {
        return f64::MIN;
    };
    let within = phase.shift.rem_euclid(phase.steps) * grid.units / phase.steps;
    let shown = |look| count + grid.count_at(look, within);
    let last = looks.dial.places() - usize::from(looks.dial.last_digits);
    let fine = |look, count| -> f32 {
        let digits = form.digits(count);
        let digits = &digits.as_slice()[looks.dial.hidden_digits()..];
        let places = last..looks.dial.places();
        places
            .map(|p| looks.place(look, p)[usize::from(digits[p])])
            .sum()
    };
    let parts = voters.iter().map(|&look| {
        let lags = 0..=lag_counts(pace);
        f64::from(
            lags.map(|late| fine(look, shown(look) - late))
                .fold(f32::MIN, f32::max),
        )
    });
    let rest = (0..looks.len()).map(|look| {
        let label = form.label(shown(look));
        let says = |level: Range<usize>, value: u8| {
            let place = level.start + usize::from(value);
            coarse.sums[look + 1][place] - coarse.sums[look][place]
        };
        says(SECONDS, label.seconds()) + says(MINUTES, label.minutes()) + says(HOURS, label.hours())
    });
    pace.prior + parts.sum::<f64>() + rest.sum::<f64>()
}

/// What the looks before each one, and all of them, say for the values of seconds, minutes and
/// hours: what those of a stretch say is the difference of two.
struct Coarse {
    sums: Vec<[f64; COARSE]>,
}

/// Sixty seconds, sixty minutes, twenty-four hours in one row.
const COARSE: usize = 144;
const SECONDS: Range<usize> = 0..60;
const MINUTES: Range<usize> = 60..120;
const HOURS: Range<usize> = 120..144;

impl Coarse {
    fn of(looks: &Looks) -> Self {
        let hours = looks.dial.hour_digits as usize;
        let rows = (0..looks.len()).map(|look| {
            let mut row = [0.0; COARSE];
            values(looks, look, hours + 2..hours + 4, 60, &mut row[SECONDS]);
            values(looks, look, hours..hours + 2, 60, &mut row[MINUTES]);
            values(looks, look, 0..hours, 24, &mut row[HOURS]);
            row
        });
        Self::of_rows(rows)
    }

    fn of_rows(rows: impl Iterator<Item = [f32; COARSE]>) -> Self {
        let mut sums = vec![[0.0; COARSE]];
        let mut sum = sums[0];
        for row in rows {
            for (sum, said) in sum.iter_mut().zip(row) {
                *sum += f64::from(said);
            }
            sums.push(sum);
        }
        Self { sums }
    }

    /// What some looks in a row say.
    fn of_stretch(&self, looks: Range<usize>) -> [f64; COARSE] {
        let (before, with) = (&self.sums[looks.start], &self.sums[looks.end]);
        std::array::from_fn(|i| with[i] - before[i])
    }
}

/// What the looks say for the coarser levels, summed over looks of one carry. Only carries that
/// some look has: a stamp hours away would make it a place for each second up to it.
struct Sums {
    rows: Vec<(i64, [f64; COARSE])>,
}

impl Sums {
    /// `carries` by look, ascending as time does.
    fn of(coarse: &Coarse, carries: &[i64]) -> Self {
        let mut end = 0;
        let rows = carries.chunk_by(|a, b| a == b).map(|alike| {
            let looks = end..end + alike.len();
            end = looks.end;
            (alike[0], coarse.of_stretch(looks))
        });
        Self {
            rows: rows.collect(),
        }
    }

    /// The best values of a level at carry 0, best first, with what is said for them;
    /// `carry_in` turns the finest carry into this level's.
    fn best(&self, level: Range<usize>, carry_in: impl Fn(i64) -> i64) -> Vec<(i64, f64)> {
        let size = level.len();
        let mut scores = vec![0.0; size];
        for (carry, row) in &self.rows {
            // At that carry the level shows so much more than at carry 0.
            let more = carry_in(*carry).rem_euclid(size as i64) as usize;
            let (below, from) = row[level.clone()].split_at(more);
            for (score, said) in scores.iter_mut().zip(from.iter().chain(below)) {
                *score += said;
            }
        }
        let mut best: Vec<(i64, f64)> = Vec::with_capacity(VALUES_KEPT + 1);
        for (value, score) in (0..).zip(scores) {
            let rank = best.partition_point(|better| better.1 >= score);
            if rank < VALUES_KEPT {
                best.insert(rank, (value, score));
                best.truncate(VALUES_KEPT);
            }
        }
        let worst = best[0].1 - RUNNER_UP;
        best.retain(|s| s.1 >= worst);
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stamp_hours_away_makes_one_sum_more_and_none_for_the_seconds_up_to_it() {
        let said = |value: f32| {
            let mut row = [0.0; COARSE];
            row[SECONDS.start + 7] = value;
            row
        };
        let coarse = Coarse::of_rows([1.0, 2.0, 4.0].map(said).into_iter());
        let sums = Sums::of(&coarse, &[0, 0, 72_000]);
        let seven: Vec<(i64, f64)> = (sums.rows.iter())
            .map(|(carry, row)| (*carry, row[SECONDS.start + 7]))
            .collect();
        assert_eq!(seven, [(0, 3.0), (72_000, 4.0)]);
    }
}
