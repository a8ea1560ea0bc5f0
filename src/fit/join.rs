//! Several sightings of one clock in one clip: head and tail slate, or more.
//!
//! Each sighting says where the clock stood at its own time, `low <= phase +
//! rate * t < high`. Clocks and cameras are never driven by one crystal, so the
//! rate between sightings is that of the table give or take a drift; what all
//! sightings and the drift leave over is a polygon in the plane of phase and
//! rate, and its corners give the bounds.

use super::looks::Times;
use super::pace::Pace;
use super::refresh::Refresh;
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
    /// What the marks before the last digits add to both scores, once they were heard.
    pub mark_odds: f64,
    /// Clock against camera, in parts per million, where two sightings bound it
    /// better than the usual drift does.
    pub drift_ppm: Option<HalfOpen>,
}

impl Joint {
    /// True if `other` is the same clock, but that one of them counts drop-frame.
    pub fn differs_by_drop_frame(&self, other: &Self) -> bool {
        self.pace.form.rate() == other.pace.form.rate()
            && self.pace.speed == other.pace.speed
            && self.pace.form.drop_frame() != other.pace.form.drop_frame()
    }
}

/// Sightings that bound a line; corners grow with the cube of their number.
const MOST_MEMBERS: usize = 6;
/// Nats against a drift beyond the usual: where another rate needs none, as 30
/// against 29.97 with drop-frame does, the other is believed.
const UNUSUAL_DRIFT: f64 = 10.0;

/// A sighting at its own time.
#[derive(Clone, Copy)]
struct Anchored {
    /// Seconds after frame 0.
    at_s: Ratio,
    /// When it was last looked at, seconds after frame 0.
    until_s: Ratio,
    bounds: HalfOpen,
}

impl Anchored {
    /// True if both were in view at once, and less than half of what the narrower one leaves open is
    /// left open by the other, too: two clocks a count or two apart, of which a lag on one side explains
    /// all and none on the other, and no display that is seen twice.
    fn barely_meets(&self, other: &Self, pace: &Pace) -> bool {
        let carried = pace.counts_per_second() * (other.at_s - self.at_s);
        let common = self.bounds.intersect(other.bounds.shift(-carried));
        let narrower = self.bounds.width().min(other.bounds.width());
        self.at_s <= other.until_s
            && other.at_s <= self.until_s
            && Ratio::from_integer(2) * common.width() < narrower
    }
}

/// A sighting holds where it is nearest to frame 0: a sighting that sees frame
/// 0 then carries nothing over, and its bounds stay as they are.
fn anchored(window: &WindowFit, start: &Scored, times: &Times) -> Anchored {
    let seconds = |ticks: i64| Ratio::from_integer(ticks) * times.tick_s;
    let back = seconds(window.reference_tick - window.first_tick);
    Anchored {
        at_s: seconds(window.first_tick),
        until_s: seconds(window.last_tick),
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
            let [strict, late] = [false, true].map(|late| {
                let mut line = Line::new(windows[lead], first, times, late);
                let mut chosen = vec![None; windows.len()];
                chosen[lead] = Some(first.clone());
                for &other in others {
                    chosen[other] = line.agreeing(windows[other]);
                }
                (line, chosen)
            });
            let count = |(_, chosen): &(Line, Vec<Option<Scored>>)| chosen.iter().flatten().count();
            let drift_if_late = late.0.corridor().1;
            let (line, chosen) = if count(&late) > count(&strict) {
                late
            } else {
                strict
            };
            let (corridor, drift) = line.corridor();
            // What a lag that differs between sightings explains is no drift: a refresh of a panel over a
            // minute is 300 ppm.
            let cost = match (drift, drift_if_late) {
                (Drift::Unusual, Drift::Unusual) => UNUSUAL_DRIFT,
                _ => 0.0,
            };
            let is_measured = drift != Drift::TakenForGranted;
            let starts = || chosen.iter().flatten();
            Joint {
                pace: first.pace,
                start: corridor.phase,
                score: starts().map(|s| s.score).sum::<f64>() - cost,
                lenient_score: starts().map(|s| s.lenient_score).sum::<f64>() - cost,
                mark_odds: 0.0,
                drift_ppm: is_measured.then(|| line.drift_ppm(&corridor)),
                chosen,
            }
        })
        .collect();
    joints.sort_by(|a, b| b.score.total_cmp(&a.score));
    joints
}

/// What sightings say of clock against camera.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Drift {
    /// They leave more open than what is usual.
    TakenForGranted,
    /// Less, and a usual drift among it.
    Measured,
    /// No usual drift explains them.
    Unusual,
}

/// Sightings that lie on one line.
struct Line<'t> {
    pace: Pace,
    times: &'t Times,
    /// Counts by which each sighting may show less than the clock holds: a lag
    /// that is constant in each, and cannot be seen there, may differ between them.
    lag: Ratio,
    members: Vec<Anchored>,
}

impl<'t> Line<'t> {
    fn new(window: &WindowFit, first: &Scored, times: &'t Times, may_lag: bool) -> Self {
        let mut line = Self {
            pace: first.pace,
            times,
            lag: Ratio::ZERO,
            members: Vec::new(),
        };
        if may_lag {
            line.lag = Refresh::SLOWEST_PANEL.counts(first.pace.form.rate());
        }
        line.members.push(line.anchored(window, first));
        line
    }

    fn anchored(&self, window: &WindowFit, start: &Scored) -> Anchored {
        let mut anchored = anchored(window, start, self.times);
        anchored.bounds.high = anchored.bounds.high + self.lag;
        anchored
    }

    /// The best start of `window` that lies on this line, which it joins. If
    /// none does, the best start with other slow digits, where nothing much is
    /// said against them.
    fn agreeing(&mut self, window: &WindowFit) -> Option<Scored> {
        let pace = self.pace;
        let of_pace = || window.scored.iter().filter(|start| start.pace == pace);
        if let Some(start) = of_pace().find(|start| self.joins(window, start)) {
            return Some(start.clone());
        }
        let at_s = Ratio::from_integer(window.reference_tick) * self.times.tick_s;
        let anchor = self.members[0];
        let foretold = anchor.bounds.middle() + pace.counts_per_second() * (at_s - anchor.at_s);
        let start = of_pace().next()?.moved_near(foretold, &window.ballots)?;
        self.joins(window, &start).then_some(start)
    }

    fn joins(&mut self, window: &WindowFit, start: &Scored) -> bool {
        // A clock that ran past midnight starts a day later, or earlier.
        let mut candidate = self.anchored(window, start);
        candidate.bounds = nearest_day(&self.members[0], candidate, &self.pace);
        let mut members = self.members.iter();
        if members.any(|member| member.barely_meets(&candidate, &self.pace)) {
            return false;
        }
        if self.members.len() < MOST_MEMBERS {
            self.members.push(candidate);
            let is_one_line = self.corridor_of(&self.members, LARGEST_DRIFT_PPM).is_some();
            if !is_one_line {
                self.members.pop();
            }
            return is_one_line;
        }
        // Enough to bound the line: the rest need only lie in its corridor.
        let (corridor, _) = self.corridor();
        let at = |phase: Ratio, rate: Ratio| phase + rate * candidate.at_s;
        let there = HalfOpen::new(
            at(corridor.phase.low, corridor.rate.low),
            at(corridor.phase.high, corridor.rate.high),
        );
        !there.intersect(candidate.bounds).is_empty()
    }

    /// What the members leave over, and what they say of the drift. The usual drift is taken for
    /// granted only where they do not measure it, and only on the way to frame 0: a tail slate
    /// minutes away must not narrow what the head's own frames say.
    fn corridor(&self) -> (Corridor, Drift) {
        let any = self.corridor_of(&self.members, LARGEST_DRIFT_PPM);
        let any = any.expect("members were let in by this");
        let usual = self.corridor_of(&self.members, USUAL_DRIFT_PPM);
        let is_measured = self.drift_ppm(&any).width() < Ratio::from_integer(2 * USUAL_DRIFT_PPM);
        match usual {
            Some(usual) if !is_measured => {
                let nearest = self.members.iter().min_by_key(|member| member.at_s.abs());
                let nearest = nearest.expect("a line has a member");
                let alone = self.corridor_of(std::slice::from_ref(nearest), USUAL_DRIFT_PPM);
                let alone = alone.expect("one sighting is a line");
                let phase = alone.phase.intersect(any.phase);
                (Corridor { phase, ..usual }, Drift::TakenForGranted)
            }
            Some(_) => (any, Drift::Measured),
            None => (any, Drift::Unusual),
        }
    }

    /// What some sightings leave over at this pace, which may itself be in doubt.
    fn corridor_of(&self, members: &[Anchored], drift_ppm: i128) -> Option<Corridor> {
        corridor(members, &self.pace, drift_ppm + self.pace.doubt_ppm)
    }

    /// Clock against camera in parts per million.
    fn drift_ppm(&self, corridor: &Corridor) -> HalfOpen {
        let nominal = self.pace.counts_per_second();
        let ppm = |rate: Ratio| (rate / nominal - Ratio::ONE) * Ratio::from_integer(1_000_000);
        HalfOpen::new(ppm(corridor.rate.low), ppm(corridor.rate.high))
    }
}

fn nearest_day(anchor: &Anchored, other: Anchored, pace: &Pace) -> HalfOpen {
    let day = Ratio::from_integer(pace.form.counts_per_day());
    let foretold = anchor.bounds.middle() + pace.counts_per_second() * (other.at_s - anchor.at_s);
    other.bounds.nearest_to(foretold, day)
}

struct Corridor {
    /// Count at frame 0.
    phase: HalfOpen,
    /// Counts per clip second.
    rate: HalfOpen,
}

/// The phases at frame 0 and the rates, within `drift_ppm` of the pace, that
/// all `members` allow; `None` if there are none.
fn corridor(members: &[Anchored], pace: &Pace, drift_ppm: i128) -> Option<Corridor> {
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
        let at_0 = |m: &Anchored| m.bounds.shift(-(rate * m.at_s));
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
