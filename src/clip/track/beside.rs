//! What lies beside the digits of a display: further digits, AM or PM, even ground, and whole clocks that
//! share a row with it.

use super::Track;
use crate::vision::{Display, End, Followed};

/// Mean logit of the looks above which AM or PM counts as written.
const HALF_DAY_LOGIT: f32 = 2.4;
/// A single look counts for at most this logit, either way.
const MOST_OF_A_LOOK: f32 = 6.0;
/// The first looks, one round of all shifts, are taken one with so many readings each. Later ones are
/// taken only while the mean is no more than `FAR_FROM_IT` below `HALF_DAY_LOGIT`.
const FIRST_LOOKS: usize = 4;
const READINGS_A_LOOK: usize = 3;
const FAR_FROM_IT: f32 = 3.0;
/// How surely a digit or a mark stands beside the outermost places from which on it is seen there.
const SEEN_BESIDE: f32 = 0.5;

/// What the readings of a display, and closer looks, saw beside it.
#[derive(Clone, Default)]
pub(super) struct Beside {
    /// Readings in which a digit stood right beside the outermost places, and those in which one stood
    /// before the first.
    cut: usize,
    cut_before: usize,
    /// Readings beside a whole clock, and those of them in which one of its own rows was that one's.
    with_whole: usize,
    borrowed: usize,
    /// Sum over the looks for AM and PM of the logit less `HALF_DAY_LOGIT`, nats.
    half_day: f32,
    /// How many of them there were.
    looks_around: usize,
    /// Looks that saw even ground behind the last digits, less those that did not.
    free: i32,
    /// Readings in which a mark stood there.
    marked: usize,
}

impl Beside {
    /// As often as a reading takes one in.
    #[cfg(test)]
    pub fn see_a_digit(&mut self, at: End) {
        self.cut += 1;
        self.cut_before += usize::from(at == End::First);
    }

    pub fn take(&mut self, seen: &Followed) {
        self.cut += usize::from(seen.beyond.most() > SEEN_BESIDE);
        self.cut_before += usize::from(seen.beyond.before > SEEN_BESIDE);
        self.marked += usize::from(seen.mark_behind > SEEN_BESIDE);
    }
}

impl Track {
    /// Takes what else was read in the frame that was read last.
    pub fn meets<'a>(&mut self, others: impl Iterator<Item = &'a Self>) {
        let is_whole = |other: &&Self| {
            other.misses == 0 && other.display.is_plain_and_whole() && other.counts_parts()
        };
        let mut wholes = others.filter(is_whole).peekable();
        if self.misses == 0 && wholes.peek().is_some() {
            self.beside.with_whole += 1;
            self.beside.borrowed +=
                usize::from(wholes.any(|w| self.display.takes_the_row_of(&w.display)));
        }
    }

    /// True if one of several rows is that of a whole clock: a number above that or below, of a
    /// scene or a slate, would pass for its hours or frames.
    pub(super) fn borrows_a_row(&self) -> bool {
        2 * self.beside.borrowed > self.beside.with_whole
    }

    /// Looks for AM and PM that were taken around the digits.
    pub const fn looks_around(&self) -> usize {
        self.beside.looks_around
    }

    /// True with every third reading until the first looks were taken around the digits: the fit may
    /// know enough before it asks a second time.
    pub fn is_new_to_looks_around(&self) -> bool {
        let looks = self.beside.looks_around;
        looks < FIRST_LOOKS && self.sighting.readings.len() >= READINGS_A_LOOK * (looks + 1)
    }

    /// True if more looks might tell that AM or PM is written there.
    pub fn may_show_half_day(&self) -> bool {
        let looks = self.beside.looks_around;
        let is_near = self.beside.half_day > -FAR_FROM_IT * looks as f32;
        self.misses == 0 && (looks < FIRST_LOOKS || is_near)
    }

    /// Takes what a closer look found: how surely AM or PM is written around the digits.
    pub fn take_half_day(&mut self, logit: f32) {
        self.beside.looks_around += 1;
        self.beside.half_day += logit.clamp(-MOST_OF_A_LOOK, MOST_OF_A_LOOK) - HALF_DAY_LOGIT;
        self.sighting.shows_half_day = self.beside.half_day > 0.0;
    }

    /// Takes what a closer look found: whether even ground lies behind the last digits.
    pub fn take_ground(&mut self, is_even: bool) {
        self.beside.free += vote(is_even);
        self.sighting.stands_free = self.beside.free > 0 && !self.is_seen_often(self.beside.marked);
    }

    /// True if a digit often stood right beside the display's outermost places: then the
    /// layout leaves one out, and what remains would read as a clock of another form.
    pub fn is_cut(&self) -> bool {
        self.is_seen_often(self.beside.cut)
    }

    /// True of what is seen in so many readings, if that is no chance.
    fn is_seen_often(&self, readings: usize) -> bool {
        readings >= 3 && readings * 4 > self.sighting.readings.len()
    }

    /// The display with the place that it leaves out, where it is cut and a clock has one there.
    pub fn completed(&self) -> Option<Display> {
        let end = match 2 * self.beside.cut_before > self.beside.cut {
            true => End::First,
            false => End::Last,
        };
        self.is_cut().then(|| self.display.with_a_place(end))?
    }
}

const fn vote(is: bool) -> i32 {
    if is { 1 } else { -1 }
}

#[cfg(test)]
mod tests {
    use super::super::tests::followed;
    use crate::vision::End;

    #[test]
    fn am_or_pm_is_written_where_the_mean_look_is_sure_of_it() {
        for (looks, is_written) in [
            (&[][..], false),
            (&[2.3][..], false),
            (&[2.5], true),
            // One look may be smeared, or much surer than all others.
            (&[1.0, 5.0, 5.2], true),
            (&[19.0, 1.0, 0.5, 1.5], false),
            (&[-30.0, 5.0, 5.0], false),
            (&[-30.0, 5.9, 5.9, 5.9, 5.9, 5.9], true),
        ] {
            let mut track = followed(&[2, 2, 2], |n| format!("10221{}", n / 25));
            for &logit in looks {
                track.take_half_day(logit);
            }
            assert_eq!(track.sighting.shows_half_day, is_written, "{looks:?}");
        }
    }

    #[test]
    fn the_first_looks_come_with_every_third_reading_and_more_only_where_they_may_tell() {
        for (logit, goes_on) in [(-2.0, false), (0.5, true)] {
            let mut track = followed(&[2, 2, 2], |n| format!("10221{}", n / 25));
            let readings = std::mem::take(&mut track.sighting.readings);
            let mut looked_with = Vec::new();
            for reading in readings {
                track.sighting.readings.push(reading);
                if track.is_new_to_looks_around() && track.may_show_half_day() {
                    looked_with.push(track.sighting.readings.len());
                    track.take_half_day(logit);
                }
            }
            assert_eq!(looked_with, [3, 6, 9, 12], "{logit}");
            assert_eq!(track.may_show_half_day(), goes_on, "{logit}");
            track.misses = 1;
            assert!(!track.may_show_half_day(), "out of view");
        }
    }

    /// A finger on the tens of the hours, where what lies beside the screen passes for a digit, too: the
    /// clip was `none` while what is cut was only given up.
    #[test]
    fn a_display_that_leaves_out_a_place_is_followed_with_it_where_a_clock_has_one_there() {
        let (two, three) = (&[2, 2, 2, 2][..], &[2, 2, 2, 3][..]);
        for (groups, at, completed) in [
            (&[1, 2, 2, 2][..], End::First, Some(two)),
            (&[2, 2, 2, 1], End::Last, Some(two)),
            (&[2, 2, 2, 2], End::Last, Some(three)),
            // A day of the month, or a unit: no clock has a place there.
            (&[2, 2, 2, 2], End::First, None),
            (&[2, 2, 2, 3], End::Last, None),
            (&[2, 2, 2], End::Last, None),
        ] {
            let digits: usize = groups.iter().map(|&n| usize::from(n)).sum();
            let mut track = followed(groups, |_| "1".repeat(digits));
            assert_eq!(track.completed(), None, "not cut");
            for _ in 0..track.sighting.readings.len() {
                track.beside.see_a_digit(at);
            }
            let layout = track.completed().map(|display| display.layout().groups);
            assert_eq!(layout.as_deref(), completed, "{groups:?} {at:?}");
        }
    }

    /// The mark before covered frames stood so near to the seconds that the ground behind it was even:
    /// five of 60 such clips were sure of whole seconds.
    #[test]
    fn behind_a_mark_there_is_more_whatever_the_ground_looks_like() {
        for (marked, is_even, stands_free) in [
            (0, true, true),
            // A speck now and then: of 50 readings.
            (12, true, true),
            (13, true, false),
            (0, false, false),
        ] {
            let mut track = followed(&[2, 2, 2], |n| format!("14221{}", n / 25));
            track.beside.marked = marked;
            track.take_ground(is_even);
            assert_eq!(
                track.sighting.stands_free, stands_free,
                "{marked} {is_even}"
            );
        }
    }

    #[test]
    fn hours_that_a_clock_of_twelve_has_not_are_not_looked_around() {
        for (hour, may_be) in [
            ("00", false),
            ("01", true),
            ("12", true),
            ("13", false),
            ("21", false),
        ] {
            let track = followed(&[2, 2, 2], |n| format!("{hour}221{}", n / 25));
            assert_eq!(track.shows_an_hour_of_twelve(), may_be, "{hour}");
        }
    }
}
