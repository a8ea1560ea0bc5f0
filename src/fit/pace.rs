//! What could have been filmed: the closed table of clocks and speeds.

use super::Known;
use crate::reading::Layout;
use crate::timecode::{ClockForm, Rate, Ratio};

/// What the groups of digits say about a clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Dial {
    /// 1 where a leading zero is blanked, so that the hour is 0 to 9; else 2.
    pub hour_digits: u8,
    /// Digits after the seconds, 0 to 3.
    pub last_digits: u8,
}

impl Dial {
    /// `None` if the groups are not hours, minutes, seconds and perhaps parts
    /// of a second: nothing then says what the digits count.
    pub fn of(layout: &Layout) -> Option<Self> {
        let (hour_digits, last_digits) = match *layout.groups.as_slice() {
            [hours, 2, 2] => (hours, 0),
            [hours, 2, 2, last] => (hours, last),
            _ => return None,
        };
        ((1..=2).contains(&hour_digits) && last_digits <= 3).then_some(Self {
            hour_digits,
            last_digits,
        })
    }

    pub const fn places(self) -> usize {
        self.hour_digits as usize + 4 + self.last_digits as usize
    }

    /// Digits of a full label that this dial does not show.
    pub const fn hidden_digits(self) -> usize {
        2 - self.hour_digits as usize
    }
}

/// Real seconds per clip second at which footage is commonly conformed, with
/// the natural logarithm of how likely each is beforehand. Nearly all footage
/// plays at the speed at which it was shot; the rest is shared evenly. Common
/// practice, no source: 120 into 96 (25 % slower), 50 into 25, 60 into 24, 100
/// into 25, 120 into 24, 200 into 25, 240 into 24.
const SPEEDS: [(i128, i128, f64); 8] = [
    (1, 1, 0.0),
    (4, 5, SLOWED),
    (1, 2, SLOWED),
    (2, 5, SLOWED),
    (1, 4, SLOWED),
    (1, 5, SLOWED),
    (1, 8, SLOWED),
    (1, 10, SLOWED),
];

/// ln(0.01 / 7): one clip in a hundred is conformed, to one of seven speeds.
pub(super) const SLOWED: f64 = -6.55;

/// Rates at which footage is shot that is then played at another of them, frame by frame, in counts
/// per second. Common practice, no source: 24 as 25 and 25 as 24 above all; 30, 48, 50 or 60 as either.
const REPLAYED: [i128; 8] = [24, 25, 30, 48, 50, 60, 100, 120];
/// ln(1/20,000): judged. No camera writes such a clip by itself, so that digits which leave it open
/// do not bring it up; those that speak for it do.
const REPLAYED_AT_ANOTHER: f64 = -9.9;
/// Nobody plays footage faster than 24 as 25, give or take 1000/1001.
const FASTEST: Ratio = Ratio::new(105, 100);
/// Speeds that differ by less than one part in so many are one: rates come with their cousins.
const SAME_SPEED: i128 = 500;

/// Speeds, beside those above, of a clip of `clip_rate` whose frames were shot at another rate.
fn replayed(clip_rate: Option<Rate>) -> impl Iterator<Item = (Ratio, f64)> {
    let slowest = slowest_speed();
    let speed = move |shot| clip_rate.map(|rate| rate.ratio() / Ratio::from_integer(shot));
    let is_known = |speed: Ratio| {
        SPEEDS.iter().any(|&(num, den, _)| {
            let known = Ratio::new(num, den);
            (speed - known).abs() * Ratio::from_integer(SAME_SPEED) < known
        })
    };
    REPLAYED
        .into_iter()
        .filter_map(speed)
        .filter(move |&speed| speed >= slowest && speed <= FASTEST)
        .filter(move |&speed| !is_known(speed))
        .map(|speed| (speed, REPLAYED_AT_ANOTHER))
}

/// The slowest of the speeds.
pub fn slowest_speed() -> Ratio {
    let speeds = SPEEDS.map(|(num, den, _)| Ratio::new(num, den));
    speeds.into_iter().fold(Ratio::ONE, Ratio::min)
}

/// A clock form and a speed: how fast counts pass in the clip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pace {
    pub form: ClockForm,
    /// Real seconds per clip second: 1/4 for 100 fps footage conformed to 25.
    pub speed: Ratio,
    /// ln of the probability beforehand, up to a constant.
    pub prior: f64,
    /// Parts per million by which a speed that was measured may be off; 0 for the table's.
    pub doubt_ppm: i128,
}

impl Pace {
    /// Counts per clip second.
    pub fn counts_per_second(&self) -> Ratio {
        self.form.rate().ratio() * self.speed
    }

    /// The same clock read with the other way of skipping labels; `None` where
    /// the rate has no drop-frame.
    pub fn with_drop_frame(&self, drop_frame: bool) -> Option<Self> {
        let rate = self.form.rate();
        let counts_frames = matches!(self.form, ClockForm::Frames(_));
        if !counts_frames || !rate.has_drop_frame() {
            return None;
        }
        Some(Self {
            form: ClockForm::frames(rate, drop_frame).ok()?,
            ..*self
        })
    }
}

/// Every clock that could fill the dial, at every speed of a clip of `clip_rate`, without drop-frame
/// unless the user said so. A rate or speed that the user gave leaves only that.
pub(super) fn paces(dial: Dial, known: &Known, clip_rate: Option<Rate>) -> Vec<Pace> {
    let speeds: Vec<(Ratio, f64)> = match known.speed {
        Some(speed) => vec![(speed, 0.0)],
        None => SPEEDS
            .iter()
            .map(|&(num, den, prior)| (Ratio::new(num, den), prior))
            .chain(replayed(clip_rate))
            .collect(),
    };
    let drop_frame = known.drop_frame == Some(true);
    let frames = |rate: Rate| {
        ClockForm::frames(rate, drop_frame && rate.has_drop_frame())
            .ok()
            .filter(|form| form.last_digits() == dial.last_digits)
    };
    let mut forms: Vec<ClockForm> = match dial.last_digits {
        0 => vec![ClockForm::Seconds],
        1 => vec![ClockForm::Tenths],
        digits => {
            // A hundred frames and hundredths look and run alike: judged by their mark later.
            let parts = if digits == 2 {
                ClockForm::Hundredths
            } else {
                ClockForm::Thousandths
            };
            let trade = Rate::TRADE.into_iter().filter(|&rate| rate != Rate::F100);
            trade.filter_map(frames).chain([parts]).collect()
        }
    };
    if let Some(rate) = known.rate {
        let mut given: Vec<_> = forms.iter().copied().filter(|f| f.rate() == rate).collect();
        if given.is_empty() {
            given.extend(frames(rate));
        }
        // A frame rate given for a clock without frames says nothing about it.
        if !given.is_empty() {
            forms = given;
        }
    }
    let mut paces = Vec::with_capacity(forms.len() * speeds.len());
    for form in forms {
        for &(speed, prior) in &speeds {
            paces.push(Pace {
                form,
                speed,
                prior,
                doubt_ppm: 0,
            });
        }
    }
    paces
}
