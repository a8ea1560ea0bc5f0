//! Clips that play a few percent off their real speed, at a pace that no table holds: webcams
//! whose file claims another rate, frames that came unevenly and were stamped evenly. The pace is
//! measured as far as the looks allow; the starts at all paces that explain them stand beside each
//! other, and so widen the bounds on the way to frame 0.

use super::Known;
use super::ballot::ENOUGH;
use super::clock::mark_odds;
use super::labels;
use super::looks::{Looks, Times};
use super::pace::{Pace, SLOWED, paces};
use super::placed::Placed;
use super::refresh::Refresh;
use super::search::SCREENED_SPAN_S;
use super::sight::is_coarse;
use super::window::{self, Scored, WindowFit, fit_window};
use crate::timecode::{ClockForm, Ratio};

/// Largest part of its speed by which a clip is taken to be off: a tenth.
const MOST_OFF: i128 = 10;
/// Speeds tried to either side of the real one, for one form, in the first search.
const MOST_STEPS: i128 = 40;
/// Fewest looks, and fewest of them that are off at the table's pace.
const FEWEST_LOOKS: usize = 12;
const FEWEST_OFF: usize = 2;
/// Counts that a clock may gain over the whole sighting in place of a display that is late: by
/// as much as slow panels are (one count, and two for clocks of more than 100), and one more.
const CAUGHT_UP: i128 = 3;
/// ln of how likely a clock of seconds or tenths runs at one pace of the last grid: one in a
/// hundred is 0.1 to 5 % off, evenly by logarithm, and near 1 % a pace stands for one in thirty
/// of these. An estimate, no measurement.
const FAST_OR_SLOW: f64 = -8.0;
/// Nats that are none: sums are taken along the way.
const A_HAIR: f64 = 1e-3;
/// Paces tried for each count gained.
const PACES_PER_COUNT: i128 = 4;
/// Steps of the last grid in one frame over the whole sighting.
const STEPS_PER_FRAME: i128 = 3;
/// Paces of the last grid to either side of the likeliest.
const TO_EITHER_SIDE: i128 = 6;
/// Paces of the table that stay as rivals.
const RIVALS: usize = 3;

/// The looks at a measured pace, if that explains better what was seen.
pub(super) fn fit_odd_pace<'a>(
    looks: &Looks<'a>,
    times: &Times,
    known: &Known,
    table: &WindowFit,
) -> Option<(Looks<'a>, WindowFit)> {
    let step_ticks = looks.usual_step_ticks().filter(|&ticks| ticks > 0)?;
    if known.speed.is_some() || looks.len() < FEWEST_LOOKS {
        return None;
    }
    let best = table.scored.first()?;
    let placed = window::place(looks, times, best, table.reference_tick)?;
    let drifts = drifts(&placed, best);
    let may_have_gained = || {
        let is_late = best.refresh.is_some() && best.pace.speed == Ratio::ONE;
        is_late && is_even_at_another_pace(&placed, times, best)
    };
    if !drifts && !may_have_gained() {
        return None;
    }
    let dial = looks.dial;
    let span_s = Ratio::from_integer(looks.span_ticks()) * times.tick_s;
    let finest = i128::from(looks.span_ticks() / step_ticks) * STEPS_PER_FRAME;
    let screened_s = span_s.min(Ratio::from_integer(SCREENED_SPAN_S));
    let counts_of = |form: ClockForm| (form.rate().ratio() * screened_s).ceil().max(MOST_OFF);
    let has_semicolon = [true, false].map(|skips| mark_odds(std::iter::once(looks), skips));
    let has_semicolon = has_semicolon[0] > has_semicolon[1];
    let mut looks = looks.clone();
    let mut likeliest = |paces: &[Pace]| {
        let window = fit_window(&mut looks, times, paces, known.drop_frame);
        let start = window.scored.first()?;
        Some((start.pace, start.score))
    };
    // First all forms, by half a count at either end of the sighting; then one, ever finer.
    let mut grid = Vec::new();
    for form in forms(paces(dial, known, None), has_semicolon) {
        let steps = counts_of(form);
        let most = if drifts {
            (steps / MOST_OFF).min(MOST_STEPS)
        } else if form.base() == best.pace.form.base() {
            CAUGHT_UP
        } else {
            continue;
        };
        grid.extend((-most..=most).map(|k| odd(form, Ratio::new(steps + k, steps), 0)));
    }
    let table_score = best.score;
    let (mut best, score) = likeliest(&grid)?;
    // Most panels only beat with the camera: no pace does better.
    if !drifts && score < table_score {
        return None;
    }
    let mut steps = counts_of(best.form);
    while steps < finest {
        steps = (4 * steps).min(finest);
        let near = |k| odd(best.form, best.speed + Ratio::new(k, steps), 0);
        best = likeliest(&(-4..=4).map(near).collect::<Vec<_>>())?.0;
    }
    if is_coarse(best.form) && best.speed == Ratio::ONE {
        return None;
    }
    // What lies between two paces of the grid is half a step from one of them.
    let doubt_ppm = 1_000_000 / (2 * steps) + 1;
    let near = |k| odd(best.form, best.speed + Ratio::new(k, steps), doubt_ppm);
    let mut last: Vec<Pace> = (-TO_EITHER_SIDE..=TO_EITHER_SIDE).map(near).collect();
    for start in &table.scored {
        // Whether labels are skipped is looked for anew.
        let plain = start.pace.with_drop_frame(false).unwrap_or(start.pace);
        if !last.contains(&plain) && last.len() < grid_len() + RIVALS {
            last.push(plain);
        }
    }
    let window = fit_window(&mut looks, times, &last, known.drop_frame);
    stands(&window, looks.ticks[0] == 0).then_some((looks, window))
}

/// True if a measured pace leads. Clocks of seconds or tenths change so seldom that one of the
/// table's may lead by chance: on the way to frame 0 both stand. Seen from frame 0 on, no pace
/// carries anything, and a common panel that explains the digits as well is believed, in whatever
/// pattern it is late.
fn stands(window: &WindowFit, is_from_frame_0: bool) -> bool {
    let best_of = |is_measured: bool| {
        let mut starts = window.scored.iter();
        starts.find(|start| (start.pace.doubt_ppm > 0) == is_measured)
    };
    let (measured, table) = match (best_of(true), best_of(false)) {
        (Some(measured), Some(table)) => (measured, table),
        (measured, _) => return measured.is_some(),
    };
    let on_a_panel = |start: &Scored| start.lenient_score - start.pace.prior;
    match is_coarse(measured.pace.form) {
        false => measured.score > table.score,
        true if is_from_frame_0 && table.pace.speed == Ratio::ONE => {
            measured.score > table.score && on_a_panel(measured) > on_a_panel(table) + A_HAIR
        }
        true => measured.score > table.score - ENOUGH,
    }
}

const fn grid_len() -> usize {
    2 * TO_EITHER_SIDE as usize + 1
}

const fn odd(form: ClockForm, speed: Ratio, doubt_ppm: i128) -> Pace {
    Pace {
        form,
        speed,
        prior: if is_coarse(form) {
            FAST_OR_SLOW
        } else {
            SLOWED
        },
        doubt_ppm,
    }
}

/// One form for each base: where the pace is measured, 30 and 29.97 are one. With a semicolon
/// it is the one that may count drop-frame.
fn forms(mut paces: Vec<Pace>, has_semicolon: bool) -> Vec<ClockForm> {
    // Slowest first, so that 29.97 comes before 30.
    if !has_semicolon {
        paces.reverse();
    }
    let mut forms: Vec<ClockForm> = Vec::new();
    for pace in paces {
        if forms.iter().all(|form| form.base() != pace.form.base()) {
            forms.push(pace.form);
        }
    }
    forms
}

/// True if looks are off from the table's best start by a count or two, or by several digits, or
/// show numbers that its clock has not: a clock at another pace runs ahead and falls behind.
/// Misread digits fall anywhere. Or if the display would have to be later than panels are; and
/// of the few changes of a clock of seconds or tenths, one that is late or off is enough.
fn drifts(placed: &Placed, best: &Scored) -> bool {
    if best.refresh > Some(Refresh::SLOWEST_PANEL)
        || is_coarse(best.pace.form) && best.refresh.is_some()
    {
        return true;
    }
    let enough = if is_coarse(best.pace.form) {
        1
    } else {
        FEWEST_OFF
    };
    let is_off = |&look: &usize| match placed.agreement(look).against {
        0 => false,
        1 => {
            let mut near = [-2, -1, 1, 2].into_iter();
            near.any(|off| placed.agreement_off(look, off).against == 0)
        }
        _ => true,
    };
    labels::beyond_the_last(placed) >= labels::FEWEST
        || (0..placed.looks.len()).filter(is_off).take(enough).count() == enough
}

/// True if a clock a little faster or slower than the table's would have shown the same counts
/// without ever being late. A panel that beats with the camera is late in turns, which no even
/// clock is.
fn is_even_at_another_pace(placed: &Placed, times: &Times, best: &Scored) -> bool {
    let (looks, form, counts) = (placed.looks, placed.form, &placed.counts);
    let agreeing: Vec<usize> = placed.agreeing().collect();
    let span = i128::from(looks.span_ticks());
    // In units, so many to the count that all paces are whole.
    let per_tick = best.pace.counts_per_second() * times.tick_s;
    let units = per_tick.den() * PACES_PER_COUNT * span;
    // A digit caught in its change is read as either of both.
    let mut open = units / 100 * (100.0 * looks.mixed_share()) as i128;
    // A pace that makes do with the fastest of panels explains more than one that does not.
    if best.refresh > Some(Refresh::FASTEST) {
        let late = Refresh::FASTEST.counts(form.rate());
        open += units * late.num() / late.den();
    }
    let most = CAUGHT_UP * PACES_PER_COUNT;
    (-most..=most).any(|k| {
        let pace = per_tick.num() * PACES_PER_COUNT * span + k * per_tick.den();
        let at_first = |&look: &usize| {
            let since = i128::from(looks.ticks[look] - looks.ticks[0]);
            i128::from(counts[look]) * units - pace * since
        };
        let lowest = agreeing.iter().map(at_first).min();
        let highest = agreeing.iter().map(at_first).max();
        // All intervals of one count meet.
        matches!((lowest, highest), (Some(low), Some(high)) if high - low < units + open)
    })
}
