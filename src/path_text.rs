//! Paths as text, without loss and alike on every machine: what results, lists and links know
//! files by.

use crate::digest;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, percent_encode};
use std::fmt::Write as _;
use std::path::{Component, Path, PathBuf};

/// The longest file name that common file systems take, in bytes (`NAME_MAX` of Linux and
/// macOS; in UTF-16 units on NTFS and exFAT, which is never shorter).
const LONGEST_NAME: usize = 255;

/// What stands for itself in the path of a link (RFC 3986, section 2.3, and the slash). The colon does
/// not.
const PLAIN: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~')
    .remove(b'/');

/// The text by which drives that do not tell upper from lower case know a relative path.
pub fn folded(path: impl AsRef<Path>) -> String {
    text_of(path.as_ref()).to_lowercase()
}

/// A relative path as text: parts joined by `/`, bytes that are not UTF-8 as `\xNN`, and a
/// backslash as `\x5C`, so that no two paths have the same text. The root of a whole path is
/// left out.
pub fn text_of(path: &Path) -> String {
    let mut text = String::new();
    for part in path.components() {
        let Component::Normal(part) = part else {
            continue;
        };
        if !text.is_empty() {
            text.push('/');
        }
        for chunk in part.as_encoded_bytes().utf8_chunks() {
            text.push_str(&chunk.valid().replace('\\', r"\x5C"));
            for byte in chunk.invalid() {
                write!(text, "\\x{byte:02X}").expect("a string takes everything");
            }
        }
    }
    text
}

/// The path with `suffix` behind its name. A name too long for that is cut, and gets a part of its
/// digest so that it stays another than any other.
pub fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let name = path.file_name().unwrap_or_default();
    if name.len() + suffix.len() <= LONGEST_NAME {
        let mut name = name.to_owned();
        name.push(suffix);
        return path.with_file_name(name);
    }
    let digest = &digest::sha256(name.as_encoded_bytes())[..12];
    let room = LONGEST_NAME.saturating_sub(suffix.len() + 1 + digest.len());
    let mut kept = String::new();
    for letter in text_of(Path::new(name)).chars() {
        if kept.len() + letter.len_utf8() > room {
            break;
        }
        kept.push(letter);
    }
    path.with_file_name(format!("{kept}~{digest}{suffix}"))
}

/// The path whose text this is; see [`text_of`].
pub fn path_of(text: &str) -> PathBuf {
    from_bytes(bytes_of(text))
}

/// A path by its text, as it stands in a link. No name can pass for a scheme, a query or a tag.
pub(crate) fn in_link(text: &str) -> String {
    percent_encode(&bytes_of(text), PLAIN).to_string()
}

/// The bytes of a path by its text: what is no escape of [`text_of`] stands for itself.
fn bytes_of(text: &str) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find("\\x") {
        let (head, tail) = rest.split_at(at);
        bytes.extend_from_slice(head.as_bytes());
        let byte = tail
            .get(2..4)
            .and_then(|digits| u8::from_str_radix(digits, 16).ok())
            // A byte below 0x80 is UTF-8 by itself, and but for the backslash never written so.
            .filter(|byte| !byte.is_ascii() || *byte == b'\\');
        match byte {
            Some(byte) => {
                bytes.push(byte);
                rest = &tail[4..];
            }
            None => {
                bytes.extend_from_slice(b"\\x");
                rest = &tail[2..];
            }
        }
    }
    bytes.extend_from_slice(rest.as_bytes());
    bytes
}

#[cfg(unix)]
pub(crate) fn from_bytes(bytes: Vec<u8>) -> PathBuf {
    use std::os::unix::ffi::OsStringExt;
    std::ffi::OsString::from_vec(bytes).into()
}

#[cfg(not(unix))]
pub(crate) fn from_bytes(bytes: Vec<u8>) -> PathBuf {
    String::from_utf8_lossy(&bytes).into_owned().into()
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::os::unix::ffi::OsStrExt;

    #[test]
    fn a_name_too_long_for_a_suffix_is_cut_and_stays_apart() {
        let long = |end: &str| PathBuf::from(format!("d/{}{end}.mov", "ü".repeat(123)));
        for suffix in [
            ".rollmark.json",
            ".preview.mp4",
            ".pictures",
            ".mov",
            ".xmp",
        ] {
            let [a, b] = ["a", "bcd"].map(|end| with_suffix(&long(end), suffix));
            assert_ne!(a, b);
            for file in [a, b] {
                let name = file.file_name().unwrap().to_str().unwrap();
                assert!(name.len() <= 255 && name.len() > 250, "{name}");
                assert!(name.ends_with(suffix), "{name}");
                assert_eq!(file.parent(), Some(Path::new("d")));
            }
        }
    }

    #[test]
    fn every_path_has_a_text_of_its_own_that_people_can_read() {
        for (bytes, text) in [
            (&b"a/\xFF \"b\".mov"[..], "a/\\xFF \"b\".mov"),
            (b"a/\\xFF.mov", "a/\\x5CxFF.mov"),
            (b"two\nlines.mov", "two\nlines.mov"),
            ("Müller's/1.mov".as_bytes(), "Müller's/1.mov"),
        ] {
            assert_eq!(text_of(&from_bytes(bytes.to_vec())), text);
        }
    }

    proptest! {
        #[test]
        fn a_path_comes_back_from_its_text(
            name in prop::collection::vec(
                prop_oneof![1_u8..=255, Just(b'\\'), Just(b'x'), Just(b'F'), Just(b'\'')], 1..12),
        ) {
            let slashless: Vec<u8> = name.into_iter().filter(|byte| *byte != b'/').collect();
            let path = Path::new("below").join(from_bytes([b"n", &slashless[..]].concat()));
            let text = text_of(&path);
            let back = path_of(&text);
            prop_assert_eq!(back.as_os_str().as_bytes(), path.as_os_str().as_bytes());
        }
    }
}
