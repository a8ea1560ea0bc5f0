//! Does every slow group of digits stand on its own, and do the digits after the seconds?

use super::lean::Trust;
use super::looks::Looks;
use super::placed::Placed;
use super::shape::Shapes;
use crate::timecode::{ClockForm, Label};
use std::ops::Range;

/// Nats by which a slow place must lead: ln(10,000).
pub(super) const ENOUGH: f64 = 9.21;

/// Mean nats per look between the extremes of a group below which nothing was
/// read there: ln 2.
pub(super) const NOTHING: f64 = 0.69;

/// Nats against one group being read worse than the digits that move, by glare, a finger, a
/// dead segment: ln 100, by estimate.
const SPOILED: f64 = 4.6;
/// The same where digits that move are plain to read, so that one that stands and is not has a
/// cause of its own. Of filmed clocks with something over a standing digit that led by 2.3 to 4
/// nats a look, 8 of 79 that were sure were wrong; of 220 groups with nothing over them 5 lead so
/// little (docs/fit.md).
const SPOILED_AMONG_PLAIN: f64 = 1.2;
/// Nats a look by which plain digits lead: what readers say of what they are sure of.
const PLAIN: f64 = 6.0;
/// Looks at one digit that count as independent there.
const SPOILED_WORTH: f64 = 2.0;

/// Nats for a digit that looks as the clock's own do, against one as which it does not. Of 18,077 pairs
/// of a digit that stood in a filmed clip and another, 11 were the other one; of 1,029 of those
/// that are much alike 5 (docs/fit.md).
const LOOKS_RIGHT: f64 = 4.0;

/// Nats taken from a group with a digit that looks unlike the clock's own and is not plain: no reading
/// makes up for that.
const LOOKS_UNLIKE: f64 = 20.0;

/// Nats for a value that the dial cannot show.
const IMPOSSIBLE: f64 = -30.0;

/// Stands for the digit of a value that the dial cannot show.
const NO_DIGIT: usize = 10;

/// What the looks at one value of a group say against other digits, by place.
struct Sum {
    fitted: usize,
    /// Looks in which the place tells anything.
    told: [u32; 2],
    /// By digit, and [`NO_DIGIT`].
    against: [[f64; 11]; 2],
}

/// A group of two digits that changes slowly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Group {
    Hours,
    Minutes,
    Seconds,
}

impl Group {
    pub const ALL: [Self; 3] = [Self::Hours, Self::Minutes, Self::Seconds];

    pub const fn name(self) -> &'static str {
        match self {
            Self::Hours => "hours",
            Self::Minutes => "minutes",
            Self::Seconds => "seconds",
        }
    }

    const fn size(self) -> usize {
        match self {
            Self::Hours => 24,
            _ => 60,
        }
    }

    /// Places of the group on the dial.
    pub fn places(self, looks: &Looks) -> Range<usize> {
        let hours = looks.dial.hour_digits as usize;
        match self {
            Self::Hours => 0..hours,
            Self::Minutes => hours..hours + 2,
            Self::Seconds => hours + 2..hours + 4,
        }
    }

    pub fn value(self, form: ClockForm, count: i64) -> usize {
        self.of_label(form.label(count))
    }

    fn of_label(self, label: Label) -> usize {
        usize::from(match self {
            Self::Hours => label.hours(),
            Self::Minutes => label.minutes(),
            Self::Seconds => label.seconds(),
        })
    }
}

/// The digit of a value at place `i` of a group that is shown at `places`.
fn digit_at(places: &Range<usize>, i: usize, value: usize) -> usize {
    match (places.len(), i) {
        // A dial of one hour digit has no hour above 9.
        (1, _) => value.min(NO_DIGIT),
        (_, 0) => value / 10,
        _ => value % 10,
    }
}

/// How far the value of a group leads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lead {
    pub group: Group,
    /// Nats over the runner-up.
    pub nats: f64,
    /// True if that is enough. Of a clock that is seen in fewer looks than count as independent less
    /// is asked, since that they are few is said elsewhere; not of a group that few of its looks show.
    pub is_settled: bool,
    /// The value fitted at the first look, and what the runner-up has there.
    pub fitted: usize,
    pub rival: usize,
    /// True if the looks say nothing about the group.
    pub is_unread: bool,
}

impl Lead {
    /// The same where the clock shows `value` for the group, as on frame 0.
    pub fn seen_from(self, value: usize) -> Self {
        let size = self.group.size();
        Self {
            fitted: value,
            rival: (value + size + self.rival - self.fitted) % size,
            ..self
        }
    }
}

/// Evidence for and against the values of the slow groups, from several sightings.
pub(super) struct Ballot {
    group: Group,
    trust: Trust,
    /// Nats against a shift of the group's value by so many.
    against: Vec<f64>,
    /// The same if the places of the group are spoiled.
    if_spoiled: Vec<f64>,
    /// True where a digit looks as the clock's own do, and not as it would with that shift.
    looks_right: Vec<bool>,
    /// True where a digit that would be another one with that shift looks unlike the clock's own.
    looks_unlike: Vec<bool>,
    /// Nats a look by which the digit at each place leads all others, those included that no value of
    /// the group has there.
    digits_lead: [f64; 2],
    fitted: usize,
    spread: f64,
    looks: usize,
}

impl Ballot {
    /// The ballot of one sighting; see [`Ballot::add`].
    pub fn of(group: Group, placed: &Placed, trust: Trust) -> Self {
        let mut ballot = Self::new(group, trust);
        ballot.add(placed);
        ballot
    }

    /// Nats against the group's value in `to`, if the fit said that of `from`.
    pub fn cost(&self, from: Label, to: Label) -> f64 {
        let size = self.group.size();
        let shift = self.group.of_label(to) + size - self.group.of_label(from);
        self.against[shift % size]
    }

    pub fn new(group: Group, trust: Trust) -> Self {
        Self {
            group,
            trust,
            against: vec![0.0; group.size()],
            if_spoiled: vec![0.0; group.size()],
            looks_right: vec![false; group.size()],
            looks_unlike: vec![false; group.size()],
            digits_lead: [f64::INFINITY; 2],
            fitted: 0,
            spread: 0.0,
            looks: 0,
        }
    }

    /// Adds one sighting.
    pub fn add(&mut self, placed: &Placed) {
        let (looks, form, counts) = (placed.looks, placed.form, &placed.counts);
        let group = self.group;
        let size = group.size();
        let places = group.places(looks);
        if let (0, Some(&first)) = (self.looks, counts.first()) {
            self.fitted = group.value(form, first);
        }
        let mut sums: Vec<Sum> = Vec::new();
        for (look, &count) in counts.iter().enumerate() {
            let fitted = group.value(form, count);
            let at = sums.iter().position(|s| s.fitted == fitted);
            let at = at.unwrap_or_else(|| {
                sums.push(Sum {
                    fitted,
                    told: [0; 2],
                    against: [[0.0; 11]; 2],
                });
                sums.len() - 1
            });
            let sum = &mut sums[at];
            let (mut most, mut least) = (0.0, 0.0);
            for (i, place) in places.clone().enumerate() {
                let says = looks.place(look, place);
                let high = says.iter().copied().fold(f32::MIN, f32::max);
                let low = says.iter().copied().fold(f32::MAX, f32::min);
                most += f64::from(high);
                least += f64::from(low);
                if f64::from(high - low) < NOTHING {
                    continue;
                }
                sum.told[i] += 1;
                let said = |digit| says.get(digit).map_or(IMPOSSIBLE, |&nats| f64::from(nats));
                let fitted = said(digit_at(&places, i, fitted));
                for (digit, against) in sum.against[i].iter_mut().enumerate() {
                    *against += fitted - said(digit);
                }
            }
            self.spread += most - least;
            self.looks += 1;
        }
        for sum in &sums {
            for (i, (&told, against)) in sum.told.iter().zip(&sum.against).enumerate() {
                if told == 0 {
                    continue;
                }
                let fitted = digit_at(&places, i, sum.fitted);
                let others = (0..NO_DIGIT).filter(|&digit| digit != fitted);
                let least = others.map(|digit| against[digit] / f64::from(told));
                let lead = &mut self.digits_lead[i];
                *lead = least.fold(*lead, f64::min);
                for (totals, worth) in [
                    (&mut self.against, self.trust.worth),
                    (&mut self.if_spoiled, self.trust.worth.min(SPOILED_WORTH)),
                ] {
                    let share = (worth / f64::from(told)).min(1.0);
                    for (shift, total) in totals.iter_mut().enumerate() {
                        let value = (sum.fitted + shift) % size;
                        *total += against[digit_at(&places, i, value)] * share;
                    }
                }
            }
        }
    }

    /// Adds what the digits of one sighting look like.
    pub fn add_shapes(&mut self, shapes: &Shapes, placed: &Placed) {
        let Some(&first) = placed.counts.first() else {
            return;
        };
        let places = self.group.places(placed.looks);
        let fitted = self.group.value(placed.form, first);
        let size = self.group.size();
        for (i, place) in places.clone().enumerate() {
            let tells: [bool; 10] = std::array::from_fn(|other| shapes.tell(place, other));
            let is_unlike = self.digits_lead[i] < PLAIN && shapes.is_unlike_its_own(place);
            let own = digit_at(&places, i, fitted);
            for shift in 0..size {
                let other = digit_at(&places, i, (fitted + shift) % size);
                self.looks_right[shift] |= tells.get(other) == Some(&true);
                self.looks_unlike[shift] |= is_unlike && other != own;
            }
        }
    }

    /// True if every digit leads by what plain ones do.
    pub fn is_plain(&self) -> bool {
        self.digits_lead.iter().all(|&lead| lead >= PLAIN)
    }

    /// How it leads, of a clock seen in so many looks.
    pub fn lead(&self, looks: usize) -> Lead {
        let is_among_plain = self.trust.moving_lead.is_some_and(|lead| lead >= PLAIN);
        let against_it = match is_among_plain {
            true => SPOILED_AMONG_PLAIN,
            false => SPOILED,
        };
        let spoiled = self.if_spoiled.iter().map(|nats| nats + against_it);
        let by_shape = |looks_right: bool, looks_unlike: bool| {
            f64::from(u8::from(looks_right)) * LOOKS_RIGHT
                - f64::from(u8::from(looks_unlike)) * LOOKS_UNLIKE
        };
        let (shift, nats) = self
            .against
            .iter()
            .zip(spoiled)
            .map(|(&against, spoiled)| against.min(spoiled))
            .zip(self.looks_right.iter().zip(&self.looks_unlike))
            .map(|(nats, (&right, &unlike))| nats + by_shape(right, unlike))
            .enumerate()
            .skip(1)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .expect("a group has more than one value");
        Lead {
            group: self.group,
            nats,
            is_settled: self.looks > 0
                && nats >= ENOUGH * (looks as f64 / self.trust.worth).min(1.0),
            fitted: self.fitted,
            rival: (self.fitted + shift) % self.group.size(),
            is_unread: self.looks == 0 || self.spread < NOTHING * self.looks as f64,
        }
    }
}

/// How the same looks do if the clock stood some counts elsewhere: the audit of
/// the digits after the seconds. Starts one count apart are told by the bounds.
pub(super) struct Shifts {
    /// Counts, and nats that they lose.
    losses: Vec<(i64, f64)>,
}

impl Shifts {
    /// For a clock of `base` counts a second. `least` is the smallest shift
    /// that matters, in counts.
    pub fn new(base: u32, least: i64) -> Self {
        let base = i64::from(base);
        // One digit elsewhere, or a few counts; seconds have their own ballot.
        let few = 2..10;
        let tens = (1..10).map(|k| 10 * k);
        let hundreds = (1..10).map(|k| 100 * k);
        let ahead = few.chain(tens).chain(hundreds);
        let both = ahead
            .filter(|&k| least <= k && k < base)
            .flat_map(|k| [(k, 0.0), (-k, 0.0)]);
        Self {
            losses: both.collect(),
        }
    }

    /// Adds one sighting.
    pub fn add(&mut self, placed: &Placed) {
        let (looks, form, counts) = (placed.looks, placed.form, &placed.counts);
        let says = |look, count| f64::from(looks.says(look, form.digits(count).as_slice()));
        for (look, &count) in counts.iter().enumerate() {
            let fitted = says(look, count);
            for (shift, loss) in &mut self.losses {
                *loss += fitted - says(look, count + *shift);
            }
        }
    }

    /// The shift that loses least; `None` on clocks without parts of a second.
    pub fn rival(&self) -> Option<(i64, f64)> {
        let least = self.losses.iter().min_by(|a, b| a.1.total_cmp(&b.1));
        least.copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_group_of_which_nothing_was_heard_is_unread_and_not_settled() {
        for group in Group::ALL {
            let lead = Ballot::new(
                group,
                Trust {
                    worth: 10.0,
                    moving_lead: None,
                },
            )
            .lead(20);
            assert!(lead.is_unread && !lead.is_settled, "{group:?}");
        }
    }

    #[test]
    fn a_group_that_leads_by_less_is_settled_only_among_digits_that_are_no_plainer() {
        let is_settled = |nats: f64, moving_lead| {
            let trust = Trust {
                worth: 10.0,
                moving_lead,
            };
            let mut ballot = Ballot::new(Group::Minutes, trust);
            ballot.looks = 20;
            ballot.against.fill(10.0 * nats);
            ballot.if_spoiled.fill(SPOILED_WORTH * nats);
            ballot.lead(20).is_settled
        };
        for (nats, moving_lead, expected) in [
            (2.2, None, false),
            (2.2, Some(4.0), false),
            (3.0, None, true),
            (3.0, Some(4.0), true),
            (3.0, Some(7.0), false),
            (4.1, Some(7.0), true),
        ] {
            assert_eq!(
                is_settled(nats, moving_lead),
                expected,
                "{nats} {moving_lead:?}"
            );
        }
    }
}
