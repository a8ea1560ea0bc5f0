//! Chapters of one recording: whether they follow each other, how many frames are missing
//! between them, and the start of those that show no clock. Exact in time.

use super::chapters::Pattern;
use super::gaps::{Gap, Slate};
use super::moment::Moment;
use super::own_clock::SAME_MOMENT_S;
use crate::clip_base::{self, duration_s, exact_speed};
use crate::note::Note;
use crate::outcome::{Chapter, ClipOutcome, Clock, Corrected, GapKnownBy, Start, Verdict};
use crate::sidecar::corrections::UNUSABLE;
use crate::timecode::{HalfOpen, Ratio};
use std::ops::Range;

/// A clip's place in a recording, as its file name tells it.
pub(super) struct Link<'a> {
    /// As the camera counts.
    pub number: u32,
    /// What the clip is called in notes.
    pub name: &'a str,
    pub outcome: &'a ClipOutcome,
}

/// What being a chapter means for one clip.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Joined {
    /// `None` if the file turned out to be a take of its own.
    pub chapter: Option<Chapter>,
    pub inherited: Option<Inherited>,
    pub notes: Vec<Note>,
}

/// A start taken over from other chapters.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Inherited {
    pub start: Start,
    pub clock: Clock,
    /// Real seconds per clip second, as the slate told it.
    pub speed: f64,
    pub verdict: Verdict,
    pub reasons: Vec<Note>,
}

/// What the clips say about whether one follows the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Seen {
    Following,
    Nothing,
    Apart,
    /// One of them could not be read.
    Unread,
}

struct Joint {
    missing: u32,
    gap: Gap,
    seen: Seen,
}

impl Joint {
    fn is_broken(&self, pattern: Pattern) -> bool {
        self.missing > 0
            || matches!(self.seen, Seen::Apart | Seen::Unread)
            || (pattern == Pattern::Tail && self.seen != Seen::Following)
    }
}

/// Seconds that a camera may lose or double between two chapters, clip time.
const MOST_LOST_S: i64 = 60;
const MOST_DOUBLED_S: i64 = 1;
/// The same where only a common stem suggests chapters.
const MOST_LOST_TAIL_S: i64 = 2;
/// Seconds by which the header of a chapter may be off its expected moment.
const HEADER_OFF_S: i64 = 5;

fn joint(a: &Link<'_>, b: &Link<'_>, pattern: Pattern) -> Joint {
    let frame_s = frame_s(b.outcome);
    let duration = duration_s(a.outcome);
    let gap = match (Slate::of(a.outcome), Slate::of(b.outcome), duration) {
        (Some(before), Some(after), Some(duration)) => {
            Gap::of(before.after(duration), &before, &after, frame_s)
        }
        _ => Gap::Unseen,
    };
    let missing = b.number.saturating_sub(a.number).saturating_sub(1);
    let is_unread = [a, b].iter().any(|l| l.outcome.verdict == Verdict::Failed);
    let seen = if is_unread || duration.is_none() {
        Seen::Unread
    } else if !are_alike(a.outcome, b.outcome) {
        Seen::Apart
    } else {
        match (gap, frame_s) {
            (Gap::Measured { frames, .. }, Some(frame_s)) => {
                by_gap(frames, frames, frame_s, pattern)
            }
            (Gap::Between { least, most }, Some(frame_s)) => by_gap(least, most, frame_s, pattern),
            _ => by_header(a.outcome, b.outcome),
        }
    };
    Joint { missing, gap, seen }
}

fn frame_s(outcome: &ClipOutcome) -> Option<Ratio> {
    let rate = clip_base::exact_rate(outcome.clip.rate.as_deref()?)?;
    Some(rate.ratio().recip())
}

/// One camera writes all chapters of a recording alike.
fn are_alike(a: &ClipOutcome, b: &ClipOutcome) -> bool {
    let (a, b) = (&a.clip, &b.clip);
    (a.width_px, a.height_px, &a.rate, &a.codec, &a.camera)
        == (b.width_px, b.height_px, &b.rate, &b.codec, &b.camera)
}

fn by_gap(least: i64, most: i64, frame_s: Ratio, pattern: Pattern) -> Seen {
    let lost = match pattern {
        Pattern::Numbered => MOST_LOST_S,
        Pattern::Tail => MOST_LOST_TAIL_S,
    };
    let in_s = |frames: i64| Ratio::from_integer(frames) * frame_s;
    if in_s(most) < -Ratio::from_integer(MOST_DOUBLED_S) || in_s(least) > Ratio::from_integer(lost)
    {
        Seen::Apart
    } else {
        Seen::Following
    }
}

/// Headers of chapters tell the same moment, or moments as far apart as the chapters are
/// long, by the length of the first or, where the end is written, of the second.
fn by_header(a: &ClipOutcome, b: &ClipOutcome) -> Seen {
    let moment = |o: &ClipOutcome| Moment::parse(o.clip.creation_time.as_deref()?);
    let (Some(from), Some(to)) = (moment(a), moment(b)) else {
        return Seen::Nothing;
    };
    let apart = to.seconds() - from.seconds();
    let is_near = |s: Ratio, tolerance: i64| (apart - s).abs() <= Ratio::from_integer(tolerance);
    let follows = is_near(Ratio::ZERO, SAME_MOMENT_S)
        || [a, b].iter().any(|o| {
            let real_s = |d: Ratio| d * exact_speed(o.clip.speed);
            duration_s(o).is_some_and(|d| is_near(real_s(d), HEADER_OFF_S))
        });
    if follows {
        Seen::Following
    } else {
        Seen::Apart
    }
}

/// Which clips of a recording follow each other.
pub(super) struct Chains {
    joints: Vec<Joint>,
    /// For each clip the index, within the recording, of the first chapter that this one surely or
    /// presumably follows without a break in the chain.
    pub heads: Vec<usize>,
    /// The files turned out to be takes of their own.
    are_takes: bool,
}

impl Chains {
    /// `links` lie in the camera's order.
    pub fn of(pattern: Pattern, links: &[Link<'_>]) -> Self {
        let joints: Vec<Joint> = links
            .windows(2)
            .map(|pair| joint(&pair[0], &pair[1], pattern))
            .collect();
        // Names alone do not make a recording of clips that are plainly something else.
        let contradicts = |joint: &Joint| joint.seen == Seen::Apart && joint.missing == 0;
        let are_takes = match pattern {
            Pattern::Numbered => !joints.is_empty() && joints.iter().all(contradicts),
            Pattern::Tail => joints.iter().all(|joint| joint.is_broken(pattern)),
        };
        let mut heads: Vec<usize> = (0..links.len()).collect();
        for at in 1..links.len() {
            if !are_takes && !joints[at - 1].is_broken(pattern) {
                heads[at] = heads[at - 1];
            }
        }
        Self {
            joints,
            heads,
            are_takes,
        }
    }
}

/// Works out one recording. `links` lie in the camera's order.
pub(super) fn join(
    recording: &str,
    pattern: Pattern,
    first_number: u32,
    links: &[Link<'_>],
) -> Vec<Joined> {
    let chains = Chains::of(pattern, links);
    let (joints, heads) = (&chains.joints, &chains.heads);
    let mut all = vec![Joined::default(); links.len()];
    if chains.are_takes {
        return all;
    }
    for at in 0..links.len() {
        let chapters = match pattern {
            Pattern::Numbered => links.len(),
            Pattern::Tail => heads.iter().filter(|&&head| head == heads[at]).count(),
        };
        if pattern == Pattern::Tail && chapters == 1 {
            continue;
        }
        let before = at
            .checked_sub(1)
            .map(|i| (&links[i], &joints[i]))
            // What a stem has in common with a take of its own is no matter.
            .filter(|(_, joint)| pattern == Pattern::Numbered || !joint.is_broken(pattern));
        let (gap_frames, known_by) = match before.map(|(_, joint)| joint.gap) {
            None => (None, GapKnownBy::First),
            Some(Gap::Measured { frames, .. }) => (Some(frames), GapKnownBy::Measured),
            Some(Gap::Between { .. }) => (None, GapKnownBy::Unknown),
            Some(Gap::Unseen) if before.is_some_and(|(_, j)| j.is_broken(pattern)) => {
                (None, GapKnownBy::Unknown)
            }
            Some(Gap::Unseen) => (None, GapKnownBy::Assumed),
        };
        all[at].chapter = Some(Chapter {
            recording: recording.to_owned(),
            number: links[at].number,
            chapters: u32::try_from(chapters).unwrap_or(u32::MAX),
            gap_frames,
            gap_known_by: known_by,
        });
        let number = links[at].number;
        // As the camera counts, whatever lies between.
        let next = at
            .checked_sub(1)
            .map_or(first_number, |i| links[i].number + 1);
        if next < number {
            all[at].notes.push(missing(recording, next, number - 1));
        }
        let of_the_joint = before.map(|(earlier, joint)| notes(&links[at], earlier, joint));
        all[at].notes.extend(of_the_joint.into_iter().flatten());
        let outcome = links[at].outcome;
        // Who said something about the clip meant that, if it was of any use.
        let said = outcome.by_hand.as_ref();
        let is_open =
            outcome.start.is_none() && said.is_none_or(|said| said.what == Corrected::Unusable);
        if is_open && outcome.verdict != Verdict::Failed {
            all[at].inherited = inherit(links, heads, at);
        }
    }
    fill_proven_gaps(links, &mut all);
    all
}

/// Where slates on both sides prove that nothing is missing, nothing is missing at any joint
/// between.
fn fill_proven_gaps(links: &[Link<'_>], all: &mut [Joined]) {
    let proven = |joined: &Joined| {
        joined
            .inherited
            .as_ref()
            .is_some_and(|i| i.reasons.iter().any(|reason| reason.code == BETWEEN_SLATES))
    };
    for at in 1..links.len() {
        if !proven(&all[at]) && !proven(&all[at - 1]) {
            continue;
        }
        if let Some(chapter) = &mut all[at].chapter {
            chapter.gap_frames = Some(0);
            chapter.gap_known_by = GapKnownBy::Measured;
        }
    }
}

/// Code of the note on chapters of a recording that are not on the card.
pub(super) const CHAPTER_MISSING: &str = "chapter_missing";

/// Code of a start that slates on both sides hold in place.
const BETWEEN_SLATES: &str = "between_slates";

/// That chapters of these numbers are not on the card.
fn missing(recording: &str, from: u32, to: u32) -> Note {
    let which = if from == to {
        format!("chapter {from}")
    } else {
        format!("chapters {from} to {to}")
    };
    Note::new(
        CHAPTER_MISSING,
        format!("{which} of recording {recording} is not here; look for it on the card"),
    )
}

/// What there is to say of the joint to the chapter before.
fn notes(link: &Link<'_>, earlier: &Link<'_>, joint: &Joint) -> Vec<Note> {
    let mut notes = Vec::new();
    if joint.missing == 0 && joint.seen == Seen::Apart {
        notes.push(Note::new(
            "chapters_apart",
            format!(
                "by its name it follows {}, but what is in it does not",
                earlier.name
            ),
        ));
    }
    if joint.seen == Seen::Unread && link.outcome.verdict != Verdict::Failed {
        notes.push(Note::new(
            "chapter_unread",
            format!(
                "{}, the chapter before it, tells no length to go by",
                earlier.name
            ),
        ));
    }
    match joint.gap {
        Gap::Measured { frames, .. } if frames > 0 => notes.push(Note::new(
            "frames_missing",
            format!(
                "{} missing between {} and this chapter",
                frames_are(frames, frames),
                earlier.name
            ),
        )),
        Gap::Measured { frames, .. } if frames < 0 => notes.push(Note::new(
            "chapters_overlap",
            format!(
                "the last {} frames of {} are in this chapter again",
                -frames, earlier.name
            ),
        )),
        Gap::Between { least, most } => notes.push(Note::new(
            "gap_unclear",
            format!(
                "between {} and this chapter {} missing; the clocks filmed in them do not tell it \
                 more closely",
                earlier.name,
                frames_are(least, most)
            ),
        )),
        _ => {}
    }
    notes
}

/// The start of the chapter at `at` from the nearest slates of its chain.
fn inherit(links: &[Link<'_>], heads: &[usize], at: usize) -> Option<Inherited> {
    let chain = |i: usize| heads[i] == heads[at];
    let earlier = (0..at)
        .rev()
        .take_while(|&i| chain(i))
        .find_map(|i| Slate::of(links[i].outcome).map(|slate| (i, slate)));
    let later = (at + 1..links.len())
        .take_while(|&i| chain(i))
        .find_map(|i| Slate::of(links[i].outcome).map(|slate| (i, slate)));
    let length = |from: usize, to: usize| -> Option<Ratio> {
        (from..to).try_fold(Ratio::ZERO, |sum, i| {
            sum.checked_add(duration_s(links[i].outcome)?)
        })
    };
    let from_earlier = match &earlier {
        Some((i, slate)) => Some(slate.after(length(*i, at)?)),
        None => None,
    };
    let from_later = match &later {
        Some((i, slate)) => Some(slate.after(-length(at, *i)?)),
        None => None,
    };
    match (earlier, from_earlier, later, from_later) {
        (Some(a), Some(from_a), Some(b), Some(from_b)) => {
            let gap = Gap::of(
                from_a,
                &a.1,
                &Slate {
                    counts: from_b,
                    ..b.1.clone()
                },
                frame_s(links[at].outcome),
            );
            let ends = ((a.0, &a.1, from_a), (b.0, &b.1, from_b));
            let inherited = between(links, at, ends.0, ends.1, gap);
            Some(with_doubts(links, at, a.0 + 1..b.0, inherited))
        }
        (Some((i, slate)), Some(counts), ..) | (.., Some((i, slate)), Some(counts)) => {
            let inherited = from_one(links, at, i, &slate, counts);
            let way = if i < at { i + 1..at + 1 } else { at..i };
            Some(with_doubts(links, at, way, inherited))
        }
        _ => None,
    }
}

/// A start by way of chapters, the one at `at` among them, whose files may have something against
/// their frame 0 or their times. What a person meant to say of the chapter itself was something else.
fn with_doubts(
    links: &[Link<'_>],
    at: usize,
    way: Range<usize>,
    mut inherited: Inherited,
) -> Inherited {
    for i in way {
        for doubt in links[i].outcome.doubts_of_the_file() {
            inherited.verdict = Verdict::Unsure;
            inherited.reasons.push(match i == at {
                true => doubt.clone(),
                false => Note::new(
                    &*doubt.code,
                    format!("{}: {}", links[i].name, doubt.sentence),
                ),
            });
        }
    }
    let mut own = links[at].outcome.reasons.iter();
    if let Some(unusable) = own.find(|reason| reason.code == UNUSABLE) {
        inherited.verdict = Verdict::Unsure;
        inherited.reasons.insert(0, unusable.clone());
    }
    inherited
}

fn from_one(
    links: &[Link<'_>],
    at: usize,
    source: usize,
    slate: &Slate,
    counts: HalfOpen,
) -> Inherited {
    let away = at.abs_diff(source);
    let joints = if away == 1 {
        "the joint".to_owned()
    } else {
        format!("all {away} joints")
    };
    let reason = Note::new(
        "assumed_gapless",
        format!(
            "taken over from {}, as if no frame were missing at {joints} between; compare one \
             frame by eye, or film the clock again at the end",
            links[source].name
        ),
    );
    inherited(links, source, slate, counts, Verdict::Unsure, vec![reason])
}

fn between(
    links: &[Link<'_>],
    at: usize,
    (a, slate_a, from_a): (usize, &Slate, HalfOpen),
    (b, slate_b, from_b): (usize, &Slate, HalfOpen),
    gap: Gap,
) -> Inherited {
    let is_same_clock = slate_a.form == slate_b.form && slate_a.speed == slate_b.speed;
    // The nearer one; of two as near, the earlier.
    let nearest = if at - a <= b - at {
        (a, slate_a, from_a)
    } else {
        (b, slate_b, from_b)
    };
    let names = (links[a].name, links[b].name);
    let aligned = if is_same_clock {
        let day = Ratio::from_integer(slate_a.form.counts_per_day());
        from_b.nearest_to(from_a.middle(), day)
    } else {
        from_b
    };
    if is_same_clock && gap.is_none_for_certain() {
        let reason = Note::new(
            BETWEEN_SLATES,
            format!(
                "the clocks filmed in {} and {} leave no frame missing between them",
                names.0, names.1
            ),
        );
        // That of the nearer one is told with what is taken over from it.
        let doubt = source_unsure(&links[if nearest.0 == a { b } else { a }]);
        let is_sure = doubt.is_none() && links[nearest.0].outcome.verdict == Verdict::Sure;
        let verdict = if is_sure {
            Verdict::Sure
        } else {
            Verdict::Unsure
        };
        let both = from_a.intersect(aligned);
        let counts = if both.is_empty() { nearest.2 } else { both };
        let reasons = [reason].into_iter().chain(doubt).collect();
        return inherited(links, nearest.0, nearest.1, counts, verdict, reasons);
    }
    let (least, most) = match gap {
        Gap::Measured { frames, is_certain } if frames != 0 || is_certain => (frames, frames),
        Gap::Measured { .. } => (0, 1),
        Gap::Between { least, most } => (least, most),
        Gap::Unseen => return from_one(links, at, nearest.0, nearest.1, nearest.2),
    };
    if most < 0 {
        let reason = Note::new(
            "chapters_contradict",
            format!(
                "{} and {} are {} frames nearer on the clock than the chapters between them are \
                 long: was the clock set anew? Taken over from {}",
                names.0, names.1, -most, links[nearest.0].name
            ),
        );
        let (source, slate, counts) = nearest;
        return inherited(links, source, slate, counts, Verdict::Unsure, vec![reason]);
    }
    if !is_same_clock {
        return from_one(links, at, nearest.0, nearest.1, nearest.2);
    }
    let reason = if least > 0 {
        Note::new(
            "gap_between_slates",
            format!(
                "{} missing between {} and {}, before this chapter or after it: the start lies \
                 in the stated bounds; compare one frame by eye",
                frames_are(least, most),
                names.0,
                names.1
            ),
        )
    } else {
        Note::new(
            "gap_unproven",
            format!(
                "the clocks filmed in {} and {} leave room for up to {most} missing frames \
                 between them; compare one frame by eye",
                names.0, names.1
            ),
        )
    };
    let both = HalfOpen::new(from_a.low.min(aligned.low), from_a.high.max(aligned.high));
    inherited(links, a, slate_a, both, Verdict::Unsure, vec![reason])
}

/// `1 frame is`, `3 frames are`, `3 to 5 frames are`.
fn frames_are(least: i64, most: i64) -> String {
    match (least, most) {
        (1, 1) => "1 frame is".to_owned(),
        (n, m) if n == m => format!("{n} frames are"),
        (n, m) => format!("{n} to {m} frames are"),
    }
}

/// The doubt about a start that rests on that of this chapter.
fn source_unsure(source: &Link<'_>) -> Option<Note> {
    let of_it = source.outcome;
    let why = of_it.reasons.first().map_or("", |reason| &reason.sentence);
    let is_unsure = of_it.verdict != Verdict::Sure;
    is_unsure.then(|| {
        Note::new(
            "source_unsure",
            format!(
                "the start of {}, which this rests on, is unsure itself: {why}",
                source.name
            ),
        )
    })
}

fn inherited(
    links: &[Link<'_>],
    source: usize,
    slate: &Slate,
    counts: HalfOpen,
    verdict: Verdict,
    mut reasons: Vec<Note>,
) -> Inherited {
    let from = links[source].outcome;
    reasons.extend(source_unsure(&links[source]));
    let day = Ratio::from_integer(slate.form.counts_per_day());
    let midnight = Ratio::from_integer((counts.middle() / day).floor()) * day;
    let counts = counts.shift(-midnight);
    Inherited {
        start: Start {
            inherited_from: Some(from.clip.path.clone()),
            ..Start::of(slate.form, counts, slate.lag_s)
        },
        clock: from.clock.clone().expect("a slate has a clock"),
        speed: from.clip.speed,
        verdict,
        reasons,
    }
}
