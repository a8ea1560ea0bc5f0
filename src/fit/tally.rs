//! Frames of one sighting, counted: which agree with the fit, and how the others do not.

use super::ballot::Group;
use super::excused::excuse;
use super::placed::Placed;
use super::sight::Blur;

/// Looks told and looks against at a place: a quarter, and three at least.
const fn is_often_off(&(told, against): &(usize, usize)) -> bool {
    against >= 3 && 4 * against > told
}

/// Frames of one sighting, counted.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    /// Looks in which some digit was told.
    pub read: usize,
    /// Those of them in which no told digit is against the fit.
    pub agreeing: usize,
    /// Different digits among the agreeing looks, at places that a quarter of them tell.
    pub distinct: usize,
    /// Looks that were read and do not agree, ascending, but for those whose last group moved.
    pub odd: Vec<usize>,
    /// Looks that do not agree in the longest run of them; one that does between two others, as
    /// where a blurred digit tells nothing, does not end it.
    pub longest_odd: usize,
    /// Longest run of read looks whose seconds are plainly against the fit.
    pub longest_other_second: usize,
    /// For each place: looks that tell a digit there, and those against the fit.
    pub places: Vec<(usize, usize)>,
    /// For each place: looks against the fit that say nothing against the clock.
    excused: Vec<usize>,
}

impl Tally {
    pub const EMPTY: Self = Self {
        read: 0,
        agreeing: 0,
        distinct: 0,
        odd: Vec::new(),
        longest_odd: 0,
        longest_other_second: 0,
        places: Vec::new(),
        excused: Vec::new(),
    };

    pub fn of(placed: &Placed, blur: Blur) -> Self {
        let looks = placed.looks;
        let mut tally = Self {
            places: vec![(0, 0); looks.dial.places()],
            excused: vec![0; looks.dial.places()],
            ..Self::EMPTY
        };
        let mut seen: Vec<Vec<u8>> = Vec::new();
        let seconds = Group::Seconds.places(looks);
        let (mut run, mut agreed, mut other_second) = (0, 0, 0);
        for look in 0..looks.len() {
            if !looks.is_read(look) {
                continue;
            }
            tally.read += 1;
            let label = placed.label(look);
            let digits = &label.as_slice()[looks.dial.hidden_digits()..];
            let mut is_other_second = false;
            let mut against_at = Vec::new();
            for (place, (told, against)) in tally.places.iter_mut().enumerate() {
                if let Some(is_against) = looks.place_against(look, place, digits[place]) {
                    *told += 1;
                    *against += usize::from(is_against);
                    against_at.extend(is_against.then_some(place));
                    is_other_second |= is_against && seconds.contains(&place);
                }
            }
            other_second = if is_other_second { other_second + 1 } else { 0 };
            tally.longest_other_second = tally.longest_other_second.max(other_second);
            if against_at.is_empty() {
                tally.agreeing += 1;
                seen.push(digits.to_vec());
                agreed += 1;
                if agreed > 1 {
                    run = 0;
                }
                continue;
            }
            let excuse = excuse(placed, look, blur);
            for &place in &against_at {
                tally.excused[place] += usize::from(excuse.holds(place));
            }
            // Piles are too common where frames were lost to be left out of a jump.
            if !against_at.iter().all(|&place| excuse.is_moved(place)) {
                tally.odd.push(look);
                (run, agreed) = (run + 1, 0);
                tally.longest_odd = tally.longest_odd.max(run);
            }
        }
        // What no frame told apart was not seen to be different.
        for (place, &(told, _)) in tally.places.iter().enumerate() {
            if 4 * told < tally.read {
                seen.iter_mut().for_each(|digits| digits[place] = 0);
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

    /// Looks told and looks against at a place that is against the fit in a quarter of its
    /// looks, and in three at least: a clock that does not run evenly shows at its last digits.
    ///
    /// The last `blurred` places go round in one exposure, and may read as anything.
    pub fn uneven_place(&self, blurred: usize) -> Option<(usize, usize)> {
        let steady = self.places.len().saturating_sub(blurred);
        let heard = |(&(told, against), excused): (&(usize, usize), &usize)| {
            (told - excused, against - excused)
        };
        let places = self.places[..steady].iter().zip(&self.excused);
        places.map(heard).find(is_often_off)
    }

    /// True if a place is against the fit as often as that, and it is excused.
    pub fn is_steady_by_excuse(&self, blurred: usize) -> bool {
        let steady = self.places.len().saturating_sub(blurred);
        self.uneven_place(blurred).is_none() && self.places[..steady].iter().any(is_often_off)
    }

    /// A place that is against the fit in most looks: it is misread, whatever it says.
    pub fn misread_place(&self) -> Option<usize> {
        let mostly = |&(told, against): &(usize, usize)| told >= 4 && 2 * against > told;
        self.places.iter().position(mostly)
    }
}
