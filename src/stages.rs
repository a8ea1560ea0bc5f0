//! Pictures of each stage, for one who wonders why: what was found in the frame, what the
//! reader was shown, what it made of every digit, and how the readings lie on the fit.

use crate::caption::{FONT_PX, text};
use crate::fit::ClockFit;
use crate::frame::Stamp;
use crate::geometry::Quad;
use crate::reading::{Reading, Sighting};
use crate::vision::{Display, Followed, Pyramid};
use image::{GrayImage, Rgb, RgbImage, imageops};
use imageproc::drawing::{draw_filled_circle_mut, draw_filled_rect_mut, draw_line_segment_mut};
use imageproc::rect::Rect;

/// A picture and its name: `1-candidates`, `2-strip`, `3-digits`, `4-fit`.
pub struct StagePicture {
    pub name: String,
    pub picture: RgbImage,
}

/// Longer side of the candidates' picture, px.
const FRAME_PX: u32 = 1280;
/// Strips kept for the second picture; later ones replace every other earlier one.
const MOST_STRIPS: usize = 96;
/// Readings drawn in the third picture, evenly spread.
const MOST_ROWS: usize = 60;
const CELL_PX: u32 = 12;

const PAPER: Rgb<u8> = Rgb([24, 26, 30]);
const INK: Rgb<u8> = Rgb([222, 222, 216]);
const FAINT: Rgb<u8> = Rgb([96, 100, 108]);
const GOOD: Rgb<u8> = Rgb([118, 196, 120]);
const BAD: Rgb<u8> = Rgb([232, 110, 84]);
const MARK: Rgb<u8> = Rgb([250, 200, 70]);

struct KeptStrip {
    stamp: Stamp,
    guess: String,
    quad: Quad,
    strips: Vec<GrayImage>,
}

/// What is kept while looking, if pictures are wanted.
pub(crate) struct Stages {
    is_wanted: bool,
    frame: Option<(GrayImage, Vec<Quad>, f64)>,
    strips: Vec<KeptStrip>,
    /// Every how many readings one strip is kept.
    stride: usize,
    readings_heard: usize,
}

impl Stages {
    pub fn new(is_wanted: bool) -> Self {
        Self {
            is_wanted,
            frame: None,
            strips: Vec::new(),
            stride: 1,
            readings_heard: 0,
        }
    }

    /// A frame that was searched. The first one with a candidate stays; before that, the
    /// latest one, to show where nothing was found.
    pub fn candidates(&mut self, frame: &Pyramid, displays: &[Display], stamp: Stamp) {
        if !self.is_wanted || self.frame.as_ref().is_some_and(|f| !f.1.is_empty()) {
            return;
        }
        let quads = displays.iter().map(Display::quad).collect();
        self.frame = Some((frame.full().clone(), quads, stamp.seconds_f64()));
    }

    /// A display that was read.
    pub fn reading(&mut self, seen: &Followed) {
        if !self.is_wanted {
            return;
        }
        self.readings_heard += 1;
        if !self.readings_heard.is_multiple_of(self.stride) {
            return;
        }
        self.strips.push(KeptStrip {
            stamp: seen.reading.stamp,
            guess: seen.reading.guess(),
            quad: seen.reading.quad,
            strips: seen.strips.clone(),
        });
        if self.strips.len() > MOST_STRIPS {
            let mut index = 0;
            self.strips.retain(|_| {
                index += 1;
                index % 2 == 1
            });
            self.stride *= 2;
        }
    }

    /// The pictures; empty if none were wanted.
    pub fn draw(&self, sightings: &[Sighting], fit: &ClockFit) -> Vec<StagePicture> {
        let mut out = Vec::new();
        if let Some((luma, quads, time_s)) = &self.frame {
            out.push(("1-candidates", draw_candidates(luma, quads, *time_s)));
        }
        // The sighting that made the clock; without one, the one longest in view.
        let best = sightings
            .iter()
            .zip(&fit.sightings)
            .max_by_key(|(s, f)| (f.is_the_clock(), s.readings.len()))
            .map(|(sighting, _)| sighting);
        if let Some(sighting) = best.filter(|_| self.is_wanted) {
            let of_it = |kept: &&KeptStrip| {
                let mut readings = sighting.readings.iter();
                readings.any(|r| r.stamp == kept.stamp && r.quad == kept.quad)
            };
            let strips: Vec<&KeptStrip> = self.strips.iter().filter(of_it).collect();
            if !strips.is_empty() {
                out.push(("2-strip", draw_strips(&strips)));
            }
            out.push(("3-digits", draw_digits(sighting)));
            out.extend(draw_fit(sightings, fit).map(|picture| ("4-fit", picture)));
        }
        out.into_iter()
            .map(|(name, picture)| StagePicture {
                name: name.to_owned(),
                picture,
            })
            .collect()
    }
}

fn fill(canvas: &mut RgbImage, x: u32, y: u32, w: u32, h: u32, colour: Rgb<u8>) {
    if w > 0 && h > 0 {
        draw_filled_rect_mut(canvas, Rect::at(x as i32, y as i32).of_size(w, h), colour);
    }
}

fn draw_candidates(luma: &GrayImage, quads: &[Quad], time_s: f64) -> RgbImage {
    let scale = (FRAME_PX as f32 / luma.width().max(luma.height()) as f32).min(1.0);
    let size = |v: u32| ((v as f32 * scale).round() as u32).max(1);
    let small = imageops::resize(
        luma,
        size(luma.width()),
        size(luma.height()),
        imageops::FilterType::Triangle,
    );
    let caption_px = FONT_PX + 12;
    let mut canvas =
        RgbImage::from_pixel(small.width().max(480), small.height() + caption_px, PAPER);
    for (x, y, p) in small.enumerate_pixels() {
        canvas.put_pixel(x, y, Rgb([p[0]; 3]));
    }
    for (number, quad) in (1..).zip(quads) {
        let colour = if number == 1 { MARK } else { GOOD };
        let corners = quad.corners().map(|p| (p.x * scale, p.y * scale));
        for i in 0..4 {
            for shift in [0.0, 1.0] {
                let ((ax, ay), (bx, by)) = (corners[i], corners[(i + 1) % 4]);
                draw_line_segment_mut(
                    &mut canvas,
                    (ax + shift, ay + shift),
                    (bx + shift, by + shift),
                    colour,
                );
            }
        }
        let (x, y) = corners[0];
        text(
            &mut canvas,
            x.max(0.0) as u32,
            (y - 12.0).max(0.0) as u32,
            1,
            &number.to_string(),
            colour,
        );
    }
    let caption = match quads.len() {
        0 => format!("at {time_s:.2} s: no display whose digits are grouped like a clock"),
        1 => format!("at {time_s:.2} s: one display, outlined"),
        n => format!("at {time_s:.2} s: {n} displays, likeliest first"),
    };
    text(&mut canvas, 6, small.height() + 6, 1, &caption, INK);
    canvas
}

fn draw_strips(kept: &[&KeptStrip]) -> RgbImage {
    const ZOOM: u32 = 2;
    let label_px = 26 * FONT_PX;
    let widest = kept
        .iter()
        .flat_map(|k| &k.strips)
        .map(GrayImage::width)
        .max()
        .unwrap_or(1);
    let row_px = |k: &&KeptStrip| k.strips.iter().map(|s| s.height() * ZOOM + 2).sum::<u32>() + 4;
    let total: u32 = kept.iter().map(row_px).sum();
    let mut canvas = RgbImage::from_pixel(label_px + widest * ZOOM + 8, total + 8, PAPER);
    let mut y = 4;
    for k in kept {
        text(
            &mut canvas,
            6,
            y + 24,
            1,
            &format!("{:8.3} s", k.stamp.seconds_f64()),
            FAINT,
        );
        text(&mut canvas, 6 + 12 * FONT_PX, y + 24, 1, &k.guess, INK);
        for strip in &k.strips {
            let big = imageops::resize(
                strip,
                strip.width() * ZOOM,
                strip.height() * ZOOM,
                imageops::FilterType::Triangle,
            );
            for (x, dy, p) in big.enumerate_pixels() {
                canvas.put_pixel(label_px + x, y + dy, Rgb([p[0]; 3]));
            }
            y += strip.height() * ZOOM + 2;
        }
        y += 4;
    }
    canvas
}

/// A row a reading, ten cells a place: the brighter, the likelier that digit.
fn draw_digits(sighting: &Sighting) -> RgbImage {
    let step = sighting.readings.len().div_ceil(MOST_ROWS).max(1);
    let rows: Vec<&Reading> = sighting.readings.iter().step_by(step).collect();
    let places = sighting.layout.places() as u32;
    let (left, top, place_px) = (11 * FONT_PX, 30, 10 * CELL_PX + 8);
    let mut canvas = RgbImage::from_pixel(
        left + places * place_px + 8,
        top + rows.len() as u32 * CELL_PX + 8,
        PAPER,
    );
    text(
        &mut canvas,
        6,
        6,
        1,
        "probability of each digit, place by place; a row a frame",
        FAINT,
    );
    for place in 0..places {
        for digit in 0..10u32 {
            let x = left + place * place_px + digit * CELL_PX + 2;
            text(&mut canvas, x, 18, 1, &digit.to_string(), FAINT);
        }
    }
    for (row, reading) in (0u32..).zip(rows) {
        let y = top + row * CELL_PX;
        text(
            &mut canvas,
            6,
            y + 2,
            1,
            &format!("{:8.3}", reading.stamp.seconds_f64()),
            FAINT,
        );
        for (place, odds) in (0u32..).zip(&reading.places) {
            for (digit, p) in (0u32..).zip(odds.all()) {
                let shade = |v: u8| {
                    (f32::from(PAPER[0]) + (f32::from(v) - f32::from(PAPER[0])) * p.sqrt()) as u8
                };
                let colour = Rgb([shade(MARK[0]), shade(MARK[1]), shade(MARK[2])]);
                fill(
                    &mut canvas,
                    left + place * place_px + digit * CELL_PX,
                    y,
                    CELL_PX - 1,
                    CELL_PX - 1,
                    colour,
                );
            }
        }
    }
    canvas
}

/// Where in its count the clock stood at each frame, if the fit is right: a reading that
/// agrees lies in the band between "just changed" and "about to change".
fn draw_fit(sightings: &[Sighting], fit: &ClockFit) -> Option<RgbImage> {
    const WIDTH_PX: u32 = 1100;
    const LEFT_PX: u32 = 170;
    const TOP_PX: u32 = 64;
    const BAND_PX: f64 = 160.0;
    let (start, clock) = (fit.start.as_ref()?, fit.clock.as_ref()?);
    let phi = start.displayed(clock.form).middle().to_f64();
    let drift_ppm = clock.drift_ppm.map_or(0.0, |ppm| ppm.middle().to_f64());
    let per_second = (clock.form.rate().ratio() * clock.speed).to_f64() * (1.0 + drift_ppm / 1e6);
    let mut dots: Vec<(f64, f64, bool)> = Vec::new();
    for (sighting, fitted) in sightings.iter().zip(&fit.sightings) {
        let shown = sighting.readings.iter().zip(&fitted.displayed);
        for (reading, count) in shown.filter_map(|(r, count)| Some((r, (*count)?))) {
            let time_s = reading.stamp.seconds_f64();
            let into = phi + per_second * time_s - count as f64;
            // A fit across midnight counts on; the labels start again.
            let day = clock.form.counts_per_day() as f64;
            let into = into - (into / day).round() * day;
            let agrees = clock
                .form
                .digits(count)
                .as_slice()
                .iter()
                .rev()
                .zip(reading.places.iter().rev())
                .all(|(&digit, odds)| odds.told().is_none_or(|told| told == digit));
            dots.push((time_s, into, agrees));
        }
    }
    let first = dots.iter().map(|d| d.0).reduce(f64::min)?;
    let last = dots.iter().map(|d| d.0).reduce(f64::max)?;
    let height_px = TOP_PX + (2.0 * BAND_PX) as u32 + 40;
    let mut canvas = RgbImage::from_pixel(WIDTH_PX, height_px, PAPER);
    let y_of = |into: f64| f64::from(TOP_PX) + BAND_PX * (0.5 + into.clamp(-0.5, 1.5));
    let room = f64::from(WIDTH_PX - LEFT_PX - 24);
    let x_of = |t: f64| f64::from(LEFT_PX) + room * (t - first) / (last - first).max(1e-9);
    let band = Rgb([38, 46, 44]);
    fill(
        &mut canvas,
        LEFT_PX - 8,
        y_of(0.0) as u32,
        WIDTH_PX - LEFT_PX,
        BAND_PX as u32,
        band,
    );
    for (into, name) in [(0.0, "just changed"), (1.0, "about to change")] {
        text(&mut canvas, 6, y_of(into) as u32 - 4, 1, name, FAINT);
    }
    for &(t, into, agrees) in &dots {
        let at = (x_of(t) as i32, y_of(into) as i32);
        draw_filled_circle_mut(
            &mut canvas,
            at,
            if agrees { 2 } else { 3 },
            if agrees { GOOD } else { BAD },
        );
    }
    let title = format!(
        "start {} at {}; frame 0 lies in [{:.3}, {:.3})",
        start.label,
        clock.form.rate().counts_a_second(),
        start.counts.low.to_f64(),
        start.counts.high.to_f64()
    );
    text(&mut canvas, 6, 8, 1, &title, INK);
    let wrong = dots.iter().filter(|d| !d.2).count();
    let caption = format!(
        "{} readings from {first:.2} s to {last:.2} s, {wrong} of them with a digit that disagrees",
        dots.len()
    );
    text(&mut canvas, 6, 26, 1, &caption, FAINT);
    text(
        &mut canvas,
        6,
        42,
        1,
        "where in its count the clock stood at each frame",
        FAINT,
    );
    Some(canvas)
}
