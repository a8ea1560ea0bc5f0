//! The parts of a label.

/// Hours, minutes, seconds, and the part of a second: frames, or thousandths
/// and the like. Whether it is legal, and how it is written, depends on the
/// clock: see [`super::ClockForm::count`] and [`super::ClockForm::format`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Label {
    hours: u8,
    minutes: u8,
    seconds: u8,
    part: u16,
}

impl Label {
    pub const fn new(hours: u8, minutes: u8, seconds: u8, part: u16) -> Self {
        Self {
            hours,
            minutes,
            seconds,
            part,
        }
    }

    pub const fn hours(self) -> u8 {
        self.hours
    }

    pub const fn minutes(self) -> u8 {
        self.minutes
    }

    pub const fn seconds(self) -> u8 {
        self.seconds
    }

    /// Frames, thousandths, hundredths or tenths after the second; 0 on a
    /// clock of whole seconds.
    pub const fn part(self) -> u16 {
        self.part
    }
}

/// The digits of a label in reading order, without marks: six for hours,
/// minutes and seconds, then zero to three for the part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Digits {
    values: [u8; 9],
    len: u8,
}

impl Digits {
    /// `part_digits` is 0 to 3; every field must fit its digits.
    pub(super) const fn of(label: Label, part_digits: u8) -> Self {
        let part = label.part;
        let (p0, p1, p2) = match part_digits {
            0 => (0, 0, 0),
            1 => (part, 0, 0),
            2 => (part / 10, part % 10, 0),
            _ => (part / 100, part / 10 % 10, part % 10),
        };
        Self {
            values: [
                label.hours / 10,
                label.hours % 10,
                label.minutes / 10,
                label.minutes % 10,
                label.seconds / 10,
                label.seconds % 10,
                p0 as u8,
                p1 as u8,
                p2 as u8,
            ],
            len: 6 + part_digits,
        }
    }

    /// Values 0 to 9, hours first.
    pub fn as_slice(&self) -> &[u8] {
        &self.values[..usize::from(self.len)]
    }
}
