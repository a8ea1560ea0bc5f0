//! One sighting, by itself: is it a clock, and does it run?

use super::Known;
use super::ballot::{Ballot, ENOUGH, Group};
use super::held::Held;
use super::lean::{Leans, Trust};
use super::looks::{Looks, Times};
use super::odd::fit_odd_pace;
use super::pace::{Pace, paces, slowest_speed};
use super::tally::Tally;
use super::window::{self, Scored, WindowFit, fit_window};
use crate::reading::Sighting;
use crate::timecode::{ClockForm, Ratio};

/// Nats that a start must gain over knowing nothing before it is one at all:
/// ln of the starts tried (about 2.6 million counts a day, a hundred paces, four
/// phases a count) is 21; the rest is [`ENOUGH`].
const WORTH_TELLING: f64 = 30.0;
/// Agreeing share of read frames, in percent, below which there is no clock.
const HARDLY_ANY_PERCENT: usize = 25;
/// Agreeing share of read frames, in percent, from which on each place of a clock counts.
const NEARLY_ALL_PERCENT: usize = 90;
/// Share of read frames, in percent, that must tell a last place before it counts.
const HARDLY_TOLD_PERCENT: usize = 25;
/// Agreeing frames below which a start is never sure.
pub const FEW_FRAMES: usize = 4;

/// Longest stretch that is fitted as one, in clip seconds. The usual drift makes
/// 1 ms of it, 1/40 of a count of 25 to the second.
const STRETCH_S: i128 = 30;
/// Looks this many clip seconds behind the first of a sighting, or more, are not fitted: a clock
/// shows each label once a day, and stamps further apart are damaged.
pub const DAY_S: i64 = 86_400;
/// Fewest looks of a stretch.
const LOOKS_OF_A_STRETCH: usize = 12;

/// What a sighting is, by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// The groups of digits are no clock's, or no reading has as many.
    OtherLayout,
    /// No start explains the digits.
    Nothing,
    StandsStill,
    /// It did not change for so long, and would have at the clip's own speed, but need not if the
    /// clip was slowed down.
    StoodFor(Ratio),
    CountsDown,
    /// Perhaps a clock: too little seen, or too few frames agree.
    Doubtful,
    /// A clock that runs, and most frames say so.
    Runs,
}

/// A sighting, or a stretch of a long one, with what it says by itself.
pub(super) struct Seen<'a> {
    /// Which sighting it is of.
    pub sighting: usize,
    pub kind: Kind,
    pub looks: Option<Looks<'a>>,
    pub window: WindowFit,
    pub tally: Tally,
    /// Place that was misread throughout and is left out.
    pub left_out: Option<usize>,
    /// Last places of the display that could hardly be read, and are not taken as counting.
    pub tail: usize,
    /// Nats over a clock that stands still.
    pub running: f64,
    pub trust: Trust,
    /// Digits of the label at which it stands still; empty if it does not.
    pub stands_at: Vec<u8>,
    /// Ticks from and to which it was held while the clock ran on; its looks there are left out.
    pub held: Vec<(i64, i64)>,
}

impl<'a> Seen<'a> {
    fn nothing(sighting: usize, kind: Kind, looks: Option<Looks<'a>>) -> Self {
        Self {
            sighting,
            kind,
            looks,
            window: WindowFit::EMPTY,
            tally: Tally::EMPTY,
            left_out: None,
            tail: 0,
            running: 0.0,
            trust: Trust::NONE,
            stands_at: Vec::new(),
            held: Vec::new(),
        }
    }

    /// True if a digit of the hours could be read in some look.
    pub fn tells_hours(&self) -> bool {
        let hours = self.looks.as_ref().map_or(0, |l| l.dial.hour_digits);
        let mut places = self.tally.places.iter().take(hours.into());
        places.any(|&(told, _)| told > 0)
    }

    /// True if it runs, no place was left out, and nearly all frames agree.
    fn is_steady(&self) -> bool {
        let Tally { read, agreeing, .. } = self.tally;
        self.kind == Kind::Runs && self.left_out.is_none() && are_nearly_all(agreeing, read)
    }

    /// True if it runs, and shows at `tick` what the clock does then, or a frame before or after.
    fn shows_in_time(&self, tick: i64, times: &Times) -> bool {
        let (Kind::Runs, Some(looks), Some(best)) =
            (self.kind, &self.looks, self.window.scored.first())
        else {
            return false;
        };
        let Some(look) = looks.ticks.iter().position(|&t| t == tick) else {
            return false;
        };
        let placed = window::place(looks, times, best, self.window.reference_tick);
        let frame_s = looks.frame_s(times);
        let frame = (frame_s * best.pace.counts_per_second()).ceil();
        let near = i64::try_from(frame).unwrap_or(1).max(1);
        placed.is_some_and(|placed| {
            (-near..=near).any(|off| placed.agreement_off(look, off).agrees())
        })
    }
}

/// Fits each stretch of a sighting and says what it is; nothing of one without a reading.
pub(super) fn see<'a>(
    sighting: usize,
    of: &'a Sighting,
    ticks: &[i64],
    times: &Times,
    known: &Known,
) -> Vec<Seen<'a>> {
    if of.readings.is_empty() {
        return Vec::new();
    }
    let Some(looks) = Looks::of(of, ticks) else {
        return vec![Seen::nothing(sighting, Kind::OtherLayout, None)];
    };
    let looks = within_a_day(looks, times);
    // Nothing is fitted to a last group that no frame tells: of any phase it says the same.
    let last = usize::from(looks.dial.last_digits);
    let (dark, looks) = match hardly_told(std::iter::once(&looks)) {
        untold if untold == last && last > 0 => (last, looks.without_tail(last)),
        _ => (0, looks),
    };
    let see = |looks: &Looks<'a>| -> Vec<Seen<'a>> {
        let stretches = stretches(looks, times);
        // Stretches that each measured a pace of their own would not join.
        let is_alone = stretches.len() == 1;
        stretches
            .into_iter()
            .map(|stretch| see_stretch(sighting, stretch, times, known, is_alone))
            .collect()
    };
    let (looks, mut seen) = without_held(&looks, times, see).unwrap_or_else(|| {
        let seen = see(&looks);
        (looks, seen)
    });
    let fewer = match unproven_tail(&seen, times) {
        0 => without_what_is_no_place(&looks, &seen, known, see).map(|fewer| (1, fewer)),
        tail => Some((tail, see(&looks.without_tail(tail)))),
    };
    let mut tail = dark;
    if let Some((more, mut fewer)) = fewer {
        fewer[0].held = std::mem::take(&mut seen[0].held);
        tail += more;
        seen = fewer;
    }
    for seen in &mut seen {
        seen.tail = tail;
    }
    seen
}

/// The looks without their last place, if it speaks against a clock that all others show at the speed
/// to be expected: a finger that holds the display at its right edge, read as a digit. What one place
/// more tells of a clock that has it gains something. At any other speed the first two of three digits,
/// seen in a few frames, may be the frames of a slower clock.
fn without_what_is_no_place<'a>(
    looks: &Looks<'a>,
    seen: &[Seen],
    known: &Known,
    see: impl Fn(&Looks<'a>) -> Vec<Seen<'a>>,
) -> Option<Vec<Seen<'a>>> {
    if looks.dial.last_digits < 2 || seen.iter().all(Seen::is_steady) {
        return None;
    }
    let fewer = see(&looks.without_tail(1));
    let gain = |seen: &[Seen]| -> f64 {
        let best = seen.iter().filter_map(|seen| seen.window.scored.first());
        best.map(|start| start.gain).sum()
    };
    let expected = known.expected_speed();
    let plays_as_expected = |seen: &Seen| {
        let best = seen.window.scored.first();
        best.is_some_and(|start| start.pace.speed == expected)
    };
    (fewer
        .iter()
        .all(|seen| seen.is_steady() && plays_as_expected(seen))
        && gain(&fewer) > gain(seen))
    .then_some(fewer)
}

/// The looks at a display that runs, and what they are without those at labels that are held, where
/// each of these came when the clock showed it. One that did not is no label that is held, but
/// another number, or a clock that was set.
fn without_held<'a>(
    looks: &Looks<'a>,
    times: &Times,
    see: impl Fn(&Looks<'a>) -> Vec<Seen<'a>>,
) -> Option<(Looks<'a>, Vec<Seen<'a>>)> {
    let Held { running, held } = Held::of(looks)?;
    let running = looks.subset(&running);
    let mut seen = see(&running);
    let comes_in_time = |&(first, _): &(usize, usize)| {
        seen.iter()
            .any(|seen| seen.shows_in_time(looks.ticks[first], times))
    };
    if !held.iter().all(comes_in_time) {
        return None;
    }
    let ticks = |&(first, last): &(usize, usize)| (looks.ticks[first], looks.ticks[last]);
    seen[0].held = held.iter().map(ticks).collect();
    Some((running, seen))
}

/// Last places that hardly any frame tells, where the clock could do without them: tenths
/// with one such place behind them look like hundredths. The tens of frames prove what is
/// counted even if the last digit cannot be read; one that goes round within a frame is no
/// riddle.
fn unproven_tail(seen: &[Seen], times: &Times) -> usize {
    let strongest = seen
        .iter()
        .filter_map(|seen| Some((seen.window.scored.first()?, seen.looks.as_ref()?)))
        .max_by(|a, b| a.0.gain.total_cmp(&b.0.gain));
    let Some((start, looks)) = strongest else {
        return 0;
    };
    let dial = looks.dial;
    let tail = hardly_told(seen.iter().filter_map(|seen| seen.looks.as_ref()));
    let frame_s = looks.frame_s(times);
    let needs_them = match start.pace.form {
        ClockForm::Hundredths | ClockForm::Thousandths => tail <= Blur::of(start, frame_s).places,
        _ => tail < usize::from(dial.last_digits),
    };
    if needs_them { 0 } else { tail }
}

/// Last places after the seconds that hardly any frame tells, of one dial.
fn hardly_told<'l, 'a: 'l>(all: impl Iterator<Item = &'l Looks<'a>> + Clone) -> usize {
    let Some(dial) = all.clone().next().map(|looks| looks.dial) else {
        return 0;
    };
    let frames = || {
        let read = |looks: &'l Looks<'a>| (0..looks.len()).filter(|&look| looks.is_read(look));
        all.clone()
            .flat_map(move |looks| read(looks).map(move |look| (looks, look)))
    };
    let read = frames().count();
    let told = |place: usize| {
        let tells =
            |(looks, look): &(&Looks, usize)| looks.place_against(*look, place, 0).is_some();
        frames().filter(tells).count()
    };
    let last = dial.places() - usize::from(dial.last_digits)..dial.places();
    let is_unread = |&place: &usize| 100 * told(place) < HARDLY_TOLD_PERCENT * read;
    last.rev().take_while(is_unread).count()
}

/// The looks less than a day after the first.
fn within_a_day<'a>(looks: Looks<'a>, times: &Times) -> Looks<'a> {
    let first = i128::from(looks.ticks[0]);
    let is_near = |&look: &usize| {
        let since = i128::from(looks.ticks[look]) - first;
        Ratio::from_integer(since) * times.tick_s < Ratio::from_integer(DAY_S)
    };
    let near: Vec<usize> = (0..looks.len()).filter(is_near).collect();
    if near.len() == looks.len() {
        looks
    } else {
        looks.subset(&near)
    }
}

/// Cuts a long sighting into stretches in which crystals do not drift apart by
/// anything that matters, if each holds enough looks to stand for itself.
fn stretches<'a>(looks: &Looks<'a>, times: &Times) -> Vec<Looks<'a>> {
    let span_s = Ratio::from_integer(looks.span_ticks()) * times.tick_s;
    let parts = usize::try_from((span_s / Ratio::from_integer(STRETCH_S)).ceil()).unwrap_or(1);
    if parts <= 1 {
        return vec![looks.clone()];
    }
    let first = looks.ticks[0];
    let part_of = |look: usize| {
        let since = i128::from(looks.ticks[look] - first) * parts as i128;
        (since / i128::from(looks.span_ticks() + 1)) as usize
    };
    let mut kept: Vec<Vec<usize>> = vec![Vec::new(); parts];
    for look in 0..looks.len() {
        kept[part_of(look)].push(look);
    }
    kept.retain(|part| !part.is_empty());
    if kept.iter().any(|part| part.len() < LOOKS_OF_A_STRETCH) {
        return vec![looks.clone()];
    }
    kept.iter().map(|part| looks.subset(part)).collect()
}

fn see_stretch<'a>(
    sighting: usize,
    looks: Looks<'a>,
    times: &Times,
    known: &Known,
    is_alone: bool,
) -> Seen<'a> {
    let mut seen = Seen::nothing(sighting, Kind::Nothing, Some(looks));
    let Some(looks) = &mut seen.looks else {
        return seen;
    };
    let paces = paces(looks.dial, known, times.clip_rate);
    seen.window = fit_window(looks, times, &paces, known.drop_frame);
    seen.tally = tally(looks, times, &seen.window);
    let again = is_alone.then(|| fit_odd_pace(looks, times, known, &seen.window));
    if let Some((again, window)) = again.flatten() {
        let tally = tally(&again, times, &window);
        if tally.has_majority() {
            (*looks, seen.window, seen.tally) = (again, window, tally);
        }
    }
    if let Some(place) = seen.tally.misread_place() {
        let mut fewer = looks.clone();
        fewer.blank(place);
        let window = fit_window(&mut fewer, times, &paces, known.drop_frame);
        let tally = tally(&fewer, times, &window);
        // Without the digit that steps, a clock that does anything would seem to stand still.
        let runs = window
            .scored
            .first()
            .is_some_and(|best| best.gain - window::standing(&fewer).gain >= ENOUGH);
        if tally.has_majority() && runs {
            (*looks, seen.window, seen.tally) = (fewer, window, tally);
            seen.left_out = Some(place);
        }
    }
    let Some(best) = seen.window.scored.first() else {
        return seen;
    };
    if let Some(placed) = window::place(looks, times, best, seen.window.reference_tick) {
        let mut leans = Leans::new();
        leans.add(&placed, Blur::of(best, looks.frame_s(times)));
        seen.trust = leans.trust();
        seen.window.ballots = Group::ALL
            .map(|group| Ballot::of(group, &placed, seen.trust))
            .into();
    }
    let standing = window::standing(looks);
    seen.running = best.gain - standing.gain;
    let is_little = best.gain.max(standing.gain) < WORTH_TELLING;
    if is_little && !(standing.is_agreed() && looks.len() < FEW_FRAMES) {
        return seen;
    }
    // Where a second was seen to change once, most frames fit a clock that stands or runs up.
    let is_steady = are_nearly_all(standing.agreeing, standing.read)
        || are_nearly_all(seen.tally.agreeing, seen.tally.read);
    if !is_steady && counts_down(looks, times, known, best.gain.max(standing.gain)) {
        seen.kind = Kind::CountsDown;
        return seen;
    }
    if seen.running < ENOUGH && standing.is_agreed() {
        let span_s = Ratio::from_integer(looks.span_ticks()) * times.tick_s;
        let slowest = known.speed.unwrap_or_else(slowest_speed);
        seen.kind = if would_have_stepped(span_s * slowest, &paces) {
            Kind::StandsStill
        } else if known.speed.is_none() && would_have_stepped(span_s, &paces) {
            Kind::StoodFor(span_s)
        } else {
            Kind::Doubtful
        };
        if seen.kind != Kind::Doubtful {
            seen.stands_at = standing.digits;
        }
        return seen;
    }
    let agree = seen.tally.has_majority() || seen.tally.read == 0;
    if agree && seen.running >= ENOUGH {
        seen.kind = Kind::Runs;
        return seen;
    }
    if 100 * seen.tally.agreeing >= HARDLY_ANY_PERCENT * seen.tally.read {
        seen.kind = Kind::Doubtful;
    }
    seen
}

fn are_nearly_all(agreeing: usize, read: usize) -> bool {
    100 * agreeing >= NEARLY_ALL_PERCENT * read
}

pub(super) fn tally(looks: &Looks, times: &Times, window: &WindowFit) -> Tally {
    let tally = window.scored.first().and_then(|best| {
        let placed = window::place(looks, times, best, window.reference_tick)?;
        let blur = Blur::of(best, looks.frame_s(times));
        Some(Tally::of(&placed, blur))
    });
    tally.unwrap_or(Tally::EMPTY)
}

/// Counts of the slowest clock, and seconds of its own, in which any clock must have stepped:
/// displays that are late are so by less than a fifth of a second's count, and panels and repeated
/// frames by less than 0.15 s.
const STILL_COUNTS: Ratio = Ratio::new(6, 5);
const STILL_S: Ratio = Ratio::new(3, 20);

/// True if even the slowest clock would have stepped while so many of its seconds passed.
fn would_have_stepped(span_s: Ratio, paces: &[Pace]) -> bool {
    let slowest = paces.iter().map(|p| p.form.rate()).min();
    slowest.is_some_and(|rate| span_s * rate.ratio() >= STILL_COUNTS) && span_s >= STILL_S
}

/// True if the looks fit better with time running backwards.
fn counts_down(looks: &Looks, times: &Times, known: &Known, upwards_gain: f64) -> bool {
    let known = Known {
        speed: Some(known.expected_speed()),
        ..known.clone()
    };
    let mut backwards = looks.backwards();
    let window = fit_window(
        &mut backwards,
        times,
        &paces(looks.dial, &known, None),
        known.drop_frame,
    );
    let best = window.scored.first();
    best.is_some_and(|best| best.gain > upwards_gain + ENOUGH)
        && tally(&backwards, times, &window).has_majority()
}

/// Sightings to be joined, strongest first: those that run, or else the
/// doubtful; frames before seconds, then those whose slow digits are all known.
pub(super) fn order(seen: &[Seen]) -> Vec<usize> {
    for kind in [Kind::Runs, Kind::Doubtful] {
        let mut order: Vec<usize> = (0..seen.len())
            .filter(|&i| seen[i].kind == kind && !seen[i].window.scored.is_empty())
            .collect();
        let rank = |i: &usize| {
            let window = &seen[*i].window;
            let looks = seen[*i].looks.as_ref().map_or(0, Looks::len);
            let unsettled = (window.ballots.iter()).filter(|b| !b.lead(looks).is_settled);
            (
                is_coarse(window.scored[0].pace.form),
                unsettled.count(),
                -window.scored[0].gain,
            )
        };
        order.sort_by(|a, b| {
            let (a, b) = (rank(a), rank(b));
            (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2))
        });
        if !order.is_empty() {
            return order;
        }
    }
    Vec::new()
}

/// What passes on a display in a frame, while the shutter may be open.
#[derive(Clone, Copy, Debug)]
pub(super) struct Blur {
    /// Last places that go round at least half way, and tell nothing.
    pub places: usize,
    /// Steps of the place before them that may be in the picture, to either side of its middle.
    pub steps: i64,
}

impl Blur {
    pub fn of(start: &Scored, frame_s: Ratio) -> Self {
        let pace = &start.pace;
        let frame = frame_s * pace.counts_per_second();
        let half_ways = std::iter::successors(Some(5), |half_way| Some(10 * half_way));
        let places = half_ways
            .take(pace.form.last_digits().into())
            .take_while(|&half_way| frame >= Ratio::from_integer(half_way))
            .count();
        let mut blur = Self { places, steps: 1 };
        // Open for a frame at the most, half of it to either side; a display that is late steps
        // by several counts at a time.
        let counts = frame / Ratio::from_integer(2) + start.slack();
        let steps = counts / Ratio::from_integer(blur.counts_per_step());
        blur.steps = i64::try_from(steps.ceil()).unwrap_or(i64::MAX).clamp(1, 5);
        blur
    }

    /// Counts to a step of the place before the blurred ones.
    pub const fn counts_per_step(self) -> i64 {
        10i64.pow(self.places as u32)
    }
}

/// True for clocks whose counts last several frames.
pub(super) const fn is_coarse(form: ClockForm) -> bool {
    matches!(form, ClockForm::Seconds | ClockForm::Tenths)
}
