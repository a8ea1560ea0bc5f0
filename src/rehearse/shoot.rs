//! One clip to be filmed: who films what, when and where.

use super::camera::Camera;
use super::display::{Clock, Display, Drive, Edge};
use super::faces::{FONTS, Face, FontUse, Typeface};
use super::film::Film;
use super::motion::{Hold, Pose, Steadiness};
use super::scene::Scene;
use super::screens::{Body, Chatter, Lines, Look, Marks};
use super::segments::{SegmentEnds, SegmentShape};
use crate::error::Result;
use crate::media::{RecordCodec, RecordOptions, Recorder};
use crate::timecode::{ClockForm, Rate, Ratio};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use std::sync::Arc;
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
}

/// One clip to be filmed. Everything that is random in its pictures comes from
/// `seed`; everything else stands in the fields.
#[derive(Clone)]
pub struct Shoot {
    pub camera: Camera,
    /// `None` films the scene alone.
    pub staged: Option<Staged>,
    pub scene: Scene,
    /// Length of the clip in frames.
    pub frames: u64,
    pub seed: u64,
}

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
        };
        let frames = (Ratio::from_integer(ORDINARY_S) * camera_rate.ratio()).ceil();
        Self {
            scene: Scene::any(rng),
            camera,
            staged: Some(staged),
            frames: u64::try_from(frames).unwrap_or(0),
            seed,
        }
    }

    /// The clock's real-valued count at the middle of frame 0's exposure, as
    /// displayed: the answer. `None` without a display.
    pub fn phi(&self) -> Option<Ratio> {
        self.staged
            .as_ref()
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
        if let Some(staged) = &mut self.staged {
            staged.pose.digit_px *= by;
        }
        self
    }

    /// What [`Shoot::record`] takes: this clip's size and rate, good quality.
    pub fn record_options(&self, codec: RecordCodec) -> RecordOptions {
        let camera = &self.camera;
        RecordOptions::new(camera.width_px, camera.height_px, camera.rate, codec)
    }

    /// Renders the clip into a movie; the file's name says the container.
    ///
    /// # Errors
    /// A photo that cannot be read; what [`Recorder`] refuses or cannot write.
    pub fn record(&self, path: &Path, options: RecordOptions) -> Result<()> {
        let film = self.film()?;
        let mut recorder = Recorder::create(path, options)?;
        // The next frame is rendered while the last one is coded.
        const AHEAD: usize = 2;
        std::thread::scope(|scope| {
            let (sender, frames) = sync_channel(AHEAD);
            scope.spawn(move || {
                for (_, picture) in film {
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

/// Some time of day between 7 and 21 h on the clock, anywhere within a count.
fn daytime_phi(rng: &mut ChaCha8Rng, form: ClockForm) -> Ratio {
    let per_hour = form.counts_per_day() / 24;
    let count = rng.random_range(7 * per_hour..21 * per_hour);
    Ratio::from_integer(count) + Ratio::new(rng.random_range(0..1000), 1000)
}

/// One of the listed values.
fn pick<T: Clone>(rng: &mut ChaCha8Rng, from: &[T]) -> T {
    from[rng.random_range(0..from.len())].clone()
}

fn ordinary_camera(rng: &mut ChaCha8Rng, rate: Rate) -> Camera {
    let frame_s = rate.ratio().recip();
    // Half a frame (common practice, no source), or the shutters that suit mains light.
    let exposure_s = match rng.random_range(0..4) {
        0 | 1 => frame_s / Ratio::from_integer(2),
        2 => Ratio::new(1, 100),
        _ => Ratio::new(1, 120),
    };
    Camera {
        rate,
        width_px: 1280,
        height_px: 720,
        exposure_s: exposure_s.min(frame_s),
        readout_s: Ratio::new(rng.random_range(5..20), 1000).min(frame_s),
        hand: Steadiness {
            sway: rng.random_range(0.0005..0.004),
            tremor: rng.random_range(0.0..0.0003),
            roll_degrees: rng.random_range(0.0..0.5),
            zoom: 0.002,
        },
        gain: rng.random_range(0.75..1.1),
        noise: rng.random_range(0.8..3.5),
        vignette: rng.random_range(0.0..0.35),
        display_blur_px: rng.random_range(0.0..0.9),
        scene_blur_px: rng.random_range(0.3..3.5),
    }
}

fn panel(rng: &mut ChaCha8Rng, rates: &[Ratio], from: &[Edge]) -> Drive {
    Drive::Panel {
        refresh_hz: pick(rng, rates),
        phase: Ratio::new(rng.random_range(0..1000), 1000),
        scan: Ratio::new(rng.random_range(80..98), 100),
        from: pick(rng, from),
    }
}

fn ordinary_body(rng: &mut ChaCha8Rng) -> Body {
    pick(
        rng,
        &[
            Body::PhoneAcross,
            Body::PhoneAcross,
            Body::PhoneUpright,
            Body::PhoneUpright,
            Body::Window,
            Body::LedBox,
            Body::LedBox,
            Body::Lcd,
        ],
    )
}

/// A display of a kind, with everything else drawn as ordinary crews have it.
pub fn ordinary_display(rng: &mut ChaCha8Rng, body: Body) -> Display {
    let hz = |hz: i128| Ratio::from_integer(hz);
    let drive = match body {
        // A phone's panel refreshes from the top as it stands upright.
        Body::PhoneUpright => panel(rng, &[hz(60), hz(60), hz(90), hz(120)], &[Edge::Top]),
        Body::PhoneAcross => panel(
            rng,
            &[hz(60), hz(60), hz(90), hz(120)],
            &[Edge::Left, Edge::Right],
        ),
        Body::Window => panel(
            rng,
            &[hz(60), Ratio::new(60_000, 1001), hz(75), hz(50)],
            &[Edge::Top],
        ),
        Body::LedBox | Body::Lcd | Body::Bare => Drive::Direct,
    };
    Display {
        look: ordinary_look(rng, body),
        drive,
        lag_s: Ratio::ZERO,
    }
}

fn ordinary_look(rng: &mut ChaCha8Rng, body: Body) -> Look {
    let is_device = matches!(body, Body::LedBox | Body::Lcd);
    let segments = ordinary_segments(rng);
    let use_of_font = if is_device {
        FontUse::Device
    } else {
        pick(
            rng,
            &[
                FontUse::Even,
                FontUse::Even,
                FontUse::Proportional,
                FontUse::Proportional,
                FontUse::Device,
            ],
        )
    };
    // Devices mostly have real segments, screens mostly real fonts.
    let is_font = rng.random_bool(if is_device { 0.3 } else { 0.85 });
    let font = open_font(rng, use_of_font);
    let face = match font {
        Some(font) if is_font => font,
        _ => Face::Segments(segments),
    };
    let is_segments = matches!(face, Face::Segments(_));
    let is_dark_on_light = rng.random_bool(0.25);
    let pale = [rng.random_range(200..=255u8); 3];
    let dark = [rng.random_range(2..24u8); 3];
    let (lit, ground) = match body {
        Body::LedBox => (
            pick(
                rng,
                &[
                    [255, 40, 28],
                    [60, 255, 90],
                    [90, 140, 255],
                    [255, 250, 240],
                    [255, 170, 40],
                ],
            ),
            [8, 7, 8],
        ),
        Body::Lcd => (
            pick(rng, &[[24, 30, 26], [20, 22, 30], [34, 36, 28]]),
            pick(
                rng,
                &[
                    [150, 164, 140],
                    [168, 178, 160],
                    [138, 150, 110],
                    [176, 184, 190],
                ],
            ),
        ),
        _ if is_dark_on_light => (dark, pale),
        _ => (
            pick(
                rng,
                &[pale, pale, [255, 90, 70], [120, 255, 140], [255, 214, 90]],
            ),
            dark,
        ),
    };
    let is_phone = matches!(body, Body::PhoneAcross | Body::PhoneUpright);
    Look {
        body,
        face,
        words: open_font(rng, FontUse::Words),
        lit,
        ground,
        case: match body {
            Body::Lcd => pick(rng, &[[70, 72, 78], [120, 118, 110], [34, 36, 40]]),
            _ => pick(rng, &[[16, 16, 18], [26, 26, 28], [40, 42, 46]]),
        },
        ghost: match body {
            Body::LedBox if is_segments => rng.random_range(0.0..0.06),
            Body::Lcd if is_segments => rng.random_range(0.0..0.14),
            _ => 0.0,
        },
        brightness: match body {
            Body::LedBox => rng.random_range(0.9..1.6),
            Body::Lcd => rng.random_range(0.5..0.9),
            _ => rng.random_range(0.6..1.2),
        },
        glow: if body == Body::LedBox {
            rng.random_range(0.05..0.25)
        } else {
            0.0
        },
        lines: match (body, rng.random_range(0..10)) {
            (Body::PhoneUpright, 0..=3) => Lines::Two {
                after: 2,
                second: 1.0,
            },
            (Body::PhoneUpright | Body::PhoneAcross | Body::Window, 4) => Lines::Two {
                after: 3,
                second: 0.7,
            },
            _ => Lines::One,
        },
        marks: pick(
            rng,
            &[
                Marks::AsCounted,
                Marks::AsCounted,
                Marks::AsCounted,
                Marks::Colons,
                Marks::Dots,
                Marks::Spaces,
            ],
        ),
        is_even: is_segments || use_of_font != FontUse::Proportional || rng.random_bool(0.5),
        chatter: ordinary_chatter(rng, is_phone, body),
    }
}

fn ordinary_segments(rng: &mut ChaCha8Rng) -> SegmentShape {
    SegmentShape {
        width: rng.random_range(0.46..0.62),
        thickness: rng.random_range(0.09..0.16),
        gap: rng.random_range(0.0..0.03),
        slant: pick(rng, &[0.0, 0.08, 0.14]),
        spacing: rng.random_range(0.16..0.34),
        ends: pick(
            rng,
            &[
                SegmentEnds::Chamfered,
                SegmentEnds::Chamfered,
                SegmentEnds::Round,
                SegmentEnds::Square,
            ],
        ),
        tail_6: rng.random_bool(0.85),
        tail_7: rng.random_bool(0.15),
        tail_9: rng.random_bool(0.85),
    }
}

fn ordinary_chatter(rng: &mut ChaCha8Rng, is_phone: bool, body: Body) -> Chatter {
    let mut chatter = Chatter::default();
    if is_phone && rng.random_bool(0.8) {
        chatter.status_left = format!("{}:{:02}", rng.random_range(6..22), rng.random_range(0..60));
        chatter.status_right = format!("{} %", rng.random_range(18..100));
    }
    if is_phone || body == Body::Window {
        if rng.random_bool(0.35) {
            chatter.above = pick(rng, &["FREE RUN", "CLOCK 2", "UNIT B", "RUNNING"]).to_owned();
        }
        if rng.random_bool(0.6) {
            chatter.below = match rng.random_range(0..3) {
                0 => format!("{} fps", pick(rng, &["24", "25", "30", "23.976", "29.97"])),
                1 => format!(
                    "{:02}.{:02}.{}",
                    rng.random_range(1..29),
                    rng.random_range(1..13),
                    rng.random_range(2031..2036)
                ),
                _ => pick(rng, &["in step", "jammed 07:12", "drift 0.4 ppm"]).to_owned(),
            };
        }
    }
    chatter
}

/// A font of a kind; `None` where the one drawn is not installed.
fn open_font(rng: &mut ChaCha8Rng, of: FontUse) -> Option<Face> {
    let of: Vec<_> = FONTS.iter().filter(|f| f.uses == of).collect();
    let path = Path::new(pick(rng, &of).path);
    path.exists()
        .then(|| Typeface::open(path).ok())
        .flatten()
        .map(|font| Face::Font(Arc::new(font)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Footage;

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
            let decoded = clip.picture().unwrap().luma;
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
        let form = ClockForm::Frames {
            rate: Rate::F25,
            drop_frame: false,
        };
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
