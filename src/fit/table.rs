//! What a decision looks at, and the measures that it goes by.

use super::Known;
use super::join::Joint;
use super::late;
use super::looks::{Looks, Times};
use super::pace::{Dial, Pace};
use super::placed::Placed;
use super::sight::{Seen, is_coarse};
use super::window::{self, Scored, WindowFit};
use crate::facts::ClipFacts;
use crate::geometry::Quad;
use crate::reading::Sighting;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};

/// Counts per clip frame from which one exposure may hold more than two.
const BLURRED_COUNTS: i128 = 4;

/// Share of the looks of a sighting that must tell the digits of another before it is a part of it.
const MOSTLY_ALIKE: (usize, usize) = (3, 4);

/// Everything a decision looks at.
pub(super) struct Table<'a> {
    pub sightings: &'a [&'a Sighting],
    pub seen: &'a [Seen<'a>],
    pub windows: &'a [&'a WindowFit],
    pub times: &'a Times,
    pub clip: &'a ClipFacts,
    pub known: &'a Known,
}

/// What stands in a row above the other digits, or well before them, and hours are read from.
#[derive(Clone, Copy)]
pub(super) enum Apart {
    /// A number: that of a scene or a take does so, too.
    Number,
    /// Hours and minutes, of which no minute passed in view: a time of day above a race or a stopwatch
    /// does so, too.
    HoursAndMinutes,
}

/// A sighting that shows the chosen clock.
pub(super) struct Member<'a> {
    /// Index into what was seen.
    pub index: usize,
    pub start: &'a Scored,
    /// Its looks, with the counts of the start.
    pub placed: Placed<'a>,
    /// What the first look says by itself, where the display is late in one stretch only.
    pub first_look: Option<HalfOpen>,
}

impl Table<'_> {
    /// The sightings that show the chosen clock.
    pub fn members<'j>(&'j self, chosen: &'j Joint) -> Vec<Member<'j>> {
        let starts = chosen.chosen.iter().enumerate();
        let member = |(index, start): (usize, &'j Option<Scored>)| {
            let start = start.as_ref()?;
            let looks = self.seen[index].looks.as_ref()?;
            let reference_tick = self.windows[index].reference_tick;
            let placed = window::place(looks, self.times, start, reference_tick)?;
            let first_look =
                late::first_look_alone(&placed, self.times, start, reference_tick, self.frame_s());
            Some(Member {
                index,
                start,
                placed,
                first_look,
            })
        };
        starts.filter_map(member).collect()
    }

    /// The longer of one clip frame and one count, in counts. On clocks whose
    /// counts are long, one clip frame.
    pub fn grain(&self, pace: &Pace) -> Ratio {
        let frame = self.frame_s() * pace.counts_per_second();
        match pace.form {
            form if is_coarse(form) => frame,
            _ => frame.max(Ratio::ONE),
        }
    }

    /// Duration of a clip frame in seconds; that of the slowest common rate if unknown.
    pub fn frame_s(&self) -> Ratio {
        let rate = self.clip.rate.map(Rate::ratio);
        rate.map_or(Ratio::new(1, 24), Ratio::recip)
    }

    /// Counts by which the reading of a blur of digits may miss its middle.
    ///
    /// A clock that steps several times while the shutter is open leaves all
    /// these digits on top of each other. Read place by place, their middle is
    /// not the middle of the exposure: it may be anywhere within it. A shutter
    /// is open for a frame at the most, half of it to either side.
    pub fn blur(&self, pace: &Pace) -> Ratio {
        let frame = self.frame_s() * pace.counts_per_second();
        if frame < Ratio::from_integer(BLURRED_COUNTS) {
            return Ratio::ZERO;
        }
        frame / Ratio::from_integer(2)
    }

    /// Where two sightings lie that are looks at the same digits: in a frame that both hold, one
    /// lies on the other. Stretches of one sighting are not.
    pub fn same_digits(&self, a: usize, b: usize) -> Option<(Quad, Quad)> {
        if self.seen[a].sighting == self.seen[b].sighting || !self.overlap(a, b) {
            return None;
        }
        let of = |i: usize| &self.sightings[self.seen[i].sighting].readings;
        let in_both = of(a).iter().find_map(|reading| {
            let other = of(b).iter().find(|other| other.stamp == reading.stamp)?;
            Some((reading.quad, other.quad))
        });
        in_both.filter(|(a, b)| {
            let (along, aside) = a.along_and_aside(b.centre());
            let reach = (
                a.length_px().max(b.length_px()),
                a.height_px().max(b.height_px()),
            );
            2.0 * along.abs() < reach.0 && 2.0 * aside.abs() < reach.1
        })
    }

    /// True if two sightings, or stretches, were seen at one time.
    pub fn overlap(&self, a: usize, b: usize) -> bool {
        let span = |i: usize| {
            let looks = self.seen[i].looks.as_ref();
            looks.map_or((0, 0), |l| (l.ticks[0], l.ticks[l.len() - 1]))
        };
        let (a, b) = (span(a), span(b));
        a.0 <= b.1 && b.0 <= a.1
    }

    /// True if another sighting looks at the same digits, and tells more digits of the hours or is
    /// seen in more frames: one display may be seen in several ways, which is no news about its digits.
    pub fn is_seen_better(&self, index: usize, other: usize) -> bool {
        let fullness = |i: usize| {
            let seen = &self.seen[i];
            let looks = seen.looks.as_ref();
            let told = |l: &Looks| {
                if seen.tells_hours() {
                    l.dial.hour_digits
                } else {
                    0
                }
            };
            looks.map_or((0, 0, i), |l| (told(l), l.len(), i))
        };
        fullness(other) > fullness(index) && self.same_digits(index, other).is_some()
    }

    /// The share of a sighting's looks that are in frames in which one of the others, that are
    /// `better` looks at the same digits, looks, too.
    pub fn share_seen_again(&self, index: usize, better: &[usize]) -> f64 {
        let ticks = self.ticks_of(index).iter();
        let again = ticks.filter(|&&tick| self.is_seen_at(tick, better)).count();
        again as f64 / self.ticks_of(index).len().max(1) as f64
    }

    /// True if one of some sightings looks at the frame of this tick.
    pub fn is_seen_at(&self, tick: i64, by: &[usize]) -> bool {
        let mut by = by.iter();
        by.any(|&index| self.ticks_of(index).binary_search(&tick).is_ok())
    }

    /// Ticks of a sighting's looks.
    fn ticks_of(&self, index: usize) -> &[i64] {
        let looks = self.seen[index].looks.as_ref();
        looks.map_or(&[], |looks| &looks.ticks)
    }

    /// Looks of a member but those in frames in which one of the others, that are `better` looks
    /// at the same digits, agrees with the fit: what it reads otherwise there, it misreads.
    pub fn not_told_better(member: &Member, better: &[&Member]) -> Vec<usize> {
        let agrees_at = |tick: i64| {
            better.iter().any(|other| {
                let look = other.placed.looks.ticks.binary_search(&tick);
                look.is_ok_and(|look| other.placed.agreement(look).agrees())
            })
        };
        let ticks = member.placed.looks.ticks.iter().enumerate();
        ticks
            .filter(|&(_, &tick)| !agrees_at(tick))
            .map(|(look, _)| look)
            .collect()
    }

    /// True if a sighting that does not join the `members` looks at the digits of one of them, and
    /// tells just these in most of its looks, but for some of the last ones: those that were too
    /// blurred to be found when it came into view.
    pub fn lacks_last_digits(&self, index: usize, members: &[Member]) -> bool {
        self.tells_the_digits_of_one(index, members, |looks, dial, look, shown| {
            let is_less = looks.dial.last_digits < dial.last_digits;
            let places = looks.dial.hidden_digits() + looks.dial.places();
            is_less && looks.agreement(look, &shown[..places]).agrees()
        })
    }

    /// The same, but with one more behind them: what lies beside a display, a fingertip say, may look
    /// like a digit.
    pub fn adds_last_digits(&self, index: usize, members: &[Member]) -> bool {
        self.tells_the_digits_of_one(index, members, |looks, dial, look, shown| {
            let is_more = looks.dial.last_digits > dial.last_digits;
            let mut shown = shown[dial.hidden_digits()..].iter().enumerate();
            is_more && !shown.any(|(at, &digit)| looks.place_against(look, at, digit) == Some(true))
        })
    }

    /// True if a sighting looks at the digits of one of the `members`, from the same one of the hours
    /// on, and most of its looks tell what `tells` asks of them: the looks, the member's dial, which
    /// look, and what the member's clock shows there.
    fn tells_the_digits_of_one(
        &self,
        index: usize,
        members: &[Member],
        tells: impl Fn(&Looks, Dial, usize, &[u8]) -> bool,
    ) -> bool {
        let Some(looks) = self.seen[index].looks.as_ref() else {
            return false;
        };
        let mut of_the_digits = members.iter().filter(|member| {
            member.placed.looks.dial.hour_digits == looks.dial.hour_digits
                && self.same_digits(index, member.index).is_some()
        });
        of_the_digits.any(|member| {
            let theirs = member.placed.looks;
            let alike = (0..looks.len()).filter(|&look| {
                let in_both = theirs.ticks.binary_search(&looks.ticks[look]);
                in_both.is_ok_and(|i| {
                    tells(looks, theirs.dial, look, member.placed.label(i).as_slice())
                })
            });
            let (share, of) = MOSTLY_ALIKE;
            of * alike.count() >= share * looks.len()
        })
    }

    /// True if some of the `members` look at the same digits, one with a digit of the hours that
    /// another has no place for.
    pub fn may_lack_an_hour_digit(&self, members: &[Member]) -> bool {
        let of = |digits| {
            members
                .iter()
                .filter(move |m| m.placed.looks.dial.hour_digits == digits)
        };
        of(1).any(|cut| of(2).any(|whole| self.same_digits(cut.index, whole.index).is_some()))
    }

    /// What all of the `members` that tell hours take them from, where that may be something else.
    pub fn hours_from_apart(&self, members: &[Member]) -> Option<Apart> {
        let telling = (members.iter()).filter(|m| self.seen[m.index].tells_hours());
        let taken = telling.map(|member| {
            let sighting = self.seen[member.index].sighting;
            match self.sightings[sighting].groups_apart {
                1 => Some(Apart::Number),
                // Who counts frames tells timecode.
                2 if !matches!(member.placed.form, ClockForm::Frames(_))
                    && !member.placed.passes_a_minute() =>
                {
                    Some(Apart::HoursAndMinutes)
                }
                _ => None,
            }
        });
        let taken: Option<Vec<Apart>> = taken.collect();
        taken?.first().copied()
    }

    pub fn slack(&self, joint: &Joint) -> Ratio {
        let slacks = joint.chosen.iter().flatten().map(Scored::slack);
        slacks.max().unwrap_or(Ratio::ZERO)
    }
}
