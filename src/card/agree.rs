//! What the clips of a card say about each other: chapters, the camera's own clock, takes
//! that cannot both be true. Pure: from measured outcomes to final ones, whatever order
//! they come in.

mod clocks;

use self::clocks::{Measured, one_or_two, split_note};
use super::cameras::{self, Group};
use super::chapters::{self, Recording};
use super::given::doubt_given_rate;
use super::joints::{self, Chains, Link};
use super::moment::{MICROSECONDS, Moment};
use super::names;
use super::own_clock::SAME_MOMENT_S;
use super::settle;
use super::stamps::doubt_lone_seconds;
use super::words::span;
use crate::clip_base::{self, duration_s, exact_speed};
use crate::note::Note;
use crate::outcome::{Camera, ClipOutcome};
use crate::timecode::{HalfOpen, Ratio};
use std::path::Path;

/// A clip as it was measured, and as corrected by hand.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Member {
    pub card: usize,
    /// Below its folder, as text.
    pub path: String,
    /// What it is called in the results.
    pub name: String,
    pub outcome: ClipOutcome,
}

/// The clips as they lay, each with the index of its camera.
#[derive(Debug, PartialEq)]
pub(super) struct Agreed {
    pub clips: Vec<(ClipOutcome, usize)>,
    pub cameras: Vec<Camera>,
    /// Remarks about the card as a whole.
    pub notes: Vec<Note>,
}

/// Seconds by which takes of one camera may seem to overlap.
const OVERLAP_S: Ratio = Ratio::new(1, 2);
/// Seconds between the headers of takes of different days.
const OTHER_DAY_S: i64 = 12 * 3600;

/// Compares the clips. `folder_names` are what the cards are called.
pub(super) fn agree(folder_names: &[String], members: Vec<Member>) -> Agreed {
    // One order for all that follows, whatever order the clips come in.
    let mut order: Vec<usize> = (0..members.len()).collect();
    order.sort_by(|&a, &b| {
        let (a, b) = (&members[a], &members[b]);
        a.card
            .cmp(&b.card)
            .then_with(|| names::natural(Path::new(&a.path), Path::new(&b.path)))
    });
    let sorted: Vec<&Member> = order.iter().map(|&i| &members[i]).collect();
    let mut card = Card::new(&sorted, folder_names);
    let names: Vec<&str> = sorted.iter().map(|member| &*member.name).collect();
    doubt_given_rate(&mut card.outcomes, &names);
    doubt_lone_seconds(&mut card.outcomes, &card.camera_of, &names);
    let open = card.settle_drop_frame();
    let recordings = card.recordings();
    for recording in &recordings {
        card.chain(recording);
    }
    card.pool_cameras();
    let clocks = card.compare_with_own_clocks();
    // Last, since what is doubted by now is doubted in what is taken over from it.
    for recording in &recordings {
        card.join(recording);
    }
    card.estimate(&clocks);
    card.find_overlaps();
    let mut notes = card.compare_cards(&clocks);
    notes.extend(open);
    let cameras = card.cameras(&clocks);
    let mut clips: Vec<Option<(ClipOutcome, usize)>> = vec![None; order.len()];
    for ((&at, outcome), camera) in order.iter().zip(card.outcomes).zip(card.camera_of) {
        clips[at] = Some((outcome, camera));
    }
    Agreed {
        clips: clips
            .into_iter()
            .map(|c| c.expect("each has its place"))
            .collect(),
        cameras,
        notes,
    }
}

/// A clip's place in a chain of chapters that follow each other.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// Index of the chain's first clip.
    head: usize,
    /// Clip seconds from its frame 0 to that of this clip; `None` if not known.
    after_s: Option<Ratio>,
}

struct Card<'a> {
    members: &'a [&'a Member],
    outcomes: Vec<ClipOutcome>,
    groups: Vec<Group>,
    camera_of: Vec<usize>,
    /// For each clip that is not the first of its chain, or whose header may be another chapter's.
    places: Vec<Option<Place>>,
}

impl<'a> Card<'a> {
    fn new(members: &'a [&'a Member], folder_names: &[String]) -> Self {
        let (groups, camera_of) = cameras::group(members, folder_names);
        Self {
            members,
            outcomes: members.iter().map(|m| m.outcome.clone()).collect(),
            groups,
            camera_of,
            places: vec![None; members.len()],
        }
    }

    /// Carries over what one clip proves of the clock; a remark if clips contradict each other.
    fn settle_drop_frame(&mut self) -> Option<Note> {
        let camera_of = |clip: usize| {
            let camera = self.camera_of[clip];
            let Some(identity) = &self.groups[camera].identity else {
                return camera;
            };
            let is_same = |group: &Group| group.identity.as_ref() == Some(identity);
            self.groups.iter().position(is_same).unwrap_or(camera)
        };
        let takes: Vec<settle::Take<'_>> = (0..self.members.len())
            .map(|clip| settle::Take {
                name: &self.members[clip].name,
                camera: camera_of(clip),
                header_s: self.header_s(clip),
                length_s: self.real_length_s(clip),
                outcome: &self.outcomes[clip],
            })
            .collect();
        let (settled, note) = settle::settle(&takes);
        for one in settled {
            self.outcomes[one.clip] = one.outcome;
        }
        note
    }

    /// Slates of one card measure the clock of a camera for its clips on the other, too.
    fn pool_cameras(&mut self) {
        let mut groups = std::mem::take(&mut self.groups);
        let mut camera_of = self.camera_of.clone();
        cameras::pool(&mut groups, &mut camera_of, |same| {
            let clocks: Vec<Measured> = same.iter().filter_map(|&one| self.measure(one)).collect();
            let mut later = clocks.iter().skip(1);
            later.all(|clock| self.is_one_clock(&clocks[0], clock))
        });
        (self.groups, self.camera_of) = (groups, camera_of);
    }

    fn recordings(&self) -> Vec<Recording> {
        let files: Vec<(usize, &str)> = self.members.iter().map(|m| (m.card, &*m.path)).collect();
        chapters::recordings(&files)
    }

    fn links(&self, recording: &Recording) -> Vec<Link<'_>> {
        let chapters = recording.chapters.iter();
        chapters
            .map(|&(number, index)| Link {
                number,
                name: &self.members[index].name,
                outcome: &self.outcomes[index],
            })
            .collect()
    }

    /// True if a chapter behind a missing one, by its header, may have begun when the recording did.
    fn header_may_be_of_the_first(&self, recording: &Recording, at: usize) -> bool {
        let [(first_number, first), (number, index)] =
            [recording.chapters[0], recording.chapters[at]];
        let headers = self.header_s(first).zip(self.header_s(index));
        let is_own = first_number == recording.first_number
            && headers.is_some_and(|(first, own)| {
                (own - first).abs() > Ratio::from_integer(SAME_MOMENT_S)
            });
        number > recording.first_number && !is_own
    }

    /// Notes which clips of a recording follow each other.
    fn chain(&mut self, recording: &Recording) {
        let chains = Chains::of(recording.pattern, &self.links(recording));
        let index_of = |at: usize| recording.chapters[at].1;
        for (at, head) in chains.heads.into_iter().enumerate() {
            let index = index_of(at);
            if head != at {
                self.places[index] = Some(Place {
                    head: index_of(head),
                    after_s: (head..at).try_fold(Ratio::ZERO, |sum, i| {
                        Some(sum + duration_s(&self.members[index_of(i)].outcome)?)
                    }),
                });
            } else if self.header_may_be_of_the_first(recording, at) {
                self.places[index] = Some(Place {
                    head: index,
                    after_s: None,
                });
            }
        }
    }

    fn join(&mut self, recording: &Recording) {
        let all = joints::join(
            &recording.name,
            recording.pattern,
            recording.first_number,
            &self.links(recording),
        );
        for (joined, &(_, index)) in all.into_iter().zip(&recording.chapters) {
            let outcome = &mut self.outcomes[index];
            outcome.chapter = joined.chapter;
            outcome.notes.extend(joined.notes);
            if let Some(inherited) = joined.inherited {
                outcome.verdict = inherited.verdict;
                // Why the clip itself gave none is still worth knowing.
                let own = std::mem::replace(&mut outcome.reasons, inherited.reasons);
                let is_new = |note: &Note| !outcome.reasons.contains(note);
                outcome.notes.extend(own.into_iter().filter(is_new));
                outcome.start = Some(inherited.start);
                outcome.clock = Some(inherited.clock);
                outcome.clip.speed = inherited.speed;
                clip_base::fill(outcome);
            }
        }
    }

    fn header_s(&self, clip: usize) -> Option<Ratio> {
        let text = self.outcomes[clip].clip.creation_time.as_deref()?;
        Some(Moment::parse(text)?.seconds())
    }

    fn real_length_s(&self, clip: usize) -> Option<Ratio> {
        Some(self.real_s(clip, duration_s(&self.outcomes[clip])?))
    }

    /// Real seconds that pass in `clip_s` seconds of the clip, in whole microseconds.
    fn real_s(&self, clip: usize, clip_s: Ratio) -> Ratio {
        let real_s = clip_s * exact_speed(self.outcomes[clip].clip.speed);
        let parts = real_s * Ratio::from_integer(MICROSECONDS);
        Ratio::new(parts.round(), MICROSECONDS.into())
    }

    /// One camera cannot film two takes at once.
    fn find_overlaps(&mut self) {
        for camera in 0..self.groups.len() {
            let mut takes: Vec<(HalfOpen, Ratio, usize)> = (0..self.members.len())
                .filter(|&clip| self.camera_of[clip] == camera)
                .filter_map(|clip| {
                    let outcome = &self.outcomes[clip];
                    let form = clip_base::clock_form(outcome.clock.as_ref()?)?;
                    let counts = clip_base::phi_bounds(outcome.start.as_ref()?)?;
                    let start = form.seconds_of(counts).outward(MICROSECONDS);
                    // What runs past midnight may meet what began behind it.
                    let tomorrow = start.shift(form.day_seconds());
                    let length_s = self.real_length_s(clip)?;
                    Some([(start, length_s, clip), (tomorrow, length_s, clip)])
                })
                .flatten()
                .collect();
            takes.sort_by_key(|(start, _, clip)| (start.low, start.high, *clip));
            let mut told = Vec::new();
            let mut ends_last: Option<(HalfOpen, Ratio, usize)> = None;
            for &take in &takes {
                if let Some(before) = ends_last.filter(|before| before.2 != take.2) {
                    // What surely overlaps, whatever the bounds.
                    let shared = before.0.low + before.1 - take.0.high;
                    if shared.min(take.1) > OVERLAP_S && !self.are_of_other_days(before.2, take.2) {
                        told.push((before.2, take.2, shared.min(take.1)));
                    }
                }
                let ends_later = |b: &(HalfOpen, Ratio, usize)| take.0.low + take.1 > b.0.low + b.1;
                if ends_last.as_ref().is_none_or(ends_later) {
                    ends_last = Some(take);
                }
            }
            for (a, b, shared) in told {
                for (clip, other) in [(a, b), (b, a)] {
                    let name = self.members[other].name.clone();
                    let notes = &mut self.outcomes[clip].notes;
                    if notes.iter().any(|note| note.code == "takes_overlap") {
                        continue;
                    }
                    notes.push(Note::new(
                        "takes_overlap",
                        format!(
                            "by their starts this clip and {name} share {}, which one camera \
                             cannot film: two cameras, a copy, or a clock that was set anew?",
                            span(shared)
                        ),
                    ));
                }
            }
        }
    }

    fn are_of_other_days(&self, a: usize, b: usize) -> bool {
        match (self.header_s(a), self.header_s(b)) {
            (Some(a), Some(b)) => (a - b).abs() > Ratio::from_integer(OTHER_DAY_S),
            _ => false,
        }
    }

    /// Cameras of one name on two cards: one camera, or two of a kind?
    fn compare_cards(&self, clocks: &[Option<Measured>]) -> Vec<Note> {
        let mut notes = Vec::new();
        for (a, group) in self.groups.iter().enumerate() {
            let Some(name) = &group.container_name else {
                continue;
            };
            for (b, other) in self.groups.iter().enumerate().skip(a + 1) {
                let is_known_apart = group.identity.is_some() && other.identity.is_some();
                if other.card == group.card
                    || is_known_apart
                    || other.container_name.as_ref() != Some(name)
                {
                    continue;
                }
                let which = format!(
                    "{name} shot clips on card {} and on card {}",
                    group.card + 1,
                    other.card + 1
                );
                notes.push(one_or_two(&which, [&clocks[a], &clocks[b]]));
            }
        }
        notes
    }

    fn cameras(&self, clocks: &[Option<Measured>]) -> Vec<Camera> {
        self.groups
            .iter()
            .zip(clocks)
            .map(|(group, measured)| Camera {
                name: group.name.clone(),
                clock_offset_seconds: measured.as_ref().map(|m| m.own.offset_s().to_f64()),
                clock_drift_ppm: measured
                    .as_ref()
                    .and_then(|m| m.own.gain_ppm())
                    .map(Ratio::to_f64),
                notes: measured
                    .iter()
                    .flat_map(|m| [self.zone_note(m), split_note(m)])
                    .flatten()
                    .chain(group.pooled.clone())
                    .collect(),
            })
            .collect()
    }
}
