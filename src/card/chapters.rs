//! Recordings that a camera split into numbered files, known by their names. What the
//! clips show decides later whether such files really follow each other.
//!
//! Patterns (common practice, no source): two letters, two digits of chapter, four of
//! recording (`GX010042`); four letters and the recording, then two of the letters,
//! chapter and recording (`GOPR0042`, `GP010042`); one stem with `_001`, `_002` behind.

use std::collections::BTreeMap;

/// How the files of a recording are named.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Pattern {
    /// The number of the recording stands in the name: little else is named so.
    Numbered,
    /// `_001` behind a stem: takes of their own are named so, too, so that something
    /// besides the names must say that they follow each other.
    Tail,
}

/// Files of one recording, in the camera's order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Recording {
    pub name: String,
    pub pattern: Pattern,
    /// Number as the camera counts, and index of the file. At least two, or one beside
    /// other recordings of the same pattern.
    pub chapters: Vec<(u32, usize)>,
    /// The number that the first chapter should have.
    pub first_number: u32,
}

/// What a file name says.
struct Parts<'a> {
    /// Folder, extension and letters; stem for [`Pattern::Tail`].
    series: String,
    recording: &'a str,
    number: u32,
    pattern: Pattern,
}

/// Finds the recordings among `files`: card and path below it, in the order of the scan.
pub(super) fn recordings(files: &[(usize, &str)]) -> Vec<Recording> {
    let mut groups: BTreeMap<(usize, String, &str, Pattern), BTreeMap<u32, usize>> =
        BTreeMap::new();
    let mut openers = Vec::new();
    for (index, (card, path)) in files.iter().enumerate() {
        let (folder, stem, extension) = split(path);
        if let Some(parts) = parts(folder, stem, &extension) {
            let key = (*card, parts.series, parts.recording, parts.pattern);
            // Of files with one number the first; extensions keep others apart.
            groups
                .entry(key)
                .or_default()
                .entry(parts.number)
                .or_insert(index);
        } else if let Some((letters, recording)) = opener(stem) {
            openers.push((*card, folder, extension, letters, recording, index));
        }
    }
    for (card, folder, extension, letters, recording, index) in openers {
        // The two letters of the further chapters are among the four of the first.
        let further = groups.keys().find(|(c, series, r, pattern)| {
            *pattern == Pattern::Numbered
                && *c == card
                && *r == recording
                && pairs(letters).any(|pair| *series == series_of(folder, &extension, &pair))
        });
        if let Some(key) = further.cloned() {
            groups.get_mut(&key).expect("just found").insert(0, index);
        }
    }
    // One file alone is a recording of one chapter only where the camera is seen to split.
    let splits: Vec<(usize, String)> = groups
        .iter()
        .filter(|((.., pattern), files)| *pattern == Pattern::Numbered && files.len() > 1)
        .map(|((card, series, ..), _)| (*card, series.clone()))
        .collect();
    groups
        .into_iter()
        .filter(|((card, series, _, pattern), files)| {
            files.len() > 1
                || (*pattern == Pattern::Numbered
                    && splits.iter().any(|(c, s)| c == card && s == series))
        })
        .map(|((_, _, name, pattern), chapters)| Recording {
            name: name.to_owned(),
            pattern,
            first_number: chapters.keys().next().map_or(1, |least| (*least).min(1)),
            chapters: chapters.into_iter().collect(),
        })
        .collect()
}

/// The order in which people look for the files: as scanned, with the chapters of a
/// recording together where its first one stands.
pub(super) fn together(files: &[(usize, &str)]) -> Vec<usize> {
    let mut place: Vec<(usize, u32, usize)> = (0..files.len()).map(|i| (i, 0, i)).collect();
    for recording in recordings(files) {
        let head = recording.chapters.iter().map(|(_, index)| *index).min();
        for (number, index) in recording.chapters {
            place[index] = (head.unwrap_or(index), number, index);
        }
    }
    place.sort_unstable();
    place.into_iter().map(|(.., index)| index).collect()
}

/// Folder, stem and folded extension of a path in text.
fn split(path: &str) -> (&str, &str, String) {
    let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
    match name.rsplit_once('.') {
        Some((stem, extension)) => (folder, stem, extension.to_lowercase()),
        None => (folder, name, String::new()),
    }
}

fn series_of(folder: &str, extension: &str, letters: &str) -> String {
    format!("{folder}/{}.{extension}", letters.to_uppercase())
}

fn parts<'a>(folder: &str, stem: &'a str, extension: &str) -> Option<Parts<'a>> {
    let bytes = stem.as_bytes();
    let are_digits = |bytes: &[u8]| bytes.iter().all(u8::is_ascii_digit);
    if bytes.len() == 8 && bytes[..2].iter().all(u8::is_ascii_alphabetic) && are_digits(&bytes[2..])
    {
        return Some(Parts {
            series: series_of(folder, extension, &stem[..2]),
            recording: &stem[4..],
            number: stem[2..4].parse().ok()?,
            pattern: Pattern::Numbered,
        });
    }
    let (head, tail) = stem.rsplit_once('_')?;
    if head.is_empty() || tail.len() != 3 || !are_digits(tail.as_bytes()) {
        return None;
    }
    Some(Parts {
        series: series_of(folder, extension, ""),
        recording: head,
        number: tail.parse().ok()?,
        pattern: Pattern::Tail,
    })
}

/// Four letters and four digits: the first file of a recording, or a clip of its own.
fn opener(stem: &str) -> Option<(&str, &str)> {
    let bytes = stem.as_bytes();
    let fits = bytes.len() == 8
        && bytes[..4].iter().all(u8::is_ascii_alphabetic)
        && bytes[4..].iter().all(u8::is_ascii_digit);
    fits.then(|| stem.split_at(4))
}

/// Two letters of four, the first one among them.
fn pairs(letters: &str) -> impl Iterator<Item = String> {
    let first = letters[..1].to_owned();
    letters[1..]
        .chars()
        .map(move |second| format!("{first}{second}"))
        .collect::<Vec<_>>()
        .into_iter()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn groups(names: &[&str]) -> Vec<(String, Vec<(u32, String)>)> {
        let files: Vec<(usize, &str)> = names.iter().map(|name| (0, *name)).collect();
        recordings(&files)
            .into_iter()
            .map(|r| {
                let chapters = r.chapters.iter();
                let named = chapters.map(|(n, i)| (*n, names[*i].to_owned())).collect();
                (r.name, named)
            })
            .collect()
    }

    #[test]
    fn alphabetical_order_does_not_mix_recordings() {
        let names = [
            "d/GX010042.MP4",
            "d/GX010043.MP4",
            "d/GX020042.MP4",
            "d/GX030042.MP4",
        ];
        let files: Vec<(usize, &str)> = names.iter().map(|name| (0, *name)).collect();
        assert_eq!(together(&files), [0, 2, 3, 1]);
        let of = |n: u32, at: usize| (n, names[at].to_owned());
        assert_eq!(
            groups(&names),
            [
                ("0042".to_owned(), vec![of(1, 0), of(2, 2), of(3, 3)]),
                ("0043".to_owned(), vec![of(1, 1)]),
            ]
        );
    }

    #[test]
    fn a_first_file_without_a_chapter_number_comes_first() {
        let names = [
            "GOPR0042.MP4",
            "GOPR0043.MP4",
            "GP010042.MP4",
            "GP020042.MP4",
        ];
        let of = |n: u32, at: usize| (n, names[at].to_owned());
        assert_eq!(
            groups(&names),
            [("0042".to_owned(), vec![of(0, 0), of(1, 2), of(2, 3)])]
        );
    }

    #[test]
    fn one_stem_with_numbers_behind() {
        let names = ["long_001.mov", "long_002.mov", "short_001.mov"];
        let of = |n: u32, at: usize| (n, names[at].to_owned());
        assert_eq!(
            groups(&names),
            [("long".to_owned(), vec![of(1, 0), of(2, 1)])]
        );
    }

    #[test]
    fn files_of_other_folders_kinds_and_cards_are_no_chapters_of_each_other() {
        for names in [
            ["a/GX010042.MP4", "b/GX020042.MP4"],
            ["GX010042.MP4", "GX020042.MOV"],
            ["GX010042.MP4", "GH020042.MP4"],
            ["GX010042.MP4", "GX020043.MP4"],
            ["MVI_0042.MP4", "GX010042.MP4"],
            ["DSCF0042.MP4", "GX010042.MP4"],
            ["a_01.mov", "a_02.mov"],
        ] {
            assert_eq!(groups(&names), [], "{names:?}");
        }
        assert_eq!(recordings(&[(0, "GX010042.MP4"), (1, "GX020042.MP4")]), []);
    }

    #[test]
    fn names_of_any_letters_are_taken_apart_without_a_fault() {
        for name in [
            "",
            ".",
            "ü",
            "üü010042",
            "GÜ01042",
            "_001",
            "ab12345",
            "字字字0042.mov",
        ] {
            assert_eq!(recordings(&[(0, name)]), [], "{name}");
        }
    }
}
