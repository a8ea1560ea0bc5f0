//! What is ready, what needs an eye, what can't be helped; and in which order it is told.

use super::place::Places;
use crate::outcome::{CardOutcome, ClipOutcome, Corrected, Verdict};

/// The three piles on an editor's desk, the most urgent first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pile {
    Eye,
    NoStart,
    Ready,
}

impl Pile {
    pub const ALL: [Self; 3] = [Self::Eye, Self::NoStart, Self::Ready];

    pub fn of(outcome: &ClipOutcome) -> Self {
        match (outcome.verdict, &outcome.start) {
            (Verdict::Sure, Some(_)) => Self::Ready,
            // Sure of nothing would be a fault of ours: an eye should see it.
            (Verdict::Sure, None) | (Verdict::Unsure, _) => Self::Eye,
            (Verdict::None | Verdict::Failed, _) => Self::NoStart,
        }
    }

    /// Name in the style sheet, the script and links.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Eye => "eye",
            Self::NoStart => "nostart",
            Self::Ready => "ready",
        }
    }

    pub const fn title(self) -> &'static str {
        match self {
            Self::Eye => "Needs an eye",
            Self::NoStart => "No start",
            Self::Ready => "Ready",
        }
    }

    /// What to make of it.
    pub const fn advice(self) -> &'static str {
        match self {
            Self::Eye => {
                "A start is given, and a reason to look before it is used. Where there is a picture \
                 of the display, compare it with the digits beside it."
            }
            Self::NoStart => {
                "Nothing on this card gives these clips a start of their own. An estimate says \
                 where a clip probably lies; it is never a start."
            }
            Self::Ready => "These starts may be used unseen.",
        }
    }
}

/// What is said of one clip in two or three words.
pub fn mark(outcome: &ClipOutcome) -> &'static str {
    let said = outcome.by_hand.as_ref().map(|by_hand| by_hand.what);
    let is_inherited = outcome
        .start
        .as_ref()
        .is_some_and(|start| start.inherited_from.is_some());
    match (Pile::of(outcome), outcome.verdict) {
        (Pile::Ready, _) if said == Some(Corrected::Set) => "Ready, set by hand",
        (Pile::Ready, _) if is_inherited => "Ready, by another chapter",
        (Pile::Ready, _) => "Ready",
        (Pile::Eye, _) if is_inherited => "Needs an eye, by another chapter",
        (Pile::Eye, _) => "Needs an eye",
        (Pile::NoStart, _) if outcome.was_left_out() => "Not read yet",
        (Pile::NoStart, Verdict::Failed) => "Could not be read",
        (Pile::NoStart, _) if said == Some(Corrected::Rejected) => "Rejected by hand",
        (Pile::NoStart, _) if outcome.estimate.is_some() => "No running clock, estimate only",
        (Pile::NoStart, _) => "No running clock",
    }
}

/// Indices of the clips of one pile: in clock order, then those without a place, by their
/// order on the card.
pub fn pile(card: &CardOutcome, places: &Places, pile: Pile) -> Vec<usize> {
    let mut indices: Vec<usize> = (0..card.clips.len())
        .filter(|&index| Pile::of(&card.clips[index].outcome) == pile)
        .collect();
    let start = |index: usize| places.of_clip[index].map_or(f64::INFINITY, |place| place.start_s);
    indices.sort_by(|&a, &b| start(a).total_cmp(&start(b)));
    indices
}
