//! Clips that play a few percent off their real speed, at a pace that no table holds: webcams
//! whose file claims another rate, 24 conformed to 25, frames that came unevenly and were
//! stamped evenly. The pace is measured as far as the looks allow; the starts at all paces
//! that explain them stand beside each other, and so widen the bounds on the way to frame 0.

use super::Known;
use super::clock::mark_odds;
use super::looks::{Looks, Times};
use super::pace::{Pace, SLOWED, paces};
use super::search::SCREENED_SPAN_S;
use super::sight::is_coarse;
use super::window::{self, Scored, WindowFit, fit_window};
use crate::timecode::{ClockForm, Label, Ratio};

/// Largest part of its speed by which a clip is taken to be off: a tenth.
const MOST_OFF: i128 = 10;
/// Speeds tried to either side of the real one, for one form, in the first search.
const MOST_STEPS: i128 = 40;
/// Nats by which a measured pace must lead those of the table before they are dropped: ln of
/// the speeds tried, and what any start must lead by (judged).
const AHEAD: f64 = 12.0;
/// Fewest looks, and fewest of them that are off at the table's pace.
const FEWEST_LOOKS: usize = 12;
const FEWEST_OFF: usize = 2;
/// Square of the standard deviations by which late looks in either half must differ: three.
const UNLIKE_HALVES: usize = 9;
/// Speeds tried to either side for a clock that may have gained what the display was late by: a
/// count, which slow panels are late by, and as much again.
const CAUGHT_UP_STEPS: i128 = 4;
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
    let counts = window::place(looks, times, best, table.reference_tick)?;
    let drifts = drifts(looks, best, &counts);
    let on_time = window::place(looks, times, &best.on_time(), table.reference_tick)?;
    if !drifts && !late_in_one_half(&counts, &on_time) {
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
    for form in forms(paces(dial, known), has_semicolon) {
        let steps = counts_of(form);
        let most = if drifts {
            (steps / MOST_OFF).min(MOST_STEPS)
        } else if form.base() == best.pace.form.base() {
            CAUGHT_UP_STEPS
        } else {
            continue;
        };
        grid.extend((-most..=most).map(|k| odd(form, Ratio::new(steps + k, steps), 0)));
    }
    let table_score = best.score;
    let (mut best, score) = likeliest(&grid)?;
    // Most panels that are late in one half only beat with the camera: no pace does better.
    if !drifts && score < table_score {
        return None;
    }
    let mut steps = counts_of(best.form);
    while steps < finest {
        steps = (4 * steps).min(finest);
        let near = |k| odd(best.form, best.speed + Ratio::new(k, steps), 0);
        best = likeliest(&(-4..=4).map(near).collect::<Vec<_>>())?.0;
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
    let mut window = fit_window(&mut looks, times, &last, known.drop_frame);
    let top = window.scored.first()?.clone();
    if top.pace.doubt_ppm == 0 {
        return None;
    }
    let of_table = |start: &&mut Scored| start.pace.doubt_ppm == 0;
    let rivals = window.scored.iter_mut().filter(of_table);
    for rival in rivals.filter(|rival| top.score < rival.score + AHEAD) {
        // Neither is believed: what they leave open together is.
        rival.lenient_score = rival.lenient_score.max(top.lenient_score);
        rival.score = top.score;
    }
    Some((looks, window))
}

const fn grid_len() -> usize {
    2 * TO_EITHER_SIDE as usize + 1
}

const fn odd(form: ClockForm, speed: Ratio, doubt_ppm: i128) -> Pace {
    Pace {
        form,
        speed,
        prior: SLOWED,
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
fn drifts(looks: &Looks, best: &Scored, counts: &[i64]) -> bool {
    if best.refresh > Some(window::SLOW_PANEL)
        || is_coarse(best.pace.form) && best.refresh.is_some()
    {
        return true;
    }
    let enough = if is_coarse(best.pace.form) {
        1
    } else {
        FEWEST_OFF
    };
    let against = |look: usize, count: i64| {
        let digits = best.pace.form.digits(count);
        looks.agreement(look, digits.as_slice()).against
    };
    // A number that would follow the clock's last one if its seconds were longer.
    let form = best.pace.form;
    let beyond = form.base()..10u32.pow(form.last_digits().into());
    let is_beyond = |look: usize| {
        let near = (0..=2).map(|before| form.label(counts[look] - before));
        near.flat_map(|label| [(label, 1), (label, 2)])
            .any(|(label, more)| {
                let (hours, minutes, seconds) = (label.hours(), label.minutes(), label.seconds());
                let part = label.part() + more;
                let shown = || form.digits_of(Label::new(hours, minutes, seconds, part));
                beyond.contains(&part.into()) && looks.agreement(look, shown().as_slice()).agrees()
            })
    };
    let is_off = |&look: &usize| match against(look, counts[look]) {
        0 => false,
        1 => {
            let mut near = [-2, -1, 1, 2].into_iter();
            near.any(|off| against(look, counts[look] + off) == 0) || is_beyond(look)
        }
        _ => true,
    };
    (0..looks.len()).filter(is_off).take(enough).count() == enough
}

/// True if the display would have to be late in one half of the looks far more often than in the
/// other: a panel is late throughout, a clock that gains on the table's is so till it caught up.
fn late_in_one_half(counts: &[i64], on_time: &[i64]) -> bool {
    let is_late: Vec<bool> = counts.iter().zip(on_time).map(|(a, b)| a < b).collect();
    let (first, second) = is_late.split_at(is_late.len() / 2);
    let [first, second] = [first, second].map(|half| half.iter().filter(|&&late| late).count());
    first.abs_diff(second).pow(2) >= UNLIKE_HALVES * (first + second).max(1)
}
