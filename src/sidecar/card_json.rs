//! The card object as JSON, `card.json`: its clips are clip objects with a name, the
//! place of their sidecar and their camera. `docs/card.md` explains the fields.

use super::json::versioned;
use crate::error::Result;
use crate::outcome::{CARD_FORMAT_VERSION, CardOutcome};
use serde_json::Value;

/// A card object to keep: indented, UTF-8, with a final line break.
pub fn to_bytes(card: &CardOutcome) -> Vec<u8> {
    let mut bytes =
        serde_json::to_vec_pretty(card).expect("strings, numbers and lists always serialise");
    bytes.push(b'\n');
    bytes
}

/// Reads a card object. Fields that this version does not know are passed over, so a later
/// version may add some without a new format number.
///
/// # Errors
/// [`crate::error::ErrorKind::NotSidecar`] if the bytes are not a card object of this program, or one
/// with a `format` above [`CARD_FORMAT_VERSION`].
pub fn from_bytes(bytes: &[u8]) -> Result<CardOutcome> {
    let has_clips = |value: &Value| value.get("clips").is_some();
    versioned(bytes, "card", CARD_FORMAT_VERSION, has_clips)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::{Error, ErrorKind};
    use crate::outcome::{Camera, CardClip, ClipOutcome, Tool};
    use crate::sidecar::json::TOOL_NAME;
    use std::path::Path;

    fn tool() -> Tool {
        Tool {
            name: TOOL_NAME.into(),
            version: "0.1.0".into(),
            model: "00".repeat(32),
        }
    }

    fn card() -> CardOutcome {
        let error = Error::new(ErrorKind::Empty, "the file is empty");
        CardOutcome {
            format: CARD_FORMAT_VERSION,
            folders: vec!["card".into()],
            clips: vec![CardClip {
                name: "DCIM/a\n\\xFF.mov".into(),
                sidecar: "DCIM/a\n\\xFF.mov.rollmark.json".into(),
                camera: 0,
                outcome: ClipOutcome::failed(Path::new("card/DCIM/a.mov"), &error, tool()),
            }],
            cameras: vec![Camera {
                name: "DCIM".into(),
                clock_offset_seconds: Some(10795.0),
                clock_drift_ppm: None,
                notes: Vec::new(),
            }],
            skipped: Vec::new(),
            gone: Vec::new(),
            notes: Vec::new(),
            tool: tool(),
        }
    }

    #[test]
    fn bytes_come_back_as_the_same_card() {
        assert_eq!(from_bytes(&to_bytes(&card())).unwrap(), card());
    }

    #[test]
    fn a_clip_of_a_card_is_a_clip_object_with_more_fields() {
        let value: serde_json::Value = serde_json::from_slice(&to_bytes(&card())).unwrap();
        let clip = serde_json::to_vec(&value["clips"][0]).unwrap();
        let outcome = super::super::json::from_bytes(&clip).unwrap();
        assert_eq!(outcome, card().clips[0].outcome);
    }

    #[test]
    fn fields_of_a_later_version_are_passed_over_and_a_newer_format_is_refused() {
        let text = String::from_utf8(to_bytes(&card())).unwrap();
        let more = text.replacen('{', r#"{"weather": "rain","#, 1);
        assert_eq!(from_bytes(more.as_bytes()).unwrap(), card());
        let newer = text.replacen("\"format\": 1", "\"format\": 2", 1);
        assert_eq!(
            from_bytes(newer.as_bytes()).unwrap_err().to_string(),
            "this card has format 2, and this version reads up to 1; \
             read it with the newer Rollmark that wrote it"
        );
    }

    #[test]
    fn what_others_wrote_is_not_a_card() {
        let error = Error::new(ErrorKind::Empty, "the file is empty");
        let clip = super::super::json::to_bytes(&ClipOutcome::failed(
            Path::new("A001.mov"),
            &error,
            tool(),
        ));
        for bytes in [&b""[..], b"[]", b"{}", &clip] {
            assert_eq!(from_bytes(bytes).unwrap_err().kind(), ErrorKind::NotSidecar);
        }
    }
}
