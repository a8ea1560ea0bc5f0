//! How a clock counts, and the way between counts, labels and seconds.

use super::{Digits, HalfOpen, Label, Rate, Ratio, TimecodeError};

/// How a clock counts. A *count* is the number of steps since midnight of the
/// clock; counts below zero and beyond a day are legal and wrap when labelled.
///
/// ```
/// use rollmark::timecode::{ClockForm, Rate};
/// let form = ClockForm::frames(Rate::F29_97, true).unwrap();
/// assert_eq!(form.text(1799), "00:00:59;29");
/// assert_eq!(form.text(1800), "00:01:00;02");
/// assert_eq!(form.text(-1), "23:59:59;29");
/// let refusal = form.parse("00:01:00;00").unwrap_err();
/// assert!(refusal.to_string().contains("does not exist"));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ClockForm {
    Frames(Frames),
    Seconds,
    Tenths,
    Hundredths,
    Thousandths,
}

/// How a clock counts frames. [`ClockForm::frames`] alone makes one: there is none with drop-frame
/// at a rate that has none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Frames {
    rate: Rate,
    drop_frame: bool,
}

impl ClockForm {
    /// The clocks that count no frames; each is told by its pattern alone.
    pub const WITHOUT_FRAMES: [Self; 4] = [
        Self::Seconds,
        Self::Tenths,
        Self::Hundredths,
        Self::Thousandths,
    ];

    /// A clock that counts frames.
    ///
    /// # Errors
    /// Drop-frame at a rate that has none; a base above 1000, for which
    /// three digits do not suffice.
    pub fn frames(rate: Rate, drop_frame: bool) -> Result<Self, TimecodeError> {
        if drop_frame && !rate.has_drop_frame() {
            return Err(TimecodeError::NoDropFrame {
                rate: rate.decimal(),
            });
        }
        if rate.base() > 1000 || rate < Rate::known(1, 1) {
            return Err(TimecodeError::NoFrameField {
                rate: rate.decimal(),
            });
        }
        Ok(Self::Frames(Frames { rate, drop_frame }))
    }

    /// Counts per real second.
    pub const fn rate(self) -> Rate {
        match self {
            Self::Frames(Frames { rate, .. }) => rate,
            Self::Seconds => Rate::known(1, 1),
            Self::Tenths => Rate::known(10, 1),
            Self::Hundredths => Rate::known(100, 1),
            Self::Thousandths => Rate::known(1000, 1),
        }
    }

    /// Labels per displayed second.
    pub const fn base(self) -> u32 {
        self.rate().base()
    }

    pub const fn drop_frame(self) -> bool {
        match self {
            Self::Frames(Frames { drop_frame, .. }) => drop_frame,
            _ => false,
        }
    }

    /// Labels skipped at the start of each minute not divisible by ten: 2, 4
    /// or 8 with drop-frame, else 0.
    const fn skipped(self) -> u32 {
        if self.drop_frame() {
            self.base() / 15
        } else {
            0
        }
    }

    /// Digits after the seconds: 0 to 3.
    pub const fn last_digits(self) -> u8 {
        match self {
            Self::Frames(Frames { rate, .. }) => {
                if rate.base() > 100 {
                    3
                } else {
                    2
                }
            }
            Self::Seconds => 0,
            Self::Tenths => 1,
            Self::Hundredths => 2,
            Self::Thousandths => 3,
        }
    }

    /// Counts from midnight to midnight.
    pub const fn counts_per_day(self) -> i64 {
        let labels = 86_400 * self.base() as i64;
        // 24 hours of 54 minutes in which labels are skipped.
        labels - 24 * 54 * self.skipped() as i64
    }

    /// Real seconds from midnight to midnight of the clock: 86 486.4 at 23.976.
    pub fn day_seconds(self) -> Ratio {
        self.seconds(Ratio::from_integer(self.counts_per_day()))
    }

    /// The label that the clock shows at `count`; wraps at midnight both ways.
    pub const fn label(self, count: i64) -> Label {
        let base = self.base();
        let skipped = self.skipped();
        let minute = 60 * base;
        let mut number = count.rem_euclid(self.counts_per_day()) as u32;
        if skipped > 0 {
            let ten_minutes = 10 * minute - 9 * skipped;
            let within = number % ten_minutes;
            number += number / ten_minutes * 9 * skipped;
            if within >= minute {
                number += skipped * (1 + (within - minute) / (minute - skipped));
            }
        }
        let seconds = number / base;
        Label::new(
            (seconds / 3600) as u8,
            (seconds / 60 % 60) as u8,
            (seconds % 60) as u8,
            (number % base) as u16,
        )
    }

    /// The count since midnight at which the clock shows `label`.
    ///
    /// # Errors
    /// A field out of range, or a label that drop-frame skips.
    pub fn count(self, label: &Label) -> Result<i64, TimecodeError> {
        let base = self.base();
        for (field, value, largest) in [
            ("hours", u32::from(label.hours()), 23),
            ("minutes", u32::from(label.minutes()), 59),
            ("seconds", u32::from(label.seconds()), 59),
            (self.part_name(), u32::from(label.part()), base - 1),
        ] {
            if value > largest {
                return Err(TimecodeError::OutOfRange {
                    field,
                    value,
                    largest,
                });
            }
        }
        let skipped = self.skipped();
        let minutes = u32::from(label.hours()) * 60 + u32::from(label.minutes());
        let part = u32::from(label.part());
        if !minutes.is_multiple_of(10) && label.seconds() == 0 && part < skipped {
            return Err(TimecodeError::Dropped {
                label: self.format(label),
                skipped,
            });
        }
        let number = (minutes * 60 + u32::from(label.seconds())) * base + part;
        Ok(i64::from(number - skipped * (minutes - minutes / 10)))
    }

    /// Reads a label of this clock. One-digit hours, and frames without their
    /// leading zeros, are fine; so is a colon where drop-frame has a semicolon,
    /// and a decimal comma.
    ///
    /// # Errors
    /// Another shape, a field out of range, a label that drop-frame skips, a
    /// semicolon on a clock without drop-frame.
    pub fn parse(self, text: &str) -> Result<Label, TimecodeError> {
        let not_a_label = || TimecodeError::NotALabel {
            text: text.into(),
            pattern: self.pattern(),
        };
        let digits = text.trim();
        let (whole, part) = match self {
            Self::Seconds => (digits, None),
            Self::Frames(_) => {
                let at = digits.rfind([':', ';']).ok_or_else(not_a_label)?;
                if digits[at..].starts_with(';') && !self.drop_frame() {
                    return Err(TimecodeError::UnexpectedDropMark { text: text.into() });
                }
                (&digits[..at], Some(&digits[at + 1..]))
            }
            Self::Tenths | Self::Hundredths | Self::Thousandths => {
                let at = digits.rfind(['.', ',']).ok_or_else(not_a_label)?;
                (&digits[..at], Some(&digits[at + 1..]))
            }
        };
        let part = match part {
            None => Some(0),
            // A fraction means its decimal place: `.5` is not 5 hundredths.
            Some(part) => match self {
                Self::Frames(_) => number(part, 1, self.last_digits()),
                _ => number(part, self.last_digits(), self.last_digits()),
            },
        }
        .ok_or_else(not_a_label)?;
        let mut fields = whole.split(':');
        let mut next = |least| fields.next().and_then(|field| number(field, least, 2));
        let (hours, minutes, seconds) = match (next(1), next(2), next(2)) {
            (Some(hours), Some(minutes), Some(seconds)) => (hours, minutes, seconds),
            _ => return Err(not_a_label()),
        };
        if fields.next().is_some() {
            return Err(not_a_label());
        }
        // At most two digits each: they fit.
        let label = Label::new(hours as u8, minutes as u8, seconds as u8, part);
        self.count(&label).map(|_| label)
    }

    /// Real seconds since midnight of the clock at which it reaches `count`;
    /// does not wrap.
    pub fn seconds(self, count: Ratio) -> Ratio {
        count / self.rate().ratio()
    }

    /// As [`Self::seconds`], of bounds.
    pub fn seconds_of(self, counts: HalfOpen) -> HalfOpen {
        HalfOpen::new(self.seconds(counts.low), self.seconds(counts.high))
    }

    /// The count that the clock has reached `seconds` real seconds after its
    /// midnight; does not wrap.
    pub fn count_at(self, seconds: Ratio) -> Ratio {
        seconds * self.rate().ratio()
    }

    /// The shape of the labels.
    pub const fn pattern(self) -> &'static str {
        match self {
            Self::Frames(_) => match (self.last_digits(), self.drop_frame()) {
                (2, false) => "HH:MM:SS:FF",
                (2, true) => "HH:MM:SS;FF",
                (_, false) => "HH:MM:SS:FFF",
                (_, true) => "HH:MM:SS;FFF",
            },
            Self::Seconds => "HH:MM:SS",
            Self::Tenths => "HH:MM:SS.d",
            Self::Hundredths => "HH:MM:SS.dd",
            Self::Thousandths => "HH:MM:SS.ddd",
        }
    }

    /// The label as text: `;` before the frames with drop-frame, `.` before a
    /// fraction.
    pub fn format(self, label: &Label) -> String {
        let mut text = format!(
            "{:02}:{:02}:{:02}",
            label.hours(),
            label.minutes(),
            label.seconds()
        );
        let mark = match self {
            Self::Seconds => return text,
            Self::Frames(_) if self.drop_frame() => ';',
            Self::Frames(_) => ':',
            Self::Tenths | Self::Hundredths | Self::Thousandths => '.',
        };
        let width = usize::from(self.last_digits());
        text.push(mark);
        text.push_str(&format!("{:0width$}", label.part()));
        text
    }

    /// The label at `count` as text.
    pub fn text(self, count: i64) -> String {
        self.format(&self.label(count))
    }

    /// The digits that the clock shows at `count`, without allocation.
    pub const fn digits(self, count: i64) -> Digits {
        self.digits_of(self.label(count))
    }

    /// The digits of a label as this clock would show it, also of one that it never shows. Its
    /// parts must fit their digits.
    pub const fn digits_of(self, label: Label) -> Digits {
        Digits::of(label, self.last_digits())
    }

    const fn part_name(self) -> &'static str {
        match self {
            Self::Frames(_) => "frames",
            Self::Seconds => "parts of a second",
            Self::Tenths => "tenths",
            Self::Hundredths => "hundredths",
            Self::Thousandths => "thousandths",
        }
    }
}

/// A field of `least` to `most` digits; `most` is at most 3.
fn number(field: &str, least: u8, most: u8) -> Option<u16> {
    let fits = (usize::from(least)..=usize::from(most)).contains(&field.len());
    if !fits || !field.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    field.parse().ok()
}
