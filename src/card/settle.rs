//! Drop-frame of clips that leave it open, from a clip of the same clock that proves it.
//! Pure.
//!
//! Most takes never pass a minute mark in view, so most leave it open. What one clip proves
//! holds for another only if the clock is the same; that cannot be proven, so it is asked
//! for in every way that can fail: nothing on the card says the opposite, the same camera
//! filmed both within half a day, and by that camera's own clock as much time passed between
//! them as by the filmed one.

use super::moment::MICROSECONDS;
use super::own_clock::{MOST_DRIFT_PPM, SAME_MOMENT_S};
use crate::clip_base;
use crate::note::Note;
use crate::outcome::{ClipOutcome, Clock, DropFrameKnownBy, Start, Verdict};
use crate::timecode::{ClockForm, HalfOpen, Ratio};

/// Code of the note on a clip whose drop-frame another one settles.
const CARRIED: &str = "drop_frame_carried";
/// Code of the card's note where some leave it open and the others do not agree.
const CONTRADICTS: &str = "drop_frame_contradicts";
/// Seconds between clips of one shoot. Clocks are set between shoots.
const ONE_SHOOT_S: i64 = 12 * 3600;

/// A clip as far as it matters here.
pub(super) struct Take<'a> {
    pub name: &'a str,
    /// Clips of one camera have one number.
    pub camera: usize,
    /// The camera's own clock, seconds.
    pub header_s: Option<Ratio>,
    /// Length in real seconds.
    pub length_s: Option<Ratio>,
    pub outcome: &'a ClipOutcome,
}

/// What was carried to one clip.
pub(super) struct Settled {
    /// Index of the clip.
    pub clip: usize,
    pub outcome: ClipOutcome,
}

/// The clips that are settled, and a remark on the card if clips that contradict each other
/// keep some from it.
pub(super) fn settle(takes: &[Take<'_>]) -> (Vec<Settled>, Option<Note>) {
    let open: Vec<usize> = (0..takes.len()).filter(|&at| is_open(&takes[at])).collect();
    let says = |skips: bool| {
        let found = takes.iter().find(|take| known(take) == Some(skips));
        found.map(|take| take.name)
    };
    let skips = match (open.first(), says(false), says(true)) {
        (None, ..) | (_, None, None) => return (Vec::new(), None),
        (Some(&first), Some(without), Some(with)) => {
            let note = Note::new(
                CONTRADICTS,
                format!(
                    "the clock in {with} counts drop-frame and that in {without} does not, so \
                     nothing is carried over to clips that leave it open, such as {}; say which with \
                     --corrections",
                    takes[first].name
                ),
            );
            return (Vec::new(), Some(note));
        }
        (_, _, with) => with.is_some(),
    };
    // Had its clock a semicolon, an open clip would most likely have shown one, too.
    if skips
        && takes
            .iter()
            .any(|take| known_by(take) == Some(DropFrameKnownBy::Mark))
    {
        return (Vec::new(), None);
    }
    let settled = open
        .into_iter()
        .filter_map(|clip| {
            let outcome = carry(takes, clip, skips)?;
            Some(Settled { clip, outcome })
        })
        .collect();
    (settled, None)
}

/// The clip's outcome as the nearest witness has it.
fn carry(takes: &[Take<'_>], clip: usize, skips: bool) -> Option<ClipOutcome> {
    let take = &takes[clip];
    let counts = clip_base::phi_bounds(take.outcome.start.as_ref()?)?;
    let rate = clip_base::exact_rate(&clock(take)?.rate)?;
    let form = ClockForm::frames(rate, skips).ok()?;
    let counts = counted_as(counts, ClockForm::frames(rate, false).ok()?, form)?;
    let seconds = seconds(form, counts);
    let header_s = take.header_s?;
    let mut nearest: Option<(Ratio, &Take<'_>)> = None;
    for witness in takes {
        let is_near = |other: Ratio| (other - header_s).abs() <= Ratio::from_integer(ONE_SHOOT_S);
        if witness.camera != take.camera
            || !is_witness(witness)
            || clock(witness).is_none_or(|other| other.rate != rate.to_string())
        {
            continue;
        }
        let Some(other_s) = witness.header_s.filter(|&other| is_near(other)) else {
            continue;
        };
        // One that does not go with it: a clock was set, and who knows how.
        if !passes_alike(take, seconds, witness, form)? {
            return None;
        }
        let apart_s = (other_s - header_s).abs();
        if nearest.as_ref().is_none_or(|(least, _)| apart_s < *least) {
            nearest = Some((apart_s, witness));
        }
    }
    let (_, witness) = nearest?;
    Some(settled(take.outcome, form, counts, witness.name))
}

/// True if as much time lies between the two by the filmed clock as by the camera's,
/// whichever end of a take its headers are written at.
fn passes_alike(
    take: &Take<'_>,
    start_s: HalfOpen,
    witness: &Take<'_>,
    form: ClockForm,
) -> Option<bool> {
    let counts = clip_base::phi_bounds(witness.outcome.start.as_ref()?)?;
    let witness_s = seconds(form, counts);
    let filmed_s = start_s.middle() - witness_s.middle();
    let own_s = take.header_s? - witness.header_s?;
    let apart_s = (filmed_s - own_s).wrapped(form.day_seconds());
    let allowed_s = Ratio::from_integer(SAME_MOMENT_S)
        + own_s.abs() * Ratio::new(MOST_DRIFT_PPM.into(), 1_000_000)
        + start_s.width()
        + witness_s.width();
    let later_by = take.length_s? - witness.length_s?;
    Some(
        [apart_s, apart_s + later_by]
            .iter()
            .any(|s| s.abs() <= allowed_s),
    )
}

/// Real seconds since midnight, as finely as a camera's clock is compared with.
fn seconds(form: ClockForm, counts: HalfOpen) -> HalfOpen {
    form.seconds_of(counts).outward(MICROSECONDS)
}

/// The same digits on a clock that counts as `to` does; `None` if there they could not be,
/// or if the bounds hold a label that is skipped, so that their width would change.
fn counted_as(counts: HalfOpen, from: ClockForm, to: ClockForm) -> Option<HalfOpen> {
    let shift = |count: Ratio| {
        let whole = i64::try_from(count.floor()).ok()?;
        Some(to.count(&from.label(whole)).ok()? - whole)
    };
    let all = [counts.low, counts.middle(), counts.high].map(shift);
    let first = all[0]?;
    all.iter()
        .all(|shift| *shift == Some(first))
        .then(|| counts.shift(Ratio::from_integer(first)))
}

fn settled(before: &ClipOutcome, form: ClockForm, counts: HalfOpen, witness: &str) -> ClipOutcome {
    let mut outcome = before.clone();
    if let (Some(start), Some(clock)) = (&mut outcome.start, &mut outcome.clock) {
        *start = Start {
            inherited_from: start.inherited_from.take(),
            ..Start::of(form, counts, clip_base::lag_s(start))
        };
        clock.form = form.pattern().into();
        clock.drop_frame = Some(form.drop_frame());
        clock.drop_frame_known_by = DropFrameKnownBy::AnotherClip;
    }
    outcome.notes.retain(|note| note.code != "drop_frame_open");
    outcome.notes.push(Note::new(
        CARRIED,
        format!(
            "nothing in this clip tells whether its clock counts drop-frame; taken to count {} it \
             as the one in {witness} does, which the same camera filmed in the same shoot",
            if form.drop_frame() { "with" } else { "without" },
        ),
    ));
    clip_base::fill(&mut outcome);
    outcome
}

fn clock<'a>(take: &Take<'a>) -> Option<&'a Clock> {
    let clock = take.outcome.clock.as_ref()?;
    let has_frames = clock.form.starts_with("HH:MM:SS:F") || clock.form.starts_with("HH:MM:SS;F");
    let has_drop_frame = clip_base::exact_rate(&clock.rate)?.has_drop_frame();
    (has_frames && has_drop_frame).then_some(clock)
}

/// Sure of its start, but not of drop-frame, and nobody said a word on it.
fn is_open(take: &Take<'_>) -> bool {
    take.outcome.verdict == Verdict::Sure
        && take.outcome.by_hand.is_none()
        && clock(take).is_some_and(|clock| clock.drop_frame.is_none())
}

/// How the clip's clock counts, if its rate has drop-frame and it is known. Unsure ones
/// count here: what they say may be right.
fn known(take: &Take<'_>) -> Option<bool> {
    clock(take)?.drop_frame
}

fn known_by(take: &Take<'_>) -> Option<DropFrameKnownBy> {
    Some(clock(take)?.drop_frame_known_by)
}

/// A mark is no witness: a clip that leaves it open showed a colon, or one cannot tell.
fn is_witness(take: &Take<'_>) -> bool {
    use DropFrameKnownBy::{Given, Label, SkippedLabel};
    take.outcome.verdict == Verdict::Sure
        && matches!(known_by(take), Some(SkippedLabel | Label | Given))
}
