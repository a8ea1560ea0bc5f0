//! The clip object as JSON. Keys stand in the order of the types in
//! [`crate::outcome`], so the same outcome always gives the same bytes.

use crate::error::{Error, ErrorKind, Result};
use crate::outcome::{CLIP_FORMAT_VERSION, ClipOutcome};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// What a sidecar's file name adds to the name of its clip.
pub const SUFFIX: &str = ".rollmark.json";

/// The `tool.name` of every clip object that this program writes.
pub const TOOL_NAME: &str = "rollmark";

/// A clip object to keep: indented, UTF-8, with a final line break.
pub fn to_bytes(outcome: &ClipOutcome) -> Vec<u8> {
    let mut bytes = serde_json::to_vec_pretty(outcome).expect(PLAIN);
    bytes.push(b'\n');
    bytes
}

/// A clip object on one line, without a line break: one line of JSON Lines.
pub fn to_line(outcome: &ClipOutcome) -> String {
    serde_json::to_string(outcome).expect(PLAIN)
}

/// Why writing cannot fail: the types hold only what JSON can hold.
const PLAIN: &str = "strings, numbers and lists always serialise";

/// Reads a clip object. Fields that this version does not know are passed over,
/// so a later version may add some without a new format number.
///
/// # Errors
/// [`ErrorKind::NotSidecar`] if the bytes are not a clip object of this program,
/// or one with a `format` above [`CLIP_FORMAT_VERSION`].
pub fn from_bytes(bytes: &[u8]) -> Result<ClipOutcome> {
    versioned(bytes, "sidecar", CLIP_FORMAT_VERSION, |_| true)
}

/// A key of `bytes`, with those around it, that `read` does not hold: written by a newer version or
/// by somebody else. `None` if the bytes hold nothing more, or no JSON.
pub(crate) fn unknown_key(bytes: &[u8], read: &impl Serialize) -> Option<String> {
    let written = serde_json::from_slice(bytes).ok()?;
    let known = serde_json::to_value(read).expect(PLAIN);
    key_beyond(&written, &known)
}

fn key_beyond(written: &Value, known: &Value) -> Option<String> {
    match (written, known) {
        (Value::Object(written), Value::Object(known)) => {
            written.iter().find_map(|(key, value)| {
                match known.get(key) {
                    // What is left out where it says nothing.
                    None if value.is_null() => None,
                    None => Some(key.clone()),
                    Some(known) => key_beyond(value, known).map(|inner| format!("{key}.{inner}")),
                }
            })
        }
        (Value::Array(written), Value::Array(known)) => {
            let mut pairs = written.iter().zip(known);
            pairs.find_map(|(written, known)| key_beyond(written, known))
        }
        _ => None,
    }
}

/// Reads an object that this program wrote, called `what` in complaints. Its number decides
/// first: a newer object may have changed any other field.
pub(super) fn versioned<T: DeserializeOwned>(
    bytes: &[u8],
    what: &str,
    newest: u32,
    is_of_kind: impl Fn(&Value) -> bool,
) -> Result<T> {
    let foreign = || {
        Error::new(
            ErrorKind::NotSidecar,
            format!("this is not a Rollmark {what}"),
        )
    };
    let value: Value = serde_json::from_slice(bytes).map_err(|e| foreign().because(e))?;
    let maker = value.pointer("/tool/name").and_then(Value::as_str);
    if maker != Some(TOOL_NAME) || !is_of_kind(&value) {
        return Err(foreign());
    }
    match value.get("format").and_then(Value::as_u64) {
        None => Err(foreign()),
        Some(format) if format > u64::from(newest) => Err(Error::new(
            ErrorKind::NotSidecar,
            format!("this {what} has format {format}, and this version reads up to {newest}"),
        )
        .next("read it with the newer Rollmark that wrote it")),
        Some(_) => serde_json::from_value(value).map_err(|e| foreign().because(e)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Error;
    use crate::outcome::Tool;
    use std::path::Path;

    fn outcome() -> ClipOutcome {
        ClipOutcome::failed(
            Path::new("A001.mov"),
            &Error::new(ErrorKind::Empty, "the file is empty").next("copy it again"),
            Tool {
                name: TOOL_NAME.into(),
                version: "0.1.0".into(),
                model: "00".repeat(32),
            },
        )
    }

    #[test]
    fn bytes_come_back_as_the_same_outcome() {
        let outcome = outcome();
        assert_eq!(from_bytes(&to_bytes(&outcome)).unwrap(), outcome);
        assert_eq!(from_bytes(to_line(&outcome).as_bytes()).unwrap(), outcome);
    }

    #[test]
    fn a_line_is_one_line_and_a_file_ends_with_a_line_break() {
        assert!(!to_line(&outcome()).contains('\n'));
        assert!(to_bytes(&outcome()).ends_with(b"}\n"));
    }

    #[test]
    fn fields_of_a_later_version_are_passed_over() {
        let line = to_line(&outcome()).replacen('{', r#"{"weather": {"rain": true},"#, 1);
        assert_eq!(from_bytes(line.as_bytes()).unwrap(), outcome());
    }

    #[test]
    fn keys_that_reading_passes_over_are_named_wherever_they_stand() {
        let outcome = outcome();
        let plain = String::from_utf8(to_bytes(&outcome)).unwrap();
        assert_eq!(unknown_key(plain.as_bytes(), &outcome), None);
        for (at, more, key) in [
            ("{", r#""weather": "rain","#, "weather"),
            (r#""clip": {"#, r#""reel": 3,"#, "clip.reel"),
            (
                r#""reasons": [
    {"#,
                r#""seen_by": {"who": "me"},"#,
                "reasons.seen_by",
            ),
        ] {
            let edited = plain.replacen(at, &format!("{at}{more}"), 1);
            assert_ne!(edited, plain);
            let read = from_bytes(edited.as_bytes()).unwrap();
            assert_eq!(unknown_key(edited.as_bytes(), &read).as_deref(), Some(key));
        }
        let null = plain.replacen('{', r#"{"later": null,"#, 1);
        assert_eq!(unknown_key(null.as_bytes(), &outcome), None);
    }

    #[test]
    fn a_newer_format_is_refused_by_its_number_whatever_else_it_holds() {
        let newer = br#"{"format": 2, "tool": {"name": "rollmark"}, "verdict": "splendid"}"#;
        let error = from_bytes(newer).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::NotSidecar);
        assert_eq!(
            error.to_string(),
            "this sidecar has format 2, and this version reads up to 1; \
             read it with the newer Rollmark that wrote it"
        );
    }

    #[test]
    fn what_others_wrote_is_not_a_sidecar() {
        for bytes in [
            &b""[..],
            b"10:00:00:00",
            b"[]",
            b"{}",
            br#"{"format": 1, "tool": {"name": "another"}}"#,
            br#"{"format": "1", "tool": {"name": "rollmark"}}"#,
            br#"{"format": 1, "tool": {"name": "rollmark"}}"#,
        ] {
            let error = from_bytes(bytes).unwrap_err();
            assert_eq!(error.kind(), ErrorKind::NotSidecar, "{error}");
        }
    }
}
