//! From weighed starts to a verdict with reasons.

use super::audit::{Ballot, ENOUGH, Group, Tally};
use super::join::{self, Joint};
use super::looks::{Looks, Times};
use super::pace::{Pace, REFRESHES, paces};
use super::reasons;
use super::window::{self, Scored, WindowFit, fit_window};
use super::{
    ClockFit, DropFrameKnownBy, FittedClock, FittedStart, Known, NextLook, RateKnownBy, SightingFit,
};
use crate::facts::ClipFacts;
use crate::note::Note;
use crate::outcome::Verdict;
use crate::reading::Sighting;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};

/// Nats that a start must gain over knowing nothing before it is one at all:
/// ln of the starts tried (about 2.6 million counts a day, a hundred paces, four
/// phases a count) is 21; the rest is [`ENOUGH`].
const WORTH_TELLING: f64 = 30.0;
/// Agreeing frames below which a start is never sure.
const FEW_FRAMES: usize = 4;
/// ... unless the odds of many half-read frames gain as much as that many whole
/// labels of eight digits do, at ln 10 each.
const FEW_FRAMES_GAIN: f64 = FEW_FRAMES as f64 * 18.4;
/// Different counts that must be seen before a clock counts as running: with
/// two changes, the time between them is bounded from both sides.
const DISTINCT_COUNTS: usize = 3;
/// Agreeing share of read frames, in percent, below which there is no clock.
const HARDLY_ANY_PERCENT: usize = 25;
/// Frames in a row against the fit that may be a second start: a jump.
const JUMP_FRAMES: usize = 4;
/// ln of how likely a clock without drop-frame prints a semicolon: SMPTE ST 12-1
/// practice keeps it for drop-frame (from memory), and a false one would lead to a false label.
const STRAY_SEMICOLON: f64 = 1e-5;
/// Share of drop-frame clocks that print a colon all the same (judged).
const DROP_FRAME_COLON: f64 = 0.5;

/// What a sighting is, by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// The groups of digits are no clock's.
    OtherLayout,
    /// No start explains the digits.
    Nothing,
    StandsStill,
    CountsDown,
    /// Perhaps a clock: too little seen, or too few frames agree.
    Doubtful,
    /// A clock that runs, and most frames say so.
    Runs,
}

/// A sighting with what it says by itself.
struct Seen<'a> {
    kind: Kind,
    looks: Option<Looks<'a>>,
    window: WindowFit,
    tally: Tally,
    /// Place that was misread throughout and is left out.
    left_out: Option<usize>,
    /// Nats over a clock that stands still.
    running: f64,
}

pub(super) fn judge(sightings: &[Sighting], clip: &ClipFacts, known: &Known) -> ClockFit {
    let times = Times::of(sightings, clip);
    let mut seen: Vec<Seen> = sightings
        .iter()
        .zip(&times.ticks)
        .map(|(sighting, ticks)| see(sighting, ticks, &times, known))
        .collect();
    let mut fit = ClockFit {
        verdict: Verdict::None,
        reasons: Vec::new(),
        notes: Vec::new(),
        start: None,
        clock: None,
        sightings: seen
            .iter()
            .zip(sightings)
            .map(|(s, sighting)| SightingFit {
                frames_read: s.looks.as_ref().map_or(sighting.readings.len(), |l| {
                    (0..l.len()).filter(|&i| l.is_read(i)).count()
                }),
                ..SightingFit::default()
            })
            .collect(),
        next_look: NextLook::ElsewhereToo,
    };
    let order = order(&seen);
    if order.is_empty() {
        fit.reasons.push(nothing(&seen));
        return fit;
    }
    let windows: Vec<WindowFit> = seen
        .iter_mut()
        .map(|s| std::mem::replace(&mut s.window, WindowFit::EMPTY))
        .collect();
    let table = Table {
        seen: &seen,
        windows: &windows,
        times: &times,
        clip,
        known,
    };
    table.decide(&order, &mut fit);
    fit
}

/// Fits one sighting and says what it is.
fn see<'a>(sighting: &'a Sighting, ticks: &[i64], times: &Times, known: &Known) -> Seen<'a> {
    let mut seen = Seen {
        kind: Kind::OtherLayout,
        looks: Looks::of(sighting, ticks),
        window: WindowFit::EMPTY,
        tally: Tally::default(),
        left_out: None,
        running: 0.0,
    };
    let Some(looks) = &mut seen.looks else {
        return seen;
    };
    seen.kind = Kind::Nothing;
    let paces = paces(looks.dial, known);
    seen.window = fit_window(looks, times, &paces, known.drop_frame);
    seen.tally = tally(looks, times, &seen.window);
    if let Some(place) = seen.tally.misread_place() {
        let mut fewer = looks.clone();
        fewer.blank(place);
        let window = fit_window(&mut fewer, times, &paces, known.drop_frame);
        let tally = tally(&fewer, times, &window);
        if tally.has_majority() {
            (*looks, seen.window, seen.tally) = (fewer, window, tally);
            seen.left_out = Some(place);
        }
    }
    let Some(best) = seen.window.scored.first() else {
        return seen;
    };
    let standing = window::standing_gain(looks);
    seen.running = best.gain - standing;
    if best.gain.max(standing) < WORTH_TELLING {
        return seen;
    }
    if seen.running < ENOUGH {
        seen.kind = if is_long(looks, times, &paces) {
            Kind::StandsStill
        } else {
            Kind::Doubtful
        };
        return seen;
    }
    if seen.tally.has_majority() || seen.tally.read == 0 {
        seen.kind = Kind::Runs;
        return seen;
    }
    if counts_down(looks, times, known, best.gain) {
        seen.kind = Kind::CountsDown;
    } else if 100 * seen.tally.agreeing >= HARDLY_ANY_PERCENT * seen.tally.read {
        seen.kind = Kind::Doubtful;
    }
    seen
}

fn tally(looks: &Looks, times: &Times, window: &WindowFit) -> Tally {
    let placed = window.scored.first().and_then(|best| {
        let counts = window::place(looks, times, best, window.reference_tick)?;
        Some((best.pace.form, counts))
    });
    placed.map_or_else(Tally::default, |(form, counts)| {
        Tally::of(looks, form, &counts)
    })
}

/// True if even the slowest clock, not slowed down, would have stepped twice,
/// and half a second has passed.
fn is_long(looks: &Looks, times: &Times, paces: &[Pace]) -> bool {
    let span_s = Ratio::from_integer(looks.span_ticks()) * times.tick_s;
    let slowest = paces.iter().map(|p| p.form.rate()).min();
    slowest.is_some_and(|rate| span_s * rate.ratio() >= Ratio::from_integer(2))
        && span_s >= Ratio::new(1, 2)
}

/// True if the looks fit better with time running backwards.
fn counts_down(looks: &Looks, times: &Times, known: &Known, upwards_gain: f64) -> bool {
    let known = Known {
        speed: Some(known.speed.unwrap_or(Ratio::ONE)),
        ..known.clone()
    };
    let mut backwards = looks.backwards();
    let window = fit_window(
        &mut backwards,
        times,
        &paces(looks.dial, &known),
        known.drop_frame,
    );
    let best = window.scored.first();
    best.is_some_and(|best| best.gain > upwards_gain + ENOUGH)
        && tally(&backwards, times, &window).has_majority()
}

/// Sightings to be joined, strongest first: those that run, or else the doubtful.
fn order(seen: &[Seen]) -> Vec<usize> {
    for kind in [Kind::Runs, Kind::Doubtful] {
        let mut order: Vec<usize> = (0..seen.len())
            .filter(|&i| seen[i].kind == kind && !seen[i].window.scored.is_empty())
            .collect();
        let gain = |i: &usize| seen[*i].window.scored[0].gain;
        order.sort_by(|a, b| gain(b).total_cmp(&gain(a)));
        if !order.is_empty() {
            return order;
        }
    }
    Vec::new()
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

/// Everything a decision looks at.
struct Table<'a> {
    seen: &'a [Seen<'a>],
    windows: &'a [WindowFit],
    times: &'a Times,
    clip: &'a ClipFacts,
    known: &'a Known,
}

impl Table<'_> {
    fn decide(&self, order: &[usize], fit: &mut ClockFit) {
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
        let best_score = joints[0].score;
        let survivors: Vec<&Joint> = joints
            .iter()
            .filter(|j| j.score >= best_score - ENOUGH)
            .collect();
        let (chosen, rate_known_by) = self.choose(&survivors);
        let start = self.hull(chosen, &survivors, rate_known_by, &mut doubts);
        let members: Vec<(usize, &Scored)> = chosen
            .chosen
            .iter()
            .enumerate()
            .filter_map(|(i, &at)| Some((i, &self.windows[i].scored[at?])))
            .collect();
        self.audit(&members, fit, &mut doubts);
        self.check_bounds(chosen, start, &mut doubts);
        self.clock(chosen, &joints, &survivors, rate_known_by, lead, fit);
        self.finish(chosen, start, fit);
        let agreeing: usize = fit.sightings.iter().map(|s| s.frames_agreeing).sum();
        let read: usize = members.iter().map(|&(i, _)| self.seen[i].tally.read).sum();
        if doubts.is_empty() {
            fit.verdict = Verdict::Sure;
            fit.reasons = vec![reasons::agreed(agreeing, read)];
            fit.next_look = NextLook::Enough;
        } else {
            fit.verdict = Verdict::Unsure;
            let here = doubts.iter().any(|d| reasons::is_cured_by_more_frames(d));
            fit.next_look = if here {
                NextLook::MoreHere { sighting: lead }
            } else {
                NextLook::ElsewhereToo
            };
            fit.reasons = doubts;
        }
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
            if joint.pace.form.rate().has_drop_frame() {
                joint.score += mark_odds(marks, joint.pace.form.drop_frame());
            }
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
        let same_rate = |a: &Joint, b: &Joint| {
            a.pace.form.rate() == b.pace.form.rate() && a.pace.speed == b.pace.speed
        };
        if self
            .known
            .rate
            .is_some_and(|rate| rate == best.pace.form.rate())
        {
            return (best, RateKnownBy::Given);
        }
        if survivors.iter().all(|j| same_rate(j, best)) {
            return (best, RateKnownBy::Measured);
        }
        let plays_at_speed = |j: &&&Joint| j.pace.speed == Ratio::ONE;
        let as_the_clip = self.clip.rate.and_then(|rate| {
            let mut of_speed = survivors.iter().filter(plays_at_speed);
            of_speed.find(|j| j.pace.form.rate() == rate)
        });
        let family = self.clip.rate.is_some_and(Rate::is_ntsc);
        let of_family = survivors.iter().find(|j| {
            j.pace.form.base() == best.pace.form.base()
                && j.pace.speed == best.pace.speed
                && j.pace.form.rate().is_ntsc() == family
        });
        let chosen = as_the_clip.or(of_family).copied().unwrap_or(best);
        (chosen, RateKnownBy::Assumed)
    }

    /// The chosen start, widened by every other that cannot be told from it; a
    /// doubt for each that differs by more than a frame.
    fn hull(
        &self,
        chosen: &Joint,
        survivors: &[&Joint],
        rate_known_by: RateKnownBy,
        doubts: &mut Vec<Note>,
    ) -> HalfOpen {
        let mut hull = chosen.start;
        let grain = self.grain(&chosen.pace) + self.slack(chosen);
        for other in survivors {
            let apart = apart(chosen, other);
            if apart.abs() <= grain {
                let moved = chosen.start.middle() + apart;
                let half = other.start.width() / Ratio::from_integer(2);
                hull.low = hull.low.min(moved - half);
                hull.high = hull.high.max(moved + half);
                continue;
            }
            let (a, b) = (&chosen.pace, &other.pace);
            let text = |j: &Joint| label_of(j.pace.form, j.start.middle());
            let doubt = if a.speed != b.speed || a.form.base() != b.form.base() {
                reasons::clock_unclear(&text(chosen), &text(other))
            } else if a.form.rate() != b.form.rate() {
                reasons::rate_unknown(a.form.rate(), b.form.rate(), &text(chosen), &text(other))
            } else if a.form.drop_frame() != b.form.drop_frame() {
                reasons::drop_frame_unknown(&text(chosen), &text(other))
            } else {
                reasons::start_unclear(&text(chosen), &text(other))
            };
            if !doubts.iter().any(|d| d.code == doubt.code) {
                doubts.push(doubt);
            }
        }
        let _ = rate_known_by;
        hull
    }

    /// The longer of one clip frame and one count, in counts. On clocks whose
    /// counts are long, one clip frame.
    fn grain(&self, pace: &Pace) -> Ratio {
        let frame_s = self
            .clip
            .rate
            .map_or(Ratio::new(1, 24), |r| r.ratio().recip());
        let frame = frame_s * pace.counts_per_second();
        match pace.form {
            ClockForm::Seconds | ClockForm::Tenths => frame,
            _ => frame.max(Ratio::ONE),
        }
    }

    fn slack(&self, joint: &Joint) -> Ratio {
        let starts = joint.chosen.iter().zip(self.windows);
        starts
            .filter_map(|(at, window)| at.map(|at| window.scored[at].slack()))
            .max()
            .unwrap_or(Ratio::ZERO)
    }

    /// Counts frames, and checks what could fail.
    fn audit(&self, members: &[(usize, &Scored)], fit: &mut ClockFit, doubts: &mut Vec<Note>) {
        let mut ballots = Group::ALL.map(Ballot::new);
        let (mut read, mut agreeing, mut distinct) = (0, 0, 0);
        let (mut gain, mut running) = (0.0, 0.0);
        let mut has_jumped = false;
        for &(index, start) in members {
            let seen = &self.seen[index];
            let Some(looks) = &seen.looks else { continue };
            let window = &self.windows[index];
            let Some(counts) = window::place(looks, self.times, start, window.reference_tick)
            else {
                continue;
            };
            for ballot in &mut ballots {
                ballot.add(looks, start.pace.form, &counts);
            }
            let tally = Tally::of(looks, start.pace.form, &counts);
            let sighting = &mut fit.sightings[index];
            sighting.frames_read = tally.read;
            sighting.frames_agreeing = tally.agreeing;
            sighting.displayed = vec![0; looks.readings_in_sighting];
            for (&source, &count) in looks.sources.iter().zip(&counts) {
                sighting.displayed[source] = count;
            }
            has_jumped |= self.jumped(looks, &tally);
            read += tally.read;
            agreeing += tally.agreeing;
            distinct = distinct.max(tally.distinct);
            gain += start.gain;
            running += seen.running;
            if let Some(place) = seen.left_out {
                fit.notes.push(reasons::place_left_out(looks.dial, place));
            }
        }
        if has_jumped {
            doubts.push(reasons::jumped());
        }
        if agreeing < FEW_FRAMES && gain < FEW_FRAMES_GAIN {
            doubts.push(reasons::few_frames(agreeing));
        } else if running < ENOUGH || (distinct < DISTINCT_COUNTS && agreeing >= FEW_FRAMES) {
            doubts.push(reasons::not_seen_running(distinct));
        }
        if 2 * agreeing <= read {
            doubts.push(reasons::few_agree(agreeing, read));
        }
        for ballot in &ballots {
            let lead = ballot.lead();
            if lead.nats < ENOUGH {
                doubts.push(reasons::group_in_doubt(&lead));
            }
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
        let again = self::tally(&odd, self.times, &window);
        let needed = 3 * tally.odd.len() / 4;
        again.agreeing >= needed.max(JUMP_FRAMES)
    }

    fn check_bounds(&self, chosen: &Joint, start: HalfOpen, doubts: &mut Vec<Note>) {
        let grain = self.grain(&chosen.pace);
        let limit = grain * Ratio::from_integer(2) + self.slack(chosen);
        if start.width() > limit {
            let frame_s = self
                .clip
                .rate
                .map_or(Ratio::new(1, 24), |r| r.ratio().recip());
            let frames = start.width() / (chosen.pace.counts_per_second() * frame_s);
            doubts.push(reasons::bounds_wide(frames));
        }
    }

    /// Says what clock it is, and how that is known.
    fn clock(
        &self,
        chosen: &Joint,
        joints: &[Joint],
        survivors: &[&Joint],
        rate_known_by: RateKnownBy,
        lead: usize,
        fit: &mut ClockFit,
    ) {
        let form = self.named(chosen, lead);
        let rate = form.rate();
        let (drop_frame, drop_frame_known_by) = match form {
            ClockForm::Frames { .. } if !rate.has_drop_frame() => {
                (Some(false), DropFrameKnownBy::Rate)
            }
            ClockForm::Frames { drop_frame, .. } => {
                let other = |j: &&Joint| {
                    j.pace.form.rate() == rate
                        && j.pace.speed == chosen.pace.speed
                        && j.pace.form.drop_frame() != drop_frame
                };
                let by_looks = |j: &Joint, skips: bool| {
                    let members = j.chosen.iter().zip(self.seen).filter(|(c, _)| c.is_some());
                    j.score - mark_odds(members.filter_map(|(_, s)| s.looks.as_ref()), skips)
                };
                let rival = joints.iter().find(other);
                if self.known.drop_frame.is_some() {
                    (Some(drop_frame), DropFrameKnownBy::Given)
                } else if survivors.iter().copied().any(|j| other(&j)) {
                    (None, DropFrameKnownBy::Unknown)
                } else if rival.is_some_and(|r| {
                    by_looks(r, !drop_frame) > by_looks(chosen, drop_frame) - ENOUGH
                }) {
                    (Some(drop_frame), DropFrameKnownBy::Mark)
                } else if drop_frame {
                    (Some(true), DropFrameKnownBy::SkippedLabel)
                } else {
                    (Some(false), DropFrameKnownBy::Label)
                }
            }
            _ => (None, DropFrameKnownBy::Rate),
        };
        let refresh = chosen
            .chosen
            .iter()
            .zip(self.windows)
            .filter_map(|(at, window)| window.scored[(*at)?].refresh)
            .max();
        let refresh_hz = refresh.and_then(|i| u32::try_from(REFRESHES[i].0).ok());
        if rate_known_by == RateKnownBy::Assumed {
            let mut rates: Vec<Rate> = survivors.iter().map(|j| j.pace.form.rate()).collect();
            rates.sort_unstable();
            rates.dedup();
            fit.notes
                .push(reasons::rate_assumed(rate, &rates, self.clip.rate));
        }
        if drop_frame_known_by == DropFrameKnownBy::Unknown {
            fit.notes.push(reasons::drop_frame_open());
        }
        if chosen.pace.speed != Ratio::ONE {
            fit.notes.push(reasons::conformed(chosen.pace.speed));
        }
        if let Some(hz) = refresh_hz {
            fit.notes.push(reasons::late_display(hz));
        }
        fit.clock = Some(FittedClock {
            form,
            rate_known_by,
            drop_frame,
            drop_frame_known_by,
            refresh_hz,
            speed: chosen.pace.speed,
            drift_ppm: chosen.drift_ppm,
        });
    }

    /// A hundred counts a second are frames behind a colon, hundredths elsewhere.
    fn named(&self, chosen: &Joint, lead: usize) -> ClockForm {
        let form = chosen.pace.form;
        if form != ClockForm::Hundredths {
            return form;
        }
        let looks = self.seen[lead].looks.as_ref();
        let marks = looks
            .into_iter()
            .flat_map(|l| (0..l.len()).map(|i| l.reading(i).last_mark));
        let (colon, dot) = marks.fold((0.0, 0.0), |sum, m| (sum.0 + m.colon, sum.1 + m.dot));
        if colon > dot {
            ClockForm::Frames {
                rate: Rate::F100,
                drop_frame: false,
            }
        } else {
            form
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

fn label_of(form: ClockForm, count: Ratio) -> String {
    form.text(i64::try_from(count.floor()).unwrap_or_default())
}

/// Counts from the label of `a` to that of `b`, as a person would compare them:
/// the parts of one second directly, else by the time of day that they show.
fn apart(a: &Joint, b: &Joint) -> Ratio {
    let split = |j: &Joint| {
        let middle = j.start.middle();
        let count = middle.floor();
        let label = j.pace.form.label(i64::try_from(count).unwrap_or_default());
        let part = Ratio::from_integer(label.part()) + middle - Ratio::from_integer(count);
        let seconds = i128::from(label.hours()) * 3600
            + i128::from(label.minutes()) * 60
            + i128::from(label.seconds());
        (seconds, part)
    };
    let ((seconds_a, part_a), (seconds_b, part_b)) = (split(a), split(b));
    if seconds_a == seconds_b {
        return part_b - part_a;
    }
    let base = |j: &Joint| Ratio::from_integer(j.pace.form.base());
    let seconds = (seconds_b - seconds_a + 43_200).rem_euclid(86_400) - 43_200;
    (Ratio::from_integer(seconds) + part_b / base(b) - part_a / base(a)) * base(a)
}

/// ln of the probability of the marks seen, for a clock that skips labels or not.
/// A clock prints one mark always, so all looks together are one fact; they are
/// worth as much as a few independent ones.
fn mark_odds<'l, 'r: 'l>(looks: impl Iterator<Item = &'l Looks<'r>>, skips: bool) -> f64 {
    const INDEPENDENT_LOOKS: f64 = 4.0;
    const FLOOR: f32 = 0.01;
    let (mut sum, mut n) = (0.0, 0.0f64);
    for looks in looks {
        for i in 0..looks.len() {
            let mark = looks.reading(i).last_mark;
            sum += f64::from(((mark.semicolon + FLOOR) / (mark.colon + FLOOR)).ln());
            n += 1.0;
        }
    }
    if n == 0.0 {
        return 0.0;
    }
    let odds = (sum / n * n.min(INDEPENDENT_LOOKS)).exp();
    let semicolon = odds / (1.0 + odds);
    let (of_semicolon, of_colon) = if skips {
        (1.0 - DROP_FRAME_COLON, DROP_FRAME_COLON)
    } else {
        (STRAY_SEMICOLON, 1.0 - STRAY_SEMICOLON)
    };
    (semicolon * of_semicolon + (1.0 - semicolon) * of_colon).ln()
}
