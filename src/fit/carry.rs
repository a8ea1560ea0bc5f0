//! A start carried to frame 0 by a clock that may run fast or slow.
//!
//! Clocks of frames are made to keep their rate; of seconds and tenths there are stopwatches, and
//! programs that wait for a tenth and take a moment more. And these change so seldom that few
//! frames tell their pace.

use super::doubt::Doubt;
use super::join::Joint;
use super::looks::Times;
use super::reasons;
use super::sight::is_coarse;
use super::table::{Member, Table};
use crate::timecode::{HalfOpen, Ratio};

/// Part of its rate by which a clock may be off: one in so many. One that is further off
/// gains a frame in half a second, and shows it.
const MOST_OFF: i128 = 20;

impl Table<'_> {
    /// Doubts a start that was carried further than its clock was seen, where that clock could
    /// run at another pace and start more than a frame away; the bounds then hold that, too. A
    /// pace that is off by less than a frame over all that was seen is so over the way to frame
    /// 0, too, if that is no longer.
    #[must_use]
    pub fn check_carry(
        &self,
        chosen: &Joint,
        start: HalfOpen,
        members: &[Member],
        doubts: &mut Vec<Doubt>,
    ) -> HalfOpen {
        let is_given = self.known.rate == Some(chosen.pace.form.rate());
        let is_known = is_given || chosen.drift_ppm.is_some();
        let first = members.iter().map(|m| m.placed.looks.ticks[0]).min();
        let last = members
            .iter()
            .map(|m| m.placed.looks.ticks[m.placed.looks.len() - 1])
            .max();
        let (Some(first), Some(last)) = (first, last) else {
            return start;
        };
        if is_known || !is_coarse(chosen.pace.form) || first <= last - first {
            return start;
        }
        let Some(any) = self.at_any_pace(chosen, members) else {
            return start;
        };
        let middle = start.middle();
        let reach = (any.high - middle).max(middle - any.low);
        let grain = self.grain(&chosen.pace);
        if reach <= grain + self.slack(chosen) {
            return start;
        }
        let seconds = |ticks: i64| Ratio::from_integer(ticks) * self.times.tick_s;
        let frames = (reach / grain).to_f64();
        doubts.push(reasons::carried_far(
            seconds(last - first),
            seconds(first),
            frames,
        ));
        HalfOpen::new(
            start.low.min(middle - reach),
            start.high.max(middle + reach),
        )
    }

    /// The counts on frame 0 of all clocks that would have shown what the looks tell, at any pace
    /// near the chosen one.
    ///
    /// A clock is a line through time. It passes above the count of each look, at its first look,
    /// and below the next count, at its last; a slack later, where the display is late. Frame 0
    /// comes before all looks, so that the slowest line is the highest there, and the fastest the
    /// lowest.
    fn at_any_pace(&self, chosen: &Joint, members: &[Member]) -> Option<HalfOpen> {
        let slack = self.slack(chosen);
        let mut ends = Ends::new(slack);
        for member in members {
            // A clock that ran past midnight is counted on.
            let day = Ratio::from_integer(chosen.pace.form.counts_per_day());
            let since = Ratio::from_integer(self.windows[member.index].reference_tick);
            let gained = chosen.pace.counts_per_second() * since * self.times.tick_s;
            let behind = chosen.start.middle() + gained - member.start.bounds.middle();
            ends.add(member, self.times, (behind - behind.wrapped(day)).round());
        }
        let parts = Ratio::from_integer(ends.parts);
        let pace = chosen.pace.counts_per_second() * self.times.tick_s * parts;
        let off = pace / Ratio::from_integer(MOST_OFF);
        let slowest = ends.first_open(pace - off)?;
        let fastest = ends.first_open(pace + off)?;
        (slowest <= pace && pace <= fastest).then_some(())?;
        ends.on_frame_0(slowest, fastest)
    }
}

/// What a look bounds a clock by: at that tick it held so much.
#[derive(Clone, Copy)]
struct End {
    tick: i128,
    /// In parts of a count.
    held: i128,
}

impl End {
    /// Parts that a line through it holds on frame 0, times the denominator of its pace.
    const fn on_frame_0(&self, pace: Ratio) -> i128 {
        self.held * pace.den() - pace.num() * self.tick
    }
}

/// Ends that a clock passes above, and below.
struct Ends {
    /// To the count.
    parts: i128,
    slack: i128,
    lower: Vec<End>,
    upper: Vec<End>,
}

impl Ends {
    const fn new(slack: Ratio) -> Self {
        Self {
            parts: slack.den(),
            slack: slack.num(),
            lower: Vec::new(),
            upper: Vec::new(),
        }
    }

    /// The looks of a member, whose counts are `more` behind those of the first one.
    fn add(&mut self, member: &Member, times: &Times, more: i128) {
        let placed = &member.placed;
        let (looks, counts) = (placed.looks, &placed.counts);
        let plain = placed.plainly_agreeing();
        let rounding = i128::from(times.rounding_ticks);
        for same in plain.chunk_by(|&a, &b| counts[a] == counts[b]) {
            let tick = |at: usize| i128::from(looks.ticks[same[at]]);
            let held = (i128::from(counts[same[0]]) + more) * self.parts;
            self.lower.push(End {
                tick: tick(0) + rounding,
                held,
            });
            self.upper.push(End {
                tick: tick(same.len() - 1) - rounding,
                held: held + self.parts + self.slack,
            });
        }
    }

    /// The ends that bound a line of this pace, in parts a tick.
    fn binding(&self, pace: Ratio) -> Option<(End, End)> {
        let low = self.lower.iter().max_by_key(|end| end.on_frame_0(pace))?;
        let high = self.upper.iter().min_by_key(|end| end.on_frame_0(pace))?;
        Some((*low, *high))
    }

    /// The first pace on the way from `pace` to the clock's own, in parts a tick, at which a line
    /// passes between all ends. What is open between them bends towards the clock's own pace
    /// only, so that the pace at which the two ends that bind would meet is never beyond it.
    fn first_open(&self, mut pace: Ratio) -> Option<Ratio> {
        for _ in 0..=self.lower.len() + self.upper.len() {
            let (low, high) = self.binding(pace)?;
            if low.on_frame_0(pace) <= high.on_frame_0(pace) {
                return Some(pace);
            }
            if low.tick == high.tick {
                return None;
            }
            pace = Ratio::new(low.held - high.held, low.tick - high.tick);
        }
        None
    }

    /// Counts on frame 0 of all lines between two paces.
    fn on_frame_0(&self, slowest: Ratio, fastest: Ratio) -> Option<HalfOpen> {
        let (low, _) = self.binding(fastest)?;
        let (_, high) = self.binding(slowest)?;
        let counts =
            |end: End, pace: Ratio| Ratio::new(end.on_frame_0(pace), pace.den() * self.parts);
        Some(HalfOpen::new(counts(low, fastest), counts(high, slowest)))
    }
}
