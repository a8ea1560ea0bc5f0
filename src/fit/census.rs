//! What the sightings of a chosen start hold, counted, before anything is made of it.

use super::ballot::Shifts;
use super::labels;
use super::lean::{Leans, Trust};
use super::placed::Placed;
use super::sight::{Blur, Seen};
use super::table::{Member, Table};
use super::tally::Tally;

/// One member, counted.
pub(super) struct Counted<'m> {
    pub member: &'m Member<'m>,
    pub seen: &'m Seen<'m>,
    pub blur: Blur,
    /// True if others look at the same digits and see them better.
    pub is_again: bool,
    /// The share of its looks that are in a frame in which one of those looks, too.
    pub share_again: f64,
    /// Of all its looks.
    pub tally: Tally,
    /// Of those that no better look tells otherwise; `odd` are places among all looks.
    pub heard: Tally,
    /// Looks that show a number which would follow the clock's last one if its seconds were longer.
    pub beyond: usize,
}

/// All members of a start.
pub(super) struct Census<'m> {
    pub all: Vec<Counted<'m>>,
}

impl Table<'_> {
    pub fn census<'m>(&'m self, members: &'m [Member<'m>]) -> Census<'m> {
        let all = members.iter().map(|member| self.count(member, members));
        Census { all: all.collect() }
    }

    fn count<'m>(&'m self, member: &'m Member<'m>, members: &'m [Member<'m>]) -> Counted<'m> {
        let placed = &member.placed;
        let blur = Blur::of(member.start, self.frame_s());
        let tally = Tally::of(placed, blur);
        let is_better = |other: &&Member| self.is_seen_better(member.index, other.index);
        let better: Vec<&Member> = members.iter().filter(is_better).collect();
        let indices: Vec<usize> = better.iter().map(|other| other.index).collect();
        let heard = match better.is_empty() {
            true => tally.clone(),
            false => {
                let heard = Self::not_told_better(member, &better);
                let of_heard = Placed {
                    looks: &placed.looks.subset(&heard),
                    form: placed.form,
                    counts: heard.iter().map(|&look| placed.counts[look]).collect(),
                };
                let mut tally = Tally::of(&of_heard, blur);
                tally.odd.iter_mut().for_each(|odd| *odd = heard[*odd]);
                tally
            }
        };
        Counted {
            member,
            seen: &self.seen[member.index],
            blur,
            is_again: !better.is_empty(),
            share_again: self.share_seen_again(member.index, &indices),
            tally,
            heard,
            beyond: labels::beyond_the_last(placed),
        }
    }
}

impl Counted<'_> {
    /// Looks that tell a digit, and those against the fit, where that is too often for a clock that
    /// runs evenly.
    fn uneven(&self) -> Option<(usize, usize)> {
        let beyond = (self.beyond >= labels::FEWEST).then_some((self.heard.read, self.beyond));
        let looks = &self.member.placed.looks;
        // A display that is drawn anew now and then may show one number of the fastest digit only.
        let last = (self.seen.left_out).filter(|&place| place + 1 == looks.dial.places());
        let left_out = last.and_then(|place| labels::says_one_or_two(&self.member.placed, place));
        self.heard
            .uneven_place(self.blur.places)
            .or(beyond)
            .or(left_out)
    }
}

impl<'m> Census<'m> {
    /// Looks in which some digit was told, but for those at what a better one tells.
    pub fn read(&self) -> usize {
        self.all.iter().map(|one| one.heard.read).sum()
    }

    /// Those of them in which no told digit is against the fit.
    pub fn agreeing(&self) -> usize {
        self.all.iter().map(|one| one.heard.agreeing).sum()
    }

    /// Different counts that one of the members shows, the most.
    pub fn distinct(&self) -> usize {
        let distinct = self.all.iter().map(|one| one.tally.distinct);
        distinct.max().unwrap_or(0)
    }

    /// Nats that a clock which runs gains over one that stands, each frame heard once.
    pub fn running(&self) -> f64 {
        let once = |one: &Counted| one.seen.running * (1.0 - one.share_again);
        self.all.iter().map(once).sum()
    }

    /// As [`Counted::uneven`], of the first member of which it holds.
    pub fn uneven(&self) -> Option<(usize, usize)> {
        self.all.iter().find_map(Counted::uneven)
    }

    /// The members, but for other looks at digits that one of them sees better.
    pub fn told(&self) -> impl Iterator<Item = &'m Placed<'m>> {
        let once = self.all.iter().filter(|one| !one.is_again);
        once.map(|one| &one.member.placed)
    }

    /// Digits of the hours on the display, where it is seen best; 0 without a member.
    pub fn hour_digits(&self) -> u8 {
        let dials = self.all.iter().map(|one| one.member.placed.looks.dial);
        dials.map(|dial| dial.hour_digits).max().unwrap_or(0)
    }

    /// How far a digit that stands can be trusted.
    pub fn trust(&self) -> Trust {
        let mut leans = Leans::new();
        for one in self.all.iter().filter(|one| !one.is_again) {
            leans.add(&one.member.placed, one.blur);
        }
        leans.trust()
    }

    /// The start, so many counts away, that explains the digits after the seconds best, `least` away
    /// or more, and the nats that it loses; `base` counts are a second.
    pub fn shifted(&self, base: u32, least: i64) -> Option<(i64, f64)> {
        let mut shifts = Shifts::new(base, least);
        self.told().for_each(|placed| shifts.add(placed));
        shifts.rival()
    }
}
