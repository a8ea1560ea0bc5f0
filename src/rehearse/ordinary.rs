//! What ordinary crews bring: their cameras, displays and habits, drawn at random.

use super::camera::{Camera, Hunt};
use super::display::{Display, Drive, Edge};
use super::faces::{FONTS, Face, FontUse, Typeface};
use super::motion::Steadiness;
use super::screens::{Body, Chatter, Lines, Look, Marks, Showing};
use super::segments::{SegmentEnds, SegmentShape};
use crate::timecode::{ClockForm, Rate, Ratio};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use std::sync::Arc;

/// Some time of day between 7 and 21 h on the clock, anywhere within a count.
pub(super) fn daytime_phi(rng: &mut ChaCha8Rng, form: ClockForm) -> Ratio {
    let per_hour = form.counts_per_day() / 24;
    let count = rng.random_range(7 * per_hour..21 * per_hour);
    Ratio::from_integer(count) + Ratio::new(rng.random_range(0..1000), 1000)
}

/// One of the listed values.
pub(super) fn pick<T: Clone>(rng: &mut ChaCha8Rng, from: &[T]) -> T {
    from[rng.random_range(0..from.len())].clone()
}

pub(super) fn ordinary_camera(rng: &mut ChaCha8Rng, rate: Rate) -> Camera {
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
        hunt: Hunt::LOCKED,
        bloom: 0.0,
        grain_px: 0.0,
        is_mosaic: false,
    }
}

pub(super) fn panel(rng: &mut ChaCha8Rng, rates: &[Ratio], from: &[Edge]) -> Drive {
    Drive::Panel {
        refresh_hz: pick(rng, rates),
        phase: Ratio::new(rng.random_range(0..1000), 1000),
        scan: Ratio::new(rng.random_range(80..98), 100),
        from: pick(rng, from),
    }
}

pub(super) fn ordinary_body(rng: &mut ChaCha8Rng) -> Body {
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
        unlit: None,
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
        showing: Showing::Clock,
        pixels_per_digit: 0.0,
    }
}

pub(super) fn ordinary_segments(rng: &mut ChaCha8Rng) -> SegmentShape {
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
pub(super) fn open_font(rng: &mut ChaCha8Rng, of: FontUse) -> Option<Face> {
    let of: Vec<_> = FONTS.iter().filter(|f| f.uses == of).collect();
    let path = Path::new(pick(rng, &of).path);
    path.exists()
        .then(|| Typeface::open(path).ok())
        .flatten()
        .map(|font| Face::Font(Arc::new(font)))
}
