//! Outcomes as bytes, one file per format; nothing here touches a disk.
//!
//! `json` is the clip object that scripts read: it is a sidecar's content, and
//! what the command line prints. `docs/sidecar.md` explains its fields, and
//! `docs/sidecar.schema.json` holds it to them.

pub mod json;
