//! A display under way through a dense pass, and whether it is worth following.

mod beside;

use self::beside::Beside;
use crate::geometry::Quad;
use crate::reading::{DigitOdds, Reading, Sighting};
use crate::timecode::Ratio;
use crate::vision::{Display, Followed};
use std::borrow::Cow;
use std::collections::BTreeSet;

/// Frames in a row in which a display may be out of sight before it counts as gone.
const MOST_MISSES: usize = 10;
/// The same for one that was not read in any frame yet. It was seen in frames laid over each other:
/// if it is a display each of them shows some digits.
const MOST_MISSES_UNSEEN: usize = 5;
/// Seconds for which a display without a change is read before it counts as still: one
/// that shows frames or parts of a second, and one that shows whole seconds.
const STILL_FAST_S: Ratio = Ratio::new(1, 2);
const STILL_SLOW_S: Ratio = Ratio::new(5, 4);
/// Seconds between two readings of one that counts whole seconds or stands, beside a clock in full view.
const NOW_AND_AGAIN_S: Ratio = Ratio::new(1, 10);
/// Readings without a change from which on a display is taken to stand.
const SEEN_TO_STAND: usize = 3;
/// Readings after which a display that cannot be read is given up. A multiplexed display
/// shows all its digits in fewer.
const FAIR_CHANCE: usize = 8;
/// A digit this likely is plainly seen.
pub(super) const PLAIN: f32 = 0.7;
/// A place whose likeliest digit has no more than this, against a tenth by chance, is dark.
const SAYS_NOTHING: f32 = 0.15;
/// A place whose likeliest digit has no more than this in the mean over all frames shows none.
const IDLE: f32 = 0.3;
/// A place that shows a digit in fewer of the readings shows none: a multiplexed display lights
/// each in three of eight frames at least.
const NOW_AND_THEN: f32 = 0.2;
/// Digits of an hour, and how many hours there are.
const HOUR_DIGITS: usize = 2;
const HOURS: usize = 24;
/// Share of the frames that tell a number in a row of its own, of those in which it is the hour.
const NEARLY_ALL: (usize, usize) = (9, 10);
/// Legibility, over all frames, below which a display is no display: texture that looks like
/// digits gives 0.2 to 0.4.
const LEAST_LEGIBILITY: f32 = 0.5;
/// Legibility of one frame below which a display is out of view in it.
const LEAST_IN_VIEW: f32 = 0.4;
/// Legibility of one frame against that of the frames before, below which the display has
/// gone and what is read is what lies behind it: a display caught between two counts, or half
/// lit, keeps most of its places.
const LEAST_SHARE_IN_VIEW: f32 = 0.6;
/// A frame in which fewer than this share of the places that say something in the mean do so no longer
/// shows the display, either: behind it an edge may look like one plain digit, and all else say nothing.
const LEAST_PLACES_IN_VIEW: (f32, f32) = (2.0, 5.0);

/// A display under way through a dense pass.
#[derive(Clone)]
pub(super) struct Track {
    pub display: Display,
    pub sighting: Sighting,
    pub misses: usize,
    beside: Beside,
    /// Where it was found.
    found_at: Quad,
}

impl Track {
    pub fn new(display: Display) -> Self {
        Self {
            sighting: Sighting {
                layout: display.layout(),
                shows_half_day: false,
                groups_apart: display.groups_apart(),
                stands_free: false,
                readings: Vec::new(),
            },
            found_at: display.quad(),
            display,
            misses: 0,
            beside: Beside::default(),
        }
    }

    pub fn take(&mut self, seen: Followed) {
        self.beside.take(&seen);
        self.display = seen.display;
        self.sighting.readings.push(seen.reading);
        self.misses = 0;
    }

    /// Clip seconds of its first reading, if there is one.
    pub fn began(&self) -> Option<Ratio> {
        let first = self.sighting.readings.first();
        first.map(|reading| reading.stamp.seconds())
    }

    /// True if it shows hours, minutes and seconds: clocks of twelve hours do, and those whose frames
    /// are out of view.
    pub fn has_three_groups(&self) -> bool {
        self.sighting.layout.groups.len() == 3
    }

    /// True if the last frame shows an hour that a clock of twelve hours has.
    pub fn shows_an_hour_of_twelve(&self) -> bool {
        let Sighting {
            layout, readings, ..
        } = &self.sighting;
        let (Some(&hours), Some(reading)) = (layout.groups.first(), readings.last()) else {
            return false;
        };
        let of_the_hour = reading.places.iter().take(usize::from(hours));
        (1..=12).contains(&number_of(of_the_hour.map(|odds| odds.best().0)))
    }

    /// What the last frame that was read shows; nothing if none was.
    pub fn shown_last(&self) -> Vec<DigitOdds> {
        let last = self.sighting.readings.last();
        last.map_or_else(Vec::new, |reading| reading.places.clone())
    }

    /// False if what was read is no longer the display.
    pub fn is_in_view(&self, reading: &Reading) -> bool {
        let least = LEAST_IN_VIEW.max(LEAST_SHARE_IN_VIEW * self.legibility());
        let (share, of) = LEAST_PLACES_IN_VIEW;
        let usual = self.mean(|r| places_told(r).count() as f32);
        legibility(reading) >= least && places_told(reading).count() as f32 * of >= share * usual
    }

    /// True if the two were found apart, and one of them has since been followed onto the other: rows
    /// that stand close together, while they move. Then one of the two is followed no more.
    pub fn has_come_onto(&self, other: &Self) -> bool {
        self.display.is_where(&other.display) && !self.found_at.has_its_middle_on(&other.found_at)
    }

    /// `slowdown`: clip seconds to a second of the clock, as far as is known.
    pub fn is_worth_following(&self, slowdown: Ratio) -> bool {
        let readings = &self.sighting.readings;
        let span_s = match (readings.first(), readings.last()) {
            (Some(a), Some(b)) => b.stamp.seconds() - a.stamp.seconds(),
            _ => Ratio::ZERO,
        };
        let counts_fast = self.sighting.layout.groups.len() > 3;
        let still_s = if counts_fast {
            STILL_FAST_S
        } else {
            STILL_SLOW_S
        };
        let is_stuck = span_s > still_s * slowdown && self.is_still();
        let is_junk = readings.len() >= FAIR_CHANCE && !self.is_legible();
        let most_misses = if readings.is_empty() {
            MOST_MISSES_UNSEEN
        } else {
            MOST_MISSES
        };
        self.misses <= most_misses && !is_stuck && !is_junk && !self.is_cut()
    }

    pub fn seems_to_run(&self) -> bool {
        self.sighting.readings.len() >= FAIR_CHANCE && self.is_legible() && !self.is_still()
    }

    /// True if what was read is to be fitted: it is not empty, nothing of the display was cut off, unless
    /// it contradicts another one, no row of it is another clock's, and none of the `others` sees more of
    /// the same digits, or groups them better, or tells that they stand.
    pub fn tells_among<'a>(&self, others: impl IntoIterator<Item = &'a Self> + Clone) -> bool {
        !self.sighting.readings.is_empty()
            && (!self.is_cut() || self.runs_beside(others.clone()))
            && !self.borrows_a_row()
            && !others.into_iter().any(|other| {
                self.is_piece_of(other)
                    || self.stands_with(other)
                    || (self.ends_in_seconds() && !other.ends_in_seconds() && self.lies_on(other))
            })
    }

    /// True if this one runs, and lies apart from another display that runs and of which all is seen.
    fn runs_beside<'a>(&self, others: impl IntoIterator<Item = &'a Self>) -> bool {
        let wholes = others
            .into_iter()
            .filter(|other| !other.is_cut() && other.seems_to_run() && other.counts_parts());
        let mut wholes = wholes.peekable();
        self.seems_to_run()
            && wholes.peek().is_some()
            && wholes.all(|whole| {
                !(self.display.is_where(&whole.display) || whole.display.is_where(&self.display))
            })
    }

    /// True if this is the part of `whole` that counts seconds, and stands as all of it does: where
    /// frames or parts of a second plainly stand, seconds that did not change in the moment that
    /// they were seen are no clock of seconds that was seen too briefly.
    fn stands_with(&self, whole: &Self) -> bool {
        let stands = whole.numbers_shown_last().is_some_and(|(numbers, span_s)| {
            numbers == Ratio::from_integer(1) && span_s >= STILL_FAST_S
        });
        stands
            && whole.is_still()
            && self.is_still()
            && self.sighting.layout.groups.len() < whole.sighting.layout.groups.len()
            && self.display.is_near(&whole.display)
    }

    /// True if four groups were read, of which the last counts seconds: the first is the day
    /// before the time of day, say. Some are misread, so that more numbers are seen.
    fn ends_in_seconds(&self) -> bool {
        self.numbers_shown_last().is_some_and(|(numbers, span_s)| {
            span_s > STILL_SLOW_S && numbers <= seconds_in(span_s, 2)
        })
    }

    /// True if four groups were read, of which the last counts faster than seconds would.
    pub fn counts_parts(&self) -> bool {
        self.sighting.layout.groups.len() > 3 && self.counts_faster_than_seconds()
    }

    /// True if the last group does, a few of its numbers misread.
    fn counts_faster_than_seconds(&self) -> bool {
        self.numbers_shown_by_the_last()
            .is_some_and(|(numbers, span_s)| numbers > seconds_in(span_s, 4))
    }

    /// True if it need not be read yet beside a clock in full view: of what counts whole seconds, or
    /// stands so far, a reading now and again says enough.
    pub fn can_wait(&self, at: Ratio) -> bool {
        let readings = &self.sighting.readings;
        let is_fresh = (readings.last()).is_some_and(|r| at - r.stamp.seconds() < NOW_AND_AGAIN_S);
        let stands = readings.len() >= SEEN_TO_STAND && self.is_still();
        is_fresh && (stands || self.has_three_groups() && !self.counts_faster_than_seconds())
    }

    /// True if a clock of eight places is in plain view, whose fourth group counts behind a colon or
    /// a semicolon, or in a row below, as frames do: behind a dot, which is easily overlooked, another
    /// digit may follow that was left out.
    pub fn is_in_full_view(&self) -> bool {
        let mark = self.sighting.readings.last().map(|r| r.last_mark);
        let is_marked = mark.is_some_and(|mark| mark.colon + mark.semicolon > 0.5);
        self.display.is_plain_and_whole()
            && self.counts_parts()
            && (is_marked || self.display.has_rows())
    }

    /// What was read, as a clock shows it: three groups of which the last counts faster than seconds
    /// are the minutes, seconds and parts of a clock that shows no hours, or whose hours were left
    /// out. None of its readings then tells them. Nor does a number above them that is no hour.
    pub fn told(&self) -> Cow<'_, Sighting> {
        if self.sighting.groups_apart == 1 && !self.has_an_hour_above() {
            let mut without = self.sighting.clone();
            without.groups_apart = 0;
            for reading in &mut without.readings {
                reading.places[..HOUR_DIGITS].fill(DigitOdds::FLAT);
            }
            return Cow::Owned(without);
        }
        let &[minutes, seconds, parts] = self.sighting.layout.groups.as_slice() else {
            return Cow::Borrowed(&self.sighting);
        };
        if !self.counts_faster_than_seconds() {
            return Cow::Borrowed(&self.sighting);
        }
        let mut whole = self.sighting.clone();
        whole.layout.groups = vec![2, 2, seconds, parts];
        let unseen = 4 - usize::from(minutes);
        for reading in &mut whole.readings {
            let places = std::iter::repeat_n(DigitOdds::FLAT, unseen);
            reading.places.splice(0..0, places);
        }
        Cow::Owned(whole)
    }

    /// True if the first group shows an hour, and no other but the next one, in nearly all frames that
    /// tell it, if any do.
    fn has_an_hour_above(&self) -> bool {
        let number =
            |reading: &Reading| plain_digits(&reading.places[..HOUR_DIGITS]).map(number_of);
        let mut shown = [0; 100];
        for number in self.sighting.readings.iter().filter_map(number) {
            shown[number] += 1;
        }
        let (share, of) = NEARLY_ALL;
        let told: usize = shown.iter().sum();
        (0..HOURS).any(|hour| of * (shown[hour] + shown[(hour + 1) % HOURS]) >= share * told)
    }

    /// As [`Self::numbers_shown_by_the_last`] of four groups.
    fn numbers_shown_last(&self) -> Option<(Ratio, Ratio)> {
        let has_parts = self.sighting.layout.groups.len() > 3;
        has_parts.then(|| self.numbers_shown_by_the_last())?
    }

    /// How many numbers the last group showed (of a single digit: how often it changed to one), and
    /// over how many seconds. `None` if it could not be read in more than half of the frames.
    fn numbers_shown_by_the_last(&self) -> Option<(Ratio, Ratio)> {
        let &places = self.sighting.layout.groups.last()?;
        let readings = &self.sighting.readings;
        let mut shown: BTreeSet<Vec<u8>> = BTreeSet::new();
        let (mut last_shown, mut changes) = (None, 0);
        let mut told: Vec<Ratio> = Vec::new();
        for reading in readings {
            let last = &reading.places[reading.places.len() - usize::from(places)..];
            if let Some(number) = plain_digits(last) {
                changes += i128::from(last_shown.as_ref() != Some(&number));
                last_shown = Some(number.clone());
                shown.insert(number);
                told.push(reading.stamp.seconds());
            }
        }
        let span_s = *told.last()? - *told.first()?;
        let is_told = told.len() * 2 > readings.len();
        // One digit has ten numbers, whatever it counts.
        let numbers = match places {
            1 => changes,
            _ => shown.len() as i128,
        };
        is_told.then_some((Ratio::from_integer(numbers), span_s))
    }

    /// True if nothing more can come of following it beside `whole`, of which it is a piece: what
    /// `whole` has more is no day before a time of day. One of as many places or more may still
    /// turn out to see a last digit.
    pub fn is_idle_beside(&self, whole: &Self) -> bool {
        self.sighting.layout.places() < whole.sighting.layout.places()
            && whole.counts_parts()
            && self.is_piece_of(whole)
    }

    /// True if `whole` follows the same digits and sees more of them: the hours, minutes and
    /// seconds of a clock whose frames stand in a second line make a clock of their own, and so
    /// do the last three groups of four with what stands behind. Also if this one sees no more
    /// but counts a place behind the last digit that never shows any: an edge, a unit.
    fn is_piece_of(&self, whole: &Self) -> bool {
        let (own, others) = (self.digits_seen(), whole.digits_seen());
        let has_idle_place = self.sighting.layout.places() > whole.sighting.layout.places()
            && own < others + 0.5
            && self.last_place_seen() < IDLE;
        let sees_enough = whole.sighting.readings.len() * 2 >= self.sighting.readings.len();
        ((own + 0.5 < others && sees_enough) || has_idle_place)
            && whole.seems_to_run()
            && !whole.is_cut()
            && !whole.ends_in_seconds()
            && self.lies_on(whole)
    }

    /// True if this one lay on the other in the last frame that both read, and half-way there too: of
    /// two displays that leave together one may be lost onto the other.
    fn lies_on(&self, other: &Self) -> bool {
        let theirs = &other.sighting.readings;
        let of_both = |own: &Reading| {
            let same = theirs.binary_search_by_key(&own.stamp.ticks, |r| r.stamp.ticks);
            Some(own.quad.lies_on(&theirs[same.ok()?].quad))
        };
        let lay: Vec<bool> = self.sighting.readings.iter().filter_map(of_both).collect();
        lay.last() == Some(&true) && lay[lay.len() / 2]
    }

    /// Mean probability of the likeliest digit on the last place, over the readings.
    fn last_place_seen(&self) -> f32 {
        self.mean(|r| r.places.last().map_or(0.0, |odds| odds.best().1))
    }

    /// Sum of the mean probability of the likeliest digit over the places that plainly show one
    /// now and then: edges and texture that a layout takes for places are no digits more.
    fn digits_seen(&self) -> f32 {
        let best = |r: &Reading, place: usize| r.places[place].best().1;
        let plainly = |place| self.mean(|r| f32::from(u8::from(best(r, place) >= PLAIN)));
        (0..self.sighting.layout.places())
            .filter(|&place| plainly(place) >= NOW_AND_THEN)
            .map(|place| self.mean(|r| best(r, place)))
            .sum()
    }

    pub fn is_legible(&self) -> bool {
        self.sighting.readings.is_empty() || self.legibility() >= LEAST_LEGIBILITY
    }

    /// Mean over the readings, 0..=1; 0 without any.
    fn legibility(&self) -> f32 {
        self.mean(legibility)
    }

    /// Mean over the readings; 0 without any.
    fn mean(&self, of: impl Fn(&Reading) -> f32) -> f32 {
        let readings = &self.sighting.readings;
        readings.iter().map(of).sum::<f32>() / readings.len().max(1) as f32
    }

    /// True if no place of the display ever plainly changed its digit.
    pub fn is_still(&self) -> bool {
        let mut shown: Vec<Option<u8>> = vec![None; self.sighting.layout.places()];
        self.sighting.readings.iter().all(|reading| {
            shown.iter_mut().zip(&reading.places).all(|(last, odds)| {
                let (digit, p) = odds.best();
                p < PLAIN || last.replace(digit).is_none_or(|before| before == digit)
            })
        })
    }
}

/// What places show, if all show a digit plainly.
pub(super) fn plain_digits(places: &[DigitOdds]) -> Option<Vec<u8>> {
    let best = places.iter().map(DigitOdds::best);
    best.map(|(digit, p)| (p >= PLAIN).then_some(digit))
        .collect()
}

/// Numbers that a group of seconds shows at most in a while, of which so many are misread.
fn seconds_in(span_s: Ratio, misread: i128) -> Ratio {
    span_s * Ratio::new(3, 2) + Ratio::from_integer(misread)
}

/// The number that digits make.
fn number_of(digits: impl IntoIterator<Item = u8>) -> usize {
    let digits = digits.into_iter();
    digits.fold(0, |number, digit| 10 * number + usize::from(digit))
}

/// Probabilities of the likeliest digits on the places that say something.
fn places_told(reading: &Reading) -> impl Iterator<Item = f32> {
    let best = reading.places.iter().map(|odds| odds.best().1);
    best.filter(|&p| p > SAYS_NOTHING)
}

/// How plain the digits are, 0..=1: mean probability of the likeliest one over the places that say
/// something; 0 if fewer than a quarter do. Dark places say nothing, for or against.
fn legibility(reading: &Reading) -> f32 {
    let told: Vec<f32> = places_told(reading).collect();
    if told.len() * 4 < reading.places.len() {
        return 0.0;
    }
    told.iter().sum::<f32>() / told.len() as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Stamp;
    use crate::geometry::{Point, Quad};
    use crate::reading::MarkOdds;
    use crate::vision::End;

    /// Two seconds at 25 frames a second of a display whose right end stays where it is;
    /// `text` gives what it shows in each, `-` where nothing can be read.
    pub(super) fn followed(groups: &[u8], text: impl Fn(usize) -> String) -> Track {
        let places = groups.iter().map(|&n| f32::from(n)).sum::<f32>();
        let corners = [(100.0 - 10.0 * places, 0.0), (100.0, 0.0)];
        let corners = [
            corners[0],
            corners[1],
            (corners[1].0, 20.0),
            (corners[0].0, 20.0),
        ];
        let quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
        let mut track = Track::new(Display::in_plain_view(quad, groups));
        for frame in 0..50 {
            let odds = |c: char| {
                let (digit, weight) = c.to_digit(10).map_or((8, 3.5), |digit| (digit, 100.0));
                let mut weights = [1.0; 10];
                weights[digit as usize] = weight;
                DigitOdds::from_weights(weights)
            };
            track.sighting.readings.push(Reading {
                stamp: Stamp {
                    ticks: frame,
                    tick_seconds: Ratio::new(1, 25),
                    index: None,
                },
                places: text(frame as usize).chars().map(odds).collect(),
                glyphs: Vec::new(),
                last_mark: MarkOdds::UNKNOWN,
                quad,
                digit_px: quad.height_px(),
            });
        }
        track
    }

    #[test]
    fn four_groups_that_end_in_seconds_give_way_to_the_time_of_day() {
        let dated = followed(&[2, 2, 2, 2], |n| format!("1214221{}", n / 25));
        let time = followed(&[2, 2, 2], |n| format!("14221{}", n / 25));
        assert!(dated.ends_in_seconds() && !time.ends_in_seconds());
        let all = [dated, time];
        assert_eq!(
            [false, true],
            [0, 1].map(|i: usize| all[i].tells_among(&all))
        );
        // Alone it is all there is: the fit has to say what it is worth.
        let [dated, _] = all;
        assert!(dated.tells_among([&dated]));
    }

    /// So many px further down than it was found, or to be found there.
    fn moved_down(mut track: Track, by_px: f32, was_found_there: bool) -> Track {
        let corners = (track.display.quad().corners()).map(|p| Point::new(p.x, p.y + by_px));
        let quad = Quad::from_corners(corners);
        track.display = Display::in_plain_view(quad, &track.sighting.layout.groups);
        if was_found_there {
            track.found_at = quad;
        }
        track
    }

    #[test]
    fn a_clock_of_which_a_place_is_hidden_tells_only_that_another_one_is_not_alone() {
        let clock = |from: usize| {
            let label = move |n: usize| format!("142210{:02}", (from + n) % 25);
            followed(&[2, 2, 2, 2], label)
        };
        let cut = |mut track: Track| {
            for _ in 0..track.sighting.readings.len() {
                track.beside.see_a_digit(End::Last);
            }
            track
        };
        let (whole, beside) = (clock(0), cut(moved_down(clock(3), 200.0, true)));
        assert!(beside.tells_among([&whole, &beside]));
        assert!(!beside.tells_among([&beside]));
        let on_it = cut(clock(3));
        assert!(!on_it.tells_among([&whole, &on_it]));
    }

    #[test]
    fn a_row_that_is_followed_onto_another_one_is_not_where_it_was_found() {
        let clock = || followed(&[2, 2, 2, 2], |n| format!("142210{:02}", n % 25));
        let (upper, lower) = (clock(), moved_down(clock(), 28.0, true));
        assert!(!upper.has_come_onto(&lower) && !lower.has_come_onto(&upper));
        let onto = moved_down(clock(), 28.0, false);
        assert!(onto.has_come_onto(&lower));
        assert!(!upper.has_come_onto(&clock()));
    }

    #[test]
    fn a_display_that_is_lost_onto_another_one_as_both_leave_is_no_piece_of_it() {
        let whole = followed(&[2, 2, 2, 2], |n| format!("142210{:02}", n % 25));
        let mut other = followed(&[2, 2, 2], |n| format!("14221{}", n / 25));
        assert!(!other.tells_among([&whole, &other]));
        let readings = &mut other.sighting.readings;
        let until = readings.len() - 3;
        for reading in &mut readings[..until] {
            let corners = reading.quad.corners().map(|p| Point::new(p.x, p.y + 200.0));
            reading.quad = Quad::from_corners(corners);
        }
        assert!(other.tells_among([&whole, &other]));
    }

    #[test]
    fn a_display_that_no_frame_shows_is_given_up_sooner_than_one_that_went_out_of_sight() {
        let mut seen = followed(&[2, 2, 2], |n| format!("14221{}", n / 25));
        let mut unseen = Track::new(seen.display.clone());
        for (misses, goes_on) in [(5, [true, true]), (6, [true, false]), (11, [false, false])] {
            (seen.misses, unseen.misses) = (misses, misses);
            let going = [&seen, &unseen].map(|track| track.is_worth_following(Ratio::ONE));
            assert_eq!(going, goes_on, "{misses}");
        }
    }

    #[test]
    fn places_that_show_nothing_make_no_display_fuller() {
        let time = followed(&[2, 2, 2], |n| format!("14221{}", n / 25));
        let with_edges = followed(&[2, 2, 2, 2], |n| format!("14221{}--", n / 25));
        let all = [time, with_edges];
        assert_eq!(
            [true, false],
            [0, 1].map(|i: usize| all[i].tells_among(&all))
        );
        // A part of a clock is a part of it.
        let minutes = followed(&[2, 2, 2], |n| format!("210{}{:02}", n / 25, n % 25));
        let whole = followed(&[2, 2, 2, 2], |n| format!("14210{}{:02}", n / 25, n % 25));
        let all = [minutes, whole];
        assert_eq!(
            [false, true],
            [0, 1].map(|i: usize| all[i].tells_among(&all))
        );
    }

    #[test]
    fn three_groups_that_count_faster_than_seconds_show_no_hours() {
        let told = |track: &Track| {
            let told = track.told();
            let guessed = told.readings[30].guess();
            (told.layout.groups.clone(), guessed)
        };
        let stopwatch = followed(&[2, 2, 2], |n| format!("0207{:02}", 10 + n * 4 % 60));
        assert_eq!(told(&stopwatch), (vec![2, 2, 2, 2], "??020710".into()));
        let one_digit = followed(&[1, 2, 2], |n| format!("207{:02}", 10 + n % 25));
        assert_eq!(told(&one_digit), (vec![2, 2, 2, 2], "???20715".into()));
        let clock = followed(&[2, 2, 2], |n| format!("0207{:02}", 10 + n / 25));
        assert_eq!(told(&clock), (vec![2, 2, 2], "020711".into()));
        let whole = followed(&[2, 2, 2, 2], |n| format!("010207{:02}", n % 25));
        assert_eq!(told(&whole), (vec![2, 2, 2, 2], "01020705".into()));
    }

    #[test]
    fn a_number_above_the_minutes_that_is_no_hour_tells_none() {
        let above = |number: &dyn Fn(usize) -> String| {
            let mut track = followed(&[2, 2, 2, 2], |n| format!("{}0207{:02}", number(n), n % 25));
            track.sighting.groups_apart = 1;
            let told = track.told();
            (told.groups_apart, told.readings[30].guess())
        };
        let hour = (1, "14020705".to_owned());
        let none = (0, "??020705".to_owned());
        for (number, expected) in [
            (&(|_| "14".into()) as &dyn Fn(usize) -> String, &hour),
            (&|n| if n < 20 { "13" } else { "14" }.into(), &hour),
            // Misread in a few frames, or dark in many.
            (&|n| if n % 25 == 0 { "74" } else { "14" }.into(), &hour),
            (&|n| if n % 2 == 1 { "--" } else { "14" }.into(), &hour),
            // A take, a counter, and a number that changes to any other.
            (&|_| "37".into(), &none),
            (&|n| format!("{:02}", n % 24), &none),
            (&|n| if n < 25 { "11" } else { "14" }.into(), &none),
        ] {
            assert_eq!(&above(number), expected);
        }
    }

    /// In so long a time more than ten seconds' digits are seen, and tenths have ten.
    #[test]
    fn tenths_are_told_from_seconds_by_how_often_they_change() {
        let slower = |mut track: Track| {
            for reading in &mut track.sighting.readings {
                reading.stamp.tick_seconds = Ratio::new(1, 10);
            }
            track
        };
        let stopwatch = slower(followed(&[2, 2, 1], |n| format!("020{}{}", n / 10, n % 10)));
        assert_eq!(stopwatch.told().layout.groups, [2, 2, 2, 1]);
        assert_eq!(stopwatch.told().readings[34].guess(), "??02034");
        let price = slower(followed(&[2, 2, 1], |n| format!("0200{}", n / 10)));
        assert_eq!(price.told().layout.groups, [2, 2, 1]);
        let clock = slower(followed(&[2, 2, 2, 1], |n| {
            format!("14020{}{}", n / 10, n % 10)
        }));
        assert!(clock.counts_parts() && !clock.ends_in_seconds());
    }

    #[test]
    fn a_frame_that_tells_far_fewer_places_than_the_others_does_not_show_the_display() {
        let dark_but_for = |lit: &dyn Fn(usize, usize) -> bool| {
            let mut track = followed(&[2, 2, 2, 2], |n| format!("142210{:02}", n % 25));
            for (frame, reading) in track.sighting.readings.iter_mut().enumerate() {
                let places = reading.places.iter_mut().enumerate();
                let dark = places.filter(|(place, _)| !lit(frame, *place));
                dark.for_each(|(_, odds)| *odds = DigitOdds::FLAT);
            }
            track
        };
        let whole = dark_but_for(&|_, _| true);
        let multiplexed = dark_but_for(&|frame, place| (place + frame) % 8 < 3);
        for (places, of_whole, of_multiplexed) in [
            (0..8, true, true),
            // Half hidden.
            (4..8, true, true),
            // An edge or two behind it, once it has gone.
            (1..3, false, true),
            (1..2, false, false),
        ] {
            let shown = dark_but_for(&|_, place| places.contains(&place));
            let reading = &shown.sighting.readings[0];
            let in_view = [&whole, &multiplexed].map(|track| track.is_in_view(reading));
            assert_eq!(in_view, [of_whole, of_multiplexed], "{places:?}");
        }
    }

    #[test]
    fn beside_a_clock_in_full_view_what_counts_no_frames_is_read_now_and_again() {
        let last = Ratio::new(49, 25);
        let soon = last + Ratio::new(1, 25);
        let later = last + NOW_AND_AGAIN_S;
        let seconds = followed(&[2, 2, 2], |n| format!("14221{}", n / 25));
        let number = followed(&[2, 2, 2, 2], |_| "14221016".into());
        let frames = followed(&[2, 2, 2, 2], |n| format!("142210{:02}", n % 25));
        let no_hours = followed(&[2, 2, 2], |n| format!("2210{:02}", n % 25));
        for (track, at, can_wait) in [
            (&seconds, soon, true),
            (&seconds, later, false),
            (&number, soon, true),
            (&number, later, false),
            (&frames, soon, false),
            (&no_hours, soon, false),
        ] {
            assert_eq!(track.can_wait(at), can_wait, "{at}");
        }
        // Frames may not have changed yet.
        let mut fresh = number;
        fresh.sighting.readings.drain(..48);
        assert!(!fresh.can_wait(soon));
    }

    #[test]
    fn seconds_that_stand_beside_frames_that_stand_are_no_clock_of_seconds() {
        let seconds = |shown: fn(usize) -> usize| {
            followed(&[2, 2, 2], move |n| format!("1422{:02}", 10 + shown(n)))
        };
        let frames = |shown: fn(usize) -> usize| {
            followed(&[2, 2, 2, 2], move |n| format!("142210{:02}", shown(n)))
        };
        for (piece, whole, tells) in [
            (seconds(|_| 0), frames(|_| 16), false),
            // A number beside a clock of seconds that runs.
            (seconds(|n| n / 25), frames(|_| 16), true),
            // Frames that run.
            (seconds(|_| 0), frames(|n| n % 2), true),
        ] {
            assert_eq!(piece.tells_among([&piece, &whole]), tells);
        }
        let (mut elsewhere, whole) = (seconds(|_| 0), frames(|_| 16));
        let quad = Quad::from_corners(
            [(0.0, 900.0), (60.0, 900.0), (60.0, 920.0), (0.0, 920.0)]
                .map(|(x, y)| Point::new(x, y)),
        );
        elsewhere.display = Display::in_plain_view(quad, &[2, 2, 2]);
        assert!(elsewhere.tells_among([&elsewhere, &whole]));
    }

    #[test]
    fn a_piece_is_given_up_once_the_whole_counts_faster_than_seconds() {
        let hours = followed(&[2, 2, 2], |n| format!("14221{}", n / 25));
        let frames = followed(&[2, 2, 2, 2], |n| format!("14221{}{:02}", n / 25, n % 25));
        let tenths = followed(&[2, 2, 2, 1], |n| {
            format!("14221{}{}", n / 25, n * 10 / 25 % 10)
        });
        for (whole, counts_parts) in [(&frames, true), (&tenths, true), (&hours, false)] {
            assert_eq!(whole.counts_parts(), counts_parts);
            assert_eq!(hours.is_idle_beside(whole), counts_parts);
            assert!(!whole.is_idle_beside(&hours));
        }
        // A day before the time: the time is not the piece to give up, misread or not.
        for misread in [0, 2] {
            let last = |n: usize| {
                if n % 11 < misread {
                    80 + n % 11
                } else {
                    10 + n / 25
                }
            };
            let dated = followed(&[2, 2, 2, 2], |n| format!("121422{}", last(n)));
            let time = followed(&[2, 2, 2], |n| format!("1422{}", last(n)));
            assert!(!dated.counts_parts() && !time.is_idle_beside(&dated));
        }
    }
}
