//! From weighed starts to a verdict with reasons.

use super::ballot::ENOUGH;
use super::clock::mark_odds;
use super::doubt::{Doubt, What};
use super::hull::shown_apart;
use super::join::{self, Joint};
use super::looks::{Looks, Times};
use super::panel;
use super::reasons::{self, Preferred};
use super::refresh::Refresh;
use super::sight::{DAY_S, Kind, Seen, order, see};
use super::table::{Member, Table};
use super::window::{Scored, WindowFit};
use super::{ClockFit, FittedStart, Known, NextLook, RateKnownBy, SightingFit};
use crate::facts::ClipFacts;
use crate::note::Note;
use crate::outcome::Verdict;
use crate::reading::Sighting;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};

/// Nats by which a mark settles between rates that fit alike.
const CLEAR_MARK: f64 = 5.0;
/// Nats, one in a hundred, by which a clock at the clip's own rate is likelier beforehand than one of
/// another base: crews set it to the rate they shoot (common practice, no source).
const SET_TO_THE_CLIP: f64 = 4.6;
/// Nats, one in twenty, by which a semicolon settles drop-frame where the label is the same either
/// way: a clip's own label has to count one way or the other, and to take a semicolon for a colon
/// moves it as far from real time as the other mistake does.
const LIKELY_MARK: f64 = 3.0;

/// Of two displays that do not agree, the one is meant whose digits are taller by this factor: a slate
/// is held up to the camera, what else is in view stands behind it. An estimate, no measurement.
const MUCH_LARGER: f32 = 1.5;

/// An answer, and what it stands on.
pub(super) struct Judged {
    pub fit: ClockFit,
    /// Nats that the start gains over knowing nothing.
    pub gain: f64,
    /// The same, less what a late display costs: any speed near the real one explains the digits if
    /// they may be as late as they like.
    pub gain_on_time: f64,
    /// A look shows a number that would follow the clock's last one if its seconds were longer.
    pub shows_a_number_beyond: bool,
}

impl Judged {
    const fn nothing_of(fit: ClockFit, gain: f64) -> Self {
        Self {
            fit,
            gain,
            gain_on_time: gain,
            shows_a_number_beyond: false,
        }
    }
}

pub(super) fn judge(sightings: &[&Sighting], clip: &ClipFacts, known: &Known) -> Judged {
    let mut judged = judge_clock(sightings, clip, known);
    if judged.fit.verdict == Verdict::None {
        // A start that comes from elsewhere rests on the file's times all the same.
        judged.fit.reasons.extend(clip.doubts.iter().cloned());
    }
    judged
}

fn judge_clock(sightings: &[&Sighting], clip: &ClipFacts, known: &Known) -> Judged {
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
        expected_speed: known.expected_speed(),
        was_seen_running: false,
        sightings: vec![SightingFit::default(); sightings.len()],
        next_look: NextLook::ElsewhereToo,
    };
    for seen in &seen {
        let looks = seen.looks.iter();
        let read = looks.map(|l| (0..l.len()).filter(|&i| l.is_read(i)).count());
        fit.sightings[seen.sighting].frames_read += read.sum::<usize>();
    }
    let mut order = order(&seen);
    if order.is_empty() {
        fit.reasons.push(nothing(&seen, known));
        return Judged::nothing_of(fit, 0.0);
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
    order = table.facing_right(&order);
    loop {
        match table.decide(&order, fit.clone()) {
            Ok(judged) => return judged,
            Err(mirage) => {
                // What reads like digits on texture must not hide a clock, before it or behind.
                order.retain(|i| !mirage.members.contains(i));
                if order.is_empty() {
                    return Judged::nothing_of(table.mirage(&fit), mirage.gain);
                }
            }
        }
    }
}

/// Sightings that turn out to be no clock, and the nats that their start gains.
struct Mirage {
    members: Vec<usize>,
    gain: f64,
}

/// The sighting that a start comes from, and the starts that it is joined to.
struct Led {
    lead: usize,
    joints: Vec<Joint>,
    /// That another one contradicts it.
    doubt: Option<Doubt>,
}

/// Seconds for which it was seen, if it did not change but may be a clock that was slowed down.
fn stood_for(seen: &Seen) -> Option<Ratio> {
    match seen.kind {
        Kind::StoodFor(span_s) => Some(span_s),
        _ => None,
    }
}

/// Why there is no start at all.
fn nothing(seen: &[Seen], known: &Known) -> Note {
    let any = |kind: Kind| seen.iter().any(|s| s.kind == kind);
    if any(Kind::CountsDown) {
        reasons::counts_down()
    } else if any(Kind::StandsStill) {
        reasons::stood_still()
    } else if let Some(longest_s) = seen.iter().filter_map(stood_for).max() {
        reasons::not_seen_to_step(longest_s)
    } else if seen.is_empty() {
        reasons::no_display()
    } else if seen.iter().all(|s| s.kind == Kind::OtherLayout) {
        reasons::other_layout()
    } else {
        reasons::no_running_clock(known)
    }
}

impl Table<'_> {
    /// The fit filled in; or the sightings in `order` without which it is to be decided again.
    fn decide(&self, order: &[usize], mut fit: ClockFit) -> Result<Judged, Mirage> {
        let Led {
            lead,
            joints,
            doubt,
        } = self.led(order, &fit)?;
        let mut doubts: Vec<Doubt> = doubt.into_iter().collect();
        let survivors = self.survivors(&joints);
        let (chosen, rate_known_by) = self.choose(&survivors);
        let start = self.hull(chosen, &survivors, &mut doubts);
        let members = self.members(chosen);
        let (of_all, start) = (start, with_first_look(start, &members));
        let gain = members.iter().map(|member| member.start.gain).sum();
        let on_time = |start: &Scored| start.score - start.pace.prior;
        let gain_on_time = members.iter().map(|member| on_time(member.start)).sum();
        let checks = self.audit(chosen, start, &members, &mut fit, &mut doubts);
        if checks.is_mirage() {
            return Err(Mirage {
                members: members.iter().map(|member| member.index).collect(),
                gain,
            });
        }
        doubts.extend(self.another_time(chosen, &survivors, checks.shows_a_number_beyond));
        // Where one change may have made the looks late, no display need be.
        let slack = match start == of_all {
            true => self.slack(chosen),
            false => Ratio::ZERO,
        };
        let start = match checks.are_piled {
            true => self.widened_by_piles(chosen, start),
            false => start,
        };
        self.check_bounds(chosen, start, slack, &mut doubts);
        let start = self.check_carry(chosen, start, &members, &mut doubts);
        // A slow digit in doubt says it better than the starts that it leaves open.
        if !checks.slow_digits_stand {
            doubts.retain(|d| d.what != What::StartUnclear);
        }
        let form = chosen.pace.form;
        let may_hide_frames = self.may_hide_frames(form, &members);
        let is_ntsc = self.clip.rate.is_some_and(Rate::is_ntsc);
        let rate_known_by = match (may_hide_frames, is_ntsc) {
            (true, false) => {
                fit.notes.push(reasons::frames_may_be_unseen());
                RateKnownBy::Assumed
            }
            // That they end the display was seen; that none are shown elsewhere was not.
            (false, true)
                if form == ClockForm::Seconds && rate_known_by == RateKnownBy::Measured =>
            {
                fit.notes.push(reasons::frames_may_be_elsewhere());
                RateKnownBy::Assumed
            }
            _ => rate_known_by,
        };
        self.clock(chosen, &joints, &survivors, rate_known_by, lead, &mut fit);
        self.finish(chosen, start, &mut fit);
        fit.was_seen_running = !doubts.iter().any(|d| d.what.is_of_no_running());
        let read = members.iter().map(|m| self.seen[m.index].tally.read).sum();
        self.conclude(doubts, lead, read, &mut fit);
        Ok(Judged {
            fit,
            gain,
            gain_on_time,
            shows_a_number_beyond: checks.shows_a_number_beyond,
        })
    }

    /// What the sightings in `order` lead to, also where one that runs contradicts the best of them.
    fn led(&self, order: &[usize], fit: &ClockFit) -> Result<Led, Mirage> {
        let joints = self.joints(order);
        let best = order[0];
        let Some(other) = self.conflict(&joints[0], order) else {
            return Ok(Led {
                lead: best,
                joints,
                doubt: None,
            });
        };
        let by_other = self.alone(other, fit)?;
        let are_apart = !self.overlap(best, other);
        let are_two = !are_apart || self.count_other_parts(best, other);
        if are_two && self.is_much_larger(other, best) {
            // A slate is held up close; a counter laid over the picture reads better.
            let by_best = self.alone(best, fit)?.start;
            let doubt = reasons::clocks_disagree(Preferred::Larger, by_best.as_ref());
            return Ok(Led {
                lead: other,
                joints: self.joints(&[other]),
                doubt: Some(doubt),
            });
        }
        let is_larger = are_two && self.is_much_larger(best, other);
        if !are_apart || is_larger {
            let preferred = match is_larger {
                true => Preferred::Larger,
                false => Preferred::Clearer,
            };
            return Ok(Led {
                lead: best,
                joints,
                doubt: Some(reasons::clocks_disagree(preferred, by_other.start.as_ref())),
            });
        }
        // The clock was set anew in between. Frame 0 belongs to the earlier sighting.
        let mut order = order.to_vec();
        order.sort_by_key(|&i| self.windows[i].first_tick);
        let lead = order[0];
        let by_later = match lead == other {
            true => self.alone(best, fit)?,
            false => by_other,
        };
        Ok(Led {
            lead,
            joints: self.joints(&order),
            doubt: Some(reasons::rejammed(by_later.start.as_ref())),
        })
    }

    /// What one sighting says by itself.
    fn alone(&self, sighting: usize, fit: &ClockFit) -> Result<ClockFit, Mirage> {
        self.decide(&[sighting], fit.clone())
            .map(|judged| judged.fit)
    }

    /// The verdict, its reasons and where to look next, from all doubts there are. `read`: frames
    /// in which the clock was read.
    fn conclude(&self, doubts: Vec<Doubt>, lead: usize, read: usize, fit: &mut ClockFit) {
        if doubts.is_empty() && self.clip.doubts.is_empty() {
            fit.verdict = Verdict::Sure;
            fit.reasons = vec![reasons::agreed(fit.frames_agreeing(), read)];
            fit.next_look = NextLook::Enough;
            return;
        }
        fit.verdict = Verdict::Unsure;
        fit.next_look = match doubts.iter().any(|d| d.what.is_cured_by_more_frames()) {
            true => NextLook::MoreHere {
                sighting: self.seen[lead].sighting,
            },
            false => NextLook::ElsewhereToo,
        };
        let of_the_file = self.clip.doubts.iter().cloned();
        let of_the_clock = doubts.into_iter().map(Note::from);
        fit.reasons = of_the_clock.chain(of_the_file).collect();
    }

    /// The joined starts, best first, with what the marks say for drop-frame.
    fn joints(&self, order: &[usize]) -> Vec<Joint> {
        let mut joints = join::joints(self.windows, order, self.times);
        let better = |&index: &usize| {
            let others = order.iter().copied();
            let better = others.filter(|&other| self.is_seen_better(index, other));
            (index, better.collect())
        };
        let seen_again: Vec<(usize, Vec<usize>)> = order.iter().map(better).collect();
        for joint in &mut joints {
            let members = joint
                .chosen
                .iter()
                .zip(self.seen)
                .filter(|(c, _)| c.is_some());
            let marks = members.filter_map(|(_, s)| s.looks.as_ref());
            joint.mark_odds = mark_odds(marks, joint.pace.form.drop_frame());
            joint.score += joint.mark_odds;
            joint.lenient_score += joint.mark_odds;
            self.hear_once(joint, &seen_again);
        }
        joints.sort_by(|a, b| b.score.total_cmp(&a.score));
        joints
    }

    /// Takes out of the scores what another sighting that joined looks at better in the same frames:
    /// `seen_again` holds each sighting with those that see its digits better.
    fn hear_once(&self, joint: &mut Joint, seen_again: &[(usize, Vec<usize>)]) {
        for (index, better) in seen_again.iter().filter(|(_, better)| !better.is_empty()) {
            let Some(start) = &joint.chosen[*index] else {
                continue;
            };
            let has_joined = |i: &usize| joint.chosen[*i].is_some();
            let joined: Vec<usize> = better.iter().copied().filter(has_joined).collect();
            let share = self.share_seen_again(*index, &joined);
            joint.score -= share * start.score;
            joint.lenient_score -= share * start.lenient_score;
        }
    }

    /// The starts that cannot be told from the best, best first. A panel whose
    /// refresh beats with the camera can look like a clock that is a little fast or
    /// slow, so that a rival at another pace only goes if it fails under every
    /// panel, or needs a pattern of late digits that no panel makes. The cousin 1000/1001 as
    /// fast makes any pattern: on a panel that refreshes at a multiple of the best one's rate it
    /// looks like the best one until it slips, which takes up to 20 s.
    ///
    /// A semicolon that is seen leaves those that count drop-frame alone, whatever is said against
    /// them by how late their digits would be.
    fn survivors<'j>(&self, joints: &'j [Joint]) -> Vec<&'j Joint> {
        let best = &joints[0];
        let members = best.chosen.iter().zip(self.seen);
        let looks = members.filter_map(|(c, s)| c.as_ref().and(s.looks.as_ref()));
        let looks: usize = looks.map(Looks::len).sum();
        let is_other_pace = |j: &Joint| {
            j.pace.form.rate() != best.pace.form.rate() || j.pace.speed != best.pace.speed
        };
        // Where the digits may be late each look foretells two counts, at ln 2; on the slowest panel in
        // use that is this share of all looks. Against a pace that was measured, and that may be the
        // beat of a panel itself, all counts that pass in its refresh are heard.
        let late = |j: &Joint| Refresh::SLOWEST_PANEL.counts(j.pace.form.rate()).to_f64();
        let a_look = |late: f64| match late > 1.0 && best.pace.doubt_ppm > 0 {
            true => (late + 1.0).ln(),
            false => std::f64::consts::LN_2 * late.min(1.0),
        };
        let pattern = |j: &Joint| a_look(late(j)) * looks as f64;
        let is_cousin = |j: &Joint| {
            j.pace.form.base() == best.pace.form.base() && j.pace.speed == best.pace.speed
        };
        let survives = |j: &&Joint| {
            j.score >= best.score - ENOUGH
                || is_other_pace(j)
                    && j.lenient_score >= best.lenient_score - ENOUGH
                    && (is_cousin(j)
                        || j.score >= best.score - ENOUGH - pattern(j)
                            && self.may_be_a_panel(j, j.lenient_score - best.score + ENOUGH))
        };
        let mut survivors: Vec<&Joint> = joints.iter().filter(survives).collect();
        let by_mark = survivors.iter().filter(|j| j.pace.form.drop_frame());
        let by_mark = by_mark.map(|j| j.mark_odds).reduce(f64::max);
        if let Some(by_mark) = by_mark {
            survivors.retain(|j| j.pace.form.drop_frame() || j.mark_odds >= by_mark - ENOUGH);
        }
        survivors
    }

    /// False if no panel makes the late digits that a rival needs, at a cost of `may_lose` nats.
    fn may_be_a_panel(&self, rival: &Joint, may_lose: f64) -> bool {
        let mut starts = rival.chosen.iter().enumerate();
        starts.all(|(index, start)| {
            let looks = self.seen[index].looks.as_ref();
            let tick = self.windows[index].reference_tick;
            let Some((start, looks)) = start.as_ref().zip(looks) else {
                return true;
            };
            panel::may_be_a_panel(looks, self.times, start, tick, may_lose)
        })
    }

    /// A sighting that runs, and contradicts the joined start.
    fn conflict(&self, joint: &Joint, order: &[usize]) -> Option<usize> {
        order.iter().copied().find(|&i| {
            if joint.chosen[i].is_some() || self.seen[i].kind != Kind::Runs {
                return false;
            }
            let scored = &self.windows[i].scored;
            let Some(best) = scored.first() else {
                return false;
            };
            // Another form of clock may well tell the same time; what may be of this one is no other.
            let is_alike =
                |start: &&Scored| start.pace == joint.pace && start.score >= best.score - ENOUGH;
            let other = scored.iter().find(is_alike).unwrap_or(best);
            let at_s = Ratio::from_integer(self.windows[i].reference_tick) * self.times.tick_s;
            let here = joint.start.middle() + joint.pace.counts_per_second() * at_s;
            let apart =
                joint.pace.form.seconds(here) - other.pace.form.seconds(other.bounds.middle());
            let apart = apart.wrapped(Ratio::from_integer(DAY_S));
            let coarser = other
                .pace
                .form
                .rate()
                .min(joint.pace.form.rate())
                .ratio()
                .recip();
            // Whole seconds may be those of a clock that counts frames, and then last as long.
            let shown = shown_apart(
                (&joint.pace, here),
                (&other.pace, other.bounds.middle()),
                DAY_S,
            );
            let closest = apart.abs().min(shown.abs());
            if other.pace.form != joint.pace.form && closest <= may_be_apart(joint, other, coarser)
            {
                return false;
            }
            let members = self.members(joint);
            !self.lacks_last_digits(i, &members) && !self.adds_last_digits(i, &members)
        })
    }

    /// True if the digits of one display are much larger in the picture than those of another.
    fn is_much_larger(&self, one: usize, other: usize) -> bool {
        let digit_px = |i: usize| {
            let looks = self.seen[i].looks.as_ref()?;
            Some(looks.reading(looks.len() / 2).digit_px)
        };
        matches!((digit_px(one), digit_px(other)), (Some(a), Some(b)) if a > MUCH_LARGER * b)
    }

    /// True if one of two sightings shows other parts of a second than the other: they are two
    /// displays, then, and not one that was set anew in between.
    fn count_other_parts(&self, one: usize, other: usize) -> bool {
        let last_digits = |i: usize| Some(self.seen[i].looks.as_ref()?.dial.last_digits);
        last_digits(one) != last_digits(other)
    }

    /// The start to report, and how its rate is known. It counts without drop-frame where that is open,
    /// unless the mark is seen as a semicolon, if not for certain.
    fn choose<'j>(&self, survivors: &[&'j Joint]) -> (&'j Joint, RateKnownBy) {
        let (chosen, rate_known_by) = self.choose_rate(survivors);
        let is_twin_without = |j: &&&Joint| {
            chosen.pace.form.drop_frame()
                && j.differs_by_drop_frame(chosen)
                && j.lenient_score > chosen.lenient_score - LIKELY_MARK
        };
        let twin = survivors.iter().find(is_twin_without);
        (twin.copied().unwrap_or(chosen), rate_known_by)
    }

    fn choose_rate<'j>(&self, survivors: &[&'j Joint]) -> (&'j Joint, RateKnownBy) {
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
        // A mark that only one of them prints outweighs how late the digits were.
        let by_mark = |j: &&&Joint| j.lenient_score >= best.lenient_score + CLEAR_MARK;
        let marked: Vec<&Joint> = survivors.iter().filter(by_mark).copied().collect();
        let (best, among) = match marked.first() {
            Some(best) => (*best, &marked[..]),
            None => (best, survivors),
        };
        // A display that is late, as most are, tells less than that crews set a clock to the rate they
        // shoot: a clock that ticks with the camera, on the edge of its count, looks like one of another
        // rate. Of cousins 1000/1001 apart the one of the clip's family is likelier, too.
        let clip = self.clip.rate;
        let is_likelier = |j: &&&Joint| {
            let rate = j.pace.form.rate();
            rate.base() == best.pace.form.base()
                && j.pace.speed == best.pace.speed
                && clip.is_some_and(|clip| {
                    rate.is_of_one_family(clip)
                        || j.score >= best.score - ENOUGH && rate.is_ntsc() == clip.is_ntsc()
                })
        };
        let is_the_clips = |j: &&&Joint| {
            clip == Some(j.pace.form.rate())
                && [j, best].iter().all(|j| j.pace.speed == Ratio::ONE)
                && j.score >= best.score - ENOUGH - SET_TO_THE_CLIP
        };
        let mut by_the_clip = among.iter().filter(is_the_clips);
        let chosen = by_the_clip
            .next()
            .or_else(|| among.iter().find(is_likelier));
        (chosen.copied().unwrap_or(best), RateKnownBy::Assumed)
    }

    /// What is left of a fit when there is nothing in it.
    fn mirage(&self, fit: &ClockFit) -> ClockFit {
        let sightings = fit.sightings.iter().map(|sighting| SightingFit {
            frames_read: sighting.frames_read,
            ..SightingFit::default()
        });
        ClockFit {
            verdict: Verdict::None,
            reasons: vec![reasons::no_running_clock(self.known)],
            notes: Vec::new(),
            start: None,
            clock: None,
            expected_speed: fit.expected_speed,
            was_seen_running: false,
            sightings: sightings.collect(),
            next_look: NextLook::ElsewhereToo,
        }
    }

    fn finish(&self, chosen: &Joint, start: HalfOpen, fit: &mut ClockFit) {
        let form = fit.clock.as_ref().map_or(chosen.pace.form, |c| c.form);
        let lag_s = self.known.lag();
        let start = start.shift(form.count_at(lag_s));
        let day = Ratio::from_integer(form.counts_per_day());
        let days = Ratio::from_integer((start.middle() / day).floor());
        let counts = start.shift(-(day * days));
        fit.start = Some(FittedStart {
            label: label_of(form, counts.middle()),
            counts,
            seconds: form.seconds_of(counts),
            lag_s,
        });
    }
}

/// The start, and what the first looks of the earliest sighting, and of others that saw the display
/// at that time, say of it by themselves, where what made the display late may have come after them.
fn with_first_look(start: HalfOpen, members: &[Member]) -> HalfOpen {
    let first_tick = |member: &&Member| member.placed.looks.ticks[0];
    let Some(earliest) = members.iter().min_by_key(first_tick) else {
        return start;
    };
    let until = earliest.placed.looks.ticks[earliest.placed.looks.len() - 1];
    let of_then = members.iter().filter(|m| first_tick(m) <= until);
    let (mut earlier, mut later) = (Ratio::ZERO, Ratio::ZERO);
    for (first, bounds) in of_then.filter_map(|m| Some((m.first_look?, m.start.bounds))) {
        earlier = earlier.max(bounds.low - first.low);
        later = later.max(first.high - bounds.high);
    }
    HalfOpen::new(start.low - earlier, start.high + later)
}

/// Seconds by which two forms of clock may tell the same time apart. Who counts frames shows them as
/// they come, but for a panel; tenths may come late by one. Whole seconds tell when they pass to
/// within their bounds, but may be drawn by a timer of their own, twice a second.
fn may_be_apart(joint: &Joint, other: &Scored, coarser: Ratio) -> Ratio {
    let tenth = Ratio::new(1, 10);
    if coarser < tenth {
        return coarser + Ratio::new(1, Refresh::SLOWEST_PANEL.hz().into());
    }
    if coarser < Ratio::ONE {
        return coarser + tenth;
    }
    let open_s = |bounds: HalfOpen, form: ClockForm| bounds.width() / form.rate().ratio();
    let both_s = open_s(joint.start, joint.pace.form) + open_s(other.bounds, other.pace.form);
    (both_s + Ratio::ONE) / Ratio::from_integer(2)
}

pub(super) fn label_of(form: ClockForm, count: Ratio) -> String {
    form.text(i64::try_from(count.floor()).unwrap_or_default())
}
