//! Clips that an earlier run read and that are no longer there: never among the clips of a
//! card, and not forgotten while their sidecars lie in the output folder.

use super::names;
use super::scan::CARD_FILE;
use crate::note::Note;
use crate::outcome::Gone;
use crate::path_text::text_of;
use crate::sidecar::card_json;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// What the card object in `out` lists, of this and of earlier runs; nothing if there is none.
pub(super) fn listed_before(out: &Path) -> Vec<Gone> {
    let Ok(bytes) = fs::read(out.join(CARD_FILE)) else {
        return Vec::new();
    };
    // What is no card of ours will be refused when the new one is written.
    card_json::from_bytes(&bytes).map_or_else(
        |_| Vec::new(),
        |card| {
            let clips = card.clips.into_iter().map(|clip| Gone {
                name: clip.name,
                sidecar: clip.sidecar,
            });
            clips.chain(card.gone).collect()
        },
    )
}

/// Those `before` whose sidecar is not one of this run's, and is still there.
pub(super) fn gone(before: Vec<Gone>, sidecars: &[PathBuf], out: &Path) -> Vec<Gone> {
    let current: BTreeSet<String> = sidecars.iter().map(|path| text_of(path)).collect();
    let mut told = BTreeSet::new();
    let is_gone = |one: &Gone| {
        // An escaped name is no path; better listed too long than dropped.
        let may_be_there = one.sidecar.contains('\\') || out.join(&one.sidecar).is_file();
        !current.contains(&one.sidecar) && may_be_there && told.insert(one.sidecar.clone())
    };
    let mut gone: Vec<Gone> = before.into_iter().filter(is_gone).collect();
    gone.sort_by(|a, b| {
        names::natural(Path::new(&a.name), Path::new(&b.name)).then_with(|| a.cmp(b))
    });
    gone
}

/// The remark on the card.
pub(super) fn note(gone: &[Gone]) -> Option<Note> {
    let clips = match gone.len() {
        0 => return None,
        1 => "1 clip of an earlier run is".to_owned(),
        n => format!("{n} clips of an earlier run are"),
    };
    Some(Note::new(
        "clips_gone",
        format!(
            "{clips} not among these, {} for one; what was written about such clips stays as \
             it was",
            gone[0].name
        ),
    ))
}
