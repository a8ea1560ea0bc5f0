//! What is behind the display: a photo, or a drawn scene where none is installed.

use super::canvas::{Area, Canvas, Light, dimmed, mix, srgb};
use super::faces::Face;
use super::flicker::Flicker;
use crate::error::{Error, ErrorKind, Result};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::path::{Path, PathBuf};

/// Photos that Debian packages as wallpapers, none of them used in training;
/// authors and licences stand in `docs/rehearsal.md`. Left out of the packages'
/// pictures: those with logos or with a year in digits.
pub const PHOTOS: [&str; 19] = [
    "/usr/share/backgrounds/Bridge_by_Sander_Klootwijk.jpg",
    "/usr/share/backgrounds/Dragonfly_by_Bolly.jpg",
    "/usr/share/backgrounds/Infinite-Sea_by_Aury88.jpg",
    "/usr/share/backgrounds/Kleiber_by_Lukas_Baubkus.jpg",
    "/usr/share/backgrounds/Painting-Colors_by__herobrine7gamer.jpg",
    "/usr/share/backgrounds/Picture_0B_by_freespace.jpg",
    "/usr/share/backgrounds/Picture_1A_by_freespace.jpg",
    "/usr/share/backgrounds/Wine_by_Jakkub_Mede.jpg",
    "/usr/share/backgrounds/aitzgorri_by_Aitzol_Berasategi.jpg",
    "/usr/share/backgrounds/analogpattern_by_Peter_Nerlich.jpg",
    "/usr/share/backgrounds/free_by_Peter_Nerlich.jpg",
    "/usr/share/backgrounds/friends_by_Aitzol_Berasategi.jpg",
    "/usr/share/backgrounds/greentock_by_Peter_Nerlich.jpg",
    "/usr/share/backgrounds/life_by_Aitzol_Berasategi.jpg",
    "/usr/share/backgrounds/picosdeeuropa_by_Aitzol_Berasategi.jpg",
    "/usr/share/backgrounds/seeding_by_Clements_Engelhardt.jpg",
    "/usr/share/backgrounds/sunset_by_Aitzol_Berasategi.jpg",
    "/usr/share/backgrounds/rollpaper.png",
    "/usr/share/backgrounds/rhythm.jpg",
];

/// The light that falls on the scene, on cases, and on displays that do not shine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ambient {
    /// 1.0 is the light that shows a white card white; a street at night has a tenth.
    pub level: f32,
    /// Lamps on the mains.
    pub flicker: Option<Flicker>,
}

impl Ambient {
    pub const DAY: Self = Self {
        level: 1.0,
        flicker: None,
    };

    /// Mean light from one time to another, seconds after the middle of frame 0's exposure.
    pub fn mean(&self, from_s: f64, to_s: f64) -> f32 {
        let share = self.flicker.map_or(1.0, |f| f.mean(from_s, to_s, 0.0));
        self.level * share as f32
    }
}

/// What is behind the display.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scene {
    /// A random part of a JPEG or PNG file.
    Photo(PathBuf),
    /// Light, shapes, texture and some writing.
    Drawn,
    /// One sRGB colour: for measuring.
    Plain([u8; 3]),
}

impl Scene {
    /// A photo that is installed, or else a drawn scene.
    pub fn any(rng: &mut ChaCha8Rng) -> Self {
        let photo = Path::new(PHOTOS[rng.random_range(0..PHOTOS.len())]);
        if photo.exists() {
            Self::Photo(photo.to_path_buf())
        } else {
            Self::Drawn
        }
    }

    /// Renders it in linear light, out of focus by `blur_px`.
    ///
    /// # Errors
    /// [`ErrorKind::CannotOpen`] for a photo that cannot be read.
    pub fn render(
        &self,
        rng: &mut ChaCha8Rng,
        width_px: usize,
        height_px: usize,
        blur_px: f32,
        words: Option<&Face>,
    ) -> Result<Canvas> {
        let sharp = match self {
            Self::Photo(path) => photo(rng, path, width_px, height_px)?,
            Self::Drawn => drawn(rng, width_px, height_px, words),
            Self::Plain(code) => Canvas::new(width_px, height_px, srgb(*code)),
        };
        Ok(sharp.blurred(blur_px))
    }
}

fn photo(rng: &mut ChaCha8Rng, path: &Path, width_px: usize, height_px: usize) -> Result<Canvas> {
    let picture = image::open(path)
        .map_err(|e| {
            Error::new(ErrorKind::CannotOpen, "the photo cannot be read")
                .in_file(path)
                .because(e)
        })?
        .to_rgb8();
    let (w, h) = (picture.width() as f32, picture.height() as f32);
    let aspect = width_px as f32 / height_px as f32;
    let share = rng.random_range(0.55..0.95f32);
    let crop_w = w.min(h * aspect) * share;
    let crop_h = crop_w / aspect;
    let left = rng.random_range(0.0..=(w - crop_w).max(0.0));
    let top = rng.random_range(0.0..=(h - crop_h).max(0.0));
    let level = rng.random_range(0.5..1.0f32);
    let lut: Vec<Light> = (0..=255u8).map(|c| srgb([c; 3])).collect();
    // Box filter: the mean of all photo pixels under a scene pixel.
    let (step_x, step_y) = (crop_w / width_px as f32, crop_h / height_px as f32);
    Ok(Canvas::from_fn(width_px, height_px, |x, y| {
        let span = |start: f32, step: f32, i: usize, limit: f32| {
            let low = (start + step * i as f32).clamp(0.0, limit - 1.0) as u32;
            let high = (start + step * (i + 1) as f32).clamp(0.0, limit - 1.0) as u32;
            low..=high.max(low + 1).min(limit as u32) - 1
        };
        let mut sum = [0.0f32; 3];
        let mut n = 0.0;
        for py in span(top, step_y, y, h) {
            for px in span(left, step_x, x, w) {
                let code = picture.get_pixel(px, py).0;
                for c in 0..3 {
                    sum[c] += lut[usize::from(code[c])][0];
                }
                n += 1.0;
            }
        }
        let [r, g, b] = sum.map(|s| s / f32::max(n, 1.0) * level);
        [r, g, b, 1.0]
    }))
}

fn drawn(rng: &mut ChaCha8Rng, width_px: usize, height_px: usize, words: Option<&Face>) -> Canvas {
    let (w, h) = (width_px as f32, height_px as f32);
    let colour = |rng: &mut ChaCha8Rng, level: f32| {
        let code = std::array::from_fn(|_| rng.random_range(30..=235u8));
        dimmed(srgb(code), level)
    };
    let (sky, ground) = (colour(rng, 0.8), colour(rng, 0.4));
    let horizon = rng.random_range(0.3..0.8f32);
    let mut canvas = Canvas::from_fn(width_px, height_px, |_, y| {
        let y = y as f32 / h;
        if y < horizon {
            mix(sky, mix(sky, ground, 0.5), y / horizon)
        } else {
            mix(ground, dimmed(ground, 0.4), (y - horizon) / (1.0 - horizon))
        }
    });
    for _ in 0..rng.random_range(18..40) {
        let size = rng.random_range(0.02..0.25f32) * w;
        let (cx, cy) = (
            rng.random_range(-0.1..1.1) * w,
            rng.random_range(0.1..1.1) * h,
        );
        let tall = rng.random_range(0.3..2.2f32);
        let (top, bottom) = (colour(rng, 0.8), colour(rng, 0.3));
        let area = Area::new(cx - size / 2.0, cy - size * tall, cx + size / 2.0, cy);
        let round = rng.random_range(0.0..0.5f32) * size;
        canvas.rounded_box(area, round, |_, y| {
            mix(top, bottom, (y - area.top) / area.height())
        });
    }
    if let Some(face) = words {
        let signs = [
            "LANE 3",
            "No. 27",
            "KEEP LEFT",
            "19",
            "FINISH",
            "BAY 04",
            "HAY 12 kg",
        ];
        for _ in 0..rng.random_range(2..5) {
            let text = signs[rng.random_range(0..signs.len())];
            let height = rng.random_range(0.015..0.06f32) * h;
            let (x, y) = (
                rng.random_range(0.0..0.85) * w,
                rng.random_range(0.1..0.95) * h,
            );
            let (board, ink) = (colour(rng, 0.9), colour(rng, 0.2));
            let sheet = face.sheet(height, text);
            let line = sheet.lay(text, false);
            let area = Area::new(x, y - height, x + line.advance_px, y).grown(height * 0.6);
            canvas.rounded_box(area, height * 0.2, |_, _| board);
            for (c, pen) in line.pens {
                canvas.stamp(&sheet.glyph(c).mask, x as i32 + pen, y as i32, ink);
            }
        }
    }
    // Grain of several sizes stands in for grass, gravel, leaves.
    let grains: Vec<(Canvas, f32)> = [4.0f32, 11.0, 37.0]
        .iter()
        .map(|&cell| {
            let (gw, gh) = ((w / cell) as usize + 2, (h / cell) as usize + 2);
            let grain = Canvas::from_fn(gw, gh, |_, _| [rng.random_range(-1.0..1.0f32); 4]);
            (grain, cell)
        })
        .collect();
    Canvas::from_fn(width_px, height_px, |x, y| {
        let light = canvas.at(x, y);
        let texture: f32 = grains
            .iter()
            .map(|(grain, cell)| {
                grain.sample_clamped(x as f32 / cell + 0.5, y as f32 / cell + 0.5)[0] * 0.14
            })
            .sum();
        dimmed(light, 1.0 + texture)
    })
}
