//! What the readings themselves tell one who knows how they came about. Nothing here uses the fit.

use crate::filming::{Clock, Filmed, Scene};
use crate::scenes::{PANELS, PANELS_HZ};
use crate::truth::{clocks, counts_off, was_seen_running};
use std::collections::{BTreeMap, HashMap};

/// Share of clips that play at another than their own speed; all speeds but the first have it
/// together.
const CONFORMED: f64 = 0.01;
const OTHER_SPEEDS: f64 = 7.0;
/// Phases of a panel that are tried, and of a count: so many first, so many about each that may do.
const PANEL_PHASES: u32 = 12;
const COUNT_PHASES: [u32; 2] = [4, 5];
/// Counts about the label of a frame at which another clock is tried.
const NEAR: i64 = 3;
/// Nats behind which another clock is out of the question.
const HOPELESS: f64 = 12.0;

/// What is said of each of ten digits, ln(10 p), by place.
type Says = Vec<[f64; 10]>;

/// An observer of the readings. He knows the law by which they were made: how many digits are
/// flipped, how much of the noise is kept, how far the reader is too sure of itself; and he knows
/// all clocks that there could be, at all speeds and phases, burned in or on any panel.
///
/// The noise of a segment has a share k that is the same in all frames. Of n frames in which one
/// clock shows one digit and another clock another one, the leads add up to what n / (1 - k + n k)
/// of them say: the sum of all n is all that counts, its mean is n times that of one, and its
/// variance n (1 - k) + n^2 k times.
struct Observer<'a> {
    scene: &'a Scene,
    /// Seconds after frame 0, and what is said, of each frame.
    said: Vec<(f64, Says)>,
    /// What the display showed in the middle of each exposure.
    truth: Vec<Vec<u8>>,
}

/// Probability, given the readings, that the start is more than `grain` counts from the true one, each
/// as displayed.
pub fn doubt(scene: &Scene, filmed: &Filmed, grain: f64) -> f64 {
    if !was_seen_running(scene, filmed) {
        return 1.0;
    }
    let readings = filmed.sightings.iter().flat_map(|s| &s.readings);
    let says = |reading: &rollmark::reading::Reading| -> Says {
        let odds = reading.places.iter();
        odds.map(|odds| says(scene, odds.all())).collect()
    };
    let stamps = filmed.shown.iter().map(|shown| shown.0);
    let observer = Observer {
        scene,
        said: stamps.zip(readings.map(says)).collect(),
        truth: (filmed.shown.iter())
            .map(|&(_, count)| scene.clock.digits(count))
            .collect(),
    };
    // Groups of digits stand on places of their own, so that their odds multiply.
    let groups = (0..3).map(|group| observer.other_groups(group));
    let others = [
        observer.some_counts_away(filmed, grain),
        observer.other_clocks(filmed, grain),
    ];
    let parts = others.iter().sum::<f64>();
    let odds = groups.chain([parts]).map(|others| 1.0 / (1.0 + others));
    1.0 - odds.product::<f64>()
}

/// What the odds of one place say. Where digits are flipped, any other digit may have been.
fn says(scene: &Scene, odds: &[f32; 10]) -> [f64; 10] {
    // Nats that the reader got by believing in too little noise.
    let scale = (scene.noise_believed / scene.noise).powi(2);
    let weights = odds.map(|p| f64::from(p).max(1e-9).powf(scale));
    let sum: f64 = weights.iter().sum();
    let flipped = scene.flips / (6 + scene.clock.last_digits) as f64;
    weights.map(|weight| {
        let p = weight / sum;
        (10.0 * ((1.0 - flipped) * p + flipped * (1.0 - p) / 9.0)).ln()
    })
}

impl Observer<'_> {
    /// Nats by which the truth leads one that shows other digits.
    fn lead(&self, rival: &[Vec<u8>]) -> f64 {
        let kept = self.scene.kept_noise;
        let places = self.truth[0].len();
        let mut lead = 0.0;
        for place in 0..places {
            // By the digit shown, and the rival's.
            let mut pairs = [[(0.0, 0.0); 10]; 10];
            for ((truth, rival), (_, says)) in self.truth.iter().zip(rival).zip(&self.said) {
                let (own, other) = (truth[place], rival[place]);
                if own != other {
                    let says = &says[place];
                    let (own, other) = (usize::from(own), usize::from(other));
                    let (frames, nats) = &mut pairs[own][other];
                    *frames += 1.0;
                    *nats += says[own] - says[other];
                }
            }
            let worth = |&(frames, nats): &(f64, f64)| nats / (1.0 - kept + frames * kept);
            lead += pairs
                .iter()
                .flatten()
                .filter(|pair| pair.0 > 0.0)
                .map(worth)
                .sum::<f64>();
        }
        lead
    }

    /// Odds of all other values of the hours, minutes or seconds together against the true one.
    fn other_groups(&self, group: usize) -> f64 {
        let size: u8 = if group == 0 { 24 } else { 60 };
        let with = |by: u8| -> Vec<Vec<u8>> {
            let moved = self.truth.iter().map(|digits| {
                let mut digits = digits.clone();
                let value = (10 * digits[2 * group] + digits[2 * group + 1] + by) % size;
                (digits[2 * group], digits[2 * group + 1]) = (value / 10, value % 10);
                digits
            });
            moved.collect()
        };
        (1..size).map(|by| (-self.lead(&with(by))).exp()).sum()
    }

    /// The same of the true clock, so many counts before or behind.
    fn some_counts_away(&self, filmed: &Filmed, grain: f64) -> f64 {
        let clock = &self.scene.clock;
        let mut labels = Labels::of(clock);
        let away = (1..clock.base).filter(|&by| by as f64 > grain);
        away.flat_map(|by| [by, -by])
            .map(|by| {
                let counts = filmed.shown.iter().map(|&(_, count)| count + by);
                let counts: Vec<i64> = counts.collect();
                (-self.lead(&labels.of_all(&counts))).exp()
            })
            .sum()
    }

    /// The same of all other clocks, and of the true one at another speed.
    fn other_clocks(&self, filmed: &Filmed, grain: f64) -> f64 {
        let scene = self.scene;
        let last = filmed.shown.len() - 1;
        let of_speed = |speed: f64| match speed.total_cmp(&1.0).is_eq() {
            true => 1.0 - CONFORMED,
            false => CONFORMED / OTHER_SPEEDS,
        };
        let own = self.as_displayed(&scene.clock, scene.pace(), filmed.shown.iter().map(|s| s.1));
        let mut odds = 0.0;
        // The first is the true one.
        for (clock, speed) in clocks(scene).into_iter().skip(1) {
            let mut labels = Labels::of(&clock);
            let pace = clock.rate() * speed;
            let prior = of_speed(speed) / of_speed(scene.speed);
            // The best of each count at which it may start.
            let mut cells: BTreeMap<i64, f64> = BTreeMap::new();
            for anchor in [0, last / 2, last] {
                let (at, shown) = filmed.shown[anchor];
                let Some(count) = clock.count(scene.clock.label(shown)) else {
                    continue;
                };
                let [coarse, fine] = COUNT_PHASES.map(i64::from);
                for phase in -NEAR * coarse..NEAR * coarse {
                    let here = count as f64 + phase as f64 / coarse as f64;
                    let step = 1.0 / coarse as f64;
                    if self.is_hopeless(&mut labels, here - pace * at, step, pace) {
                        continue;
                    }
                    for part in 0..fine {
                        let here = here + step * (part as f64 + 0.5) / fine as f64;
                        let shown = Shown {
                            start: here - pace * at,
                            clock,
                            pace,
                        };
                        self.add_odds(&mut cells, &mut labels, &shown, own, grain);
                    }
                }
            }
            odds += prior * cells.values().sum::<f64>();
        }
        odds
    }

    /// True if no display shows a clock that holds `start` to so much more on frame 0 such that the
    /// readings allow it: even one late at will, up to the slowest panel's refresh, does not.
    fn is_hopeless(&self, labels: &mut Labels, start: f64, more: f64, pace: f64) -> bool {
        let late = labels.clock.rate() / PANELS_HZ[0];
        let of_frame = |frame: usize| {
            let now = start + pace * self.said[frame].0;
            let counts = (now - late).floor() as i64..=(now + more).floor() as i64;
            let by_nats = |&a: &i64, &b: &i64| {
                let [a, b] = [a, b].map(|count| self.nats(labels, frame, count));
                a.total_cmp(&b)
            };
            let best = counts.max_by(by_nats);
            best.expect("one count at least")
        };
        let at_will = (0..self.said.len()).map(of_frame).collect();
        let at_will = self.with_repeats(labels, at_will);
        self.lead(&labels.of_all(&at_will)) > HOPELESS
    }

    /// What a frame says for a count, in nats.
    fn nats(&self, labels: &mut Labels, frame: usize, count: i64) -> f64 {
        let digits = labels.digits(count).iter().zip(&self.said[frame].1);
        digits.map(|(&digit, says)| says[usize::from(digit)]).sum()
    }

    /// The counts that a clock shows, where frames may repeat the picture before: of the truth it is
    /// known which do, and so the others may choose.
    fn with_repeats(&self, labels: &mut Labels, counts: Vec<i64>) -> Vec<i64> {
        if self.scene.doubled <= 0.0 {
            return counts;
        }
        let mut shown = counts.clone();
        for frame in 1..counts.len() {
            let [now, before] = [counts[frame], counts[frame - 1]];
            if self.nats(labels, frame, before) > self.nats(labels, frame, now) {
                shown[frame] = before;
            }
        }
        shown
    }

    /// Adds the odds of a clock, burned in or on any panel, that starts elsewhere: by the counts
    /// that it is off, the best of all.
    fn add_odds(
        &self,
        cells: &mut BTreeMap<i64, f64>,
        labels: &mut Labels,
        shown: &Shown,
        own: f64,
        grain: f64,
    ) {
        let &Shown { start, clock, pace } = shown;
        let rate = clock.rate();
        let mut sums: BTreeMap<i64, f64> = BTreeMap::new();
        let mut add = |share: f64, drawn: &dyn Fn(f64) -> f64| {
            let counts: Vec<i64> = self
                .said
                .iter()
                .map(|s| drawn(s.0).floor() as i64)
                .collect();
            let off = self.as_displayed(&clock, pace, counts.iter().copied()) - own;
            if off.abs() > grain {
                let counts = self.with_repeats(labels, counts);
                let lead = self.lead(&labels.of_all(&counts));
                *sums.entry(off.floor() as i64).or_default() += share * (-lead).exp();
            }
        };
        add(1.0 - PANELS, &|at| start + pace * at);
        let each = PANELS / (PANELS_HZ.len() as f64 * f64::from(PANEL_PHASES));
        for hz in PANELS_HZ {
            for n in 0..PANEL_PHASES {
                let phase = f64::from(n) / f64::from(PANEL_PHASES);
                let drawn_s = |at: f64| ((at * pace / rate * hz - phase).floor() + phase) / hz;
                add(each, &|at| start + rate * drawn_s(at));
            }
        }
        for (cell, odds) in sums {
            let best = cells.entry(cell).or_default();
            *best = best.max(odds);
        }
    }

    /// Counts from the truth to the start of a clock as it is displayed: in the middle of what
    /// its counts leave over, or would if they were not late by more or less.
    fn as_displayed(&self, clock: &Clock, pace: f64, counts: impl Iterator<Item = i64>) -> f64 {
        let from = counts
            .zip(&self.said)
            .map(|(count, (at, _))| count as f64 - pace * at);
        let (low, high) = from.fold((f64::MAX, f64::MIN), |(l, h), f| (l.min(f), h.max(f)));
        let middle = f64::midpoint(high, low + 1.0);
        let label = clock.label(middle.floor() as i64);
        counts_off(self.scene, clock, label, middle.rem_euclid(1.0))
    }
}

/// A clock, what it holds on frame 0, and its counts in a second of the clip.
struct Shown {
    start: f64,
    clock: Clock,
    pace: f64,
}

/// The digits of a clock by its counts, each worked out once.
struct Labels<'a> {
    clock: &'a Clock,
    known: HashMap<i64, Vec<u8>>,
}

impl<'a> Labels<'a> {
    fn of(clock: &'a Clock) -> Self {
        Self {
            clock,
            known: HashMap::new(),
        }
    }

    fn digits(&mut self, count: i64) -> &[u8] {
        let of = || self.clock.digits(count);
        self.known.entry(count).or_insert_with(of)
    }

    fn of_all(&mut self, counts: &[i64]) -> Vec<Vec<u8>> {
        counts
            .iter()
            .map(|&count| self.digits(count).to_vec())
            .collect()
    }
}
