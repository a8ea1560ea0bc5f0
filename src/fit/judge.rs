//! From weighed starts to a verdict with reasons.

use super::audit::{Ballot, ENOUGH, Group, Shifts, Tally};
use super::clock::mark_odds;
use super::join::{self, Joint};
use super::lean::Leans;
use super::looks::{Looks, Times};
use super::pace::{Pace, paces};
use super::reasons;
use super::sight::{self, FEW_FRAMES, Kind, Seen, order, see};
use super::sweep::DOUBT;
use super::table::Table;
use super::window::{self, Scored, WindowFit, fit_window};
use super::{ClockFit, FittedStart, Known, NextLook, RateKnownBy, SightingFit};
use crate::facts::ClipFacts;
use crate::note::Note;
use crate::outcome::Verdict;
use crate::reading::Sighting;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};

/// Different counts that must be seen before a clock counts as running: with
/// two changes, the time between them is bounded from both sides.
const DISTINCT_COUNTS: usize = 3;
/// ... and at a speed that only the digits tell. Seconds that stand where frames would, behind a
/// day and the time of day, are 24 a second at a tenth of the speed to two or three of their changes;
/// no display is followed for longer than seven of them.
const COUNTS_AT_ANOTHER_SPEED: usize = 8;
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
/// The slowest panel in common use, in hertz.
const SLOW_PANEL_HZ: f64 = 50.0;
/// Nats by which a mark settles between rates that fit alike.
const CLEAR_MARK: f64 = 5.0;

/// Which of the checks that could fail a start has passed.
struct Checks {
    was_seen_running: bool,
    /// Hours, minutes and seconds each lead their best rival.
    slow_digits_stand: bool,
}

impl Checks {
    /// Texture reads like digits that do not run and are not clear: no start to defend.
    const fn is_mirage(&self) -> bool {
        !self.was_seen_running && !self.slow_digits_stand
    }
}

/// The answer, and the nats that its start gains over knowing nothing.
pub(super) fn judge(sightings: &[&Sighting], clip: &ClipFacts, known: &Known) -> (ClockFit, f64) {
    let times = Times::of(sightings, clip);
    let seen: Vec<Seen> = sightings
        .iter()
        .zip(&times.ticks)
        .enumerate()
        .flat_map(|(i, (sighting, ticks))| see(i, sighting, ticks, &times, known))
        .collect();
    let mut fit = ClockFit {
        verdict: Verdict::None,
        reasons: Vec::new(),
        notes: Vec::new(),
        start: None,
        clock: None,
        sightings: vec![SightingFit::default(); sightings.len()],
        next_look: NextLook::ElsewhereToo,
    };
    for seen in &seen {
        let looks = seen.looks.iter();
        let read = looks.map(|l| (0..l.len()).filter(|&i| l.is_read(i)).count());
        fit.sightings[seen.sighting].frames_read += read.sum::<usize>();
    }
    let order = order(&seen);
    if order.is_empty() {
        fit.reasons.push(nothing(&seen));
        return (fit, 0.0);
    }
    let windows: Vec<&WindowFit> = seen.iter().map(|s| &s.window).collect();
    let table = Table {
        sightings,
        seen: &seen,
        windows: &windows,
        times: &times,
        clip,
        known,
    };
    let gain = table.decide(&order, &mut fit);
    (fit, gain)
}

/// Why there is no start at all.
fn nothing(seen: &[Seen]) -> Note {
    let any = |kind: Kind| seen.iter().any(|s| s.kind == kind);
    if any(Kind::CountsDown) {
        reasons::counts_down()
    } else if any(Kind::StandsStill) {
        reasons::stood_still()
    } else if seen.is_empty() {
        reasons::no_display()
    } else if seen.iter().all(|s| s.kind == Kind::OtherLayout) {
        reasons::other_layout()
    } else {
        reasons::no_running_clock()
    }
}

impl Table<'_> {
    /// Fills in the fit; gives the nats that the start gains.
    fn decide(&self, order: &[usize], fit: &mut ClockFit) -> f64 {
        let mut lead = order[0];
        let mut joints = self.joints(order);
        let mut doubts: Vec<Note> = Vec::new();
        let conflict = self.conflict(&joints[0], order);
        if let Some(other) = conflict {
            if self.overlap(lead, other) {
                doubts.push(reasons::clocks_disagree());
            } else {
                // The clock was set anew in between. Frame 0 belongs to the earlier sighting.
                doubts.push(reasons::rejammed());
                let mut order = order.to_vec();
                order.sort_by_key(|&i| self.windows[i].first_tick);
                lead = order[0];
                joints = self.joints(&order);
            }
        }
        let members = joints[0].chosen.iter().zip(self.seen);
        let looks = members.filter_map(|(c, s)| c.as_ref().and(s.looks.as_ref()));
        let survivors = survivors(&joints, looks.map(Looks::len).sum());
        let (chosen, rate_known_by) = self.choose(&survivors);
        let start = self.hull(chosen, &survivors, &mut doubts);
        let members: Vec<(usize, &Scored)> = chosen
            .chosen
            .iter()
            .enumerate()
            .filter_map(|(i, start)| Some((i, start.as_ref()?)))
            .collect();
        let gain = members.iter().map(|(_, start)| start.gain).sum();
        let checks = self.audit(chosen, &members, fit, &mut doubts);
        if checks.is_mirage() {
            *fit = Self::mirage(fit);
            return gain;
        }
        self.check_bounds(chosen, start, &mut doubts);
        // A slow digit in doubt says it better than the starts that it leaves open.
        if !checks.slow_digits_stand {
            doubts.retain(|d| d.code != "start_unclear");
        }
        self.clock(chosen, &joints, &survivors, rate_known_by, lead, fit);
        self.finish(chosen, start, fit);
        doubts.extend(self.clip.doubts.iter().cloned());
        let agreeing: usize = fit.sightings.iter().map(|s| s.frames_agreeing).sum();
        let read: usize = members.iter().map(|&(i, _)| self.seen[i].tally.read).sum();
        if doubts.is_empty() {
            fit.verdict = Verdict::Sure;
            fit.reasons = vec![reasons::agreed(agreeing, read)];
            fit.next_look = NextLook::Enough;
        } else {
            fit.verdict = Verdict::Unsure;
            let here = doubts.iter().any(reasons::is_cured_by_more_frames);
            fit.next_look = if here {
                NextLook::MoreHere {
                    sighting: self.seen[lead].sighting,
                }
            } else {
                NextLook::ElsewhereToo
            };
            fit.reasons = doubts;
        }
        gain
    }

    /// The joined starts, best first, with what the marks say for drop-frame.
    fn joints(&self, order: &[usize]) -> Vec<Joint> {
        let mut joints = join::joints(self.windows, order, self.times);
        for joint in &mut joints {
            let members = joint
                .chosen
                .iter()
                .zip(self.seen)
                .filter(|(c, _)| c.is_some());
            let marks = members.filter_map(|(_, s)| s.looks.as_ref());
            let odds = mark_odds(marks, joint.pace.form.drop_frame());
            joint.score += odds;
            joint.lenient_score += odds;
        }
        joints.sort_by(|a, b| b.score.total_cmp(&a.score));
        joints
    }

    /// A sighting that runs, and contradicts the joined start.
    fn conflict(&self, joint: &Joint, order: &[usize]) -> Option<usize> {
        order.iter().copied().find(|&i| {
            if joint.chosen[i].is_some() || self.seen[i].kind != Kind::Runs {
                return false;
            }
            // Another form of clock may well tell the same time.
            let Some(other) = self.windows[i].scored.first() else {
                return false;
            };
            let at_s = Ratio::from_integer(self.windows[i].reference_tick) * self.times.tick_s;
            let here = joint.start.middle() + joint.pace.counts_per_second() * at_s;
            let day = Ratio::from_integer(86_400);
            let apart =
                joint.pace.form.seconds(here) - other.pace.form.seconds(other.bounds.middle());
            let apart = apart - day * Ratio::from_integer((apart / day).round());
            let coarser = other
                .pace
                .form
                .rate()
                .min(joint.pace.form.rate())
                .ratio()
                .recip();
            let same =
                other.pace.form != joint.pace.form && apart.abs() <= coarser + Ratio::new(1, 10);
            !same
        })
    }

    fn overlap(&self, a: usize, b: usize) -> bool {
        let span = |i: usize| {
            let looks = self.seen[i].looks.as_ref();
            looks.map_or((0, 0), |l| (l.ticks[0], l.ticks[l.len() - 1]))
        };
        let (a, b) = (span(a), span(b));
        a.0 <= b.1 && b.0 <= a.1
    }

    /// The start to report, and how its rate is known.
    fn choose<'j>(&self, survivors: &[&'j Joint]) -> (&'j Joint, RateKnownBy) {
        let best = survivors[0];
        let same_rate = |j: &&&Joint| {
            j.pace.form.rate() == best.pace.form.rate() && j.pace.speed == best.pace.speed
        };
        if self
            .known
            .rate
            .is_some_and(|rate| rate == best.pace.form.rate())
        {
            return (best, RateKnownBy::Given);
        }
        if survivors.iter().all(|j| same_rate(&j)) {
            return (best, RateKnownBy::Measured);
        }
        // Those that do as well when all that was seen is weighed come first.
        let as_good = |j: &&&Joint| j.score >= best.score - ENOUGH;
        // A mark that only one of them prints outweighs how late the digits were.
        let by_mark = |j: &&&Joint| j.lenient_score >= best.lenient_score + CLEAR_MARK;
        let mut good: Vec<&Joint> = survivors.iter().filter(by_mark).copied().collect();
        if good.is_empty() {
            good.extend(survivors.iter().filter(as_good));
        }
        let survivors = good;
        let best = survivors[0];
        let family = self.clip.rate.is_some_and(Rate::is_ntsc);
        let of_family = survivors.iter().find(|j| {
            j.pace.form.base() == best.pace.form.base()
                && j.pace.speed == best.pace.speed
                && j.pace.form.rate().is_ntsc() == family
        });
        (of_family.copied().unwrap_or(best), RateKnownBy::Assumed)
    }

    /// The chosen start, widened by every other that cannot be told from it; a
    /// doubt for each that differs by more than a frame.
    fn hull(&self, chosen: &Joint, survivors: &[&Joint], doubts: &mut Vec<Note>) -> HalfOpen {
        let mut hull = chosen.start;
        let grain = self.grain(&chosen.pace);
        let of_chosen = (&chosen.pace, chosen.start.middle());
        let mut elsewhere = Vec::new();
        let mut within = Vec::new();
        for other in survivors {
            let of_other = (&other.pace, other.start.middle());
            let apart = apart(of_chosen, of_other);
            if apart.abs() > grain {
                elsewhere.push((of_chosen, of_other));
                continue;
            }
            // Counts are compared by their labels, so that another clock's fit in.
            let moved = of_chosen.1 + apart - of_other.1;
            let start = self.believable(other, chosen).shift(moved);
            hull.low = hull.low.min(start.low);
            hull.high = hull.high.max(start.high);
            within.push((&other.pace, moved));
        }
        // The middle of all may lie before the full second at which the starts were compared,
        // and there clocks of 30 and of 60 show other labels.
        let middle = hull.middle();
        for (pace, moved) in within {
            let (here, there) = ((&chosen.pace, middle), (pace, middle - moved));
            if apart(here, there).abs() > grain {
                elsewhere.push((here, there));
            }
        }
        for (here, there) in elsewhere {
            let doubt = either(here, there);
            if !doubts.iter().any(|d| d.code == doubt.code) {
                doubts.push(doubt);
            }
        }
        let blur = self.blur(&chosen.pace);
        HalfOpen::new(hull.low - blur, hull.high + blur)
    }

    /// The start of a rival. One that is far behind already uses up the doubt
    /// that its own bounds allow for.
    fn believable(&self, rival: &Joint, chosen: &Joint) -> HalfOpen {
        match rival.chosen.iter().flatten().next() {
            Some(start) if rival.score < chosen.score - DOUBT / 2.0 => HalfOpen::new(
                rival.start.low + (start.core.low - start.bounds.low),
                rival.start.high - (start.bounds.high - start.core.high),
            ),
            _ => rival.start,
        }
    }

    /// Counts frames, and checks what could fail.
    #[must_use]
    fn audit(
        &self,
        chosen: &Joint,
        members: &[(usize, &Scored)],
        fit: &mut ClockFit,
        doubts: &mut Vec<Note>,
    ) -> Checks {
        let mut checks = Checks {
            was_seen_running: true,
            slow_digits_stand: true,
        };
        let mut leans = Leans::new();
        let mut told = Vec::new();
        let least = (self.grain(&chosen.pace) + self.slack(chosen)).ceil();
        let least = i64::try_from(least).unwrap_or(i64::MAX);
        let mut shifts = Shifts::new(chosen.pace.form.base(), least.max(2));
        let (mut read, mut agreeing, mut distinct) = (0, 0, 0);
        let mut running = 0.0;
        let (mut has_jumped, mut lacks_a_place) = (false, false);
        let mut uneven = None;
        for &(index, start) in members {
            let seen = &self.seen[index];
            let Some(looks) = &seen.looks else { continue };
            let window = &self.windows[index];
            let Some(counts) = window::place(looks, self.times, start, window.reference_tick)
            else {
                continue;
            };
            let blurred = sight::blurred_places(&start.pace, self.frame_s());
            if !self.is_seen_again(index, members) {
                shifts.add(looks, start.pace.form, &counts);
                leans.add(looks, start.pace.form, &counts, blurred);
            }
            let tally = Tally::of(looks, start.pace.form, &counts);
            let sighting = &mut fit.sightings[seen.sighting];
            sighting.frames_agreeing += tally.agreeing;
            sighting.displayed.resize(looks.readings_in_sighting, 0);
            for (&source, &count) in looks.sources.iter().zip(&counts) {
                sighting.displayed[source] = count;
            }
            has_jumped |=
                self.jumped(looks, &tally) || tally.longest_other_second >= OTHER_SECOND_FRAMES;
            uneven = uneven.or(tally.uneven_place(blurred));
            read += tally.read;
            agreeing += tally.agreeing;
            distinct = distinct.max(tally.distinct);
            running += seen.running;
            if seen.tail > 0 {
                let note = reasons::last_places_unread(start.pace.form);
                if !fit.notes.contains(&note) {
                    fit.notes.push(note);
                }
            }
            if let Some(place) = seen.left_out {
                let note = reasons::place_left_out(looks.dial, place);
                if !fit.notes.contains(&note) {
                    fit.notes.push(note);
                }
            }
            lacks_a_place |= seen.left_out.is_some();
            told.push((index, looks, start.pace.form, counts));
        }
        let worth = leans.worth();
        if has_jumped {
            doubts.push(reasons::jumped());
        }
        if agreeing < FEW_FRAMES {
            checks.was_seen_running = false;
            doubts.push(reasons::few_frames(agreeing));
        } else if running < ENOUGH || distinct < DISTINCT_COUNTS {
            checks.was_seen_running = false;
            doubts.push(reasons::not_seen_running(distinct));
        }
        if let Some((told, against)) = uneven {
            doubts.push(reasons::uneven(against, told));
        }
        let is_at_another_speed = self.known.speed.is_none() && chosen.pace.speed != Ratio::ONE;
        let (share, of) = if is_at_another_speed {
            AGREE_AT_ANOTHER_SPEED
        } else {
            (1, 2)
        };
        // Two exceptions at once explain the digits of nearly any clock, and so does a speed that
        // makes few counts of many frames.
        if is_at_another_speed && (lacks_a_place || distinct < COUNTS_AT_ANOTHER_SPEED) {
            doubts.push(reasons::speed_doubtful(chosen.pace.speed));
        }
        if of * agreeing <= share * read {
            doubts.push(reasons::few_agree(agreeing, read));
        }
        if let Some((counts, _)) = shifts.rival().filter(|r| r.1 < ENOUGH) {
            doubts.push(reasons::parts_doubtful(counts));
        }
        let dials = members
            .iter()
            .filter_map(|&(i, _)| self.seen[i].looks.as_ref());
        let hour_digits = dials.map(|looks| looks.dial.hour_digits).max();
        if hour_digits == Some(1) {
            doubts.push(reasons::hours_cut());
        }
        // One display may be seen in several ways, which is no news about its digits.
        let is_again = |&&(index, looks, ..): &&(usize, &Looks, ClockForm, Vec<i64>)| {
            told.iter().any(|&(other, others, ..)| {
                (others.len(), other) > (looks.len(), index) && self.share_digits(index, other)
            })
        };
        let voices: Vec<_> = told.iter().filter(|told| !is_again(told)).collect();
        for group in Group::ALL {
            let mut ballot = Ballot::new(group, worth);
            for (_, looks, form, counts) in &voices {
                // Where another sighting shows two digits of the hours, a single one may be either.
                let is_cut = Some(looks.dial.hour_digits) < hour_digits;
                if group != Group::Hours || !is_cut {
                    ballot.add(looks, *form, counts);
                }
            }
            let lead = ballot.lead();
            if !lead.is_settled {
                checks.slow_digits_stand = false;
                doubts.push(reasons::group_in_doubt(&lead));
            }
        }
        checks
    }

    /// True if another of the `members` looks at the same digits, in more frames: one display
    /// may be seen in several ways, which is no news about its digits.
    fn is_seen_again(&self, index: usize, members: &[(usize, &Scored)]) -> bool {
        let looks = |i: usize| self.seen[i].looks.as_ref().map_or(0, Looks::len);
        members.iter().any(|&(other, _)| {
            (looks(other), other) > (looks(index), index)
                && self.overlap(index, other)
                && self.share_digits(index, other)
        })
    }

    /// What is left of a fit when there is nothing in it.
    fn mirage(fit: &ClockFit) -> ClockFit {
        let sightings = fit.sightings.iter().map(|sighting| SightingFit {
            frames_read: sighting.frames_read,
            ..SightingFit::default()
        });
        ClockFit {
            verdict: Verdict::None,
            reasons: vec![reasons::no_running_clock()],
            notes: Vec::new(),
            start: None,
            clock: None,
            sightings: sightings.collect(),
            next_look: NextLook::ElsewhereToo,
        }
    }

    /// True if the frames against the fit agree among themselves on another start, or on a stop.
    fn jumped(&self, looks: &Looks, tally: &Tally) -> bool {
        if tally.odd.len() < JUMP_FRAMES.max(tally.read / 20) || tally.longest_odd < JUMP_FRAMES {
            return false;
        }
        let mut odd = looks.subset(&tally.odd);
        let paces = paces(looks.dial, self.known);
        let window = fit_window(&mut odd, self.times, &paces, self.known.drop_frame);
        let again = sight::tally(&odd, self.times, &window);
        let needed = 3 * tally.odd.len() / 4;
        again.agreeing >= needed.max(JUMP_FRAMES)
    }

    fn check_bounds(&self, chosen: &Joint, start: HalfOpen, doubts: &mut Vec<Note>) {
        let grain = self.grain(&chosen.pace);
        let limit = grain * Ratio::new(WIDEST.0, WIDEST.1) + self.slack(chosen);
        if start.width() > limit {
            let frames = start.width() / (chosen.pace.counts_per_second() * self.frame_s());
            doubts.push(reasons::bounds_wide(frames));
        }
    }

    fn finish(&self, chosen: &Joint, start: HalfOpen, fit: &mut ClockFit) {
        let form = fit.clock.as_ref().map_or(chosen.pace.form, |c| c.form);
        let late = self.known.lag_s.unwrap_or(Ratio::ZERO) * form.rate().ratio();
        let start = start.shift(late);
        let day = Ratio::from_integer(form.counts_per_day());
        let days = Ratio::from_integer((start.middle() / day).floor());
        let counts = start.shift(-(day * days));
        fit.start = Some(FittedStart {
            label: label_of(form, counts.middle()),
            counts,
            seconds: HalfOpen::new(form.seconds(counts.low), form.seconds(counts.high)),
        });
    }
}

/// The starts that cannot be told from the best, best first. A panel whose
/// refresh beats with the camera can look like a clock that is a little fast or
/// slow, so that a rival at another pace only goes if it fails under every
/// panel, or needs a pattern of late digits that no panel makes. The cousin 1000/1001 as
/// fast makes any pattern: on a panel that refreshes at a multiple of the best one's rate it
/// looks like the best one until it slips, and drawn for up to 20 s.
fn survivors(joints: &[Joint], looks: usize) -> Vec<&Joint> {
    let best = &joints[0];
    let is_other_pace =
        |j: &Joint| j.pace.form.rate() != best.pace.form.rate() || j.pace.speed != best.pace.speed;
    // Where the digits may be late each look foretells two counts, at ln 2; on
    // the slowest panel in use that is this share of all looks.
    let share = |j: &Joint| (j.pace.form.rate().ratio().to_f64() / SLOW_PANEL_HZ).min(1.0);
    let pattern = |j: &Joint| std::f64::consts::LN_2 * share(j) * looks as f64;
    let is_cousin =
        |j: &Joint| j.pace.form.base() == best.pace.form.base() && j.pace.speed == best.pace.speed;
    let survives = |j: &&Joint| {
        j.score >= best.score - ENOUGH
            || is_other_pace(j)
                && j.lenient_score >= best.lenient_score - ENOUGH
                && (is_cousin(j) || j.score >= best.score - ENOUGH - pattern(j))
    };
    joints.iter().filter(survives).collect()
}

fn label_of(form: ClockForm, count: Ratio) -> String {
    form.text(i64::try_from(count.floor()).unwrap_or_default())
}

/// A clock, and a count of it.
type Shown<'a> = (&'a Pace, Ratio);

/// The doubt between two starts that are more than a frame apart.
fn either(here: Shown, there: Shown) -> Note {
    let ((a, at_a), (b, at_b)) = (here, there);
    let (here, there) = (label_of(a.form, at_a), label_of(b.form, at_b));
    if a.speed != b.speed || a.form.base() != b.form.base() {
        reasons::clock_unclear(&here, &there)
    } else if a.form.rate() != b.form.rate() {
        reasons::rate_unknown(a.form.rate(), b.form.rate(), &here, &there)
    } else if a.form.drop_frame() != b.form.drop_frame() {
        reasons::drop_frame_unknown(&here, &there)
    } else {
        reasons::start_unclear(&here, &there)
    }
}

/// Counts from the label of `a` to that of `b`, as a person would compare them:
/// the parts of one second directly, else by the time of day that they show.
fn apart(a: Shown, b: Shown) -> Ratio {
    let split = |(pace, at): Shown| {
        let count = at.floor();
        let label = pace.form.label(i64::try_from(count).unwrap_or_default());
        let part = Ratio::from_integer(label.part()) + at - Ratio::from_integer(count);
        let seconds = i128::from(label.hours()) * 3600
            + i128::from(label.minutes()) * 60
            + i128::from(label.seconds());
        (seconds, part)
    };
    let ((seconds_a, part_a), (seconds_b, part_b)) = (split(a), split(b));
    if seconds_a == seconds_b {
        return part_b - part_a;
    }
    let base = |(pace, _): Shown| Ratio::from_integer(pace.form.base());
    let seconds = (seconds_b - seconds_a + 43_200).rem_euclid(86_400) - 43_200;
    (Ratio::from_integer(seconds) + part_b / base(b) - part_a / base(a)) * base(a)
}
