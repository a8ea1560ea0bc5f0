//! "Yes, but": remarks that travel with a result and are equal in every output.

use serde::{Deserialize, Serialize};

/// Code of the remark on a file that ends early.
pub const TRUNCATED: &str = "truncated";

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

/// The words of a note as a sentence of its own: with a capital and a full stop.
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let mut whole: String = letters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .chain(letters)
        .collect();
    if !whole.ends_with(['.', '!', '?']) {
        whole.push('.');
    }
    whole
}
