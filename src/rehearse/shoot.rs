//! One clip to be filmed: who films what, when and where.

use super::camera::Camera;
use super::display::{Clock, Display};
use super::film::Film;
use super::glass::Glass;
use super::motion::{Hold, Pose, Steadiness};
use super::ordinary::{daytime_phi, ordinary_body, ordinary_camera, ordinary_display};
use super::scene::{Ambient, Scene};
use super::screens::Showing;
use crate::error::Result;
use crate::media::{Quality, RecordCodec, RecordOptions, Recorder};
use crate::timecode::{ClockForm, Rate, Ratio};
use image::imageops::{rotate90, rotate180, rotate270};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use std::sync::mpsc::sync_channel;

/// A display in front of the camera.
#[derive(Clone)]
pub struct Staged {
    pub clock: Clock,
    pub display: Display,
    pub pose: Pose,
    pub hold: Hold,
    /// The hand that holds the display.
    pub holder: Steadiness,
    /// What lies between the panel and the lens.
    pub glass: Glass,
}

/// One clip to be filmed. Everything that is random in its pictures comes from
/// `seed`; everything else stands in the fields.
#[derive(Clone)]
pub struct Shoot {
    pub camera: Camera,
    /// `None` films the scene alone.
    pub staged: Option<Staged>,
    pub scene: Scene,
    pub ambient: Ambient,
    /// How well the camera keeps its pictures.
    pub quality: Quality,
    /// Length of the clip in frames.
    pub frames: u64,
    pub seed: u64,
}

/// What cameras keep of their pictures, mostly: damage that one has to look for.
const ORDINARY_QUALITY: Quality = Quality::Constant(20);

/// Length of an ordinary clip, seconds.
const ORDINARY_S: i128 = 6;

impl Shoot {
    /// A clip as an ordinary crew films it: 1280 x 720, six seconds, the
    /// display held up for about two of them near the head, readable at a
    /// glance. The display, its fonts, the photo, hands and noise are drawn
    /// from the seed.
    pub fn ordinary(seed: u64, form: ClockForm, camera_rate: Rate) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let rng = &mut rng;
        let camera = ordinary_camera(rng, camera_rate);
        let staged = Staged {
            clock: Clock::running(form, daytime_phi(rng, form)),
            display: {
                let body = ordinary_body(rng);
                ordinary_display(rng, body)
            },
            pose: Pose {
                x: rng.random_range(0.4..0.6),
                y: rng.random_range(0.4..0.62),
                digit_px: rng.random_range(28.0..58.0),
                roll_degrees: rng.random_range(-8.0..8.0),
                yaw_degrees: rng.random_range(-18.0..18.0),
                pitch_degrees: rng.random_range(-16.0..16.0),
                is_mirrored: false,
            },
            hold: {
                let from_s = rng.random_range(-0.5..0.9);
                Hold {
                    from_s,
                    to_s: from_s.max(0.0) + rng.random_range(1.8..2.8),
                    slide_s: rng.random_range(0.25..0.6),
                    way_degrees: rng.random_range(45.0..135.0),
                }
            },
            holder: Steadiness {
                sway: 0.003,
                tremor: 0.0002,
                roll_degrees: 0.5,
                zoom: 0.008,
            },
            glass: Glass::NONE,
        };
        let frames = (Ratio::from_integer(ORDINARY_S) * camera_rate.ratio()).ceil();
        Self {
            scene: Scene::any(rng),
            camera,
            staged: Some(staged),
            ambient: Ambient::DAY,
            quality: ORDINARY_QUALITY,
            frames: u64::try_from(frames).unwrap_or(0),
            seed,
        }
    }

    /// The clock's real-valued count at the middle of frame 0's exposure, as
    /// displayed: the answer. `None` without a display, or if it shows no running clock.
    pub fn phi(&self) -> Option<Ratio> {
        self.staged
            .as_ref()
            .filter(|s| s.clock.is_running && s.display.look.showing == Showing::Clock)
            .map(|s| s.display.phi_as_displayed(&s.clock))
    }

    /// The same clip in another size: digits, sway and blur keep their share of the picture.
    #[must_use]
    pub fn resized(mut self, width_px: u32, height_px: u32) -> Self {
        let by = f64::from(width_px) / f64::from(self.camera.width_px);
        self.camera.width_px = width_px;
        self.camera.height_px = height_px;
        self.camera.display_blur_px *= by as f32;
        self.camera.scene_blur_px *= by as f32;
        self.camera.hunt.swing_px *= by as f32;
        if let Some(staged) = &mut self.staged {
            staged.pose.digit_px *= by;
        }
        self
    }

    /// What [`Shoot::record`] takes: this clip's size, rate and quality.
    pub fn record_options(&self, codec: RecordCodec) -> RecordOptions {
        let camera = &self.camera;
        RecordOptions {
            quality: self.quality,
            ..RecordOptions::new(camera.width_px, camera.height_px, camera.rate, codec)
        }
    }

    /// Renders the clip into a movie; the file's name says the container. Where players
    /// must turn the pictures, they are stored turned back, and players show them as filmed.
    ///
    /// # Errors
    /// A photo that cannot be read; what [`Recorder`] refuses or cannot write.
    pub fn record(&self, path: &Path, options: RecordOptions) -> Result<()> {
        let film = self.film()?;
        let turn = options.rotation_degrees;
        let mut recorder = Recorder::create(path, options)?;
        // The next frame is rendered while the last one is coded.
        const AHEAD: usize = 2;
        std::thread::scope(|scope| {
            let (sender, frames) = sync_channel(AHEAD);
            scope.spawn(move || {
                for (_, picture) in film {
                    let picture = match turn {
                        90 => rotate270(&picture),
                        180 => rotate180(&picture),
                        270 => rotate90(&picture),
                        _ => picture,
                    };
                    if sender.send(picture).is_err() {
                        // The recorder failed and went away; it tells why.
                        return;
                    }
                }
            });
            frames
                .iter()
                .try_for_each(|picture| recorder.write(&picture))
        })?;
        recorder.finish()
    }

    /// Makes the clip ready to be rendered.
    ///
    /// # Errors
    /// A photo that cannot be read.
    pub fn film(&self) -> Result<Film> {
        Film::new(self.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Footage, Light};

    #[test]
    fn a_recorded_clip_gives_back_times_and_pictures() {
        let form = ClockForm::Hundredths;
        let mut shoot = Shoot::ordinary(9, form, Rate::F29_97).resized(320, 180);
        shoot.frames = 12;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("clip.mp4");
        let options = shoot.record_options(RecordCodec::H264);
        shoot.record(&path, options).unwrap();
        let mut clip = crate::media::open(&path).unwrap();
        assert_eq!(clip.facts().rate, Some(Rate::F29_97));
        let mut frames = 0;
        for (stamp, drawn) in shoot.film().unwrap() {
            let decoded_at = clip.advance().unwrap().unwrap();
            assert_eq!(decoded_at.seconds(), stamp.seconds());
            let decoded = clip.picture(Light::Luma).unwrap().grey;
            let drawn = image::DynamicImage::from(drawn).to_luma8();
            let apart: f64 = decoded
                .pixels()
                .zip(drawn.pixels())
                .map(|(a, b)| (f64::from(a.0[0]) - f64::from(b.0[0])).abs())
                .sum();
            // Mean over the pixels; coding noise, and BT.709 against BT.601 weights.
            assert!(
                apart / f64::from(320 * 180) < 6.0,
                "frame {frames}: {apart}"
            );
            frames += 1;
        }
        assert_eq!((clip.advance().unwrap(), frames), (None, 12));
    }

    #[test]
    fn ordinary_draws_differ_and_repeat() {
        let form = ClockForm::frames(Rate::F25, false).expect("25 counts");
        let phi = |seed| Shoot::ordinary(seed, form, Rate::F24).phi();
        assert_eq!(phi(1), phi(1));
        assert_ne!(phi(1), phi(2));
        for seed in 0..40 {
            let camera = Shoot::ordinary(seed, form, Rate::F24).camera;
            let frame_s = Rate::F24.ratio().recip();
            assert!(camera.exposure_s.is_positive() && camera.exposure_s <= frame_s);
            assert!(camera.readout_s <= frame_s);
        }
    }

    #[test]
    fn resizing_keeps_the_framing() {
        let form = ClockForm::Seconds;
        let large = Shoot::ordinary(2, form, Rate::F25);
        let small = large.clone().resized(640, 360);
        let place = |shoot: &Shoot| shoot.film().unwrap().truth(40).quads[0].centre();
        let (a, b) = (place(&large), place(&small));
        assert!((a.x / 2.0 - b.x).abs() < 1.5 && (a.y / 2.0 - b.y).abs() < 1.5);
    }
}
