//! One display, read two ways: as it stands, and turned over or as a mirror shows it, where 2 is 5.
//! A display shows one time, so that at most one of them is right.

use super::ballot::ENOUGH;
use super::table::Table;
use super::window;
use std::collections::BTreeMap;

/// What a sighting says for its best start, in nats, by tick.
type Gains = BTreeMap<i64, f64>;

impl Table<'_> {
    /// `order` without the sightings whose display another one, that faces another way, reads
    /// clearly better. Where neither is clearly better both stay, those in a mirror last: few
    /// displays are filmed in one.
    pub fn facing_right(&self, order: &[usize]) -> Vec<usize> {
        let is_alone = |&i: &usize| order.iter().all(|&j| !self.face_apart(i, j));
        if order.iter().all(is_alone) {
            return order.to_vec();
        }
        let mut read: Vec<(usize, Gains)> = order.iter().map(|&i| (i, self.gains(i))).collect();
        // Those that say most in a look come first, so that none gives way to one that goes, too.
        let mean = |gains: &Gains| gains.values().sum::<f64>() / gains.len().max(1) as f64;
        read.sort_by(|a, b| mean(&b.1).total_cmp(&mean(&a.1)));
        let mut best: Vec<(usize, Gains)> = Vec::new();
        for (i, own) in read {
            let gives_way = best.iter().any(|(better, gains)| {
                self.face_apart(*better, i)
                    && lead(gains, &own, self.seen[*better].trust.worth) >= ENOUGH
            });
            if !gives_way {
                best.push((i, own));
            }
        }
        let stays = |i: &&usize| best.iter().any(|(kept, _)| kept == *i);
        let order: Vec<usize> = order.iter().filter(stays).copied().collect();
        let may_be_no_mirror = |&&i: &&usize| {
            self.is_in_mirror(i)
                && (order.iter()).any(|&j| !self.is_in_mirror(j) && self.face_apart(i, j))
        };
        let (last, first): (Vec<usize>, Vec<usize>) = order.iter().partition(may_be_no_mirror);
        [first, last].concat()
    }

    fn gains(&self, i: usize) -> Gains {
        let window = self.windows[i];
        let gains = || {
            let (start, looks) = (window.scored.first()?, self.seen[i].looks.as_ref()?);
            let placed = window::place(looks, self.times, start, window.reference_tick)?;
            let gain = |look: usize| {
                let nats = looks.says(look, placed.label(look).as_slice());
                (looks.ticks[look], f64::from(nats))
            };
            Some((0..looks.len()).map(gain).collect())
        };
        gains().unwrap_or_default()
    }

    /// True if two sightings are looks at the same digits, and face different ways.
    fn face_apart(&self, a: usize, b: usize) -> bool {
        self.same_digits(a, b).is_some_and(|(one, other)| {
            let (ahead, other_ahead) = (one.direction(), other.direction());
            one.is_mirrored() != other.is_mirrored() || ahead.dot(other_ahead) < 0.0
        })
    }

    fn is_in_mirror(&self, i: usize) -> bool {
        let readings = &self.sightings[self.seen[i].sighting].readings;
        readings.first().is_some_and(|r| r.quad.is_mirrored())
    }
}

/// Nats by which one leads the other in the looks that both hold. They share light and blur, and a
/// reader that is a little surer one way is so in each of them: together they are `worth` so many.
fn lead(one: &Gains, other: &Gains, worth: f64) -> f64 {
    let more = |(tick, nats): (&i64, &f64)| Some(nats - other.get(tick)?);
    let leads: Vec<f64> = one.iter().filter_map(more).collect();
    leads.iter().sum::<f64>() * (worth / leads.len().max(1) as f64).min(1.0)
}
