//! Checks that could fail a start: do enough frames agree, did the clock run, did it jump, do its
//! slow digits stand.

use super::ClockFit;
use super::audit::{Ballot, ENOUGH, Group, Lead, Shifts};
use super::join::Joint;
use super::labels;
use super::late;
use super::lean::Leans;
use super::looks::Looks;
use super::pace::paces;
use super::reasons;
use super::shape::Shapes;
use super::sight::{Blur, DAY_S, FEW_FRAMES};
use super::table::{Member, Table};
use super::tally::Tally;
use super::window::{self, fit_window};
use crate::note::Note;
use crate::timecode::{ClockForm, HalfOpen, Ratio, wrapped};
use std::cell::LazyCell;

/// Different counts that must be seen before a clock counts as running: with
/// two changes, the time between them is bounded from both sides.
const DISTINCT_COUNTS: usize = 3;
/// ... and at a speed that only the digits tell. Seconds that stand where frames would, behind a
/// day and the time of day, are 24 a second at a tenth of the speed to two of their changes (with
/// four counts none of 3,780 such clips was sure); a speed at which the display would be slower
/// than panels are is doubtful besides.
const COUNTS_AT_ANOTHER_SPEED: usize = 4;
/// Frames in a row against the fit that may be a second start: a jump.
const JUMP_FRAMES: usize = 4;
/// Frames in a row that show another second than the fit has: digits are misread here and
/// there, not for a third of a second and always in the same group.
const OTHER_SECOND_FRAMES: usize = 8;
/// Share of the frames that agree with a start at another speed than the clip's own, at
/// least: three in four. One clip in a hundred is conformed, and slow counts explain much.
const AGREE_AT_ANOTHER_SPEED: (usize, usize) = (3, 4);
/// Widest bounds of a sure start, in clip frames or counts, besides the slack: two, where
/// the change itself is caught in a frame, and three tenths for how a reader takes it and for a
/// panel that nothing rules out. Judged; of clocks of seconds, whose changes are few, a tenth
/// left one in thirty unsure, and none was a frame off.
const WIDEST: (i128, i128) = (23, 10);

/// A measured speed is off by less than one part in so many where a file has a wrong rate: rates
/// that are taken for each other differ by a twentieth at most, 24 and 25, and whole seconds
/// measure it to a fiftieth. Judged.
const ODD_FILES: i128 = 15;

/// Counts a second of a clock whose last pair goes on to 99 as that of any counter does.
const HUNDREDTHS: u32 = 100;

/// Seconds between the time at which a display stands and the one that the clock tells for then, at
/// most, if it is the clock: a number beside it is any, and one in 700 so near.
const NEAR_S: i64 = 60;

/// Seconds from frame 0 within which a recorded length begins: it is drawn anew once a second, and
/// cameras write their first frame up to half a second before or after they begin to count. Judged.
const LENGTH_BEGINS_S: (i128, i128) = (1, 2);

/// Which of the checks that could fail a start has passed.
pub(super) struct Checks {
    was_seen_running: bool,
    /// Hours, minutes and seconds each lead their best rival.
    pub slow_digits_stand: bool,
    /// False if five digits are all there is (one of the hours, and no parts of a second), if one
    /// place often does not fit, or if the clip would have to play at another speed.
    is_plausible: bool,
    /// A look shows a number that would follow the clock's last one if its seconds were longer.
    pub shows_a_number_beyond: bool,
    /// Many digits lie on top of each other: their middle need not be that of the exposure.
    pub are_piled: bool,
}

impl Checks {
    /// Texture and pieces of numbers read like digits that do not run, and are not clear or need an
    /// excuse: no start to defend.
    pub const fn is_mirage(&self) -> bool {
        !(self.was_seen_running || self.slow_digits_stand && self.is_plausible)
    }
}

impl Table<'_> {
    /// Counts frames, and checks what could fail. `start` is what all that is left open holds.
    #[must_use]
    pub fn audit(
        &self,
        chosen: &Joint,
        start: HalfOpen,
        members: &[Member],
        fit: &mut ClockFit,
        doubts: &mut Vec<Note>,
    ) -> Checks {
        let mut checks = Checks {
            was_seen_running: true,
            slow_digits_stand: true,
            is_plausible: true,
            shows_a_number_beyond: false,
            are_piled: false,
        };
        let mut leans = Leans::new();
        let mut told = Vec::new();
        let near = i64::try_from(self.grain(&chosen.pace).ceil()).unwrap_or(i64::MAX) - 1;
        let least = (self.grain(&chosen.pace) + self.slack(chosen)).ceil();
        let least = i64::try_from(least).unwrap_or(i64::MAX).max(2);
        let mut shifts = Shifts::new(chosen.pace.form.base(), least);
        let (mut read, mut agreeing, mut distinct) = (0, 0, 0);
        let mut running = 0.0;
        let (mut has_jumped, mut lacks_a_place, mut shows_too_many) = (false, false, false);
        let (mut is_bare, mut has_carried) = (true, false);
        let mut uneven = None;
        let on_frame_0 = i64::try_from(start.middle().floor()).unwrap_or_default();
        let mut other_second = None;
        for member in members {
            let &Member { index, looks, .. } = member;
            let counts = &member.counts;
            let seen = &self.seen[index];
            let form = member.start.pace.form;
            let blur = Blur::of(member.start, self.frame_s());
            let better: Vec<&Member> = self.seen_better(index, members).collect();
            let is_again = !better.is_empty();
            if !is_again {
                shifts.add(looks, form, counts);
                leans.add(looks, form, counts, blur);
            }
            let mut tally = Tally::of(looks, form, counts, blur);
            let sighting = &mut fit.sightings[seen.sighting];
            sighting.frames_agreeing += tally.agreeing;
            let readings = self.sightings[seen.sighting].readings.len();
            sighting.displayed.resize(readings, None);
            for (&source, &count) in looks.sources.iter().zip(counts) {
                sighting.displayed[source] = Some(count);
            }
            read += tally.read;
            agreeing += tally.agreeing;
            distinct = distinct.max(tally.distinct);
            shows_too_many |= late::shows_too_many(looks, member.start, counts);
            let heard = Self::not_told_better(member, &better);
            let of_heard = looks.subset(&heard);
            let counts_heard: Vec<i64> = heard.iter().map(|&look| counts[look]).collect();
            if is_again {
                tally = Tally::of(&of_heard, form, &counts_heard, blur);
            }
            // The last one fits a window anew.
            has_jumped = has_jumped
                || tally.longest_other_second >= OTHER_SECOND_FRAMES
                || labels::begin_elsewhere(looks, form, counts, least)
                || self.jumped(&of_heard, &tally, form, &counts_heard, least);
            uneven = uneven.or(tally.uneven_place(blur.places));
            checks.are_piled |= tally.is_steady_by_excuse(blur.places);
            let beyond = labels::beyond_the_last(looks, form, counts);
            checks.shows_a_number_beyond |= beyond > 0;
            if beyond >= labels::FEWEST {
                uneven = uneven.or(Some((tally.read, beyond)));
            }
            other_second = other_second
                .or_else(|| labels::other_second_at(looks, form, counts, on_frame_0, near));
            running += seen.running;
            if seen.tail > 0 {
                let note = reasons::last_places_unread(form);
                if !fit.notes.contains(&note) {
                    fit.notes.push(note);
                }
            }
            for &(from, to) in &seen.held {
                let at_s = |tick| Ratio::from_integer(tick) * self.times.tick_s;
                fit.notes.push(reasons::held(at_s(from), at_s(to)));
            }
            if let Some(place) = seen.left_out {
                has_jumped |= labels::runs_apart(looks, place, form, counts);
                let note = reasons::place_left_out(looks.dial, place);
                if !fit.notes.contains(&note) {
                    fit.notes.push(note);
                }
            }
            lacks_a_place |= seen.left_out.is_some();
            is_bare &= !looks.shows_a_last_mark();
            has_carried |= labels::carries(looks, form, counts);
            if !is_again {
                told.push((looks, form, counts));
            }
        }
        let trust = leans.trust();
        if has_jumped || self.stood_beside(chosen) {
            doubts.push(reasons::jumped());
        }
        if self.stands_before_a_length(chosen) {
            doubts.push(reasons::stands_before_a_length());
        }
        if counts_from_frame_0(chosen.pace.form, start) {
            doubts.push(reasons::counts_from_frame_0());
        }
        if agreeing < FEW_FRAMES {
            checks.was_seen_running = false;
            doubts.push(reasons::few_frames(agreeing));
        } else if running < ENOUGH || distinct < DISTINCT_COUNTS {
            checks.was_seen_running = false;
            doubts.push(reasons::not_seen_running(distinct));
        }
        if let Some((told, against)) = uneven {
            checks.is_plausible = false;
            doubts.push(reasons::uneven(against, told));
        }
        let is_at_another_speed = self.known.speed.is_none() && chosen.pace.speed != Ratio::ONE;
        checks.is_plausible &= !is_at_another_speed;
        let (share, of) = if is_at_another_speed {
            AGREE_AT_ANOTHER_SPEED
        } else {
            (1, 2)
        };
        // Two exceptions at once explain the digits of nearly any clock, and so does a speed that
        // makes few counts of many frames. Frames that are lost here and there make an odd speed
        // and digits that are late. A counter of anything else is a clock at some speed, as long as
        // neither a mark nor its seconds part the last digits from the others.
        let refresh = chosen.chosen.iter().flatten().filter_map(|s| s.refresh);
        let is_late = match chosen.pace.doubt_ppm {
            0 => refresh.max() > Some(window::SLOW_PANEL),
            _ => refresh.max() > Some(window::FASTEST_PANEL),
        };
        let has_few = distinct < COUNTS_AT_ANOTHER_SPEED;
        let needs_an_excuse = lacks_a_place || is_late || shows_too_many;
        // Nor do marks part pairs that count to 99 whatever they count.
        let may_be_a_counter = !has_carried && (is_bare || chosen.pace.form.base() == HUNDREDTHS);
        // A file with a wrong rate is a little off; a monitor may replay at any pace.
        let off = (chosen.pace.speed - Ratio::ONE).abs() * Ratio::from_integer(ODD_FILES);
        let is_odd = chosen.pace.doubt_ppm > 0 && off > Ratio::ONE;
        if is_at_another_speed && (needs_an_excuse || has_few || may_be_a_counter || is_odd) {
            doubts.push(reasons::speed_doubtful(chosen.pace.speed));
        }
        if of * agreeing <= share * read {
            doubts.push(reasons::few_agree(agreeing, read));
        }
        if let Some((counts, _)) = shifts.rival().filter(|r| r.1 < ENOUGH) {
            doubts.push(reasons::parts_doubtful(counts));
        }
        let hour_digits = members.iter().map(|m| m.looks.dial.hour_digits).max();
        if hour_digits == Some(1) {
            doubts.push(reasons::hours_cut());
            checks.is_plausible &= chosen.pace.form != ClockForm::Seconds;
        }
        let shapes = LazyCell::new(|| -> Vec<Shapes> {
            let told = told.iter();
            told.map(|(looks, form, counts)| Shapes::of(looks, *form, counts))
                .collect()
        });
        for group in Group::ALL {
            let mut ballot = Ballot::new(group, trust);
            // Where another sighting shows two digits of the hours, a single one may be either.
            let is_heard = |looks: &Looks| {
                group != Group::Hours || Some(looks.dial.hour_digits) >= hour_digits
            };
            for (looks, form, counts) in told.iter().filter(|told| is_heard(told.0)) {
                ballot.add(looks, *form, counts);
            }
            let mut lead = ballot.lead();
            if !(lead.is_settled || lead.is_unread) {
                let told = told.iter().zip(&*shapes);
                for ((looks, form, counts), shapes) in told.filter(|(told, _)| is_heard(told.0)) {
                    if let Some(&first) = counts.first() {
                        ballot.add_shapes(shapes, looks, *form, first);
                    }
                }
                lead = ballot.lead();
            }
            let mut told = told.iter();
            let doubted = match (lead.is_settled, group) {
                (false, _) => Some(lead),
                (true, Group::Seconds) => None,
                (true, _) => told
                    .find_map(|(looks, form, counts)| {
                        labels::other_value(looks, *form, counts, group)
                    })
                    .map(|(fitted, rival)| Lead {
                        fitted,
                        rival,
                        ..lead
                    }),
            };
            if let Some(lead) = doubted {
                checks.slow_digits_stand = false;
                doubts.push(reasons::group_in_doubt(&lead));
            } else if group == Group::Hours && self.may_lack_an_hour_digit(members) {
                doubts.push(reasons::hours_seen_either_way());
            }
        }
        if let Some(off) = other_second {
            let fitted = chosen.pace.form.label(on_frame_0).seconds();
            checks.slow_digits_stand = false;
            doubts.push(reasons::seconds_from_elsewhere(fitted, off));
        }
        let hour = |count: i64| chosen.pace.form.label(count).hours();
        let begins_at_one = |(_, form, counts): &(_, _, &Vec<i64>)| {
            counts
                .iter()
                .all(|&count| ClockForm::label(*form, count).hours() == 1)
        };
        if hour(on_frame_0) == 0 && told.iter().all(begins_at_one) {
            doubts.push(reasons::hours_of_twelve());
        }
        doubts.extend(self.half_day(chosen, on_frame_0, members));
        checks
    }

    /// True if behind a clock of seconds, in its line and as large, another time stands that it has
    /// yet to reach: a player shows so how far it has come and how long the film is.
    fn stands_before_a_length(&self, chosen: &Joint) -> bool {
        let form = chosen.pace.form;
        let members = chosen.chosen.iter().zip(self.seen);
        let shown: Vec<&Looks> = members
            .filter_map(|(start, seen)| start.as_ref().and(seen.looks.as_ref()))
            .collect();
        form == ClockForm::Seconds
            && self.seen.iter().any(|seen| {
                let Some((still, length_s)) = (seen.looks.as_ref())
                    .zip(labels::seconds_shown(&seen.stands_at).map(Ratio::from_integer))
                else {
                    return false;
                };
                let tick = still.ticks[0];
                let there = still.reading(0).quad;
                let at_s = Ratio::from_integer(tick) * self.times.tick_s;
                let come_s = chosen.start.middle() + chosen.pace.counts_per_second() * at_s;
                let is_before = |looks: &&Looks| {
                    let look = looks.ticks.iter().position(|&t| t == tick);
                    look.is_some_and(|look| looks.reading(look).quad.is_in_line_before(&there))
                };
                come_s < length_s && shown.iter().any(is_before)
            })
    }

    /// True if the frames against the fit agree among themselves on another start, or on a stop,
    /// and some that do show a count `least` or more away: what is nearer was shown late.
    fn jumped(
        &self,
        looks: &Looks,
        tally: &Tally,
        form: ClockForm,
        counts: &[i64],
        least: i64,
    ) -> bool {
        if tally.odd.len() < JUMP_FRAMES.max(tally.read / 20) || tally.longest_odd < JUMP_FRAMES {
            return false;
        }
        let mut odd = looks.subset(&tally.odd);
        let paces = paces(looks.dial, self.known, self.times.clip_rate);
        let window = fit_window(&mut odd, self.times, &paces, self.known.drop_frame);
        let there = window.scored.first().and_then(|best| {
            let counts = window::place(&odd, self.times, best, window.reference_tick)?;
            Some((best.pace.form, counts))
        });
        let Some((other_form, there)) = there else {
            return false;
        };
        let agrees = |&look: &usize| odd.agreement_at(look, other_form, there[look]).agrees();
        let agreeing = (0..odd.len()).filter(agrees);
        let agreeing: Vec<usize> = agreeing.map(|look| tally.odd[look]).collect();
        let needed = 3 * tally.odd.len() / 4;
        agreeing.len() >= needed.max(JUMP_FRAMES)
            && labels::away(looks, &agreeing, form, counts, least) >= labels::FEWEST
    }

    /// True if a display that looks like the clock's stood still at a time near the one that the
    /// clock tells for then: before the clock was started, or after it was stopped. A number that
    /// merely stands beside the clock is another one.
    fn stood_beside(&self, chosen: &Joint) -> bool {
        let form = chosen.pace.form;
        let members = chosen.chosen.iter().zip(self.seen);
        let dials: Vec<_> = members
            .filter_map(|(start, seen)| start.as_ref().and(seen.looks.as_ref()))
            .map(|looks| looks.dial)
            .collect();
        self.seen.iter().any(|seen| {
            let Some(looks) = seen.looks.as_ref().filter(|l| dials.contains(&l.dial)) else {
                return false;
            };
            let Some(stands_at) = labels::seconds_shown(&seen.stands_at) else {
                return false;
            };
            let count_at = |look: usize| {
                let at_s = Ratio::from_integer(looks.ticks[look]) * self.times.tick_s;
                let count = chosen.start.middle() + chosen.pace.counts_per_second() * at_s;
                i64::try_from(count.floor()).unwrap_or_default()
            };
            let told = form.label(count_at(0));
            let told_at = labels::seconds_shown(form.digits_of(told).as_slice());
            let is_near =
                told_at.is_some_and(|at| wrapped(i64::from(at - stands_at), DAY_S).abs() <= NEAR_S);
            let is_against =
                |&look: &usize| looks.agreement_at(look, form, count_at(look)).against > 0;
            is_near && (0..looks.len()).filter(is_against).count() * 2 > looks.len()
        })
    }

    /// `slack` is that of a display that is known to be late, in counts.
    pub fn check_bounds(
        &self,
        chosen: &Joint,
        start: HalfOpen,
        slack: Ratio,
        doubts: &mut Vec<Note>,
    ) {
        let limit = self.grain(&chosen.pace) * Ratio::new(WIDEST.0, WIDEST.1) + slack;
        if start.width() > limit {
            let frames = start.width() / (chosen.pace.counts_per_second() * self.frame_s());
            doubts.push(reasons::bounds_wide(frames));
        }
    }
}

/// True if a clock without frames begins its day at frame 0: so does a recorded length that is laid
/// over the picture, and a clock of the time of day by rare chance. What counts frames from zero
/// there may well be the timecode of a file that never got another one.
fn counts_from_frame_0(form: ClockForm, start: HalfOpen) -> bool {
    let from_zero = (start.middle()).wrapped(Ratio::from_integer(form.counts_per_day()));
    let beside = from_zero.abs() - start.width() / Ratio::from_integer(2);
    let within = Ratio::new(LENGTH_BEGINS_S.0, LENGTH_BEGINS_S.1) * form.rate().ratio();
    ClockForm::WITHOUT_FRAMES.contains(&form) && beside <= within
}
