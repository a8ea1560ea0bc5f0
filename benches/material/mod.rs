//! What clips are filmed with.

use rollmark::rehearse::{faces::FONTS, scene::PHOTOS};
use std::path::Path;

/// Where a font or a photo is missing, segments and scenes are drawn: the same seeds would give other
/// clips, and plainer ones.
///
/// # Panics
/// If one is missing.
pub fn assert_material() {
    let fonts = FONTS.iter().map(|font| font.path);
    let missing: Vec<_> = (fonts.chain(PHOTOS).filter(|path| !Path::new(path).exists())).collect();
    assert!(
        missing.is_empty(),
        "run scripts/setup: {missing:?} are missing"
    );
}
