//! Names that are the same on every system: the natural order of paths, and where in the output
//! folder the sidecar of a clip lies.

use crate::path_text::{folded, with_suffix};
use crate::sidecar::json;
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::path::{Component, Path, PathBuf};

/// Natural order of relative paths: folder by folder, runs of digits by their number, all
/// else byte by byte. Total, and independent of locale and file system.
pub(super) fn natural(a: &Path, b: &Path) -> Ordering {
    let (mut left, mut right) = (a.components(), b.components());
    loop {
        let (x, y) = match (left.next(), right.next()) {
            (None, None) => break,
            (None, Some(_)) => return Ordering::Less,
            (Some(_), None) => return Ordering::Greater,
            (Some(x), Some(y)) => (x, y),
        };
        let order = natural_bytes(
            x.as_os_str().as_encoded_bytes(),
            y.as_os_str().as_encoded_bytes(),
        );
        if order != Ordering::Equal {
            return order;
        }
    }
    // Equal but for leading zeros.
    a.as_os_str().cmp(b.as_os_str())
}

fn natural_bytes(mut a: &[u8], mut b: &[u8]) -> Ordering {
    while let (Some(x), Some(y)) = (a.first(), b.first()) {
        if x.is_ascii_digit() && y.is_ascii_digit() {
            let ((left, rest_a), (right, rest_b)) = (number(a), number(b));
            let order = left.len().cmp(&right.len()).then(left.cmp(right));
            if order != Ordering::Equal {
                return order;
            }
            (a, b) = (rest_a, rest_b);
        } else {
            if x != y {
                return x.cmp(y);
            }
            (a, b) = (&a[1..], &b[1..]);
        }
    }
    a.len().cmp(&b.len())
}

/// The digits at the head without leading zeros, and what follows them.
fn number(bytes: &[u8]) -> (&[u8], &[u8]) {
    let end = bytes.iter().take_while(|b| b.is_ascii_digit()).count();
    let (digits, rest) = bytes.split_at(end);
    let zeros = digits.iter().take_while(|b| **b == b'0').count();
    (&digits[zeros..], rest)
}

/// What each card's files go under, so that no two have the same name: nothing as long as
/// no name stands on two cards, else the last folders of the cards' paths, as many as tell
/// the cards apart. `roots` are whole paths, all different; `files` are relative.
pub(super) fn prefixes(roots: &[PathBuf], files: &[(usize, PathBuf)]) -> Vec<PathBuf> {
    let names: BTreeSet<(usize, String)> = files
        .iter()
        .map(|(card, file)| (*card, folded(file)))
        .collect();
    let mut owners: BTreeMap<String, usize> = BTreeMap::new();
    // A file on one card must not be a folder on the other, either.
    let collides = files.iter().any(|(card, file)| {
        file.ancestors()
            .filter(|part| !part.as_os_str().is_empty())
            .enumerate()
            .any(|(up, part)| {
                let key = folded(part);
                let is_file = up == 0;
                match owners.get(&key) {
                    Some(owner) if owner != card => is_file || names.contains(&(*owner, key)),
                    _ => {
                        owners.insert(key, *card);
                        false
                    }
                }
            })
    });
    if !collides {
        return vec![PathBuf::new(); roots.len()];
    }
    let parts: Vec<Vec<OsString>> = roots
        .iter()
        .map(|root| {
            root.components()
                .filter(|c| matches!(c, Component::Normal(_)))
                .map(|c| c.as_os_str().to_owned())
                .collect()
        })
        .collect();
    let most = parts.iter().map(Vec::len).max().unwrap_or(0);
    let last = |parts: &[OsString], depth: usize| -> PathBuf {
        parts[parts.len() - depth.min(parts.len())..]
            .iter()
            .collect()
    };
    for depth in 1..=most {
        let names: Vec<PathBuf> = parts.iter().map(|p| last(p, depth)).collect();
        let distinct: BTreeSet<String> = names.iter().map(folded).collect();
        let nests = names
            .iter()
            .any(|n| n.as_os_str().is_empty() || names.iter().any(|m| m != n && m.starts_with(n)));
        if distinct.len() == names.len() && !nests {
            return names;
        }
    }
    // Paths that differ by case only, or a root that is the whole disk.
    (1..=roots.len())
        .map(|number| PathBuf::from(format!("card{number}")))
        .collect()
}

/// Where the sidecars of `clips` lie, relative to the output folder: the clip's own path
/// and [`json::SUFFIX`], see [`with_suffix`]; names that differ by the case of letters only get a number.
pub(super) fn sidecars(clips: &[PathBuf]) -> Vec<PathBuf> {
    let mut taken = BTreeSet::new();
    clips
        .iter()
        .map(|clip| {
            (1..)
                .map(|nth| sidecar(clip, nth))
                .find(|file| taken.insert(folded(file)))
                .expect("numbers do not run out")
        })
        .collect()
}

fn sidecar(clip: &Path, nth: u32) -> PathBuf {
    match nth {
        1 => with_suffix(clip, json::SUFFIX),
        _ => with_suffix(clip, &format!("~{nth}{}", json::SUFFIX)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn paths(names: &[&str]) -> Vec<PathBuf> {
        names.iter().map(PathBuf::from).collect()
    }

    #[test]
    fn digits_count_by_their_number_and_folders_come_part_by_part() {
        let mut names = paths(&["a10", "a9", "b/2", "a", "a/z", "a09", "b/10", "B", "a-1"]);
        names.sort_by(|a, b| natural(a, b));
        assert_eq!(
            names,
            paths(&["B", "a", "a/z", "a-1", "a09", "a9", "a10", "b/2", "b/10"])
        );
    }

    proptest! {
        #[test]
        fn the_order_is_total(a in "[a-b0-2/]{0,6}", b in "[a-b0-2/]{0,6}", c in "[a-b0-2/]{0,6}") {
            let (a, b, c) = (Path::new(&a), Path::new(&b), Path::new(&c));
            prop_assert_eq!(natural(a, b), natural(b, a).reverse());
            if natural(a, b).is_le() && natural(b, c).is_le() {
                prop_assert!(natural(a, c).is_le());
            }
        }
    }

    #[test]
    fn cards_without_a_common_name_get_no_prefix() {
        let roots = paths(&["/media/a/CARD", "/media/b/CARD"]);
        let files = [(0, "DCIM/1.mov".into()), (1, "DCIM/2.mov".into())];
        assert_eq!(prefixes(&roots, &files), paths(&["", ""]));
    }

    #[test]
    fn cards_with_common_folders_and_no_common_file_keep_their_names() {
        let roots = paths(&["/media/a/CARD", "/media/b/CARD"]);
        let files: Vec<(usize, PathBuf)> = (0..200)
            .map(|n| (n % 2, format!("DCIM/100MEDIA/{n}.mov").into()))
            .collect();
        assert_eq!(prefixes(&roots, &files), paths(&["", ""]));
    }

    #[test]
    fn cards_with_a_common_name_go_under_their_own_names() {
        let roots = paths(&["/media/a/CARD", "/media/b/CARD"]);
        let files = [(0, "DCIM/1.mov".into()), (1, "dcim/1.MOV".into())];
        assert_eq!(prefixes(&roots, &files), paths(&["a/CARD", "b/CARD"]));
        let roots = paths(&["/media/one", "/media/two"]);
        assert_eq!(prefixes(&roots, &files), paths(&["one", "two"]));
        let a_file_where_the_other_has_a_folder = [(0, "DCIM".into()), (1, "DCIM/1.mov".into())];
        assert_eq!(
            prefixes(&roots, &a_file_where_the_other_has_a_folder),
            paths(&["one", "two"])
        );
    }

    #[test]
    fn sidecars_lie_at_the_path_of_their_clip() {
        assert_eq!(
            sidecars(&paths(&["DCIM/1.mov", "DCIM/1.mp4", "DCIM/1.MOV"])),
            paths(&[
                "DCIM/1.mov.rollmark.json",
                "DCIM/1.mp4.rollmark.json",
                "DCIM/1.MOV~2.rollmark.json"
            ])
        );
    }
}
