//! How far a reader leans: what frames of one digit that stands are worth together.
//!
//! Frames of one take share light and blur. What misleads a reader in one of them misleads it in
//! all, and a digit that stands tells nothing of it. Digits that move do: their truth is known
//! from the motion. At a place that shows a 3 and later an 8, a reader that does not lean is as
//! sure of the 3 against the 8 as of the 8 against the 3. Half the difference is its lean.

use super::ballot::NOTHING;
use super::placed::Placed;
use super::sight::Blur;
use crate::timecode::Digits;

/// Looks that one standing digit is worth where nothing that moves tells more. Of 800,000 simulated
/// sets 81 were sure and off with three, 76 of them in the worst light, where few pairs agreed by
/// chance; with two 55 are left (docs/fit.md).
const USUAL_WORTH: f64 = 2.0;
/// Pairs that lean as the usual worth says, and are counted with those that were seen: few pairs
/// may agree by chance.
const USUAL_PAIRS: f64 = 5.0;
/// Nats by which the digits of a pair must lead each other, in the mean, to tell anything.
const TOLD: f64 = 0.7;
/// Nats of a lead beyond which readers do not say how much surer than sure they are (p of the
/// other digit below 1/150, and 1/400).
const SURE: (f64, f64) = (5.0, 6.0);

/// Probability of the digits before and behind from which on, if it is more than that of all the
/// rest, a look caught a digit in its change: two that lie over each other read as anything. A clock
/// that keeps step with the camera is caught in the same digits each second. Where several counts
/// pass in a frame, all digits are, and none more than others.
const CAUGHT: f32 = 0.15;

/// Share of a place's looks that are caught in a change, and of these in one direction, from which on
/// what the place says against the others does not count: a clock that keeps step with the camera is
/// caught at the same share of each change, and the new digit's ghost misleads in the other looks,
/// too. A reader that leans takes digits for those before them as often as for those behind.
const IN_STEP: (f64, f64) = (0.25, 0.8);

/// Looks that a digit takes part with: of fewer, one that is caught in a change or misread for
/// once would pass for a lean.
const FEWEST_LOOKS: usize = 3;

/// Standard deviations of a normal value in the distance from the middle that half of all values
/// keep; pi / 2 is the mean square of its median, in that of its mean.
const DEVIATION: f64 = 1.4826;

/// Digits of one place whose truth is known from the motion: for each, its nats over all ten, by
/// look; not a number for a digit that may have been in the picture, too.
type Leads = [Vec<[f32; 10]>; 10];

/// What digits of one place say whose truth is known.
#[derive(Default)]
struct Place {
    leads: Leads,
    looks: u32,
    /// Looks that caught it in its change, with the digit before it and with the one behind.
    caught: [u32; 2],
}

impl Place {
    fn is_in_step(&self) -> bool {
        let [before, behind] = self.caught.map(f64::from);
        let caught = before + behind;
        caught > 0.0
            && caught >= IN_STEP.0 * f64::from(self.looks)
            && before.max(behind) >= IN_STEP.1 * caught
    }
}

/// What digits say whose truth is known, by place.
pub(super) struct Leans {
    places: Vec<Place>,
}

/// How far a digit that stands can be trusted, by those that move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Trust {
    /// Independent looks that all looks at one standing digit are worth.
    pub worth: f64,
    /// Nats a look by which digits that move lead the one most like them, in the mean; `None` where
    /// no two were seen at one place.
    pub moving_lead: Option<f64>,
}

impl Trust {
    /// Where nothing was seen to run.
    pub const NONE: Self = Self {
        worth: 0.0,
        moving_lead: None,
    };
}

impl Leans {
    pub const fn new() -> Self {
        Self { places: Vec::new() }
    }

    /// Adds one sighting.
    pub fn add(&mut self, placed: &Placed, blur: Blur) {
        let (looks, form, counts) = (placed.looks, placed.form, &placed.counts);
        let places = looks.dial.places();
        let hidden = looks.dial.hidden_digits();
        if self.places.len() < places {
            self.places.resize_with(places, Place::default);
        }
        let mut near: Vec<Digits> = Vec::new();
        for (look, &count) in counts.iter().enumerate() {
            near.clear();
            let steps = -blur.steps..=blur.steps;
            near.extend(steps.map(|step| form.digits(count + step * blur.counts_per_step())));
            let shown = &near[blur.steps as usize];
            for place in 0..places.saturating_sub(blur.places) {
                let digit_of = |label: &Digits| usize::from(label.as_slice()[hidden + place]);
                let digit = digit_of(shown);
                // Digits that are about to come, or just went, may be in the picture.
                let mut is_near = [false; 10];
                near.iter()
                    .for_each(|label| is_near[digit_of(label)] = true);
                let odds = looks.reading(look).places[place].all();
                let caught = (0..10).filter(|&other| is_near[other] && other != digit);
                let caught: f32 = caught.map(|other| odds[other]).sum();
                let is_caught = caught >= CAUGHT && caught > 1.0 - caught - odds[digit];
                let here = &mut self.places[place];
                here.looks += 1;
                if is_caught && blur.steps == 1 {
                    let [before, behind] = [0, 2].map(|step| odds[digit_of(&near[step])]);
                    here.caught[usize::from(behind > before)] += 1;
                    continue;
                }
                let says = looks.place(look, place);
                let highest = says.iter().copied().fold(f32::MIN, f32::max);
                let lowest = says.iter().copied().fold(f32::MAX, f32::min);
                if f64::from(highest - lowest) < NOTHING {
                    continue;
                }
                let over = |other: usize| {
                    if is_near[other] {
                        f32::NAN
                    } else {
                        says[digit] - says[other]
                    }
                };
                here.leads[digit].push(std::array::from_fn(over));
            }
        }
    }

    /// What all that was added says together.
    ///
    /// Be m the lead within the pairs that are most alike, and s^2 the mean square of the leans
    /// in them. If leans spread like errors do, a digit that leads by x has odds of 2 m x / s^2
    /// nats, so that its looks are worth 2 m / s^2. A reader that overstates its odds overstates
    /// m and s alike, and is found out.
    pub fn trust(&self) -> Trust {
        let all = trust_by(self.places.iter());
        if !self.places.iter().any(Place::is_in_step) {
            return all;
        }
        let others = trust_by(self.places.iter().filter(|place| !place.is_in_step()));
        if others.worth > all.worth {
            others
        } else {
            all
        }
    }
}

/// What some places say; see [`Leans::trust`].
fn trust_by<'p>(places: impl Iterator<Item = &'p Place>) -> Trust {
    let pairs: Vec<Pair> = places
        .flat_map(|place| likest_pairs(&place.leads))
        .collect();
    if pairs.is_empty() {
        return Trust {
            worth: USUAL_WORTH,
            moving_lead: None,
        };
    }
    let n = pairs.len() as f64;
    let lead = pairs.iter().map(|p| p.lead).sum::<f64>() / n;
    let squares: f64 = pairs.iter().map(|p| p.lean.powi(2) - p.chance).sum();
    let squares = squares.max(0.0);
    let usual = 2.0 * lead / USUAL_WORTH;
    let square = (squares + USUAL_PAIRS * usual) / (n + USUAL_PAIRS);
    Trust {
        worth: 2.0 * lead / square,
        moving_lead: Some(lead),
    }
}

/// Two digits that were both seen at one place.
struct Pair {
    /// Nats by which either leads the other where it stands, in the mean.
    lead: f64,
    /// Nats by which they differ from that.
    lean: f64,
    /// Mean square of the lean that new noise in so few looks makes.
    chance: f64,
}

/// Each digit of a place with the one that is most like it.
fn likest_pairs(place: &Leads) -> Vec<Pair> {
    let over = |digit: usize, other: usize| place[digit].iter().map(move |over| over[other]);
    let medians: [[f64; 10]; 10] =
        std::array::from_fn(|digit| std::array::from_fn(|other| median(over(digit, other))));
    let lead = |a: usize, b: usize| medians[a][b];
    let chance = |a: usize, b: usize| chance_of_median(over(a, b), lead(a, b));
    let mean = |a: usize, b: usize| (lead(a, b) + lead(b, a)) / 2.0;
    let mut pairs: Vec<(usize, usize)> = (0..10)
        .filter_map(|digit| {
            let others = (0..10).filter(|&other| other != digit && mean(digit, other) > TOLD);
            let likest = others.min_by(|&a, &b| mean(digit, a).total_cmp(&mean(digit, b)))?;
            Some((digit.min(likest), digit.max(likest)))
        })
        .collect();
    pairs.sort_unstable();
    pairs.dedup();
    let pair = |(a, b)| {
        let (low, high) = (lead(a, b).min(lead(b, a)), lead(a, b).max(lead(b, a)));
        // Where the surer of the two is as sure as readers say, all of the difference counts.
        let sure = ((high - SURE.0) / (SURE.1 - SURE.0)).clamp(0.0, 1.0);
        let middle = f64::midpoint(low, high);
        let lead = middle + sure * (high - middle);
        Pair {
            lead,
            lean: lead - low,
            // Half of the difference of two medians; what is as sure as can be hides its spread.
            chance: (1.0 - sure) * (chance(a, b) + chance(b, a)) / 4.0,
        }
    };
    pairs.into_iter().map(pair).collect()
}

/// Not a number if any of `values` is none, or if they are too few.
fn median(values: impl Iterator<Item = f32>) -> f64 {
    let mut values: Vec<f32> = values.collect();
    if values.len() < FEWEST_LOOKS || values.iter().any(|v| v.is_nan()) {
        return f64::NAN;
    }
    let middle = values.len() / 2;
    f64::from(*values.select_nth_unstable_by(middle, f32::total_cmp).1)
}

/// Mean square of what the median of so many values is off by chance.
fn chance_of_median(values: impl Iterator<Item = f32>, median: f64) -> f64 {
    let mut off: Vec<f64> = values.map(|v| (f64::from(v) - median).abs()).collect();
    let (n, middle) = (off.len() as f64, off.len() / 2);
    let half_are_within = *off.select_nth_unstable_by(middle, f64::total_cmp).1;
    std::f64::consts::FRAC_PI_2 * (DEVIATION * half_are_within).powi(2) / n
}
