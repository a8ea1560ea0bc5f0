//! A small simulator of readings: a clock on a display, a camera with its own
//! rate and phase, a reader with doubts. Floats are fine here: phases are
//! random, so none falls on a boundary.

use crate::facts::ClipFacts;
use crate::frame::Stamp;
use crate::geometry::{Point, Quad};
use crate::reading::{DigitOdds, Layout, MarkOdds, Reading, Sighting};
use crate::timecode::{ClockForm, Rate, Ratio};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A clock in front of a camera.
#[derive(Clone, Debug)]
pub struct Scene {
    pub form: ClockForm,
    /// Count at the middle of frame 0's exposure.
    pub phi: f64,
    /// Real seconds per clip second.
    pub speed: f64,
    pub camera: Rate,
    /// Seconds per tick; `None` for ticks that divide the frame duration.
    pub tick_seconds: Option<Ratio>,
    /// Presented frames that are read.
    pub frames: Vec<u64>,
    /// Refresh of the display in hertz, and its phase (0 to 1).
    pub refresh: Option<(f64, f64)>,
    /// Exposure as a share of the frame duration.
    pub exposure: f64,
    /// Noise of the reader against a contrast of 1: 0.15 is clear, 0.3 is poor.
    pub noise: f64,
    /// Share of the noise (in variance) that a place keeps through all frames.
    pub common_noise: f64,
    /// Share of frames in which one random digit is misread without doubt.
    pub flips: f64,
    /// Places that are never lit.
    pub dark: Vec<usize>,
    /// A place that always shows one digit, whatever the clock says.
    pub stuck: Option<(usize, u8)>,
    pub mark: MarkOdds,
    /// Clock counts per real second over those of its form.
    pub drift: f64,
    /// Blanks a leading zero hour.
    pub one_hour_digit: bool,
    pub seed: u64,
}

/// Readings and what is true of them.
#[derive(Clone)]
pub struct Filmed {
    pub sighting: Sighting,
    pub facts: ClipFacts,
    /// Count at the middle of frame 0 as displayed: the real one less the least
    /// lag of any change in view, which nothing in the picture can tell.
    pub phi_displayed: f64,
}

pub const COLON: MarkOdds = MarkOdds {
    colon: 0.97,
    semicolon: 0.01,
    dot: 0.01,
    none: 0.01,
};
pub const SEMICOLON: MarkOdds = MarkOdds {
    colon: 0.01,
    semicolon: 0.97,
    dot: 0.01,
    none: 0.01,
};

/// Nothing where a mark would stand.
pub const BARE: MarkOdds = MarkOdds {
    colon: 0.05,
    semicolon: 0.0,
    dot: 0.05,
    none: 0.9,
};

pub fn frames(rate: Rate) -> ClockForm {
    ClockForm::frames(rate, false).unwrap()
}

pub fn drop_frames(rate: Rate) -> ClockForm {
    ClockForm::frames(rate, true).unwrap()
}

impl Scene {
    /// Least and largest lag of the changes of count in view, in real seconds.
    pub fn lags_s(&self) -> (f64, f64) {
        let Some((hz, phase)) = self.refresh else {
            return (0.0, 0.0);
        };
        let rate = self.form.rate().ratio().to_f64() * self.drift;
        let real_s = |frame: u64| frame as f64 / self.camera.ratio().to_f64() * self.speed;
        let first = (self.phi + rate * real_s(self.frames[0])).floor() as i64;
        let last = (self.phi + rate * real_s(*self.frames.last().unwrap())).floor() as i64;
        let lag = |count: i64| {
            let change_s = (count as f64 - self.phi) / rate;
            let tick_s = ((change_s * hz - phase).ceil() + phase) / hz;
            tick_s - change_s
        };
        (first..=last + 1)
            .map(lag)
            .fold((f64::INFINITY, 0.0), |(l, h), x| (l.min(x), f64::max(h, x)))
    }

    /// Sixty frames of a burned-in clock, read clearly.
    pub fn new(form: ClockForm, label: &str, camera: Rate) -> Self {
        let count = form.count(&form.parse(label).unwrap()).unwrap();
        Self {
            form,
            phi: count as f64 + 0.5,
            speed: 1.0,
            camera,
            tick_seconds: None,
            frames: (0..60).collect(),
            refresh: None,
            exposure: 0.0,
            noise: 0.12,
            common_noise: 0.0,
            flips: 0.0,
            dark: Vec::new(),
            stuck: None,
            mark: COLON,
            drift: 1.0,
            one_hour_digit: false,
            seed: 1,
        }
    }

    pub fn film(&self) -> Filmed {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let hour_digits = if self.one_hour_digit { 1 } else { 2 };
        let mut groups = vec![hour_digits, 2, 2];
        if self.form.last_digits() > 0 {
            groups.push(self.form.last_digits());
        }
        let layout = Layout { groups };
        let hidden = 2 - usize::from(hour_digits);
        let frame_s = self.camera.ratio().recip();
        let tick = self
            .tick_seconds
            .unwrap_or_else(|| Ratio::new(1, frame_s.den()));
        let rate = self.form.rate().ratio().to_f64() * self.drift;
        let common: Vec<[f64; 10]> = (0..layout.places())
            .map(|_| std::array::from_fn(|_| gauss(&mut rng)))
            .collect();
        let mut readings = Vec::new();
        for &frame in &self.frames {
            let at = Ratio::from_integer(frame) * frame_s;
            let ticks = (at / tick).round();
            let middle_s = at.to_f64() * self.speed;
            let exposure_s = self.exposure * frame_s.to_f64() * self.speed;
            let shown = |t: f64| {
                let tick = self
                    .refresh
                    .map_or(t, |(hz, phase)| ((t * hz - phase).floor() + phase) / hz);
                (self.phi + rate * tick).floor() as i64
            };
            const SAMPLES: i32 = 9;
            let mut seen = vec![[0f64; 10]; layout.places()];
            for sample in 0..SAMPLES {
                let off = (f64::from(sample) - 4.0) / f64::from(SAMPLES);
                let digits = self.form.digits(shown(middle_s + off * exposure_s));
                for (place, &digit) in digits.as_slice()[hidden..].iter().enumerate() {
                    seen[place][usize::from(digit)] += 1.0 / f64::from(SAMPLES);
                }
            }
            if rng.random_bool(self.flips) {
                let place = rng.random_range(0..seen.len());
                let was = (0..10).max_by(|&a, &b| seen[place][a].total_cmp(&seen[place][b]));
                let now = (was.unwrap() + rng.random_range(1..10)) % 10;
                seen[place] = std::array::from_fn(|d| f64::from(u8::from(d == now)));
            }
            if let Some((place, digit)) = self.stuck {
                seen[place] = std::array::from_fn(|d| f64::from(u8::from(d == usize::from(digit))));
            }
            let places = seen
                .iter()
                .enumerate()
                .map(|(place, seen)| {
                    if self.dark.contains(&place) {
                        return DigitOdds::FLAT;
                    }
                    // Caught in a change: the reader says both, with rough weights.
                    if seen.iter().all(|&w| w < 0.9) {
                        return DigitOdds::from_weights(seen.map(|w| {
                            let rough = w + 0.1 * w.sqrt() * gauss(&mut rng);
                            (rough.max(0.0) + 1e-3) as f32
                        }));
                    }
                    // A digit shown at contrast 1 in Gaussian noise, judged rightly.
                    let (own, kept) = ((1.0 - self.common_noise).sqrt(), self.common_noise.sqrt());
                    let logits: [f64; 10] = std::array::from_fn(|d| {
                        let noise = own * gauss(&mut rng) + kept * common[place][d];
                        (seen[d] + self.noise * noise) / (self.noise * self.noise)
                    });
                    let most = logits.iter().copied().fold(f64::MIN, f64::max);
                    // No reader is surer than one in two thousand.
                    DigitOdds::from_weights(logits.map(|l| ((l - most).exp() + 5e-5) as f32))
                })
                .collect();
            readings.push(Reading {
                stamp: Stamp {
                    ticks: i64::try_from(ticks).unwrap(),
                    tick_seconds: tick,
                    index: Some(frame),
                },
                places,
                glyphs: Vec::new(),
                last_mark: self.mark,
                quad: Quad::from_corners([Point::new(0.0, 0.0); 4]),
                digit_px: 0.0,
            });
        }
        Filmed {
            sighting: Sighting {
                layout,
                shows_half_day: false,
                groups_apart: 0,
                stands_free: true,
                readings,
            },
            facts: facts(self.camera, tick),
            phi_displayed: self.phi - rate * self.lags_s().0,
        }
    }
}

pub fn facts(rate: Rate, tick_seconds: Ratio) -> ClipFacts {
    ClipFacts {
        tick_seconds,
        ..ClipFacts::plain("clip.mov", rate)
    }
}

/// A standard normal value, by the polar method.
pub fn gauss(rng: &mut impl Rng) -> f64 {
    loop {
        let (x, y): (f64, f64) = (rng.random_range(-1.0..1.0), rng.random_range(-1.0..1.0));
        let square = x * x + y * y;
        if square > 0.0 && square < 1.0 {
            return x * (-2.0 * square.ln() / square).sqrt();
        }
    }
}

/// A mark that nothing was seen of.
pub fn flat_marks() -> MarkOdds {
    MarkOdds::UNKNOWN
}
