//! Which clips of a card enter a timeline, and where they lie on the clock.

use crate::clip_base;
use crate::outcome::{CardClip, CardOutcome, ClipOutcome, Verdict};
use crate::timecode::{ClockForm, Rate, Ratio};
use std::collections::{BTreeMap, BTreeSet};

/// Which clips enter what editors read without looking: the sure ones, and unsure ones only
/// if asked for, marked as such. Estimates never do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Admit {
    pub unsure: bool,
}

impl Admit {
    pub fn lets_in(self, outcome: &ClipOutcome) -> bool {
        match outcome.verdict {
            Verdict::Sure => outcome.start.is_some(),
            Verdict::Unsure => self.unsure && outcome.start.is_some(),
            Verdict::None | Verdict::Failed => false,
        }
    }
}

/// A clip on the clock's time line.
pub(super) struct Placed<'a> {
    pub clip: &'a CardClip,
    /// The clip's own frame rate.
    pub rate: Rate,
    /// How the clip's own labels count; `None` if its rate has no timecode base.
    pub form: Option<ClockForm>,
    /// Frames since midnight in the clip's own base: what its timecode track would say.
    pub start_frame: i64,
    /// Length in frames at `rate`.
    pub frames: i64,
    /// Where the labelled frame begins: real seconds since midnight of the clock, on the first
    /// day of the shoot. A whole number of frames at `rate`, so that clips of one rate lie as
    /// their labels do.
    pub at_s: Ratio,
}

impl Placed<'_> {
    /// Clip seconds from the first frame to behind the last.
    pub fn length_s(&self) -> Ratio {
        Ratio::from_integer(self.frames) / self.rate.ratio()
    }
}

/// Why a clip is not on the time line.
pub(super) struct LeftOut<'a> {
    pub clip: &'a CardClip,
    pub why: String,
}

/// Clips in the order of the clock (those of one moment by their place on the card), and
/// those that have no place on it, in the order of the card.
pub(super) fn placed(card: &CardOutcome, admit: Admit) -> (Vec<Placed<'_>>, Vec<LeftOut<'_>>) {
    let (mut placed, mut left_out) = (Vec::new(), Vec::new());
    let drop_frame_clocks: BTreeSet<&str> = card
        .clips
        .iter()
        .filter(|clip| admit.lets_in(&clip.outcome))
        .filter_map(|clip| clip.outcome.clock.as_ref())
        .filter(|clock| clock.drop_frame == Some(true))
        .map(|clock| clock.rate.as_str())
        .collect();
    for clip in &card.clips {
        match place(clip, admit, &drop_frame_clocks) {
            Ok(one) => placed.push(one),
            Err(why) => left_out.push(LeftOut { clip, why }),
        }
    }
    if crosses_midnight(&placed) {
        join_days(&mut placed);
    }
    // Stable: clips of one moment keep the card's order.
    placed.sort_by_key(|one| one.at_s);
    (placed, left_out)
}

/// Clips that are let in and have no place on the time line all the same: name and why.
pub fn without_a_place(card: &CardOutcome, admit: Admit) -> Vec<(&str, String)> {
    let (_, left_out) = placed(card, admit);
    left_out
        .into_iter()
        .filter(|left| admit.lets_in(&left.clip.outcome))
        .map(|left| (&*left.clip.name, left.why))
        .collect()
}

fn place<'a>(
    clip: &'a CardClip,
    admit: Admit,
    drop_frame_clocks: &BTreeSet<&str>,
) -> Result<Placed<'a>, String> {
    let outcome = &clip.outcome;
    if !admit.lets_in(outcome) {
        let because = outcome.reasons.first();
        let because = because.map_or(String::new(), |reason| format!(": {}", reason.sentence));
        return Err(match outcome.verdict {
            Verdict::Sure | Verdict::Unsure => format!("unsure{because}"),
            Verdict::None => format!("no start{because}"),
            Verdict::Failed => format!("not looked at{because}"),
        });
    }
    if let Some(why) = clip_base::why_no_place(outcome) {
        return Err(why.into());
    }
    // Taken for one without drop-frame, it would lie half a minute and more from its
    // neighbours.
    let clock = outcome.clock.as_ref();
    if clock.is_some_and(|c| clip_base::is_open(c) && drop_frame_clocks.contains(&*c.rate)) {
        return Err(
            "other clips' clocks of this rate count drop-frame, and nothing tells whether this \
             one does; say which for this clip with --corrections or, if it holds for all, with \
             --drop-frame"
                .into(),
        );
    }
    let seconds = clip_base::seconds_of_day(outcome).ok_or("its start has no exact bounds")?;
    let rate = outcome.clip.rate.as_deref().and_then(clip_base::exact_rate);
    let rate = rate.ok_or("the clip has no frame rate")?;
    let frames = length(outcome, rate).ok_or("the clip's length is not known")?;
    let whole = seconds.checked_mul(rate.ratio());
    let whole = whole.ok_or("its start is out of range")?.floor();
    let based = outcome.start.as_ref().and_then(|s| s.in_clip_base.as_ref());
    let form = based.and_then(|based| ClockForm::frames(rate, based.drop_frame).ok());
    let whole = i64::try_from(whole).map_err(|_| "its start is out of range")?;
    Ok(Placed {
        clip,
        rate,
        form,
        start_frame: based.map_or(whole, |based| based.count),
        frames,
        at_s: Ratio::from_integer(whole) / rate.ratio(),
    })
}

/// A clip is no longer than this, in seconds: a year. What claims more would leave no room to count
/// frames beside it.
const LONGEST_S: i64 = 366 * 86_400;

/// Frames at `rate`, above zero. Of a clip with a variable rate those that its length makes
/// at the nominal rate, since that is how an editing program conforms it.
fn length(outcome: &ClipOutcome, rate: Rate) -> Option<i64> {
    let counted = outcome.clip.frames.filter(|_| !outcome.clip.variable_rate);
    let frames = match counted {
        Some(frames) => i64::try_from(frames).ok()?,
        None => {
            let text = outcome.clip.exact_duration_seconds.as_ref()?;
            let duration_s: Ratio = text.parse().ok()?;
            i64::try_from(duration_s.checked_mul(rate.ratio())?.round()).ok()?
        }
    };
    let length_s = Ratio::from_integer(frames) / rate.ratio();
    let is_sane = frames > 0 && length_s <= Ratio::from_integer(LONGEST_S);
    is_sane.then_some(frames)
}

/// Half a day, in seconds: a clock that steps back by more has passed midnight.
const HALF_DAY_S: i64 = 43_200;

/// True if the shoot ran through midnight: a clip was rolling at midnight, or
/// within one camera a later clip (by its place on the card, which cameras number
/// as they record: common practice, no source) shows a time more than half a day earlier.
fn crosses_midnight(placed: &[Placed<'_>]) -> bool {
    let rolls_through = placed
        .iter()
        .any(|one| one.at_s + one.length_s() > day_of(one));
    let half_day = Ratio::from_integer(HALF_DAY_S);
    let mut steps = steps_of_cameras(placed).into_iter();
    rolls_through || steps.any(|(earlier, later)| earlier - later > half_day)
}

/// Real seconds in a day of the clip's clock.
fn day_of(one: &Placed<'_>) -> Ratio {
    let clock = one.clip.outcome.clock.as_ref();
    let form = clock.and_then(clip_base::clock_form);
    form.unwrap_or(ClockForm::Seconds).day_seconds()
}

/// Moves clips to the next day: those before the pause of the dial that leaves the fewest clips
/// before one which their camera recorded earlier; of several such pauses, the longest.
fn join_days(placed: &mut [Placed<'_>]) {
    let mut moments: Vec<(Ratio, Ratio)> = placed
        .iter()
        .map(|one| (one.at_s, one.at_s + one.length_s()))
        .collect();
    moments.sort_unstable();
    let (Some(first), Some(last)) = (
        moments.first().copied(),
        moments.iter().map(|&(_, until)| until).max(),
    ) else {
        return;
    };
    let steps = steps_of_cameras(placed);
    let turned = |from: Ratio| {
        let is_turned = |&&(earlier, later): &&(Ratio, Ratio)| {
            // The one that is moved comes behind the one that stays.
            match (earlier < from, later < from) {
                (true, false) => true,
                (false, true) => false,
                _ => earlier > later,
            }
        };
        steps.iter().filter(is_turned).count()
    };
    // The pause through midnight: from there on, the day stays as it is.
    let day_s = Ratio::from_integer(2 * HALF_DAY_S);
    let mut pauses = vec![(first.0 + day_s - last, first.0)];
    let mut busy_until = first.1;
    for &(from, until) in &moments[1..] {
        if from > busy_until {
            pauses.push((from - busy_until, from));
        }
        busy_until = busy_until.max(until);
    }
    let best = pauses
        .into_iter()
        .min_by_key(|&(pause, from)| (turned(from), std::cmp::Reverse(pause)));
    let first_day_from = best.map_or(first.0, |(_, from)| from);
    for one in placed {
        if one.at_s < first_day_from {
            // Whole frames, so that the clip stays on its own grid.
            let day = (day_of(one) * one.rate.ratio()).round();
            one.at_s = one.at_s + Ratio::from_integer(day) / one.rate.ratio();
        }
    }
}

/// The times of every two clips that one camera recorded one after the other.
fn steps_of_cameras(placed: &[Placed<'_>]) -> Vec<(Ratio, Ratio)> {
    let mut last_of: BTreeMap<usize, Ratio> = BTreeMap::new();
    placed
        .iter()
        .filter_map(|one| {
            let earlier = last_of.insert(one.clip.camera, one.at_s)?;
            Some((earlier, one.at_s))
        })
        .collect()
}
