//! Looks at a clock, each with the count that a start says was displayed in it.

use super::looks::{Agreement, Looks};
use crate::timecode::{ClockForm, Digits};

/// Digits of a label before those of its seconds.
const MINUTES: usize = 4;

pub(super) struct Placed<'p> {
    pub looks: &'p Looks<'p>,
    pub form: ClockForm,
    /// One for each look.
    pub counts: Vec<i64>,
}

impl Placed<'_> {
    /// The full label that was displayed in a look.
    pub fn label(&self, look: usize) -> Digits {
        self.form.digits(self.counts[look])
    }

    /// True if the last look shows another minute than the first.
    pub fn passes_a_minute(&self) -> bool {
        let minute = |count: &i64| self.form.digits(*count).as_slice()[..MINUTES].to_vec();
        self.counts.first().map(minute) != self.counts.last().map(minute)
    }

    /// The digit of that label at a place of the dial.
    pub fn digit(&self, look: usize, place: usize) -> u8 {
        self.label(look).as_slice()[self.looks.dial.hidden_digits() + place]
    }

    /// Compares a look with the count displayed in it.
    pub fn agreement(&self, look: usize) -> Agreement {
        self.agreement_off(look, 0)
    }

    /// Compares a look with the count that lies so many from the one displayed in it.
    pub fn agreement_off(&self, look: usize, off: i64) -> Agreement {
        let there = self.form.digits(self.counts[look] + off);
        self.looks.agreement(look, there.as_slice())
    }

    /// Looks that agree, in order.
    pub fn agreeing(&self) -> impl Iterator<Item = usize> {
        (0..self.looks.len()).filter(|&look| self.agreement(look).agrees())
    }

    /// Those of them whose last digit is not caught between two: they bound when counts came up.
    pub fn plainly_agreeing(&self) -> Vec<usize> {
        self.agreeing()
            .filter(|&look| !self.looks.is_mixed(look))
            .collect()
    }
}
