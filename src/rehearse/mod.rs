//! The footage simulator: a display, a camera that films it, and the answers.
//!
//! - [`display`]: the clock, and how its counts get onto the glass
//! - [`screens`], [`faces`], [`segments`], [`canvas`]: how it looks
//! - [`glass`], [`flicker`]: what spoils it: mirrors, cracks, fingers; lamps, driven digits
//! - [`motion`], [`camera`], [`scene`]: hands, lens and sensor, background
//! - [`shoot`]: one clip to be filmed; [`film`] renders it
//! - `seen`: what a frame shows of each digit, and whether anybody could tell it
//! - [`stress`]: clips that are hard to read, clips without a clock
//! - [`scenario`]: a practice card with answers
//!
//! Truth is exact: which count is on the glass when is computed in ratios, and
//! only the pixels are floats. Made apart from the renderer that the reader is
//! trained with, on purpose; see `docs/rehearsal.md`.

mod bodies;
pub mod camera;
pub mod canvas;
pub mod display;
pub mod faces;
pub mod film;
mod fingers;
pub mod flicker;
pub mod glass;
mod grid;
pub mod motion;
mod optics;
mod ordinary;
pub mod scenario;
pub mod scene;
pub mod screens;
mod seen;
pub mod segments;
pub mod shoot;
mod stage;
pub mod stress;

pub use camera::{Camera, Hunt};
pub use display::{Clock, Display, Drive, Edge};
pub use film::{Film, FrameTruth};
pub use flicker::{Flicker, Wave};
pub use glass::Glass;
pub use motion::{Hold, Pose, Steadiness};
pub use scenario::{Answer, Answers, Size, card};
pub use scene::{Ambient, Scene};
pub use screens::{Body, Look};
pub use seen::DigitSeen;
pub use shoot::{Shoot, Staged};
pub use stress::Stress;
