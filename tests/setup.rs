//! `scripts/setup` installs what the rest of the project counts on.

use rollmark::rehearse::faces::FONTS;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

#[test]
fn setup_installs_the_fonts_of_rehearsed_displays() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts/setup");
    let script = fs::read_to_string(script).unwrap();
    let words: BTreeSet<_> = script
        .split(|c: char| c.is_whitespace() || "()".contains(c))
        .collect();
    for font in &FONTS {
        assert!(
            words.contains(font.package),
            "scripts/setup does not install {}",
            font.package
        );
    }
}
