//! What the files of one clip are called in an output folder: the clip's own
//! file name, below as many of its parent folders as tell it from the other
//! clips of the run.

use rollmark::path_text::{folded, text_of, with_suffix};
use rollmark::sidecar::json;
use std::collections::HashMap;
use std::ffi::OsString;
use std::fs;
use std::path::{Component, Path, PathBuf};

/// The names of one clip, relative to an output folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClipNames {
    /// The clip's file name with the parents that distinguish it.
    pub clip: PathBuf,
}

impl ClipNames {
    /// The name in results and corrections.
    pub fn text(&self) -> String {
        text_of(&self.clip)
    }

    /// `A001.mov.rollmark.json`
    pub fn sidecar(&self) -> PathBuf {
        with_suffix(&self.clip, json::SUFFIX)
    }

    /// `A001.mov.pictures`: a folder of its own, so that the output folder may
    /// even be the one that holds the clips.
    pub fn pictures(&self) -> PathBuf {
        with_suffix(&self.clip, ".pictures")
    }
}

/// One entry per clip, in order. A clip given twice gets the same names twice.
pub fn distinct_names(clips: &[PathBuf]) -> Vec<ClipNames> {
    let parts: Vec<_> = clips
        .iter()
        .map(|clip| distinguishing_parts(clip))
        .collect();
    let mut depths = vec![1_usize; clips.len()];
    loop {
        let mut by_name: HashMap<String, Vec<usize>> = HashMap::new();
        for (clip, (parts, depth)) in parts.iter().zip(&depths).enumerate() {
            let name: PathBuf = last(parts, *depth).iter().collect();
            by_name.entry(folded(name)).or_default().push(clip);
        }
        let mut is_changed = false;
        for group in by_name.values() {
            if group.iter().all(|&clip| parts[clip] == parts[group[0]]) {
                continue;
            }
            for &clip in group {
                if depths[clip] < parts[clip].len() {
                    depths[clip] += 1;
                    is_changed = true;
                }
            }
        }
        if !is_changed {
            break;
        }
    }
    parts
        .iter()
        .zip(depths)
        .map(|(parts, depth)| ClipNames {
            clip: last(parts, depth).iter().collect(),
        })
        .collect()
}

fn last(parts: &[OsString], depth: usize) -> &[OsString] {
    &parts[parts.len() - depth.min(parts.len())..]
}

/// The names along the way to a clip, without `.`, `..` and root. The clip
/// itself need not exist, nor is a link in its place followed: the user named
/// the link.
fn distinguishing_parts(clip: &Path) -> Vec<OsString> {
    let whole = match (clip.parent(), clip.file_name()) {
        (Some(folder), Some(name)) => {
            let folder = if folder.as_os_str().is_empty() {
                Path::new(".")
            } else {
                folder
            };
            fs::canonicalize(folder)
                .or_else(|_| std::path::absolute(folder))
                .map(|folder| folder.join(name))
        }
        _ => fs::canonicalize(clip),
    };
    let whole = whole.unwrap_or_else(|_| clip.to_path_buf());
    let parts: Vec<_> = whole
        .components()
        .filter_map(|part| match part {
            Component::Normal(name) => Some(name.to_os_string()),
            _ => None,
        })
        .collect();
    if parts.is_empty() {
        // The root folder, given as a clip: it fails, but under some name.
        return vec!["root".into()];
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(clips: &[&str]) -> Vec<String> {
        let clips: Vec<_> = clips.iter().map(PathBuf::from).collect();
        distinct_names(&clips)
            .iter()
            .map(|names| names.clip.display().to_string())
            .collect()
    }

    #[test]
    fn a_clip_is_called_by_its_file_name() {
        assert_eq!(
            names(&["/x/card/A1.mov", "/x/A2.mov"]),
            ["A1.mov", "A2.mov"]
        );
        let only = &distinct_names(&["/x/A1.mov".into()])[0];
        assert_eq!(only.sidecar(), Path::new("A1.mov.rollmark.json"));
        assert_eq!(only.pictures(), Path::new("A1.mov.pictures"));
    }

    #[test]
    fn clips_of_the_same_name_keep_the_folders_that_tell_them_apart() {
        assert_eq!(
            names(&["/x/one/A1.mov", "/x/two/A1.mov", "/x/one/A2.mov"]),
            ["one/A1.mov", "two/A1.mov", "A2.mov"]
        );
        assert_eq!(
            names(&["/x/one/clips/A1.mov", "/x/two/clips/A1.mov"]),
            ["one/clips/A1.mov", "two/clips/A1.mov"]
        );
    }

    #[test]
    fn names_that_differ_only_in_case_are_told_apart_too() {
        assert_eq!(
            names(&["/x/one/A1.mov", "/x/two/a1.MOV"]),
            ["one/A1.mov", "two/a1.MOV"]
        );
    }

    #[test]
    fn a_clip_next_to_the_root_keeps_its_short_name_if_that_is_all_there_is() {
        assert_eq!(names(&["/A1.mov", "/x/A1.mov"]), ["A1.mov", "x/A1.mov"]);
    }

    #[test]
    fn the_same_clip_twice_has_the_same_names_twice() {
        assert_eq!(
            names(&["/x/one/A1.mov", "/x/./one/A1.mov"]),
            ["A1.mov", "A1.mov"]
        );
    }

    #[test]
    fn even_a_path_without_a_name_gets_one() {
        assert_eq!(names(&["/"]), ["root"]);
    }

    #[cfg(unix)]
    #[test]
    fn names_that_are_not_unicode_stay_as_they_are() {
        use std::os::unix::ffi::OsStringExt;
        let odd = OsString::from_vec(b"A\xff1.mov".to_vec());
        let clip = Path::new("/x").join(&odd);
        let names = &distinct_names(&[clip])[0];
        let mut expected = odd;
        expected.push(".rollmark.json");
        assert_eq!(names.sidecar(), PathBuf::from(expected));
    }
}
