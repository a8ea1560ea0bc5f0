//! The readings of one sighting, ready to be compared with labels.

use super::pace::Dial;
use crate::facts::ClipFacts;
use crate::reading::{Reading, Sighting};
use crate::timecode::{ClockForm, Rate, Ratio, gcd};

/// Share of frames that may show anything at all: torn, hidden, another screen.
/// Bounds what one frame can say against a start at about ln(1 / 0.05) below
/// knowing nothing.
const STRAY_SHARE: f32 = 0.05;

/// Share of digits taken to be misread before the frames have told theirs. On
/// the high side, so that a search among flipped digits does not fall for one.
const FIRST_MISREAD_SHARE: f32 = 0.02;

/// Finest tick that is computed with as it is: 0.1 microseconds. Finer ones are
/// rounded to microseconds, so that positions fit in 64 bits.
const FINEST_TICK_DEN: i128 = 10_000_000;

/// When the frames of a clip were presented.
#[derive(Clone, Debug)]
pub(super) struct Times {
    /// Seconds per tick.
    pub tick_s: Ratio,
    /// Ticks after frame 0: one list per sighting, as its readings lie.
    pub ticks: Vec<Vec<i64>>,
    /// Ticks by which a stamp may be off against that of frame 0, either way.
    pub rounding_ticks: i64,
    /// True if frames do not come evenly.
    pub is_uneven: bool,
    /// The clip's nominal rate.
    pub clip_rate: Option<Rate>,
}

impl Times {
    /// Brings the stamps to one tick. A container with coarse ticks rounds its
    /// stamps; where all of them are rounded multiples of the nominal frame
    /// duration, the exact multiples are used instead.
    pub fn of(sightings: &[&Sighting], facts: &ClipFacts) -> Self {
        let stamps: Vec<Vec<Ratio>> = sightings
            .iter()
            .map(|s| s.readings.iter().map(|r| r.stamp.seconds()).collect())
            .collect();
        let tick_s = sightings
            .iter()
            .flat_map(|s| s.readings.iter())
            .map(|r| r.stamp.tick_seconds)
            .reduce(common_tick)
            .unwrap_or(facts.tick_seconds);
        let exact = facts
            .rate
            .is_some_and(|rate| (rate.ratio() * tick_s).recip().den() == 1);
        if let Some(rate) = facts.rate.filter(|_| !exact) {
            let frame_s = rate.ratio().recip();
            let near = |s: &Ratio| {
                let frame = (*s * rate.ratio()).round();
                // Both this stamp and that of frame 0 are off by up to half a tick.
                ((*s - Ratio::from_integer(frame) * frame_s).abs() <= tick_s)
                    .then_some(i64::try_from(frame).unwrap_or(i64::MAX))
            };
            let ticks: Option<Vec<Vec<i64>>> = stamps
                .iter()
                .map(|list| list.iter().map(near).collect())
                .collect();
            if let Some(ticks) = ticks {
                return Self {
                    tick_s: frame_s,
                    ticks,
                    rounding_ticks: 0,
                    is_uneven: facts.is_variable_rate,
                    clip_rate: facts.rate,
                };
            }
        }
        let mut rounding_ticks = i64::from(!exact);
        let tick_s = if tick_s.den() > FINEST_TICK_DEN {
            rounding_ticks += 1;
            Ratio::new(1, 1_000_000)
        } else {
            tick_s
        };
        let whole = |s: &Ratio| i64::try_from((*s / tick_s).round()).unwrap_or(i64::MAX);
        Self {
            tick_s,
            ticks: stamps
                .iter()
                .map(|l| l.iter().map(whole).collect())
                .collect(),
            rounding_ticks,
            is_uneven: facts.is_variable_rate,
            clip_rate: facts.rate,
        }
    }
}

/// The longest tick of which both are whole multiples.
fn common_tick(a: Ratio, b: Ratio) -> Ratio {
    if a == b {
        return a;
    }
    let (a_num, b_num) = (a.num() * b.den(), b.num() * a.den());
    let shared = gcd(a_num.unsigned_abs(), b_num.unsigned_abs());
    Ratio::new(shared as i128, a.den() * b.den())
}

/// The readings of one sighting in the order of time, with the logarithms of
/// their odds.
#[derive(Clone)]
pub(super) struct Looks<'a> {
    pub dial: Dial,
    readings: Vec<&'a Reading>,
    /// Place of each reading in the sighting.
    pub sources: Vec<usize>,
    /// Ticks after frame 0, ascending.
    pub ticks: Vec<i64>,
    /// ln(10 p) for each reading, place and digit: what a digit says for a
    /// label against knowing nothing.
    logs: Vec<f32>,
    /// Places treated as unread in all frames.
    blank: Vec<usize>,
}

/// How the digits of one reading stand to a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Agreement {
    /// Places with a digit of at least half the weight.
    pub read: usize,
    /// Those of them that say another digit than the label.
    pub against: usize,
}

impl Agreement {
    pub const fn agrees(self) -> bool {
        self.read > 0 && self.against == 0
    }
}

impl<'a> Looks<'a> {
    /// `ticks` as in [`Times`]. Readings with another number of places than the
    /// layout has are passed over. `None` if the layout is no clock's, or if no reading is left: of
    /// looks there is a first and a last one.
    pub fn of(sighting: &'a Sighting, ticks: &[i64]) -> Option<Self> {
        let dial = Dial::of(&sighting.layout)?;
        let mut sources: Vec<usize> = (0..sighting.readings.len())
            .filter(|&i| sighting.readings[i].places.len() == dial.places())
            .collect();
        if sources.is_empty() {
            return None;
        }
        sources.sort_by_key(|&i| ticks[i]);
        let mut looks = Self {
            dial,
            readings: sources.iter().map(|&i| &sighting.readings[i]).collect(),
            ticks: sources.iter().map(|&i| ticks[i]).collect(),
            sources,
            logs: Vec::new(),
            blank: Vec::new(),
        };
        looks.weigh_first();
        Some(looks)
    }

    pub fn len(&self) -> usize {
        self.readings.len()
    }

    pub fn reading(&self, look: usize) -> &'a Reading {
        self.readings[look]
    }

    /// True unless it was seen in most looks that no mark stands before the last group.
    pub fn shows_a_last_mark(&self) -> bool {
        let none: f32 = self.readings.iter().map(|r| r.last_mark.none).sum();
        none * 2.0 < self.readings.len() as f32
    }

    /// Only the looks in `keep`, in that order.
    pub fn subset(&self, keep: &[usize]) -> Self {
        let row = 10 * self.dial.places();
        Self {
            dial: self.dial,
            readings: keep.iter().map(|&i| self.readings[i]).collect(),
            sources: keep.iter().map(|&i| self.sources[i]).collect(),
            ticks: keep.iter().map(|&i| self.ticks[i]).collect(),
            logs: keep
                .iter()
                .flat_map(|&i| &self.logs[i * row..(i + 1) * row])
                .copied()
                .collect(),
            blank: self.blank.clone(),
        }
    }

    /// The same looks at a display without its last `places`: what stands there is no part of
    /// the clock, or cannot be read.
    pub fn without_tail(&self, places: usize) -> Self {
        let mut looks = self.clone();
        looks.dial.last_digits -= places as u8;
        looks.blank.retain(|&place| place < looks.dial.places());
        looks.weigh_first();
        looks
    }

    /// The same looks with time running backwards: a clock that counts down
    /// counts up in them.
    pub fn backwards(&self) -> Self {
        let mut looks = self.subset(&(0..self.len()).rev().collect::<Vec<_>>());
        looks.ticks.iter_mut().for_each(|tick| *tick = -*tick);
        looks
    }

    /// Takes the odds anew; `misread_shares` holds, for each place, the share of digits that
    /// are misread there whatever their odds say.
    pub fn weigh(&mut self, misread_shares: &[f32]) {
        self.logs.clear();
        self.logs
            .reserve(self.readings.len() * self.dial.places() * 10);
        for reading in &self.readings {
            // The dial may be shorter than the display; see `without_tail`.
            for (place, (odds, share)) in reading.places.iter().zip(misread_shares).enumerate() {
                if self.blank.contains(&place) {
                    self.logs.extend([0.0; 10]);
                } else {
                    let floored = |p: f32| (10.0 * p * (1.0 - share) + share).ln();
                    self.logs.extend(odds.all().map(floored));
                }
            }
        }
    }

    /// Takes the odds anew as before any frame has told how many digits are misread.
    pub fn weigh_first(&mut self) {
        self.weigh(&vec![FIRST_MISREAD_SHARE; self.dial.places()]);
    }

    /// From now on treats one place as unread in all frames.
    pub fn blank(&mut self, place: usize) {
        self.blank.push(place);
        let row = 10 * self.dial.places();
        for logs in self.logs.chunks_exact_mut(row) {
            logs[10 * place..10 * place + 10].fill(0.0);
        }
    }

    /// ln(10 p) of the ten digits at one place of one reading.
    pub fn place(&self, look: usize, place: usize) -> &[f32; 10] {
        let at = (look * self.dial.places() + place) * 10;
        self.logs[at..at + 10].try_into().expect("ten digits")
    }

    /// What a reading says for a label, in nats against knowing nothing.
    /// `digits` is the full label, hours first, two digits each.
    ///
    /// The sum of "as read" and "stray frame" is replaced by the larger of the
    /// two: at most ln 2 less, and much cheaper.
    pub fn says(&self, look: usize, digits: &[u8]) -> f32 {
        let hidden = self.dial.hidden_digits();
        if digits[..hidden].iter().any(|&d| d != 0) {
            return STRAY_SHARE.ln();
        }
        let row = 10 * self.dial.places();
        let logs = &self.logs[look * row..(look + 1) * row];
        let sum: f32 = logs
            .chunks_exact(10)
            .zip(&digits[hidden..])
            .map(|(ten, &digit)| ten[usize::from(digit)])
            .sum();
        (sum + (1.0 - STRAY_SHARE).ln()).max(STRAY_SHARE.ln())
    }

    /// Compares a reading with what a clock shows at a count.
    pub fn agreement_at(&self, look: usize, form: ClockForm, count: i64) -> Agreement {
        self.agreement(look, form.digits(count).as_slice())
    }

    /// Compares a reading with a full label.
    pub fn agreement(&self, look: usize, digits: &[u8]) -> Agreement {
        let shown = &digits[self.dial.hidden_digits()..];
        let mut agreement = Agreement {
            read: 0,
            against: 0,
        };
        for (place, &digit) in shown.iter().enumerate() {
            if let Some(against) = self.place_against(look, place, digit) {
                agreement.read += 1;
                agreement.against += usize::from(against);
            }
        }
        agreement
    }

    /// Whether a reading speaks against `digit` at `place`: another digit has
    /// half of the weight, and ten times as much as `digit`. One caught in its
    /// change does not. `None` if no digit has half of the weight.
    pub fn place_against(&self, look: usize, place: usize, digit: u8) -> Option<bool> {
        if self.blank.contains(&place) {
            return None;
        }
        let odds = &self.readings[look].places[place];
        let told = odds.told()?;
        Some(odds.of(digit) < 0.1 * odds.of(told))
    }

    /// Whether any place of a reading tells a digit.
    pub fn is_read(&self, look: usize) -> bool {
        let places = &self.readings[look].places[..self.dial.places()];
        (0..places.len()).any(|p| !self.blank.contains(&p) && places[p].told().is_some())
    }

    /// Whether the last digit of a look is caught between two.
    pub fn is_mixed(&self, look: usize) -> bool {
        let places = &self.readings[look].places[..self.dial.places()];
        places.last().is_some_and(|odds| {
            let (best, most) = odds.best();
            let others = (0..10).filter(|&d| d != best).map(|d| odds.of(d));
            let second = others.fold(0.0, f32::max);
            second >= 0.15 && most + second >= 0.8
        })
    }

    /// Share of looks whose last digit is caught between two. A clock that is not locked to
    /// the camera is caught in its change in that part of a count in which the shutter is open.
    pub fn mixed_share(&self) -> f64 {
        let mixed = (0..self.len()).filter(|&look| self.is_mixed(look)).count();
        mixed as f64 / self.len().max(1) as f64
    }

    /// Ticks from one look to the next, the median; `None` for a single look.
    pub fn usual_step_ticks(&self) -> Option<i64> {
        let mut steps: Vec<i64> = self.ticks.windows(2).map(|w| w[1] - w[0]).collect();
        let middle = steps.len() / 2;
        (!steps.is_empty()).then(|| *steps.select_nth_unstable(middle).1)
    }

    /// Clip seconds from one look to the next, the median; 0 for a single look.
    pub fn frame_s(&self, times: &Times) -> Ratio {
        Ratio::from_integer(self.usual_step_ticks().unwrap_or(0)) * times.tick_s
    }

    /// Ticks from the first to the last look.
    pub fn span_ticks(&self) -> i64 {
        match (self.ticks.first(), self.ticks.last()) {
            (Some(first), Some(last)) => last - first,
            _ => 0,
        }
    }
}
