//! Clips that were read one by one, in the shape of a card, for outputs that hold several.

use super::agree::Member;
use super::cameras;
use crate::outcome::{CARD_FORMAT_VERSION, Camera, CardClip, CardOutcome, ClipOutcome, Tool};

/// One clip: its name, the name of its sidecar, its outcome.
pub type SingleClip = (String, String, ClipOutcome);

/// Nothing is carried from clip to clip; only who shot what is told, as on a card.
pub fn of_single_clips(clips: Vec<SingleClip>, tool: Tool) -> CardOutcome {
    let members: Vec<Member> = clips
        .iter()
        .map(|(name, _, outcome)| Member {
            card: 0,
            path: name.clone(),
            name: name.clone(),
            outcome: outcome.clone(),
        })
        .collect();
    let (groups, of_clip) = cameras::group(&members.iter().collect::<Vec<_>>(), &["clips".into()]);
    CardOutcome {
        format: CARD_FORMAT_VERSION,
        folders: Vec::new(),
        clips: clips
            .into_iter()
            .zip(of_clip)
            .map(|((name, sidecar, outcome), camera)| CardClip {
                name,
                sidecar,
                camera,
                outcome,
            })
            .collect(),
        cameras: groups
            .into_iter()
            .map(|group| Camera {
                name: group.name,
                clock_offset_seconds: None,
                clock_drift_ppm: None,
                notes: Vec::new(),
            })
            .collect(),
        skipped: Vec::new(),
        gone: Vec::new(),
        notes: Vec::new(),
        tool,
    }
}
