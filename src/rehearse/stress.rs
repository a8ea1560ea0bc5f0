//! Clips that are hard to read, one trouble each, and clips without a running clock.

use super::camera::Hunt;
use super::display::{Drive, Edge};
use super::faces::Face;
use super::flicker::{Flicker, Wave};
use super::motion::{Hold, Steadiness};
use super::ordinary::{ordinary_display, ordinary_segments, panel, pick};
use super::scene::Scene;
use super::screens::{Body, Lines, Marks, Showing};
use super::segments::SegmentEnds;
use super::shoot::{Shoot, Staged};
use crate::media::Quality;
use crate::timecode::{ClockForm, Rate, Ratio};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What makes a clip hard to read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Stress {
    /// A slow panel that writes its lines from the top down: new digits above old ones.
    ScanOut,
    /// The same on a phone that lies on its side: new digits beside old ones.
    ScanAcross,
    /// A long shutter: counts blend into each other.
    Blend,
    /// A slow rolling shutter.
    RollingShutter,
    /// Unsteady hands: motion blur.
    Shake,
    /// Out of focus.
    Defocus,
    /// The focus comes and goes.
    FocusHunt,
    /// The panel's pixels beat with the sensor's.
    Moire,
    /// The scene in front of the display is mirrored in its glass.
    Reflection,
    /// A lamp is mirrored in the glass.
    Glare,
    /// Fingers over the edge of the screen.
    Fingers,
    /// Too bright: digits clip and glow.
    Bloom,
    /// Too little light: coarse noise.
    Noise,
    /// Few bits per second.
    LowBitRate,
    /// Lamps that flicker at twice the mains' frequency, on displays that do not shine.
    MainsFlicker,
    /// Digits that are lit one after the other.
    Multiplex,
    /// Unlit segments that can be seen.
    Ghost,
    /// Slanted, thin and thick segments, 6, 7 and 9 with and without tails.
    OddSegments,
    /// A dimmed screen at night.
    Night,
    /// Deep red or blue digits on black.
    Coloured,
    /// A matte protector.
    Protector,
    /// Cracked glass.
    Cracked,
    /// Curved glass.
    Curved,
    /// Filmed in a mirror.
    Mirrored,
    /// Two lines of digits.
    TwoLines,
    /// Upside down.
    UpsideDown,
    /// Far away.
    Small,
    /// Seen from the side.
    Tilt,
    /// Lit segments of one colour between grey unlit ones about as bright, as by day.
    Daylight,
}

impl Stress {
    /// Every one.
    pub const ALL: [Self; 29] = [
        Self::ScanOut,
        Self::ScanAcross,
        Self::Blend,
        Self::RollingShutter,
        Self::Shake,
        Self::Defocus,
        Self::FocusHunt,
        Self::Moire,
        Self::Reflection,
        Self::Glare,
        Self::Fingers,
        Self::Bloom,
        Self::Noise,
        Self::LowBitRate,
        Self::MainsFlicker,
        Self::Multiplex,
        Self::Ghost,
        Self::OddSegments,
        Self::Night,
        Self::Coloured,
        Self::Protector,
        Self::Cracked,
        Self::Curved,
        Self::Mirrored,
        Self::TwoLines,
        Self::UpsideDown,
        Self::Small,
        Self::Tilt,
        Self::Daylight,
    ];

    /// The body that shows it best; `None` leaves the one that was drawn.
    fn body(self, rng: &mut ChaCha8Rng) -> Option<Body> {
        let phones = [Body::PhoneAcross, Body::PhoneUpright];
        match self {
            Self::ScanOut => Some(pick(rng, &[Body::PhoneUpright, Body::Window])),
            Self::ScanAcross => Some(Body::PhoneAcross),
            Self::Moire => Some(Body::Window),
            Self::Reflection | Self::Glare | Self::Fingers | Self::Protector | Self::Cracked => {
                Some(pick(rng, &phones))
            }
            Self::Bloom | Self::Multiplex | Self::Coloured | Self::Daylight => Some(Body::LedBox),
            Self::MainsFlicker => Some(Body::Lcd),
            Self::Ghost | Self::OddSegments => Some(pick(rng, &[Body::LedBox, Body::Lcd])),
            Self::Night | Self::TwoLines => Some(pick(
                rng,
                &[Body::PhoneAcross, Body::PhoneUpright, Body::Window],
            )),
            Self::Curved => Some(pick(rng, &[Body::LedBox, Body::Lcd, Body::PhoneAcross])),
            _ => None,
        }
    }
}

/// From one value to another by a strength 0.0..=1.0.
fn between(from: f64, to: f64, strength: f64) -> f64 {
    from + (to - from) * strength
}

/// An exact ratio near a value; times and frequencies of hardware need no more.
fn thousandths(value: f64) -> Ratio {
    Ratio::new((value * 1000.0).round() as i128, 1000)
}

impl Shoot {
    /// An ordinary clip with one trouble. A strength of 0.0 is as good as none; at 1.0 a
    /// patient person can just tell the frames from each other. What the trouble calls for
    /// (an LED box for multiplexed digits, say) is there at any strength.
    pub fn stressed(
        seed: u64,
        form: ClockForm,
        camera_rate: Rate,
        stress: Stress,
        strength: f64,
    ) -> Self {
        let mut shoot = Self::ordinary(seed, form, camera_rate);
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(7);
        let rng = &mut rng;
        let strength = strength.clamp(0.0, 1.0);
        if let Some(staged) = &mut shoot.staged {
            if let Some(body) = stress.body(rng) {
                staged.display = ordinary_display(rng, body);
            }
            stress_display(rng, staged, stress, strength);
        }
        stress_camera(rng, &mut shoot, stress, strength);
        shoot
    }

    /// A clip that shows no running clock: a moving view of a photo, screens with dates,
    /// prices or a rising figure, a clock that stands still.
    pub fn without_clock(seed: u64, camera_rate: Rate) -> Self {
        let form = ClockForm::frames(Rate::F25, false).expect("25 counts");
        let mut shoot = Self::ordinary(seed, form, camera_rate);
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(8);
        let rng = &mut rng;
        // The camera looks about.
        shoot.camera.hand = Steadiness {
            sway: rng.random_range(0.005..0.03),
            tremor: rng.random_range(0.0..0.0008),
            roll_degrees: rng.random_range(0.5..3.0),
            zoom: rng.random_range(0.0..0.02),
        };
        shoot.camera.scene_blur_px = rng.random_range(0.0..1.5);
        match rng.random_range(0..5) {
            0 | 1 => shoot.staged = None,
            2 | 3 => {
                if let Some(staged) = &mut shoot.staged {
                    show_other_digits(rng, staged);
                }
            }
            _ => {
                if let Some(staged) = &mut shoot.staged {
                    staged.clock.is_running = false;
                }
            }
        }
        shoot
    }
}

fn show_other_digits(rng: &mut ChaCha8Rng, staged: &mut Staged) {
    let day = format!(
        "{:02}.{:02}.{}",
        rng.random_range(1..29),
        rng.random_range(1..13),
        rng.random_range(2031..2036)
    );
    let hour = format!(
        "{:02}:{:02}",
        rng.random_range(0..24),
        rng.random_range(0..60)
    );
    let price = format!(
        "{}.{:02}",
        rng.random_range(1..400),
        rng.random_range(0..100)
    );
    let look = &mut staged.display.look;
    // Drawn segments have digits and marks only, and so have these texts.
    look.showing = match rng.random_range(0..5) {
        0 => Showing::Words(vec![day]),
        1 => Showing::Words(vec![hour, day]),
        2 => Showing::Words(vec![price]),
        3 => Showing::Words(vec![
            format!(
                "{:03} {:04}",
                rng.random_range(100..999),
                rng.random_range(0..9999)
            ),
            format!("{}", rng.random_range(1..99)),
        ]),
        _ => Showing::Figure {
            step: rng.random_range(3..18),
        },
    };
    look.lines = Lines::Two {
        after: 2,
        second: rng.random_range(0.6..1.0),
    };
    // In view for longer than a clock would be: a screen in the picture.
    if rng.random_bool(0.5) {
        staged.hold = Hold::ALWAYS;
    }
}

fn stress_display(rng: &mut ChaCha8Rng, staged: &mut Staged, stress: Stress, strength: f64) {
    let by = |from: f64, to: f64| between(from, to, strength);
    let hz = |hz: i128| Ratio::from_integer(hz);
    let look = &mut staged.display.look;
    let pose = &mut staged.pose;
    let glass = &mut staged.glass;
    match stress {
        Stress::ScanOut | Stress::ScanAcross => {
            // The larger the part of the screen that the digits take, the more of them is torn.
            let edges: &[Edge] = match stress {
                Stress::ScanOut => &[Edge::Top],
                _ => &[Edge::Left, Edge::Right],
            };
            staged.display.drive = panel(rng, &[hz(50), hz(60)], edges);
            if let Drive::Panel {
                scan, refresh_hz, ..
            } = &mut staged.display.drive
            {
                *scan = thousandths(by(0.8, 1.0));
                // Slow panels, as some signs and e-readers have.
                *refresh_hz = thousandths(by(60.0, 30.0));
            }
            pose.digit_px *= by(1.0, 1.3);
        }
        Stress::Fingers => {
            glass.fingers = rng.random_range(1..=3);
            glass.finger_reach = by(0.0, 1.1) as f32;
        }
        Stress::Reflection => {
            glass.mirror = by(0.0, 0.09) as f32;
            glass.mirrored_light = rng.random_range(2.0..3.5);
        }
        Stress::Glare => {
            glass.mirror = 0.02;
            glass.lamp = by(0.0, 1.0) as f32;
            glass.lamp_reach = rng.random_range(0.5..1.3);
        }
        Stress::Protector => {
            glass.haze = by(0.0, 0.75) as f32;
            glass.haze_reach = 0.14;
            glass.veil = by(0.0, 0.1) as f32;
            glass.sparkle = by(0.0, 0.22) as f32;
        }
        Stress::Cracked => {
            glass.cracks = 3 + (10.0 * strength) as usize;
            glass.shift = by(0.0, 0.09) as f32;
            glass.mirror = 0.02;
        }
        Stress::Curved => glass.bulge = by(0.0, 0.4) as f32,
        Stress::Mirrored => pose.is_mirrored = true,
        Stress::UpsideDown => pose.roll_degrees += 180.0,
        Stress::TwoLines => {
            look.lines = Lines::Two {
                after: rng.random_range(1..=3),
                second: pick(rng, &[0.6, 0.8, 1.0, 1.3]),
            };
        }
        Stress::Small => pose.digit_px = by(26.0, 10.0),
        Stress::Tilt => {
            let side = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
            pose.yaw_degrees = side * by(10.0, 58.0);
            pose.pitch_degrees = rng.random_range(-1.0..1.0) * by(5.0, 30.0);
            pose.roll_degrees = rng.random_range(-1.0..1.0) * by(5.0, 50.0);
        }
        Stress::Ghost => {
            look.face = Face::Segments(ordinary_segments(rng));
            look.is_even = true;
            look.ghost = match look.body {
                Body::Lcd => by(0.0, 0.45),
                _ => by(0.0, 0.12),
            } as f32;
        }
        Stress::OddSegments => {
            let mut shape = ordinary_segments(rng);
            shape.slant = by(0.0, 0.25) as f32;
            shape.thickness = if rng.random_bool(0.5) {
                by(0.11, 0.05)
            } else {
                by(0.12, 0.2)
            } as f32;
            shape.gap = by(0.01, 0.035) as f32;
            shape.width = by(0.55, rng.random_range(0.4..0.7)) as f32;
            shape.ends = pick(
                rng,
                &[
                    SegmentEnds::Chamfered,
                    SegmentEnds::Round,
                    SegmentEnds::Square,
                ],
            );
            shape.tail_6 = rng.random_bool(0.5);
            shape.tail_7 = rng.random_bool(0.5);
            shape.tail_9 = rng.random_bool(0.5);
            look.face = Face::Segments(shape);
            look.is_even = true;
        }
        Stress::Coloured => {
            look.lit = pick(
                rng,
                &[[255, 0, 0], [255, 12, 4], [10, 20, 255], [150, 0, 20]],
            );
            look.ground = [6, 5, 6];
            look.brightness = by(1.0, 0.5) as f32;
            look.glow = by(0.05, 0.12) as f32;
        }
        Stress::Daylight => {
            look.face = Face::Segments(ordinary_segments(rng));
            look.is_even = true;
            look.lit = pick(
                rng,
                &[[255, 40, 30], [255, 90, 0], [30, 190, 60], [60, 70, 255]],
            );
            let grey = |share: f64| {
                let [r, g, b] = look.lit.map(f64::from);
                // ITU-R BT.709, item 3.2.
                [(share * (0.2126 * r + 0.7152 * g + 0.0722 * b)).min(255.0) as u8; 3]
            };
            (look.unlit, look.ground) = (Some(grey(by(0.5, 1.3))), grey(by(0.2, 0.9)));
            look.brightness = 1.0;
        }
        Stress::Multiplex => {
            look.face = Face::Segments(ordinary_segments(rng));
            look.is_even = true;
            staged.display.drive = Drive::Multiplexed {
                rounds_hz: thousandths(by(1000.0, 120.0)),
                turn: Ratio::new(rng.random_range(0..1000), 1000),
                digits: rng.random_range(4..=8),
            };
        }
        Stress::Night => {
            look.lit = pick(rng, &[[255, 255, 255], [255, 60, 40], [180, 200, 255]]);
            look.ground = [1, 1, 1];
            look.marks = Marks::AsCounted;
            look.brightness = by(0.35, 0.06) as f32;
        }
        Stress::Bloom => {
            // Colour filters leak, so that even red diodes burn out to white.
            look.lit = pick(
                rng,
                &[
                    [255, 90, 70],
                    [120, 255, 140],
                    [140, 170, 255],
                    [255, 190, 110],
                ],
            );
            look.ground = [1; 3];
            look.brightness = by(1.2, 16.0) as f32;
        }
        Stress::Moire => {
            // Between one and two sensor pixels per panel pixel.
            look.pixels_per_digit = pose.digit_px as f32 * rng.random_range(0.55..1.0);
        }
        _ => {}
    }
}

fn stress_camera(rng: &mut ChaCha8Rng, shoot: &mut Shoot, stress: Stress, strength: f64) {
    let by = |from: f64, to: f64| between(from, to, strength);
    let camera = &mut shoot.camera;
    let frame_s = camera.rate.ratio().recip();
    // What blur leaves legible goes by the height of the digits.
    let digit_px = shoot.staged.as_ref().map_or(40.0, |s| s.pose.digit_px);
    match stress {
        Stress::Blend => {
            camera.exposure_s = frame_s * thousandths(by(0.5, 1.0));
        }
        Stress::RollingShutter => {
            camera.readout_s = (Ratio::new(1, 30) * thousandths(by(0.3, 1.0))).min(frame_s);
        }
        Stress::Shake => {
            camera.hand.tremor = by(0.0, 0.0022);
            camera.hand.sway = by(0.002, 0.012);
            camera.hand.roll_degrees = by(0.3, 2.0);
            camera.exposure_s = (frame_s / Ratio::from_integer(2)).min(Ratio::new(1, 50));
        }
        Stress::Defocus => camera.display_blur_px = (digit_px * by(0.01, 0.1)) as f32,
        Stress::FocusHunt => {
            camera.hunt = Hunt {
                swing_px: (digit_px * by(0.0, 0.18)) as f32,
                hz: rng.random_range(0.4..0.9),
                turn: rng.random_range(0.0..1.0),
            };
        }
        Stress::Moire => {
            camera.is_mosaic = true;
            camera.display_blur_px = by(0.8, 0.0) as f32;
        }
        Stress::Bloom => {
            camera.bloom = by(0.0, 0.12) as f32;
            camera.gain = by(1.0, 1.7) as f32;
        }
        Stress::Noise => {
            camera.gain = by(0.7, 0.2) as f32;
            camera.noise = by(3.0, 10.0) as f32;
            camera.grain_px = by(0.3, 1.3) as f32;
        }
        Stress::LowBitRate => {
            // Bits per pixel: 0.1 is good, at 0.012 blocks are as large as digits.
            let pixels = f64::from(camera.width_px * camera.height_px);
            let per_second = pixels * camera.rate.ratio().to_f64();
            shoot.quality = Quality::BitRate((per_second * by(0.1, 0.012)) as u32);
            camera.hand.sway = camera.hand.sway.max(0.006);
        }
        Stress::MainsFlicker => {
            let is_led = rng.random_bool(0.5);
            let mains_hz = pick(rng, &[100, 120]);
            shoot.ambient.flicker = Some(Flicker {
                hz: Ratio::from_integer(mains_hz),
                turn: Ratio::new(rng.random_range(0..1000), 1000),
                wave: if is_led {
                    Wave::Pulse {
                        on: by(0.9, 0.5),
                        rest: by(0.9, 0.12),
                    }
                } else {
                    Wave::Sine {
                        depth: by(0.1, 0.9),
                    }
                },
            });
            camera.exposure_s = Ratio::new(1, 500).min(frame_s);
            camera.readout_s = Ratio::new(rng.random_range(8..20), 1000).min(frame_s);
        }
        Stress::Multiplex => {
            camera.exposure_s = thousandths(by(20.0, 4.0)) / Ratio::from_integer(1000);
            camera.exposure_s = camera.exposure_s.min(frame_s);
        }
        Stress::Night => {
            shoot.ambient.level = by(0.4, 0.02) as f32;
            camera.gain = by(1.0, 3.5) as f32;
            camera.noise = by(3.0, 7.0) as f32;
            camera.grain_px = by(0.0, 0.8) as f32;
        }
        Stress::Coloured => shoot.ambient.level = by(1.0, 0.4) as f32,
        _ => {}
    }
    if stress == Stress::Bloom && matches!(shoot.scene, Scene::Photo(_)) {
        shoot.ambient.level = by(1.0, 0.5) as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form() -> ClockForm {
        ClockForm::frames(Rate::F25, false).unwrap()
    }

    fn small(stress: Stress, strength: f64) -> Shoot {
        Shoot::stressed(21, form(), Rate::F25, stress, strength).resized(160, 90)
    }

    #[test]
    fn all_holds_every_stress_once() {
        let mut all = Stress::ALL.to_vec();
        all.sort();
        all.dedup();
        assert_eq!(all.len(), Stress::ALL.len());
        // The last of the list above, so that none is forgotten.
        assert_eq!(Stress::Daylight as usize + 1, all.len());
    }

    #[test]
    fn troubles_leave_the_answer_as_it_is() {
        for stress in Stress::ALL {
            for seed in 0..4 {
                let ordinary = Shoot::ordinary(seed, form(), Rate::F29_97);
                let stressed = Shoot::stressed(seed, form(), Rate::F29_97, stress, 1.0);
                assert_eq!(stressed.phi(), ordinary.phi(), "{stress:?}");
                assert_eq!(stressed.frames, ordinary.frames);
                let camera = &stressed.camera;
                let frame_s = camera.rate.ratio().recip();
                assert!(camera.exposure_s.is_positive() && camera.exposure_s <= frame_s);
                assert!(camera.readout_s <= frame_s);
            }
        }
    }

    #[test]
    fn strength_changes_the_pictures() {
        // These are there or not; and few bits spoil pictures only when they are stored.
        const OF_ONE_KIND: [Stress; 4] = [
            Stress::Mirrored,
            Stress::UpsideDown,
            Stress::TwoLines,
            Stress::LowBitRate,
        ];
        for stress in Stress::ALL {
            let frames = |strength| {
                let mut shoot = small(stress, strength);
                // Photos take long to load.
                shoot.scene = Scene::Plain([120; 3]);
                if let Some(staged) = &mut shoot.staged {
                    staged.hold = Hold::ALWAYS;
                }
                let mut film = shoot.film().unwrap();
                // Torn digits are not in every frame.
                [9, 10, 12].map(|k| film.frame(k))
            };
            let (weak, strong) = (frames(0.0), frames(1.0));
            assert_eq!(weak == strong, OF_ONE_KIND.contains(&stress), "{stress:?}");
            assert_eq!(strong, frames(1.0), "{stress:?}");
        }
        assert_ne!(
            small(Stress::LowBitRate, 0.0).quality,
            small(Stress::LowBitRate, 1.0).quality
        );
    }

    #[test]
    fn clips_without_a_clock_have_no_answer_and_come_in_every_kind() {
        let (mut bare, mut words, mut figures, mut stopped) = (0, 0, 0, 0);
        for seed in 0..100 {
            let shoot = Shoot::without_clock(seed, Rate::F29_97);
            assert_eq!(shoot.phi(), None);
            match shoot.staged {
                None => bare += 1,
                Some(staged) => match staged.display.look.showing {
                    Showing::Words(_) => words += 1,
                    Showing::Figure { .. } => figures += 1,
                    Showing::Clock => {
                        assert!(!staged.clock.is_running);
                        stopped += 1;
                    }
                },
            }
        }
        assert!(bare > 25 && words > 15 && figures > 3 && stopped > 10);
    }
}
