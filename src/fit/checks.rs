//! Checks that could fail a start: do enough frames agree, did the clock run, did it jump, do its
//! slow digits stand?

use super::ClockFit;
use super::ballot::{Ballot, ENOUGH, Group, Lead};
use super::census::{Census, Counted};
use super::doubt::Doubt;
use super::join::Joint;
use super::labels;
use super::late;
use super::lean::Trust;
use super::looks::Looks;
use super::pace::{Dial, paces};
use super::placed::Placed;
use super::reasons::{self, NotThatSpeed};
use super::refresh::Refresh;
use super::shape::Shapes;
use super::sight::{DAY_S, FEW_FRAMES, Kind, Seen};
use super::table::{Member, Table};
use super::tally::Tally;
use super::window::{self, fit_window};
use crate::timecode::{ClockForm, HalfOpen, Ratio, wrapped};
use std::cell::OnceCell;

/// Different counts that must be seen before a clock counts as running: with
/// two changes, the time between them is bounded from both sides.
const DISTINCT_COUNTS: usize = 3;
/// The same at a speed that only the digits tell. Seconds that stand where frames would, behind a
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
/// panel that nothing rules out. An estimate; of clocks of seconds, whose changes are few, a tenth
/// left one in thirty unsure, and none was a frame off.
const WIDEST: Ratio = Ratio::new(23, 10);

/// A measured speed is off by less than one part in so many where a file has a wrong rate: rates
/// that are taken for each other differ by a twenty-fourth at most, 24 and 25, and whole seconds
/// measure it to a fiftieth: together less than a fifteenth.
const ODD_FILES: i128 = 15;

/// Seconds between the time at which a display stands and the one that the clock tells for then, at
/// most, if it is the clock: a number beside it is any, and one in 700 so near.
const NEAR_S: i64 = 60;

/// Seconds from frame 0 within which a recorded length begins: it is drawn anew once a second, and
/// cameras are taken to write their first frame up to half a second before or after they begin to
/// count.
const LENGTH_BEGINS_S: Ratio = Ratio::new(1, 2);

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
        doubts: &mut Vec<Doubt>,
    ) -> Checks {
        let census = self.census(members);
        self.record(&census, fit);
        let form = chosen.pace.form;
        let on_frame_0 = i64::try_from(start.middle().floor()).unwrap_or_default();
        let not_running = not_seen_running(&census);
        let uneven = census.uneven();
        let is_at_another_speed = self.known.speed.is_none() && chosen.pace.speed != Ratio::ONE;
        let is_cut = census.hour_digits() == 1;
        let trust = census.trust();
        let shapes = OnceCell::new();
        let doubted = Group::ALL.map(|group| doubted(group, &census, &shapes, trust));
        let elsewhere = self.seconds_from_elsewhere(chosen, on_frame_0, &census);
        let checks = Checks {
            was_seen_running: not_running.is_none(),
            slow_digits_stand: doubted.iter().all(Option::is_none) && elsewhere.is_none(),
            is_plausible: uneven.is_none()
                && !is_at_another_speed
                && !(is_cut && form == ClockForm::Seconds),
            shows_a_number_beyond: census.all.iter().any(|one| one.beyond > 0),
            are_piled: (census.all.iter())
                .any(|one| one.heard.is_steady_by_excuse(one.blur.places)),
        };
        let jumped = self.has_jumped(chosen, &census) || self.stood_beside(chosen);
        doubts.extend(jumped.then(reasons::jumped));
        let may_be_a_player = self.may_be_a_player(chosen);
        doubts.extend(may_be_a_player.then(reasons::may_be_a_player));
        doubts.extend(may_be_a_length(form, start).then(reasons::may_be_a_length));
        doubts.extend(self.frames_unseen(form, members));
        doubts.extend(not_running);
        doubts.extend(uneven.map(|(told, against)| reasons::uneven(against, told)));
        if is_at_another_speed {
            doubts.extend(self.speed_doubtful(chosen, &census));
        }
        doubts.extend(few_agree(&census, is_at_another_speed));
        doubts.extend(self.parts_doubtful(chosen, &census));
        doubts.extend(is_cut.then(reasons::hours_cut));
        for (group, lead) in Group::ALL.into_iter().zip(doubted) {
            if let Some(lead) = lead {
                let told = lead.seen_from(group.value(form, on_frame_0));
                doubts.push(reasons::group_in_doubt(&told));
            } else if group == Group::Hours && self.may_lack_an_hour_digit(members) {
                doubts.push(reasons::hours_seen_either_way());
            } else if group == Group::Hours
                && let Some(from) = self.hours_from_apart(members)
            {
                doubts.push(reasons::hours_from_apart(from));
            }
        }
        doubts.extend(elsewhere);
        doubts.extend(hours_of_twelve(form, on_frame_0, &census));
        doubts.extend(self.half_day(chosen, on_frame_0, members));
        checks
    }

    /// The doubt about whole seconds in a clip of 23.976, 29.97 and the like, of which a clock that
    /// counts frames at such a rate has longer ones than a clock without: a thousandth, which nobody
    /// sees, and over a day 86 s, which the clip's own label is moved by.
    fn frames_unseen(&self, form: ClockForm, members: &[Member]) -> Option<Doubt> {
        let clip_rate = self.clip.rate.filter(|rate| rate.is_ntsc())?;
        let is_open = self.may_hide_frames(form, members);
        is_open.then(|| reasons::frames_unseen(clip_rate))
    }

    /// True of whole seconds, unless a display was seen to end with them or the user says how it counts.
    pub fn may_hide_frames(&self, form: ClockForm, members: &[Member]) -> bool {
        let is_said = self.known.rate.is_some_and(|rate| !rate.is_ntsc());
        let ends_there = |m: &Member| self.sightings[self.seen[m.index].sighting].stands_free;
        form == ClockForm::Seconds && !is_said && !members.iter().any(ends_there)
    }

    /// Enters into the fit how each sighting took part, and what was left out of it.
    fn record(&self, census: &Census, fit: &mut ClockFit) {
        for one in &census.all {
            let Counted { member, seen, .. } = one;
            let placed = &member.placed;
            let sighting = &mut fit.sightings[seen.sighting];
            sighting.frames_agreeing += one.tally.agreeing;
            let readings = self.sightings[seen.sighting].readings.len();
            sighting.displayed.resize(readings, None);
            for (&source, &count) in placed.looks.sources.iter().zip(&placed.counts) {
                sighting.displayed[source] = Some(count);
            }
            let at_s = |tick| Ratio::from_integer(tick) * self.times.tick_s;
            let held = seen.held.iter();
            let held = held.map(|&(from, to)| reasons::held(at_s(from), at_s(to)));
            let unread = (seen.tail > 0).then(|| reasons::last_places_unread(placed.form));
            let left_out = seen
                .left_out
                .map(|p| reasons::place_left_out(placed.looks.dial, p));
            for note in unread.into_iter().chain(held).chain(left_out) {
                if !fit.notes.contains(&note) {
                    fit.notes.push(note);
                }
            }
        }
    }

    /// Counts from the start, at least, at which another one shows other digits than a display that
    /// is late.
    fn least_apart(&self, chosen: &Joint) -> i64 {
        let least = (self.grain(&chosen.pace) + self.slack(chosen)).ceil();
        i64::try_from(least).unwrap_or(i64::MAX).max(2)
    }

    /// True if one of the members shows the clock elsewhere for a while.
    fn has_jumped(&self, chosen: &Joint, census: &Census) -> bool {
        let least = self.least_apart(chosen);
        census.all.iter().any(|one| {
            let placed = &one.member.placed;
            // The last one fits a window anew.
            one.heard.longest_other_second >= OTHER_SECOND_FRAMES
                || labels::begin_elsewhere(placed, least)
                || (one.seen.left_out).is_some_and(|place| labels::runs_apart(placed, place))
                || self.jumped(placed, &one.heard, least)
        })
    }

    /// The doubt about a speed at which the clip would have to play.
    ///
    /// Two exceptions at once explain the digits of nearly any clock, and so does a speed that
    /// makes few counts of many frames. Frames that are lost here and there make an odd speed
    /// and digits that are late. A counter of anything else is a clock at some speed, as long as
    /// neither a mark nor its seconds part the last digits from the others.
    fn speed_doubtful(&self, chosen: &Joint, census: &Census) -> Option<Doubt> {
        let refresh = chosen.chosen.iter().flatten().filter_map(|s| s.refresh);
        let is_late = match chosen.pace.doubt_ppm {
            0 => refresh.max() > Some(Refresh::SLOWEST_PANEL),
            _ => refresh.max() > Some(Refresh::FASTEST),
        };
        let needs_an_excuse = |one: &Counted| {
            one.seen.left_out.is_some()
                || late::shows_too_many(&one.member.placed, one.member.start)
        };
        let has_few = census.distinct() < COUNTS_AT_ANOTHER_SPEED;
        let mut all = census.all.iter().map(|one| &one.member.placed);
        let has_carried = all.clone().any(labels::carries);
        let is_bare = all.all(|placed| !placed.looks.shows_a_last_mark());
        // Nor does a mark part what counts to 9 or 99 whatever it counts: tenths of a kilometre, say.
        let form = chosen.pace.form;
        let has_decimals = (1..=2).contains(&form.last_digits()) && labels::goes_on_as_any(form);
        let may_be_a_counter = !has_carried && (is_bare || has_decimals);
        // A file with a wrong rate is a little off; a monitor may replay at any pace.
        let off = (chosen.pace.speed - Ratio::ONE).abs() * Ratio::from_integer(ODD_FILES);
        let is_odd = chosen.pace.doubt_ppm > 0 && off > Ratio::ONE;
        let causes = [
            (is_late, NotThatSpeed::DisplayTooLate),
            (
                census.all.iter().any(needs_an_excuse),
                NotThatSpeed::DigitMisread,
            ),
            (has_few, NotThatSpeed::FewCounts),
            (may_be_a_counter, NotThatSpeed::MayBeACounter),
            (is_odd, NotThatSpeed::NoSuchFile),
        ];
        let (_, why) = causes.into_iter().find(|(holds, _)| *holds)?;
        Some(reasons::speed_doubtful(chosen.pace.speed, why))
    }

    /// The doubt about the digits after the seconds.
    fn parts_doubtful(&self, chosen: &Joint, census: &Census) -> Option<Doubt> {
        let rival = census.shifted(chosen.pace.form.base(), self.least_apart(chosen));
        let (counts, _) = rival.filter(|&(_, nats)| nats < ENOUGH)?;
        Some(reasons::parts_doubtful(counts))
    }

    /// The doubt about seconds that change with another number than 0 of the digits after them.
    fn seconds_from_elsewhere(
        &self,
        chosen: &Joint,
        on_frame_0: i64,
        census: &Census,
    ) -> Option<Doubt> {
        let near = i64::try_from(self.grain(&chosen.pace).ceil()).unwrap_or(i64::MAX) - 1;
        let mut all = census.all.iter().map(|one| &one.member.placed);
        let off = all.find_map(|placed| labels::other_second_at(placed, on_frame_0, near))?;
        let fitted = chosen.pace.form.label(on_frame_0).seconds();
        Some(reasons::seconds_from_elsewhere(fitted, off))
    }

    /// True if the clock is shown with what a player shows: behind it in its line, or below it, and as
    /// large, a time that stands and that it has yet to reach, as the film's length; or, anywhere, one
    /// that runs down, as what is left of it, with frames if the clock has some. Beside frames stand
    /// user bits, too: eight digits that nothing parts, while a length with frames has its marks.
    fn may_be_a_player(&self, chosen: &Joint) -> bool {
        let form = chosen.pace.form;
        let members = chosen.chosen.iter().zip(self.seen);
        let shown: Vec<&Looks> = members
            .filter_map(|(start, seen)| start.as_ref().and(seen.looks.as_ref()))
            .collect();
        let runs_down = |seen: &Seen| {
            let is_shown_at = |tick| shown.iter().any(|looks| looks.ticks.contains(tick));
            let down = seen
                .looks
                .as_ref()
                .filter(|_| seen.kind == Kind::CountsDown);
            down.is_some_and(|down| {
                down.dial.last_digits >= form.last_digits() && down.ticks.iter().any(is_shown_at)
            })
        };
        let is_a_length = |seen: &Seen| {
            let Some(still) = &seen.looks else {
                return false;
            };
            // The stroke that parts a length from the position reads as a digit before it.
            let of_the_length = match still.dial {
                Dial {
                    hour_digits: 1,
                    last_digits: 2,
                } if form == ClockForm::Seconds => seen.stands_at.get(2..).unwrap_or_default(),
                _ => seen.stands_at.as_slice(),
            };
            let Some(length_s) = labels::seconds_shown(of_the_length) else {
                return false;
            };
            let may_be_one = form == ClockForm::Seconds || still.shows_a_last_mark();
            let has_yet_to_reach = |tick: i64| {
                let come = form.digits_of(form.label(self.count_at(chosen, tick)));
                labels::seconds_shown(come.as_slice()) < Some(length_s)
            };
            // In the first picture that shows both: either may be found before the other.
            let is_behind = |looks: &&Looks| {
                let both = still.ticks.iter().enumerate().find_map(|(at, tick)| {
                    let look = looks.ticks.iter().position(|t| t == tick)?;
                    Some((*tick, looks.reading(look).quad, still.reading(at).quad))
                });
                both.is_some_and(|(tick, runs, stands)| {
                    has_yet_to_reach(tick) && runs.is_read_before(&stands)
                })
            };
            may_be_one && shown.iter().any(is_behind)
        };
        self.seen
            .iter()
            .any(|seen| runs_down(seen) || is_a_length(seen))
    }

    /// True if the frames against the fit agree among themselves on another start, or on a stop,
    /// and some that do show a count `least` or more away: what is nearer was shown late.
    fn jumped(&self, placed: &Placed, tally: &Tally, least: i64) -> bool {
        if tally.odd.len() < JUMP_FRAMES.max(tally.read / 20) || tally.longest_odd < JUMP_FRAMES {
            return false;
        }
        let mut odd = placed.looks.subset(&tally.odd);
        let paces = paces(odd.dial, self.known, self.times.clip_rate);
        let window = fit_window(&mut odd, self.times, &paces, self.known.drop_frame);
        let there = window
            .scored
            .first()
            .and_then(|best| window::place(&odd, self.times, best, window.reference_tick));
        let Some(there) = there else {
            return false;
        };
        let agreeing: Vec<usize> = there.agreeing().map(|look| tally.odd[look]).collect();
        let needed = 3 * tally.odd.len() / 4;
        agreeing.len() >= needed.max(JUMP_FRAMES)
            && labels::away(placed, &agreeing, least) >= labels::FEWEST
    }

    /// True if a display that looks like the clock's stood still at a time near the one that the
    /// clock tells for then: before the clock was started, or after it was stopped. A number that
    /// merely stands beside the clock is another one, and what is seen of the clock's own digits while
    /// they run, upside down say, does not stand.
    fn stood_beside(&self, chosen: &Joint) -> bool {
        let form = chosen.pace.form;
        let is_member = |&i: &usize| chosen.chosen[i].is_some();
        let members: Vec<usize> = (0..self.seen.len()).filter(is_member).collect();
        let dials: Vec<_> = (members.iter())
            .filter_map(|&i| self.seen[i].looks.as_ref())
            .map(|looks| looks.dial)
            .collect();
        self.seen.iter().enumerate().any(|(index, seen)| {
            let Some(looks) = seen.looks.as_ref().filter(|l| dials.contains(&l.dial)) else {
                return false;
            };
            let Some(stands_at) = labels::seconds_shown(&seen.stands_at) else {
                return false;
            };
            let count_at = |look: usize| self.count_at(chosen, looks.ticks[look]);
            let told = form.label(count_at(0));
            let told_at = labels::seconds_shown(form.digits_of(told).as_slice());
            let is_near =
                told_at.is_some_and(|at| wrapped(i64::from(at - stands_at), DAY_S).abs() <= NEAR_S);
            if !is_near {
                return false;
            }
            let is_against =
                |&look: &usize| looks.agreement_at(look, form, count_at(look)).against > 0;
            let mut of_it = members.clone();
            of_it.retain(|&member| self.same_digits(index, member).is_some());
            let is_apart = |&look: &usize| !self.is_seen_at(looks.ticks[look], &of_it);
            (0..looks.len()).filter(is_apart).filter(is_against).count() * 2 > looks.len()
        })
    }

    /// What the clock tells at a tick of the clip.
    fn count_at(&self, chosen: &Joint, tick: i64) -> i64 {
        let at_s = Ratio::from_integer(tick) * self.times.tick_s;
        let count = chosen.start.middle() + chosen.pace.counts_per_second() * at_s;
        i64::try_from(count.floor()).unwrap_or_default()
    }

    /// `slack` is that of a display that is known to be late, in counts.
    pub fn check_bounds(
        &self,
        chosen: &Joint,
        start: HalfOpen,
        slack: Ratio,
        doubts: &mut Vec<Doubt>,
    ) {
        let limit = self.grain(&chosen.pace) * WIDEST + slack;
        if start.width() > limit {
            let frames = start.width() / (chosen.pace.counts_per_second() * self.frame_s());
            doubts.push(reasons::bounds_wide(frames));
        }
    }
}

/// The doubt about a clock of which too little was seen to say that it runs.
fn not_seen_running(census: &Census) -> Option<Doubt> {
    let (agreeing, distinct) = (census.agreeing(), census.distinct());
    if agreeing < FEW_FRAMES {
        Some(reasons::few_frames(agreeing))
    } else if census.running() < ENOUGH || distinct < DISTINCT_COUNTS {
        Some(reasons::not_seen_running(distinct))
    } else {
        None
    }
}

/// The doubt about a start with which too few frames agree.
fn few_agree(census: &Census, is_at_another_speed: bool) -> Option<Doubt> {
    let (share, of) = if is_at_another_speed {
        AGREE_AT_ANOTHER_SPEED
    } else {
        (1, 2)
    };
    let (agreeing, read) = (census.agreeing(), census.read());
    (of * agreeing <= share * read).then(|| reasons::few_agree(agreeing, read))
}

/// How a slow group of digits leads, if it may well have another value. `shapes`: of all that is told,
/// once a group needs them.
fn doubted(
    group: Group,
    census: &Census,
    shapes: &OnceCell<Vec<Shapes>>,
    trust: Trust,
) -> Option<Lead> {
    // Where another sighting shows two digits of the hours, a single one may be either.
    let is_heard = |placed: &&Placed| {
        group != Group::Hours || placed.looks.dial.hour_digits >= census.hour_digits()
    };
    let mut ballot = Ballot::new(group, trust);
    census
        .told()
        .filter(is_heard)
        .for_each(|placed| ballot.add(placed));
    let looks = census.told().map(|placed| placed.looks.len()).sum();
    let mut lead = ballot.lead(looks);
    if !(lead.is_unread || (lead.is_settled && ballot.is_plain())) {
        let shapes = shapes.get_or_init(|| census.told().map(Shapes::of).collect());
        let heard = census.told().zip(shapes).filter(|(p, _)| is_heard(p));
        heard.for_each(|(placed, shapes)| ballot.add_shapes(shapes, placed));
        lead = ballot.lead(looks);
    }
    if !lead.is_settled {
        return Some(lead);
    }
    if group == Group::Seconds {
        return None;
    }
    let other = census
        .told()
        .find_map(|placed| labels::other_value(placed, group));
    other.map(|(fitted, rival)| Lead {
        fitted,
        rival,
        ..lead
    })
}

/// The doubt about a start before one o'clock, by a clock that was seen after it alone.
fn hours_of_twelve(form: ClockForm, on_frame_0: i64, census: &Census) -> Option<Doubt> {
    let begins_at_one = |placed: &Placed| {
        let mut counts = placed.counts.iter();
        counts.all(|&count| placed.form.label(count).hours() == 1)
    };
    let is_open = form.label(on_frame_0).hours() == 0 && census.told().all(begins_at_one);
    is_open.then(reasons::hours_of_twelve)
}

/// True if a clock without frames shows less than an hour on frame 0: so do stopwatches, players, the
/// length of a call, and how long has been recorded or flown, laid over the picture; a clock of the
/// time of day only in its first hour. What counts frames may well be the timecode of a file that
/// never got another one.
fn may_be_a_length(form: ClockForm, start: HalfOpen) -> bool {
    let from_zero = (start.middle()).wrapped(Ratio::from_integer(form.counts_per_day()));
    let half = start.width() / Ratio::from_integer(2);
    let second = form.rate().ratio();
    let before = LENGTH_BEGINS_S * second;
    ClockForm::WITHOUT_FRAMES.contains(&form)
        && from_zero + half >= -before
        && from_zero < Ratio::from_integer(60 * 60) * second
}
