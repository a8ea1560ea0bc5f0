//! Readings with a known answer. Nothing here uses the fit or its arithmetic: labels are
//! counted by walking over minutes, digits are read as seven segments in noise.

use crate::habits::Habit;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rollmark::facts::ClipFacts;
use rollmark::frame::Stamp;
use rollmark::geometry::{Point, Quad};
use rollmark::reading::{DigitOdds, Layout, MarkOdds, Reading, Sighting};
use rollmark::timecode::{Rate, Ratio};

/// A clock: counts per second as a fraction, labels per second, labels skipped at a minute.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clock {
    pub num: u32,
    pub den: u32,
    pub base: i64,
    pub skipped: i64,
    pub last_digits: usize,
}

/// A clock of so many frames a second.
pub const fn frames_of(base: u32) -> Clock {
    frames(base, 1, 0)
}

const fn frames(num: u32, den: u32, skipped: i64) -> Clock {
    let base = num.div_ceil(den) as i64;
    Clock {
        num,
        den,
        base,
        skipped,
        last_digits: if base > 100 { 3 } else { 2 },
    }
}

const fn plain(base: u32, last_digits: usize) -> Clock {
    Clock {
        num: base,
        den: 1,
        base: base as i64,
        skipped: 0,
        last_digits,
    }
}

/// Clocks that count frames.
pub const FRAMES: [Clock; 16] = [
    frames(24000, 1001, 0),
    frames(24, 1, 0),
    frames(25, 1, 0),
    frames(30000, 1001, 0),
    frames(30000, 1001, 2),
    frames(30, 1, 0),
    frames(48000, 1001, 0),
    frames(48, 1, 0),
    frames(50, 1, 0),
    frames(60000, 1001, 0),
    frames(60000, 1001, 4),
    frames(60, 1, 0),
    frames(100, 1, 0),
    frames(120_000, 1001, 0),
    frames(120_000, 1001, 8),
    frames(120, 1, 0),
];
pub const SECONDS: Clock = plain(1, 0);
pub const TENTHS: Clock = plain(10, 1);
pub const HUNDREDTHS: Clock = plain(100, 2);
pub const THOUSANDTHS: Clock = plain(1000, 3);

/// Hours, minutes, seconds, parts.
pub type Label = [i64; 4];

impl Clock {
    pub fn rate(&self) -> f64 {
        f64::from(self.num) / f64::from(self.den)
    }

    fn minute_len(&self, minute: i64) -> i64 {
        60 * self.base - if minute % 10 == 0 { 0 } else { self.skipped }
    }

    fn hour_len(&self) -> i64 {
        (0..60).map(|minute| self.minute_len(minute)).sum()
    }

    pub fn day(&self) -> i64 {
        24 * self.hour_len()
    }

    pub fn label(&self, count: i64) -> Label {
        let count = count.rem_euclid(self.day());
        let hour = count / self.hour_len();
        let mut rest = count % self.hour_len();
        let mut minute = 0;
        while rest >= self.minute_len(minute) {
            rest -= self.minute_len(minute);
            minute += 1;
        }
        if minute % 10 != 0 {
            rest += self.skipped;
        }
        [hour, minute, rest / self.base, rest % self.base]
    }

    /// `None` for a label that this clock never shows.
    pub fn count(&self, [hour, minute, second, part]: Label) -> Option<i64> {
        if hour > 23 || minute > 59 || second > 59 || part >= self.base {
            return None;
        }
        let into = second * self.base + part - if minute % 10 == 0 { 0 } else { self.skipped };
        let before: i64 = (0..minute).map(|m| self.minute_len(m)).sum();
        (into >= 0).then(|| hour * self.hour_len() + before + into)
    }

    pub fn digits(&self, count: i64) -> Vec<u8> {
        let [hour, minute, second, part] = self.label(count);
        let mut text = format!("{hour:02}{minute:02}{second:02}");
        if self.last_digits > 0 {
            text += &format!("{part:0width$}", width = self.last_digits);
        }
        text.bytes().map(|b| b - b'0').collect()
    }

    /// Whether counts last several clip frames.
    pub fn is_coarse(&self) -> bool {
        self.last_digits < 2
    }
}

/// Which stamps a container writes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stamps {
    /// Ticks that divide a frame.
    Exact,
    /// Frames come when they come, rounded to so many ticks a second.
    Uneven(i64),
}

/// A clock in front of a camera.
#[derive(Clone, Debug)]
pub struct Scene {
    pub clock: Clock,
    /// Count at the middle of frame 0's exposure.
    pub phi: f64,
    /// Real seconds per clip second.
    pub speed: f64,
    /// Clock against camera, in parts per million.
    pub drift_ppm: f64,
    pub camera: (u32, u32),
    pub stamps: Stamps,
    /// Frames that are read, one list for each window.
    pub windows: Vec<Vec<u64>>,
    /// Refresh in hertz and its phase; `None` for digits that are lit at once.
    pub panel: Option<(f64, f64)>,
    /// Share of a frame in which the shutter is open.
    pub exposure: f64,
    /// Noise of one segment against its contrast.
    pub noise: f64,
    /// Share of the noise, in variance, that a segment keeps through all frames.
    pub kept_noise: f64,
    /// Noise that the reader of the segments takes for granted; less than there is makes it too
    /// sure of itself.
    pub noise_believed: f64,
    /// Share of frames with one digit misread beyond doubt.
    pub flips: f64,
    /// Share of frames that repeat the picture before.
    pub doubled: f64,
    /// A place that is never lit.
    pub dark: Option<usize>,
    /// Whether the mark before the last group can be told.
    pub has_mark: bool,
    pub habit: Habit,
    pub seed: u64,
}

/// What was seen, and what is true of it.
pub struct Filmed {
    pub sightings: Vec<Sighting>,
    pub facts: ClipFacts,
    /// For each frame in order: clip seconds after frame 0 as stamped, and the count that stood
    /// on the display in the middle of the exposure.
    pub shown: Vec<(f64, i64)>,
    /// Least and largest lag of the display in view, in counts.
    pub lags: (f64, f64),
    /// The light behind each reading, in the same order.
    pub light: Vec<Light>,
}

/// One frame before anything was made of it.
pub struct Light {
    /// The counts that stood on the display while the shutter was open, with their shares.
    pub exposed: Vec<(i64, f64)>,
    /// Brightness of each segment at each place, noise included.
    pub seen: Vec<[f64; 7]>,
}

/// Segments a (top) to g (middle), as bits from the lowest.
const SEGMENTS: [u8; 10] = [
    0b011_1111, 0b000_0110, 0b101_1011, 0b100_1111, 0b110_0110, 0b110_1101, 0b111_1101, 0b000_0111,
    0b111_1111, 0b110_1111,
];
/// Chance, before looking, that a place is caught in a change, or smeared beyond reading.
const MIXED: f64 = 0.1;
const SMEARED: f64 = 0.02;
/// Share of any odds that a reader gives to everything else.
const RESERVE: f64 = 5e-4;

impl Scene {
    /// Counts per clip second, with drift.
    pub fn pace(&self) -> f64 {
        self.clock.rate() * self.speed * (1.0 + self.drift_ppm * 1e-6)
    }

    /// Seconds of one clip frame.
    pub fn frame_s(&self) -> f64 {
        f64::from(self.camera.1) / f64::from(self.camera.0)
    }

    /// Counts per real second, with drift.
    fn rate(&self) -> f64 {
        self.clock.rate() * (1.0 + self.drift_ppm * 1e-6)
    }

    /// Count on the display at a real time.
    fn displayed(&self, real_s: f64) -> i64 {
        let made_s = self.habit.made_s(real_s, self.seed);
        let drawn_s = self.panel.map_or(made_s, |(hz, phase)| {
            ((made_s * hz - phase).floor() + phase) / hz
        });
        let count = (self.phi + self.rate() * drawn_s).floor() as i64;
        self.habit.shows(count, drawn_s, self.seed)
    }

    fn digits(&self, count: i64) -> Vec<u8> {
        self.habit.digits(&self.clock, count, self.phi)
    }

    /// Real seconds after frame 0 at a time in the clip.
    fn real_s(&self, clip_s: f64) -> f64 {
        self.habit.real_s(clip_s, self.speed)
    }

    /// The counts that stood on the display while the shutter was open, with their shares.
    fn exposed(&self, clip_s: f64) -> Vec<(i64, f64)> {
        let middle = self.real_s(clip_s);
        let half = self.exposure * self.frame_s() * self.speed / 2.0;
        let (from, to) = (middle - half, middle + half);
        if half <= 0.0 || matches!(self.habit, Habit::Stale(_)) {
            return vec![(self.displayed(middle), 1.0)];
        }
        // All moments at which the picture may change.
        let mut cuts = vec![from];
        match self.panel {
            Some((hz, phase)) => {
                let first = (from * hz - phase).ceil() as i64;
                let ticks = (first..).map(|k| (k as f64 + phase) / hz);
                cuts.extend(ticks.take_while(|&t| t < to));
            }
            None => {
                let first = (self.phi + self.rate() * from).floor() as i64 + 1;
                let changes = (first..).map(|c| (c as f64 - self.phi) / self.rate());
                cuts.extend(changes.take_while(|&t| t < to));
            }
        }
        cuts.push(to);
        cuts.windows(2)
            .map(|w| {
                (
                    self.displayed((w[0] + w[1]) / 2.0),
                    (w[1] - w[0]) / (to - from),
                )
            })
            .collect()
    }

    /// Least and largest lag of the counts that come up between two real times, in counts.
    fn lags(&self, from: f64, to: f64) -> (f64, f64) {
        let Some((hz, phase)) = self.panel else {
            return (0.0, 0.0);
        };
        let count = |t: f64| (self.phi + self.rate() * t).floor() as i64;
        let lag = |c: i64| {
            let due = (c as f64 - self.phi) / self.rate();
            (((due * hz - phase).ceil() + phase) / hz - due) * self.rate()
        };
        (count(from)..=count(to) + 1)
            .map(lag)
            .fold((f64::MAX, 0.0), |(l, h), x| (l.min(x), f64::max(h, x)))
    }

    pub fn film(&self) -> Filmed {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let tick = match self.stamps {
            Stamps::Exact => Ratio::new(1, self.camera.0.into()),
            Stamps::Uneven(per_second) => Ratio::new(1, per_second.into()),
        };
        let places = 6 + self.clock.last_digits;
        let kept: Vec<[f64; 7]> = (0..places)
            .map(|_| std::array::from_fn(|_| gauss(&mut rng)))
            .collect();
        let mut groups = vec![2, 2, 2];
        if self.clock.last_digits > 0 {
            groups.push(self.clock.last_digits as u8);
        }
        let layout = Layout { groups };
        let mut shown = Vec::new();
        let mut lags = (f64::MAX, 0.0f64);
        let mut sightings = Vec::new();
        let mut light = Vec::new();
        for window in &self.windows {
            let mut readings = Vec::new();
            let mut before: Option<f64> = None;
            let mut lost_s = 0.0;
            let (mut first_s, mut last_s) = (f64::MAX, f64::MIN);
            for &frame in window {
                let even = frame as f64 * self.frame_s();
                let (at, ticks) = match self.stamps {
                    Stamps::Exact => (even, frame as i64 * i64::from(self.camera.1)),
                    Stamps::Uneven(per_second) => {
                        // Frame 0 is where time begins.
                        let late = if frame == 0 {
                            0.0
                        } else {
                            0.3 * rng.random::<f64>()
                        };
                        let at = even + late * self.frame_s();
                        (at, (at * per_second as f64).round() as i64)
                    }
                };
                if let Habit::Loses(share) = self.habit {
                    lost_s += f64::from(u8::from(rng.random_bool(share))) * self.frame_s();
                }
                let is_double = before.is_some() && rng.random_bool(self.doubled);
                let taken = before.filter(|_| is_double).unwrap_or(at + lost_s);
                before = Some(taken);
                shown.push((
                    ticks as f64 * tick.to_f64(),
                    self.displayed(self.real_s(taken)),
                ));
                first_s = first_s.min(self.real_s(taken));
                last_s = last_s.max(self.real_s(taken));
                let seen = self.see(taken, &kept, &mut rng);
                readings.push(Reading {
                    stamp: Stamp {
                        ticks,
                        tick_seconds: tick,
                        index: Some(frame),
                    },
                    places: self.read(&seen),
                    glyphs: Vec::new(),
                    last_mark: self.mark(),
                    quad: Quad::from_corners([Point::new(0.0, 0.0); 4]),
                    digit_px: 0.0,
                });
                light.push(seen);
            }
            let here = self.lags(first_s, last_s);
            lags = (
                lags.0.min(here.0),
                lags.1.max(here.1 + self.habit.latest_counts(self.rate())),
            );
            sightings.push(Sighting {
                layout: layout.clone(),
                shows_half_day: false,
                groups_apart: 0,
                stands_free: true,
                readings,
            });
        }
        Filmed {
            sightings,
            facts: self.facts(tick),
            shown,
            lags,
            light,
        }
    }

    /// One frame as it falls on the sensor.
    fn see(&self, clip_s: f64, kept: &[[f64; 7]], rng: &mut ChaCha8Rng) -> Light {
        let exposed = self.exposed(clip_s);
        let mut lit = vec![[0.0; 10]; kept.len()];
        for &(count, share) in &exposed {
            for (lit, digit) in lit.iter_mut().zip(self.digits(count)) {
                lit[usize::from(digit)] += share;
            }
        }
        if rng.random_bool(self.flips) {
            let place = rng.random_range(0..lit.len());
            let was = (0..10).max_by(|&a, &b| lit[place][a].total_cmp(&lit[place][b]));
            let other = (was.unwrap_or(0) + rng.random_range(1..10)) % 10;
            lit[place] = [0.0; 10];
            lit[place][other] = 1.0;
        }
        if let Habit::Swaps(share) = self.habit
            && rng.random_bool(share)
        {
            let place = rng.random_range(1..lit.len());
            lit.swap(place - 1, place);
        }
        let (own, common) = ((1.0 - self.kept_noise).sqrt(), self.kept_noise.sqrt());
        let mut with_noise = |(lit, kept): (&[f64; 10], &[f64; 7])| {
            std::array::from_fn(|s| {
                let light: f64 = (0..10).map(|d| lit[d] * segment(d, s)).sum();
                light + self.noise * (own * gauss(rng) + common * kept[s])
            })
        };
        Light {
            seen: lit.iter().zip(kept).map(&mut with_noise).collect(),
            exposed,
        }
    }

    /// One frame as a reader of segments reads it.
    fn read(&self, light: &Light) -> Vec<DigitOdds> {
        let places = light.seen.iter().enumerate();
        places
            .map(|(place, seen)| match self.dark {
                Some(dark) if dark == place => DigitOdds::FLAT,
                _ => odds(seen, self.noise_believed),
            })
            .collect()
    }

    fn mark(&self) -> MarkOdds {
        let mut mark = MarkOdds {
            colon: 0.01,
            semicolon: 0.01,
            dot: 0.01,
            none: 0.01,
        };
        let is_frames = FRAMES.contains(&self.clock);
        let shown = match self.clock.last_digits {
            _ if !self.has_mark => return MarkOdds::UNKNOWN,
            0 => &mut mark.colon,
            _ if !is_frames => &mut mark.dot,
            _ if self.clock.skipped > 0 => &mut mark.semicolon,
            _ => &mut mark.colon,
        };
        *shown = 0.97;
        mark
    }

    fn facts(&self, tick_seconds: Ratio) -> ClipFacts {
        ClipFacts {
            path: "simulated.mov".into(),
            container: "mov".into(),
            codec: "h264".into(),
            width_px: 1920,
            height_px: 1080,
            bit_depth: 8,
            rate: Rate::new(self.camera.0, self.camera.1),
            tick_seconds,
            duration_s: None,
            frames: None,
            is_variable_rate: self.stamps != Stamps::Exact,
            rotation_degrees: 0,
            is_mirrored: false,
            is_interlaced: false,
            has_audio: false,
            carried_timecode: None,
            camera: None,
            camera_serial: None,
            creation_time: None,
            doubts: Vec::new(),
            notes: Vec::new(),
        }
    }
}

/// 1 for a segment that is lit, 0 for one that is not.
pub fn segment(digit: usize, segment: usize) -> f64 {
    f64::from(SEGMENTS[digit] >> segment & 1)
}

/// What a reader makes of seven brightnesses: one digit, or one that is turning into the
/// next or into zero, or a smear of all.
fn odds(seen: &[f64; 7], noise: f64) -> DigitOdds {
    let says = |pattern: &dyn Fn(usize) -> f64| -> f64 {
        let off: f64 = (0..7).map(|s| (seen[s] - pattern(s)).powi(2)).sum();
        -off / (2.0 * noise * noise)
    };
    // (digit, next digit, share of the next, ln of its weight)
    let mut views: Vec<(usize, usize, f64, f64)> = Vec::with_capacity(80);
    for digit in 0..10 {
        let one = says(&|s| segment(digit, s));
        views.push((
            digit,
            digit,
            0.0,
            one + ((1.0 - MIXED - SMEARED) / 10.0).ln(),
        ));
        let zero = (1..9).contains(&digit).then_some(0);
        for next in std::iter::once((digit + 1) % 10).chain(zero) {
            for share in [0.25, 0.5, 0.75] {
                let both = says(&|s| (1.0 - share) * segment(digit, s) + share * segment(next, s));
                views.push((digit, next, share, both + (MIXED / 54.0).ln()));
            }
        }
    }
    let mean = |s| (0..10).map(|d| segment(d, s)).sum::<f64>() / 10.0;
    let smear = says(&mean) + SMEARED.ln();
    let most = views.iter().map(|v| v.3).fold(smear, f64::max);
    let mut weights = [RESERVE + (smear - most).exp() / 10.0; 10];
    for (digit, next, share, ln) in views {
        let weight = (ln - most).exp();
        weights[digit] += weight * (1.0 - share);
        weights[next] += weight * share;
    }
    DigitOdds::from_weights(weights.map(|w| w as f32))
}

/// A standard normal value, by twelve even ones: the tails beyond six are not needed.
fn gauss(rng: &mut impl Rng) -> f64 {
    (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0
}
