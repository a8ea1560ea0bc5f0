//! Checks that could fail: does every slow place stand on its own, did the
//! clock run, did it jump.

use super::looks::Looks;
use crate::timecode::ClockForm;

/// Looks at one unchanged digit that count as independent. Frames of one take
/// share light, blur, and whatever misleads the reader: a hundred of them are
/// not a hundred opinions. Judged; to be measured on rendered clips.
const INDEPENDENT_LOOKS: f64 = 3.0;

/// Nats by which a slow place must lead: ln(10,000).
pub(super) const ENOUGH: f64 = 9.21;

/// Mean nats per look between the extremes of a group below which nothing was
/// read there: ln 2.
const NOTHING: f64 = 0.69;

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
    fn places(self, looks: &Looks) -> std::ops::Range<usize> {
        let hours = looks.dial.hour_digits as usize;
        match self {
            Self::Hours => 0..hours,
            Self::Minutes => hours..hours + 2,
            Self::Seconds => hours + 2..hours + 4,
        }
    }

    fn value(self, form: ClockForm, count: i64) -> usize {
        let label = form.label(count);
        usize::from(match self {
            Self::Hours => label.hours(),
            Self::Minutes => label.minutes(),
            Self::Seconds => label.seconds(),
        })
    }
}

/// How far the value of a group leads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lead {
    pub group: Group,
    /// Nats over the runner-up.
    pub nats: f64,
    /// The value fitted at the first look, and what the runner-up has there.
    pub fitted: usize,
    pub rival: usize,
    /// True if the looks say nothing about the group.
    pub is_unread: bool,
}

/// Evidence for and against the values of the slow groups, from several sightings.
pub(super) struct Ballot {
    group: Group,
    /// Nats against a shift of the group's value by so many.
    against: Vec<f64>,
    fitted: usize,
    spread: f64,
    looks: usize,
}

impl Ballot {
    pub fn new(group: Group) -> Self {
        Self {
            group,
            against: vec![0.0; group.size()],
            fitted: 0,
            spread: 0.0,
            looks: 0,
        }
    }

    /// Adds one sighting, with the counts that the fit says were displayed.
    pub fn add(&mut self, looks: &Looks, form: ClockForm, counts: &[i64]) {
        let group = self.group;
        let size = group.size();
        let places = group.places(looks);
        if let (0, Some(&first)) = (self.looks, counts.first()) {
            self.fitted = group.value(form, first);
        }
        let mut sums: Vec<(usize, usize, Vec<f64>)> = Vec::new();
        let mut said = vec![0f64; size];
        for (look, &count) in counts.iter().enumerate() {
            let fitted = group.value(form, count);
            for (value, said) in said.iter_mut().enumerate() {
                *said = if places.len() == 1 {
                    // A dial of one hour digit has no hour above 9.
                    looks
                        .place(look, places.start)
                        .get(value)
                        .map_or(-30.0, |&x| f64::from(x))
                } else {
                    f64::from(looks.place(look, places.start)[value / 10])
                        + f64::from(looks.place(look, places.start + 1)[value % 10])
                };
            }
            let shown = if places.len() == 1 {
                &said[..10]
            } else {
                &said[..]
            };
            let most = shown.iter().copied().fold(f64::MIN, f64::max);
            let least = shown.iter().copied().fold(f64::MAX, f64::min);
            self.spread += most - least;
            self.looks += 1;
            let at = match sums.iter().position(|s| s.0 == fitted) {
                Some(at) => at,
                None => {
                    sums.push((fitted, 0, vec![0.0; size]));
                    sums.len() - 1
                }
            };
            let (_, n, against) = &mut sums[at];
            *n += 1;
            for (shift, against) in against.iter_mut().enumerate() {
                *against += said[fitted] - said[(fitted + shift) % size];
            }
        }
        for (_, n, against) in sums {
            let share = (INDEPENDENT_LOOKS / n as f64).min(1.0);
            for (total, one) in self.against.iter_mut().zip(against) {
                *total += one * share;
            }
        }
    }

    pub fn lead(&self) -> Lead {
        let (shift, nats) = self
            .against
            .iter()
            .copied()
            .enumerate()
            .skip(1)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .expect("a group has more than one value");
        Lead {
            group: self.group,
            nats,
            fitted: self.fitted,
            rival: (self.fitted + shift) % self.group.size(),
            is_unread: self.spread < NOTHING * self.looks as f64,
        }
    }
}

/// Frames of one sighting, counted.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    /// Looks in which some digit was told.
    pub read: usize,
    /// Those of them in which no told digit is against the fit.
    pub agreeing: usize,
    /// Different counts among the agreeing looks.
    pub distinct: usize,
    /// Looks that were read and do not agree, ascending.
    pub odd: Vec<usize>,
    /// Longest run of read looks that do not agree.
    pub longest_odd: usize,
    /// For each place: looks that tell a digit there, and those against the fit.
    pub places: Vec<(usize, usize)>,
}

impl Tally {
    pub fn of(looks: &Looks, form: ClockForm, counts: &[i64]) -> Self {
        let mut tally = Self {
            places: vec![(0, 0); looks.dial.places()],
            ..Self::default()
        };
        let hidden = looks.dial.hidden_digits();
        let mut seen: Vec<i64> = Vec::new();
        let mut run = 0;
        for (look, &count) in counts.iter().enumerate() {
            if !looks.is_read(look) {
                continue;
            }
            tally.read += 1;
            let digits = form.digits(count);
            for (place, (told, against)) in tally.places.iter_mut().enumerate() {
                if let Some(is_against) =
                    looks.place_against(look, place, digits.as_slice()[hidden + place])
                {
                    *told += 1;
                    *against += usize::from(is_against);
                }
            }
            if looks.agreement(look, digits.as_slice()).agrees() {
                tally.agreeing += 1;
                seen.push(count);
                run = 0;
            } else {
                tally.odd.push(look);
                run += 1;
                tally.longest_odd = tally.longest_odd.max(run);
            }
        }
        seen.sort_unstable();
        seen.dedup();
        tally.distinct = seen.len();
        tally
    }

    /// True if more than half of the read looks agree.
    pub const fn has_majority(&self) -> bool {
        2 * self.agreeing > self.read
    }

    /// A place that is against the fit in most looks while the others are not:
    /// it is misread, whatever it says.
    pub fn misread_place(&self) -> Option<usize> {
        let mostly = |&(told, against): &(usize, usize)| told >= 4 && 2 * against > told;
        let place = self.places.iter().position(mostly)?;
        let others_fine = self
            .places
            .iter()
            .enumerate()
            .all(|(i, (told, against))| i == place || 4 * against <= *told);
        others_fine.then_some(place)
    }
}
