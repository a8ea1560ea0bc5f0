//! Outcomes as bytes, one file per format; nothing here touches a disk.
//!
//! `json` is the clip object that scripts read: it is a sidecar's content, and
//! what the command line prints. `docs/sidecar.md` explains its fields, and
//! `docs/sidecar.schema.json` holds it to them.

pub mod card_json;
pub mod corrections;
pub mod csv;
pub mod edl;
pub mod json;
pub mod otio;
mod placed;
pub mod xmp;

pub use placed::{Admit, without_a_place};
