//! The footage simulator: a display, a camera that films it, and the answers.
//!
//! - [`display`]: the clock, and how its counts get onto the glass
//! - [`screens`], [`faces`], [`segments`], [`canvas`]: how it looks
//! - [`motion`], [`camera`], [`scene`]: hands, lens and sensor, background
//! - [`shoot`]: one clip to be filmed; [`film`] renders it
//! - [`scenario`]: a practice card with answers
//!
//! Truth is exact: which count is on the glass when is computed in ratios, and
//! only the pixels are floats. Made apart from the renderer that the reader is
//! trained with, on purpose; see `docs/rehearsal.md`.

pub mod camera;
pub mod canvas;
pub mod display;
pub mod faces;
pub mod film;
pub mod motion;
pub mod scenario;
pub mod scene;
pub mod screens;
pub mod segments;
pub mod shoot;
mod stage;

pub use camera::Camera;
pub use display::{Clock, Display, Drive, Edge};
pub use film::{Film, FrameTruth};
pub use motion::{Hold, Pose, Steadiness};
pub use scenario::{Answer, Answers, Size, card};
pub use scene::Scene;
pub use screens::{Body, Look};
pub use shoot::{Shoot, Staged};
