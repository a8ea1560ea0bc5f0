//! Rollmark reads the clock you filmed: it finds the display of a running timecode in a
//! clip, reads its digits, fits clip time to clock time, and says how sure it is and why.
//!
//! Data flows one way; imports point down only:
//!
//! ```text
//! file -> media: frames with exact stamps -> vision: find, rectify, read -> Reading
//!      -> fit: start, bounds, verdict, what to look at next -> clip: THE loop -> ClipOutcome
//!      -> sidecar, stages, the command line
//! ```
//!
//! `docs/design.md` says why it is so; `tests/layers.rs` holds the table of imports.

mod caption;
pub mod card;
pub mod clip;
pub mod clip_base;
pub mod delivery;
mod digest;
pub mod error;
mod evidence;
pub mod facts;
pub mod fault;
pub mod fit;
pub mod frame;
pub mod geometry;
pub mod glyph;
pub mod media;
pub mod note;
pub mod outcome;
pub mod path_text;
pub mod preview;
pub mod progress;
pub mod reading;
pub mod rehearse;
pub mod report;
pub mod save;
pub mod sidecar;
pub mod stages;
pub mod timecode;
pub mod vision;
mod wide;
