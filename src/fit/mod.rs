//! From doubtful digits to a start with bounds: pure, no pixels, no files, exact
//! in time. `docs/fit.md` derives the model.
//!
//! - `pace`: the closed table of clocks and speeds that could have been filmed
//! - `refresh`: how often displays are drawn anew
//! - `looks`: readings made ready: stamps on one tick, odds as logarithms
//! - `search`: starts worth a sweep, found digit group by digit group
//! - `sweep`: how well every phase explains the looks, exact interval of phases
//! - `odd`: a pace that no table holds, measured
//! - `window`: one sighting against every pace
//! - `placed`: looks, each with the count that the fit says was displayed in it
//! - `held`: looks at a display that is held while its clock runs on
//! - `sight`: what one sighting is: a clock that runs, stands still, counts down
//! - `join`: several sightings of one clock
//! - `lean`: what frames of one standing digit are worth together
//! - `shape`: the clock's own font: a digit that stands, held against those that moved
//! - `tally`: frames of one sighting, counted
//! - `excused`: digits against the fit that say nothing against the clock
//! - `labels`: what single frames say as whole labels
//! - `late`: lateness in one stretch of the looks, which no panel has
//! - `panel`: is there a panel that makes these late digits
//! - `ballot`: does each slow group of digits stand on its own
//! - `census`: the sightings of a start, counted
//! - `checks`: checks that could fail: enough frames, running, jumping, slow digits
//! - `carry`: a start carried to frame 0 by a clock that may run fast or slow
//! - `facing`: which way a display faces that reads both ways
//! - `table`: what a decision looks at, and the measures it goes by
//! - `clock`: what clock it is, and how its rate and drop-frame are known
//! - `hull`: the chosen start, widened by those that cannot be told from it
//! - `judge`: verdict, what to look at next
//! - `doubt`: what may be in doubt about a start
//! - `reasons`: the sentences that an editor reads

mod ballot;
mod carry;
mod census;
mod checks;
mod clock;
mod doubt;
mod excused;
mod facing;
mod held;
mod hull;
mod join;
mod judge;
mod labels;
mod late;
mod lean;
mod looks;
mod odd;
mod pace;
mod panel;
mod placed;
mod reasons;
mod refresh;
mod search;
mod shape;
mod sight;
mod sweep;
mod table;
mod tally;
#[cfg(test)]
mod tests;
mod window;

pub use pace::slowest_speed;
pub use sight::DAY_S;

use self::doubt::Doubt;
use crate::facts::ClipFacts;
use crate::note::Note;
use crate::outcome::{Clock, DropFrameKnownBy, RateKnownBy, Start, Verdict};
use crate::reading::Sighting;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};
use std::borrow::Borrow;

/// What only the user knows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Known {
    /// The clock's rate in counts per second.
    pub rate: Option<Rate>,
    pub drop_frame: Option<bool>,
    /// Real seconds by which the display is always late; the start is moved on
    /// by as much.
    pub lag_s: Option<Ratio>,
    /// Real seconds per clip second, above zero: 1/4 for 100 fps footage
    /// conformed to 25.
    pub speed: Option<Ratio>,
}

impl Known {
    /// The speed that was given, else that of real time.
    fn expected_speed(&self) -> Ratio {
        self.speed.unwrap_or(Ratio::ONE)
    }

    /// [`Known::lag_s`], zero where nobody told it.
    pub fn lag(&self) -> Ratio {
        self.lag_s.unwrap_or(Ratio::ZERO)
    }
}

/// The clock's count at the middle of frame 0's exposure.
#[derive(Clone, Debug, PartialEq)]
pub struct FittedStart {
    /// Text of the middle of `counts`, rounded down.
    pub label: String,
    /// Counts since midnight; the middle lies within the day.
    pub counts: HalfOpen,
    /// Real seconds since midnight of the clock.
    pub seconds: HalfOpen,
    /// [`Known::lag_s`], which is in all of these.
    pub lag_s: Ratio,
}

impl FittedStart {
    /// `counts` as a clock of `form` displayed them: without the lag.
    pub fn displayed(&self, form: ClockForm) -> HalfOpen {
        self.counts.shift(-form.count_at(self.lag_s))
    }
}

/// The clock that was filmed.
#[derive(Clone, Debug, PartialEq)]
pub struct FittedClock {
    pub form: ClockForm,
    pub rate_known_by: RateKnownBy,
    /// `None` if neither the digits nor the user settle it, or the form has no frames.
    pub drop_frame: Option<bool>,
    pub drop_frame_known_by: DropFrameKnownBy,
    /// Refresh that explains late digits, in hertz; `None` if none is needed.
    pub refresh_hz: Option<u32>,
    /// Real seconds per clip second.
    pub speed: Ratio,
    /// How fast the clock ran against the camera, in parts per million, where
    /// sightings far enough apart tell.
    pub drift_ppm: Option<HalfOpen>,
}

impl FittedClock {
    /// True if clocks of other rates would look alike so far, at other speeds of the clip. A count
    /// that this clock has not may be still to come.
    pub fn is_one_of_several_speeds(&self) -> bool {
        self.rate_known_by == RateKnownBy::Assumed && self.speed != Ratio::ONE
    }
}

/// How one sighting took part.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SightingFit {
    /// Readings in which a digit could be told.
    pub frames_read: usize,
    /// Those in which every told digit agrees with the fit.
    pub frames_agreeing: usize,
    /// For each reading, as they lie in the sighting: the count that the fit says was displayed;
    /// `None` if it says nothing of that frame, as of one in which the display is held. Empty if
    /// the sighting does not show the fitted clock.
    pub displayed: Vec<Option<i64>>,
}

impl SightingFit {
    /// True if the sighting shows the fitted clock.
    pub fn is_the_clock(&self) -> bool {
        self.displayed.iter().any(Option::is_some)
    }
}

/// What would help most.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NextLook {
    /// More frames cannot change the answer.
    Enough,
    /// More frames of this sighting's display, before or after those read.
    MoreHere {
        /// Index into the sightings.
        sighting: usize,
    },
    /// A display elsewhere in the clip, far from this one if there is one.
    ElsewhereToo,
}

/// The answer for one clip.
#[derive(Clone, Debug, PartialEq)]
pub struct ClockFit {
    /// Never [`Verdict::Failed`].
    pub verdict: Verdict,
    /// Why the verdict is not `sure`, or what it rests on.
    pub reasons: Vec<Note>,
    /// Remarks that do not touch the verdict.
    pub notes: Vec<Note>,
    pub start: Option<FittedStart>,
    pub clock: Option<FittedClock>,
    /// Of a clip without a clock: what was given, else that of real time.
    pub expected_speed: Ratio,
    /// True if there is a start, by a clock whose frames show that it runs.
    pub was_seen_running: bool,
    /// One for each sighting, in order.
    pub sightings: Vec<SightingFit>,
    pub next_look: NextLook,
}

impl ClockFit {
    /// True if the start may be used unseen, and more frames would not change it.
    pub fn is_settled(&self) -> bool {
        self.verdict == Verdict::Sure && self.next_look == NextLook::Enough
    }

    /// Frames, of all that were read, that agree with the fit.
    pub fn frames_agreeing(&self) -> usize {
        self.sightings.iter().map(|s| s.frames_agreeing).sum()
    }

    /// The start as outputs tell it.
    pub fn start_outcome(&self) -> Option<Start> {
        let (start, clock) = (self.start.as_ref()?, self.clock.as_ref()?);
        Some(Start::of(clock.form, start.counts, start.lag_s))
    }

    /// The clock as outputs tell it.
    pub fn clock_outcome(&self) -> Option<Clock> {
        self.clock.as_ref().map(|clock| Clock {
            form: clock.form.pattern().into(),
            rate: clock.form.rate().to_string(),
            rate_known_by: clock.rate_known_by,
            drop_frame: clock.drop_frame,
            drop_frame_known_by: clock.drop_frame_known_by,
            refresh_hz: clock.refresh_hz.map(f64::from),
            drift_ppm_bounds: clock.drift_ppm.map(|d| [d.low.to_f64(), d.high.to_f64()]),
        })
    }

    /// Real seconds per clip second.
    pub fn speed(&self) -> Ratio {
        let clock = self.clock.as_ref();
        clock.map_or(self.expected_speed, |clock| clock.speed)
    }
}

/// Nats that must be lost to a rate given by the user before it is called
/// wrong: more than late digits can cost.
const CONTRADICTED: f64 = 60.0;
/// The same where it is none of the trade's rates: below zero, since it must explain the digits better
/// than they do.
/// Within a count, a clock of 26 explains all that one of 25 shows (measured in the tests).
const NO_BETTER: f64 = -3.0;

/// Nats that must be lost to a speed given by the user, late displays counted, before it is called
/// wrong: 2 of 15,000 simulated sets lose so much where it is right, 64 % where it is 4 % off
/// (docs/fit.md).
const SPEED_CONTRADICTED: f64 = 20.0;

/// Fits a running clock to what was seen. `sightings` may hold several displays
/// and several windows, owned or borrowed; readings may lie in any order.
pub fn fit<S: Borrow<Sighting>>(sightings: &[S], clip: &ClipFacts, known: &Known) -> ClockFit {
    let sightings: Vec<&Sighting> = sightings.iter().map(Borrow::borrow).collect();
    let given = judge::judge(&sightings, clip, known);
    // What the user gave may be the very thing that does not fit.
    if let Some(given_rate) = known.rate {
        let free = Known {
            rate: None,
            ..known.clone()
        };
        let without = judge::judge(&sightings, clip, &free);
        // Nor does a clock of 24 ever show :24.
        let least = match Rate::TRADE.contains(&given_rate) && !given.shows_a_number_beyond {
            true => CONTRADICTED,
            false => NO_BETTER,
        };
        if known.drop_frame.is_none() && !given_rate.has_drop_frame() && skips_labels(&without.fit)
        {
            return contradicted(
                without.fit,
                reasons::given_rate_has_no_drop_frame(given_rate),
            );
        }
        let gained = without.gain - given.gain;
        let rate = without.fit.clock.as_ref().map(|clock| clock.form.rate());
        // A clock without frames that cannot count at that rate was not held to it.
        let is_held_to_it = given.fit.clock.as_ref().is_none_or(|clock| {
            !ClockForm::WITHOUT_FRAMES.contains(&clock.form) || clock.form.rate() == given_rate
        });
        if let Some(rate) = rate.filter(|&rate| rate != given_rate && gained >= least)
            && is_held_to_it
            && (without.fit.verdict == Verdict::Sure || gained >= CONTRADICTED)
        {
            return contradicted(
                without.fit,
                reasons::given_rate_contradicted(rate, given_rate),
            );
        }
    }
    if let Some(given_speed) = known.speed {
        let free = Known {
            speed: None,
            ..known.clone()
        };
        let without = judge::judge(&sightings, clip, &free);
        let gained = without.gain_on_time - given.gain_on_time;
        let speed = without.fit.clock.as_ref().map(|clock| clock.speed);
        if let Some(speed) = speed.filter(|&speed| speed != given_speed)
            && without.fit.verdict == Verdict::Sure
            && gained >= SPEED_CONTRADICTED
        {
            return contradicted(
                without.fit,
                reasons::given_speed_contradicted(speed, given_speed),
            );
        }
    }
    let mut given = given.fit;
    if let Some(given_answer) = known.drop_frame {
        let free = Known {
            drop_frame: None,
            ..known.clone()
        };
        let without = judge::judge(&sightings, clip, &free).fit;
        let against = without.clock.as_ref().filter(|clock| {
            let answer = clock.drop_frame;
            without.verdict == Verdict::Sure && answer.is_some_and(|a| a != given_answer)
        });
        if let Some(clock) = against {
            // One who knows that a display prints semicolons for nothing may say so, where nothing
            // hangs on it, or with the rate; what was seen to be skipped was skipped.
            let by_mark = clock.drop_frame_known_by == DropFrameKnownBy::Mark;
            let is_word_for_word = starts_alike(&without, &given)
                && (known.rate.is_some() || counts_go_over(clock.form.rate(), clip));
            if !(by_mark && is_word_for_word) {
                return contradicted(
                    without,
                    reasons::given_drop_frame_contradicted(given_answer),
                );
            }
            given.notes.push(reasons::given_against_mark(given_answer));
        }
    }
    given
}

/// True if the digits by themselves are those of a clock that counts drop-frame, for sure.
fn skips_labels(fit: &ClockFit) -> bool {
    let drop_frame = fit.clock.as_ref().and_then(|clock| clock.drop_frame);
    fit.verdict == Verdict::Sure && drop_frame == Some(true)
}

/// True if the clip's own label has the clock's digits, or twice its frames: where it counts otherwise,
/// labels are carried over by the time that has passed since midnight, and drop-frame moves that.
fn counts_go_over(clock: Rate, clip: &ClipFacts) -> bool {
    clip.rate.is_some_and(|clip| {
        let times = clip.ratio() / clock.ratio();
        times.den() == 1 || times.num() == 1
    })
}

/// What the digits say by themselves, where what the user gave does not go with them.
fn contradicted(mut fit: ClockFit, why: Doubt) -> ClockFit {
    if fit.verdict == Verdict::Sure {
        fit.reasons.clear();
    }
    fit.verdict = Verdict::Unsure;
    fit.reasons.insert(0, why.into());
    fit
}

/// True if the digits of both starts are the same, whatever stands between them.
fn starts_alike(a: &ClockFit, b: &ClockFit) -> bool {
    let digits = |fit: &ClockFit| {
        let label = fit.start.as_ref().map(|start| start.label.clone());
        label.map(|label| label.replace(|c: char| !c.is_ascii_digit(), ""))
    };
    digits(a) == digits(b)
}
