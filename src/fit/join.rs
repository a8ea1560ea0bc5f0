//! Several sightings of one clock in one clip: head and tail slate, or more.
//!
//! Each sighting says where the clock stood at its own time, `low <= phase +
//! rate * t < high`. Clocks and cameras are never driven by one crystal, so the
//! rate between sightings is that of the table give or take a drift; what all
//! sightings and the drift leave over is a polygon in the plane of phase and
//! rate, and its corners give the bounds.

use super::looks::Times;
use super::pace::Pace;
use super::window::{Scored, WindowFit};
use crate::timecode::{HalfOpen, Ratio};

/// Drift, in parts per million, that two crystals of consumer devices commonly
/// have against each other (from memory: 10 to 30). Widens a start that is
/// carried over from a sighting far from frame 0.
pub(super) const USUAL_DRIFT_PPM: i128 = 30;
/// Drift beyond which two sightings do not show one undisturbed clock. 24 and
/// 23.976 are 1,000 apart.
const LARGEST_DRIFT_PPM: i128 = 200;

/// One pace, and the starts of the sightings that agree under it.
#[derive(Clone, Debug)]
pub(super) struct Joint {
    pub pace: Pace,
    /// Count at frame 0, not wrapped.
    pub start: HalfOpen,
    /// For each sighting: its start, if it agrees.
    pub chosen: Vec<Option<Scored>>,
    /// ln of the probability, up to a constant.
    pub score: f64,
    /// The sum of the lenient scores.
    pub lenient_score: f64,
    /// Clock against camera, in parts per million, where two sightings bound it
    /// better than the usual drift does.
    pub drift_ppm: Option<HalfOpen>,
}

/// Nats against a drift beyond the usual: where another rate needs none, as 30
/// against 29.97 with drop-frame does, the other is believed.
const UNUSUAL_DRIFT: f64 = 10.0;

/// A sighting at its own time.
#[derive(Clone, Copy)]
struct Held {
    /// Seconds after frame 0.
    at_s: Ratio,
    bounds: HalfOpen,
}

/// A sighting holds where it is nearest to frame 0: a sighting that sees frame
/// 0 then carries nothing over, and its bounds stay as they are.
fn held(window: &WindowFit, start: &Scored, times: &Times) -> Held {
    let seconds = |ticks: i64| Ratio::from_integer(ticks) * times.tick_s;
    let back = seconds(window.reference_tick - window.first_tick);
    Held {
        at_s: seconds(window.first_tick),
        bounds: start.bounds.shift(-(start.pace.counts_per_second() * back)),
    }
}

/// Joins `windows` under each pace that the first of `order` allows. `order`
/// holds the sightings to be joined, strongest first.
pub(super) fn joints(windows: &[&WindowFit], order: &[usize], times: &Times) -> Vec<Joint> {
    let Some((&lead, others)) = order.split_first() else {
        return Vec::new();
    };
    let mut joints: Vec<Joint> = windows[lead]
        .scored
        .iter()
        .map(|first| {
            let mut chosen = vec![None; windows.len()];
            chosen[lead] = Some(first.clone());
            let (mut score, mut lenient_score) = (first.score, first.lenient_score);
            let mut members = vec![held(windows[lead], first, times)];
            for &other in others {
                let window = windows[other];
                if let Some(start) = agreeing(&mut members, window, first, times) {
                    score += start.score;
                    lenient_score += start.lenient_score;
                    chosen[other] = Some(start);
                }
            }
            let usual = corridor(&members, &first.pace, USUAL_DRIFT_PPM);
            let is_usual = usual.is_some();
            if !is_usual {
                score -= UNUSUAL_DRIFT;
                lenient_score -= UNUSUAL_DRIFT;
            }
            let corridor = usual
                .or_else(|| corridor(&members, &first.pace, LARGEST_DRIFT_PPM))
                .expect("one sighting at least leaves a corridor");
            let nominal = first.pace.counts_per_second();
            let ppm = |rate: Ratio| (rate / nominal - Ratio::ONE) * Ratio::from_integer(1_000_000);
            let drift_ppm = HalfOpen::new(ppm(corridor.rate.low), ppm(corridor.rate.high));
            let limit = 2 * USUAL_DRIFT_PPM;
            let is_measured = !is_usual || drift_ppm.width() < Ratio::from_integer(limit);
            Joint {
                pace: first.pace,
                start: corridor.phase,
                chosen,
                score,
                lenient_score,
                drift_ppm: is_measured.then_some(drift_ppm),
            }
        })
        .collect();
    joints.sort_by(|a, b| b.score.total_cmp(&a.score));
    joints
}

/// The best start of `window` that lies on one line with `members`, which it
/// joins. If none does, the best start with other slow digits where nothing
/// much is said against them.
fn agreeing(
    members: &mut Vec<Held>,
    window: &WindowFit,
    first: &Scored,
    times: &Times,
) -> Option<Scored> {
    let pace = &first.pace;
    let anchor = members[0];
    let mut joins = |start: &Scored| {
        // A clock that ran past midnight starts a day later, or earlier.
        let mut candidate = held(window, start, times);
        candidate.bounds = nearest_day(&anchor, candidate, pace);
        members.push(candidate);
        let is_one_line = corridor(members, pace, LARGEST_DRIFT_PPM).is_some();
        if !is_one_line {
            members.pop();
        }
        is_one_line
    };
    let of_pace = || window.scored.iter().filter(|start| start.pace == *pace);
    if let Some(start) = of_pace().find(|start| joins(start)) {
        return Some(start.clone());
    }
    let at_s = Ratio::from_integer(window.reference_tick) * times.tick_s;
    let foretold = anchor.bounds.middle() + pace.counts_per_second() * (at_s - anchor.at_s);
    let start = of_pace().next()?.moved_near(foretold, &window.ballots)?;
    joins(&start).then_some(start)
}

fn nearest_day(anchor: &Held, other: Held, pace: &Pace) -> HalfOpen {
    let day = Ratio::from_integer(pace.form.counts_per_day());
    let foretold = anchor.bounds.middle() + pace.counts_per_second() * (other.at_s - anchor.at_s);
    let days = ((foretold - other.bounds.middle()) / day).round();
    other.bounds.shift(day * Ratio::from_integer(days))
}

struct Corridor {
    /// Count at frame 0.
    phase: HalfOpen,
    /// Counts per clip second.
    rate: HalfOpen,
}

/// The phases at frame 0 and the rates, within `drift_ppm` of the pace, that
/// all `members` allow; `None` if there are none.
fn corridor(members: &[Held], pace: &Pace, drift_ppm: i128) -> Option<Corridor> {
    let nominal = pace.counts_per_second();
    let drift = nominal * Ratio::new(drift_ppm, 1_000_000);
    let mut rate = HalfOpen::new(nominal - drift, nominal + drift);
    for (i, a) in members.iter().enumerate() {
        for b in &members[i + 1..] {
            let apart = b.at_s - a.at_s;
            if apart.is_zero() {
                if a.bounds.intersect(b.bounds).is_empty() {
                    return None;
                }
                continue;
            }
            let (first, second) = if apart.is_positive() { (a, b) } else { (b, a) };
            rate = rate.intersect(HalfOpen::new(
                (second.bounds.low - first.bounds.high) / apart.abs(),
                (second.bounds.high - first.bounds.low) / apart.abs(),
            ));
        }
    }
    if rate.is_empty() {
        return None;
    }
    // Along the rate, the upper bound of the phase is the lowest of falling
    // lines and the lower bound the highest: both are extreme at the ends or
    // where two of their lines cross.
    let mut corners = vec![rate.low, rate.high];
    for (i, a) in members.iter().enumerate() {
        for b in &members[i + 1..] {
            let apart = b.at_s - a.at_s;
            if !apart.is_zero() {
                corners.push((b.bounds.low - a.bounds.low) / apart);
                corners.push((b.bounds.high - a.bounds.high) / apart);
            }
        }
    }
    let phases = |rate: Ratio| {
        let at_0 = |m: &Held| m.bounds.shift(-(rate * m.at_s));
        members.iter().map(at_0).reduce(HalfOpen::intersect)
    };
    let mut phase: Option<HalfOpen> = None;
    for corner in corners {
        if corner < rate.low || corner > rate.high {
            continue;
        }
        if let Some(here) = phases(corner).filter(|p| p.low <= p.high) {
            phase = Some(phase.map_or(here, |p| {
                HalfOpen::new(p.low.min(here.low), p.high.max(here.high))
            }));
        }
    }
    phase
        .filter(|p| !p.is_empty())
        .map(|phase| Corridor { phase, rate })
}
