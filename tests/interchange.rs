//! What editing programs are given, each format against a reader that this project
//! did not write: the OpenTimelineIO library, its reader of CMX 3600 lists, exiftool,
//! Python's own csv and XML modules. `scripts/setup` installs them.
//!
//! `ROLLMARK_REGENERATE=1 cargo test --release --test interchange` writes the kept files and the
//! table of `docs/rate-changes.md` anew; look at what changed before committing it.

#[path = "interchange/base.rs"]
mod base;
#[path = "interchange/cards.rs"]
mod cards;
#[path = "interchange/corrections.rs"]
mod corrections;
#[path = "interchange/lists.rs"]
mod lists;
#[path = "interchange/rate_table.rs"]
mod rate_table;
#[path = "interchange/readers.rs"]
mod readers;
#[path = "interchange/timeline.rs"]
mod timeline;
#[path = "interchange/xmp.rs"]
mod xmp;

use cards::mixed;
use rollmark::sidecar::{Admit, csv, edl, otio, xmp as packet};
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn is_regenerating() -> bool {
    std::env::var_os("ROLLMARK_REGENERATE").is_some()
}

/// Every file that a card gives, by name.
fn all_files() -> Vec<(String, Vec<u8>)> {
    let card = mixed();
    let unsure_too = Admit { unsure: true };
    let options = otio::Options {
        admit: unsure_too,
        ..otio::Options::default()
    };
    let mut files = edl::to_files(&card, unsure_too);
    files.push(("timeline.otio".into(), otio::to_bytes(&card, &options)));
    files.push(("clips.csv".into(), csv::to_bytes(&card)));
    let sure = &card.clips[0].outcome;
    files.push((
        "A001.xmp".into(),
        packet::to_bytes(sure, Admit::default()).unwrap(),
    ));
    files
}

#[test]
fn the_bytes_are_those_of_the_kept_files() {
    let folder = root().join("tests/golden/interchange");
    let files = all_files();
    assert_eq!(files, all_files(), "the same card twice");
    for (name, bytes) in files {
        let file: PathBuf = folder.join(&name);
        if is_regenerating() {
            fs::create_dir_all(&folder).unwrap();
            fs::write(&file, &bytes).unwrap();
        }
        let kept = fs::read(&file)
            .unwrap_or_else(|e| panic!("{}: {e}; ROLLMARK_REGENERATE=1 makes it", file.display()));
        let (kept, now) = (String::from_utf8(kept), String::from_utf8(bytes));
        for (i, (old, new)) in kept
            .as_ref()
            .unwrap()
            .lines()
            .zip(now.as_ref().unwrap().lines())
            .enumerate()
        {
            assert_eq!(old, new, "{name}, line {}", i + 1);
        }
        assert_eq!(kept, now, "{name}");
    }
}
