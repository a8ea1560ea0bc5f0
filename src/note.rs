//! "Yes, but": remarks that travel with a result and are equal in every output.

use serde::{Deserialize, Serialize};

/// Code of the remark on a file that ends early.
pub const TRUNCATED: &str = "truncated";

/// Codes of the doubts about a file's frame 0 and about the times of its frames.
pub const HEAD_LOST: &str = "head_lost";
pub const TIMES_WRONG: &str = "times_wrong";

/// A remark with a stable code and a sentence for people.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// Stable, lower case with underscores, e.g. `variable_rate`.
    pub code: String,
    /// One sentence that names what was seen and, where useful, what to do.
    pub sentence: String,
}

impl Note {
    pub fn new(code: impl Into<String>, sentence: impl Into<String>) -> Self {
        Self {
            code: code.into(),
            sentence: sentence.into(),
        }
    }
}

/// True for characters that a screen obeys and does not show: controls, breaks of lines, and marks that
/// turn the direction of writing. Names of files may hold any.
pub fn is_obeyed(letter: char) -> bool {
    letter.is_control()
        || matches!(
            letter,
            '\u{61c}'
                | '\u{200b}'..='\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2060}'..='\u{206f}'
                | '\u{feff}'
        )
}

/// The words of a note as a sentence of its own: with a capital, unless it begins with the name of
/// a file, and a full stop.
pub fn sentence(text: &str) -> String {
    let first = text.split(' ').next().unwrap_or_default();
    let is_word = first
        .trim_end_matches([',', ':', ';'])
        .chars()
        .all(|letter| letter.is_alphabetic() || "'-".contains(letter));
    let mut letters = text.chars();
    let mut whole: String = match is_word {
        true => {
            let capital = letters.next().into_iter().flat_map(char::to_uppercase);
            capital.chain(letters).collect()
        }
        false => text.to_owned(),
    };
    if !whole.ends_with(['.', '!', '?']) {
        whole.push('.');
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_has_a_capital_but_names_of_files_stay_as_they_are() {
        for (words, whole) in [
            ("the clip's end is missing", "The clip's end is missing."),
            ("half-hours, then", "Half-hours, then."),
            ("élan", "Élan."),
            ("trunc.mkv ends early", "trunc.mkv ends early."),
            ("dcim/take, a chapter", "dcim/take, a chapter."),
            ("a_003 overlaps", "a_003 overlaps."),
            ("3 clips", "3 clips."),
            ("", "."),
        ] {
            assert_eq!(sentence(words), whole);
        }
    }

    #[test]
    fn a_screen_obeys_controls_and_turns_of_direction_and_shows_all_else() {
        for letter in [
            '\n', '\u{1b}', '\u{9b}', '\u{202e}', '\u{2066}', '\u{2028}', '\u{feff}',
        ] {
            assert!(is_obeyed(letter), "{letter:?}");
        }
        for letter in [
            'a',
            ' ',
            '=',
            '\u{5d0}',
            '\u{4e2d}',
            '\u{1f3a5}',
            '\u{fffd}',
        ] {
            assert!(!is_obeyed(letter), "{letter:?}");
        }
    }
}
