//! What an eye needs to check a clip: the display as it was filmed, at a few moments, and
//! how the readings lie on the fit.

use crate::fit::{ClockFit, FittedClock};
use crate::geometry::{Point as Place, Quad};
use crate::outcome::{Crop, Evidence, Point};
use crate::reading::{Reading, Sighting};
use crate::timecode::{ClockForm, Ratio};
use crate::vision::Pyramid;
use base64::Engine;
use image::{GrayImage, ImageEncoder, Luma, imageops};
use imageproc::geometric_transformations::{Border, Interpolation, Projection, warp_into};

/// Crops that are handed on: enough to see the clock run.
const MOST_CROPS: usize = 4;
/// Crops kept while looking; when there are more, every other one goes.
const MOST_KEPT: usize = 16;
/// Points that are handed on, evenly spread: more would not show in a plot.
const MOST_POINTS: usize = 240;
/// Size of a crop at most, px: a display of one line then has digits of about 40 px.
const WIDEST_PX: f32 = 420.0;
const TALLEST_PX: f32 = 160.0;
/// Surroundings of the digits in a crop, in heights of the display.
const MARGIN: f32 = 0.35;

/// Crops under way.
pub(crate) struct Album {
    is_wanted: bool,
    kept: Vec<Kept>,
    /// Every how many readings one is kept.
    stride: usize,
    heard: usize,
}

struct Kept {
    /// Clip seconds after frame 0.
    at_s: Ratio,
    quad: Quad,
    around: Surroundings,
}

impl Kept {
    /// True if it was kept with this reading: a display that does not move stands at one place in
    /// many frames, and several stand in one.
    fn is_of(&self, reading: &Reading) -> bool {
        self.at_s == reading.stamp.seconds() && self.quad == reading.quad
    }
}

/// A part of a frame with a display in it, not turned yet: most of what is kept is dropped again.
struct Surroundings {
    part: GrayImage,
    /// Place of the part's corner in the frame, px of the frame, and how many of them one px is.
    corner: Place,
    factor: f32,
}

impl Album {
    pub fn new(is_wanted: bool) -> Self {
        Self {
            is_wanted,
            kept: Vec::new(),
            stride: 1,
            heard: 0,
        }
    }

    /// A frame in which a display was read.
    pub fn take(&mut self, frame: &Pyramid, reading: &Reading) {
        if !self.is_wanted {
            return;
        }
        self.heard += 1;
        if !self.heard.is_multiple_of(self.stride) {
            return;
        }
        self.kept
            .extend(Surroundings::of(frame, &reading.quad).map(|around| Kept {
                at_s: reading.stamp.seconds(),
                quad: reading.quad,
                around,
            }));
        if self.kept.len() > MOST_KEPT {
            let mut index = 0;
            self.kept.retain(|_| {
                index += 1;
                index % 2 == 1
            });
            self.stride *= 2;
        }
    }

    /// What is worth handing on of the clock that was fitted, or, without one, of the
    /// display that was longest in view. Empty if nothing was wanted.
    pub fn evidence(&self, sightings: &[Sighting], fit: &ClockFit) -> Evidence {
        if !self.is_wanted {
            return Evidence::default();
        }
        let has_clock = fit.sightings.iter().any(|s| s.is_the_clock());
        let longest = sightings.iter().map(|s| s.readings.len()).max();
        let mut crops = Vec::new();
        let mut points = Vec::new();
        for (sighting, fitted) in sightings.iter().zip(&fit.sightings) {
            let is_shown = if has_clock {
                fitted.is_the_clock()
            } else {
                Some(sighting.readings.len()) == longest
            };
            if !is_shown {
                continue;
            }
            for (index, reading) in sighting.readings.iter().enumerate() {
                let shown = fit
                    .clock
                    .as_ref()
                    .zip(fitted.displayed.get(index).copied().flatten());
                if let Some((clock, displayed_count)) = shown {
                    points.push(Point {
                        seconds: reading.stamp.seconds_f64(),
                        read_count: read_count(clock, sighting, reading),
                        displayed_count,
                    });
                }
                if let Some(kept) = self.kept.iter().find(|kept| kept.is_of(reading)) {
                    crops.push((kept, reading, shown));
                }
            }
        }
        crops.sort_by_key(|(kept, ..)| kept.at_s);
        Evidence {
            crops: spread(&crops, MOST_CROPS)
                .map(|(kept, reading, shown)| Crop {
                    seconds: kept.at_s.to_f64(),
                    digits: reading.guess(),
                    label: shown.map(|(clock, count)| clock.form.text(count)),
                    png: png(&kept.around.upright(&kept.quad)),
                })
                .collect(),
            points: spread(&points, MOST_POINTS).copied().collect(),
        }
    }
}

/// At most `most` of `all`, evenly spread, first and last among them.
fn spread<T>(all: &[T], most: usize) -> impl Iterator<Item = &T> {
    let shown = all.len().min(most);
    (0..shown).map(move |n| &all[n * (all.len() - 1) / (shown - 1).max(1)])
}

/// The count that the likeliest digits make, if they make a label of this clock.
fn read_count(clock: &FittedClock, sighting: &Sighting, reading: &Reading) -> Option<i64> {
    let mut digits = reading.places.iter().map(|odds| odds.told());
    let mut fields = Vec::new();
    for &group in &sighting.layout.groups {
        let mut field = String::new();
        for digit in digits.by_ref().take(usize::from(group)) {
            field.push(char::from(b'0' + digit?));
        }
        fields.push(field);
    }
    let (last, slow) = fields.split_last()?;
    let mark = match clock.form {
        ClockForm::Frames(_) | ClockForm::Seconds => ':',
        _ => '.',
    };
    let text = format!("{}{mark}{last}", slow.join(":"));
    let label = clock.form.parse(&text).ok()?;
    clock.form.count(&label).ok()
}

/// Size of a crop of the frame around `quad`, and how much larger or smaller than there the
/// display is shown in it. `None` if the quad has no size.
fn crop_of(quad: &Quad) -> Option<((f32, f32), f32)> {
    let (length, height) = (quad.length_px(), quad.height_px());
    if !(length.is_finite() && length >= 1.0 && height >= 1.0) {
        return None;
    }
    let margin = MARGIN * height;
    let (wide, tall) = (length + 2.0 * margin, height + 2.0 * margin);
    let scale = (WIDEST_PX / wide).min(TALLEST_PX / tall);
    Some(((wide * scale, tall * scale), scale))
}

/// Turns by which the text of `quad` stands upright, in radians.
fn angle_of(quad: &Quad) -> f32 {
    let along = |a: Place, b: Place| (b.x - a.x, b.y - a.y);
    let (top, bottom) = (
        along(quad.top_left, quad.top_right),
        along(quad.bottom_left, quad.bottom_right),
    );
    (top.1 + bottom.1).atan2(top.0 + bottom.0)
}

impl Surroundings {
    /// What a crop of the frame around `quad` shows, from the smallest of its sizes that is no
    /// smaller than the crop. `None` if the quad has no size or lies outside.
    fn of(frame: &Pyramid, quad: &Quad) -> Option<Self> {
        let ((wide, tall), scale) = crop_of(quad)?;
        let (picture, factor) = frame.level(frame.level_for(scale.recip(), 1.0));
        // The crop's rectangle stands askew in the frame; its box, and a pixel for what lies
        // between pixels.
        let (sin, cos) = angle_of(quad).sin_cos();
        let to_level = (2.0 * scale * factor).recip();
        let half = |a: f32, b: f32| (wide * a.abs() + tall * b.abs()) * to_level + 1.0;
        let centre = quad.centre();
        let within = |centre: f32, half: f32, most: u32| {
            let first = (centre / factor - half).floor().max(0.0) as u32;
            let behind = ((centre / factor + half).ceil().max(0.0) as u32).min(most);
            (first < behind).then(|| (first, behind - first))
        };
        let (x, width) = within(centre.x, half(cos, sin), picture.width())?;
        let (y, height) = within(centre.y, half(sin, cos), picture.height())?;
        Some(Self {
            part: imageops::crop_imm(picture, x, y, width, height).to_image(),
            corner: Place::new(x as f32 * factor, y as f32 * factor),
            factor,
        })
    }

    /// The frame around `quad`, turned so that the text stands upright, without bending it: what
    /// the camera saw.
    fn upright(&self, quad: &Quad) -> GrayImage {
        let ((wide, tall), scale) = crop_of(quad).expect("it had a size when it was kept");
        let size = |v: f32| (v.round() as u32).max(1);
        let mut picture = GrayImage::new(size(wide), size(tall));
        let (scale, centre) = (scale * self.factor, quad.centre());
        let to_picture =
            Projection::translate(picture.width() as f32 / 2.0, picture.height() as f32 / 2.0)
                * Projection::scale(scale, scale)
                * Projection::rotate(-angle_of(quad))
                * Projection::translate(
                    (self.corner.x - centre.x) / self.factor,
                    (self.corner.y - centre.y) / self.factor,
                );
        warp_into(
            &self.part,
            to_picture,
            Interpolation::Bilinear,
            Border::Constant(Luma([0])),
            &mut picture,
        );
        picture
    }
}

/// A PNG file as base64 text (RFC 4648, section 4).
fn png(picture: &GrayImage) -> String {
    let mut bytes = Vec::new();
    image::codecs::png::PngEncoder::new(&mut bytes)
        .write_image(
            picture.as_raw(),
            picture.width(),
            picture.height(),
            image::ExtendedColorType::L8,
        )
        .expect("memory takes every picture");
    base64::engine::general_purpose::STANDARD.encode(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::ClipFacts;
    use crate::fit::{Known, fit};
    use crate::frame::Stamp;
    use crate::outcome::{DropFrameKnownBy, RateKnownBy};
    use crate::reading::{DigitOdds, Layout, MarkOdds};
    use crate::timecode::Rate;

    fn reading(digits: &str) -> Reading {
        let place = |c: char| {
            let mut weights = [0.01; 10];
            if let Some(d) = c.to_digit(10) {
                weights[d as usize] = 1.0;
            }
            DigitOdds::from_weights(weights)
        };
        Reading {
            stamp: Stamp {
                ticks: 0,
                tick_seconds: Ratio::new(1, 25),
                index: Some(0),
            },
            places: digits.chars().map(place).collect(),
            glyphs: Vec::new(),
            last_mark: MarkOdds::UNKNOWN,
            quad: Quad::from_corners([
                Place::new(0.0, 0.0),
                Place::new(9.0, 0.0),
                Place::new(9.0, 3.0),
                Place::new(0.0, 3.0),
            ]),
            digit_px: 3.0,
        }
    }

    fn count(form: ClockForm, groups: &[u8], digits: &str) -> Option<i64> {
        let clock = FittedClock {
            form,
            rate_known_by: RateKnownBy::Measured,
            drop_frame: None,
            drop_frame_known_by: DropFrameKnownBy::Unknown,
            refresh_hz: None,
            speed: Ratio::ONE,
            drift_ppm: None,
        };
        let sighting = Sighting {
            layout: Layout {
                groups: groups.to_vec(),
            },
            shows_half_day: false,
            groups_apart: 0,
            stands_free: true,
            readings: vec![reading(digits)],
        };
        read_count(&clock, &sighting, &sighting.readings[0])
    }

    #[test]
    fn digits_become_the_count_they_show() {
        let df = ClockForm::frames(Rate::F29_97, true).unwrap();
        // SMPTE ST 12-1: the minute skips two labels.
        assert_eq!(count(df, &[2, 2, 2, 2], "00010002"), Some(1800));
        assert_eq!(count(df, &[1, 2, 2, 2], "0010002"), Some(1800));
        assert_eq!(count(ClockForm::Seconds, &[2, 2, 2], "000101"), Some(61));
        assert_eq!(
            count(ClockForm::Thousandths, &[2, 2, 2, 3], "000001500"),
            Some(1500)
        );
    }

    #[test]
    fn digits_that_make_no_label_give_no_count() {
        let df = ClockForm::frames(Rate::F29_97, true).unwrap();
        assert_eq!(count(df, &[2, 2, 2, 2], "00010000"), None);
        assert_eq!(count(df, &[2, 2, 2, 2], "00610002"), None);
        assert_eq!(count(df, &[2, 2, 2, 2], "0001000?"), None);
    }

    #[test]
    fn a_display_upside_down_is_turned_upright_from_every_size() {
        for times in [1, 2, 5, 16] {
            // White where the text begins, grey where it ends.
            let middle = 100 * times;
            let grey = |x| if x < middle { 90 } else { 250 };
            let frame = GrayImage::from_fn(200 * times, 100 * times, |x, _| Luma([grey(x)]));
            let corners = [(180.0, 60.0), (20.0, 60.0), (20.0, 40.0), (180.0, 40.0)];
            let at = |c: f32| c * times as f32;
            let quad = Quad::from_corners(corners.map(|(x, y)| Place::new(at(x), at(y))));
            let around = Surroundings::of(&Pyramid::new(frame), &quad).unwrap();
            let (wide, tall) = around.part.dimensions();
            assert!(
                wide <= 2 * 430 && tall <= 2 * 130,
                "{wide} x {tall} are kept"
            );
            let picture = around.upright(&quad);
            let (w, h) = picture.dimensions();
            assert!(w > 4 * h && w <= 421 && h <= 161, "{w} x {h}");
            assert_eq!(picture.get_pixel(w / 8, h / 2)[0], 250);
            assert_eq!(picture.get_pixel(w - w / 8, h / 2)[0], 90);
            // The middle of the text is the middle of the crop, to a hundredth of it.
            let seam = (0..w).position(|x| picture.get_pixel(x, h / 2)[0] < 170);
            let off = seam.unwrap().abs_diff(w as usize / 2);
            assert!(
                off * 100 <= w as usize,
                "{off} px of {w}, {times} times as large"
            );
        }
    }

    #[test]
    fn a_display_outside_of_the_frame_leaves_no_crop() {
        let frame = Pyramid::new(GrayImage::new(200, 100));
        let corners = [(55.0, 40.0), (145.0, 40.0), (145.0, 60.0), (55.0, 60.0)];
        let inside = Quad::from_corners(corners.map(|(x, y)| Place::new(x, y)));
        for (x, y) in [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)] {
            let moved = |by: f32| inside.map(|p| Place::new(p.x + by * x, p.y + by * y));
            assert!(Surroundings::of(&frame, &moved(250.0)).is_none(), "{x} {y}");
            // What the frame has of one at its edge is kept.
            let by = if y == 0.0 { 100.0 } else { 50.0 };
            assert!(Surroundings::of(&frame, &moved(by)).is_some(), "{x} {y}");
        }
    }

    #[test]
    fn a_crop_of_a_display_that_does_not_move_stands_with_the_digits_of_its_own_frame() {
        let frame = Pyramid::new(GrayImage::new(20, 20));
        let mut album = Album::new(true);
        let readings: Vec<Reading> = (0..3)
            .map(|second| {
                let mut reading = reading(&format!("00010{second}"));
                reading.stamp.ticks = 25 * second;
                album.take(&frame, &reading);
                reading
            })
            .collect();
        let sighting = Sighting {
            layout: Layout {
                groups: vec![2, 2, 2],
            },
            shows_half_day: false,
            groups_apart: 0,
            stands_free: true,
            readings,
        };
        let fit = fit(
            &[&sighting],
            &ClipFacts::plain("clip.mov", Rate::F25),
            &Known::default(),
        );
        let crops = album.evidence(&[sighting], &fit).crops;
        let shown: Vec<_> = crops
            .iter()
            .map(|c| (c.seconds, c.digits.as_str()))
            .collect();
        assert_eq!(shown, [(0.0, "000100"), (1.0, "000101"), (2.0, "000102")]);
    }

    #[test]
    fn the_spread_keeps_both_ends() {
        let all: Vec<u32> = (0..100).collect();
        assert_eq!(
            spread(&all, 4).copied().collect::<Vec<_>>(),
            [0, 33, 66, 99]
        );
        assert_eq!(spread(&all[..2], 4).count(), 2);
        assert_eq!(spread(&all[..1], 4).count(), 1);
        assert_eq!(spread(&all[..0], 4).count(), 0);
    }

    #[test]
    fn only_as_many_crops_are_kept_as_serve() {
        let frame = Pyramid::new(GrayImage::new(20, 20));
        let mut album = Album::new(true);
        for _ in 0..1000 {
            album.take(&frame, &reading("00010002"));
        }
        assert!((MOST_KEPT / 2..=MOST_KEPT).contains(&album.kept.len()));
    }
}
