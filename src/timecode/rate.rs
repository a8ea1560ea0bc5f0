//! Counts or frames per second.

use super::{Ratio, TimecodeError};
use std::cmp::Ordering;
use std::fmt;
use std::str::FromStr;

/// Counts or frames per second: an integer ratio in lowest terms, above zero.
///
/// ```
/// use rollmark::timecode::Rate;
/// assert_eq!("23.98".parse(), Ok(Rate::F23_976));
/// assert_eq!(Rate::F23_976.to_string(), "24000/1001");
/// assert_eq!(Rate::F23_976.base(), 24);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Rate {
    num: u32,
    den: u32,
}

impl Rate {
    pub const F23_976: Self = Self::known(24000, 1001);
    pub const F24: Self = Self::known(24, 1);
    pub const F25: Self = Self::known(25, 1);
    pub const F29_97: Self = Self::known(30000, 1001);
    pub const F30: Self = Self::known(30, 1);
    pub const F47_952: Self = Self::known(48000, 1001);
    pub const F48: Self = Self::known(48, 1);
    pub const F50: Self = Self::known(50, 1);
    pub const F59_94: Self = Self::known(60000, 1001);
    pub const F60: Self = Self::known(60, 1);
    pub const F100: Self = Self::known(100, 1);
    pub const F119_88: Self = Self::known(120_000, 1001);
    pub const F120: Self = Self::known(120, 1);

    /// The rates that clocks and cameras of the trade run at, slowest first.
    pub const TRADE: [Self; 13] = [
        Self::F23_976,
        Self::F24,
        Self::F25,
        Self::F29_97,
        Self::F30,
        Self::F47_952,
        Self::F48,
        Self::F50,
        Self::F59_94,
        Self::F60,
        Self::F100,
        Self::F119_88,
        Self::F120,
    ];

    /// For pairs known to be in lowest terms and above zero.
    pub(super) const fn known(num: u32, den: u32) -> Self {
        Self { num, den }
    }

    /// `num / den` counts per second; `None` if either is zero.
    pub fn new(num: u32, den: u32) -> Option<Self> {
        Self::from_ratio(Ratio::checked_new(num.into(), den.into())?)
    }

    /// `None` if the ratio is not above zero, or does not fit in 32 bits over 32 bits.
    pub fn from_ratio(ratio: Ratio) -> Option<Self> {
        if !ratio.is_positive() {
            return None;
        }
        Some(Self {
            num: u32::try_from(ratio.num()).ok()?,
            den: u32::try_from(ratio.den()).ok()?,
        })
    }

    pub fn ratio(self) -> Ratio {
        Ratio::new(self.num.into(), self.den.into())
    }

    /// Labels per displayed second: the rate rounded to the nearest integer, at
    /// least 1. 23.976 is labelled like 24, 119.88 like 120 (SMPTE ST 12-1,
    /// extended to the higher rates as is common practice).
    pub const fn base(self) -> u32 {
        // Up to 2^32 by 32 bits: no overflow in 64.
        let rounded = (2 * self.num as u64 + self.den as u64) / (2 * self.den as u64);
        if rounded == 0 { 1 } else { rounded as u32 }
    }

    /// True at 29.97, 59.94 and 119.88 exactly.
    pub const fn has_drop_frame(self) -> bool {
        self.den == 1001 && matches!(self.num, 30000 | 60000 | 120_000)
    }

    /// True if a crew that shoots at `clip` more likely counts this rate than its cousin, 1000/1001 or
    /// 1001/1000 as fast: both count 1000/1001 of whole numbers, or whole numbers of which one is a
    /// multiple of the other (common practice, no source).
    pub const fn is_of_one_family(self, clip: Self) -> bool {
        let (own, other) = (self.base(), clip.base());
        self.is_ntsc() == clip.is_ntsc()
            && (self.is_ntsc() || own.is_multiple_of(other) || other.is_multiple_of(own))
    }

    /// True for an integer slowed down by 1000/1001.
    pub const fn is_ntsc(self) -> bool {
        self.den == 1001 && self.num.is_multiple_of(1000)
    }

    /// For people: `23.976`, `29.97`, `25`; at most three decimals.
    pub fn decimal(self) -> String {
        let thousandths = (self.ratio() * Ratio::from_integer(1000)).round();
        let text = format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    }

    /// For people: `25 counts a second`, `1 count a second`.
    pub fn counts_a_second(self) -> String {
        let counts = if self == Self::known(1, 1) {
            "count"
        } else {
            "counts"
        };
        format!("{} {counts} a second", self.decimal())
    }
}

impl Ord for Rate {
    fn cmp(&self, other: &Self) -> Ordering {
        let cross = |a: &Self, b: &Self| u64::from(a.num) * u64::from(b.den);
        cross(self, other).cmp(&cross(other, self))
    }
}

impl PartialOrd for Rate {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// The integer ratio: `24000/1001`, `25/1`.
impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.num, self.den)
    }
}

/// Tolerant: `25`, `25.0`, `24000/1001`, `24/1.001`, and a trade rate rounded
/// or cut to any number of decimals (`23.98`, `23.97`, `23.976024`), with a
/// decimal point or comma, in spaces, with `fps` or `p` behind. A decimal that
/// is no trade rate is refused, since `29.98` is more likely a slip than a rate.
impl FromStr for Rate {
    type Err = TimecodeError;

    fn from_str(text: &str) -> Result<Self, TimecodeError> {
        let refused = || TimecodeError::NotARate { text: text.into() };
        let lower = text.trim().to_ascii_lowercase().replace(',', ".");
        let number = lower
            .strip_suffix("fps")
            .or_else(|| lower.strip_suffix('p'))
            .unwrap_or(&lower)
            .trim_end();
        let ratio: Ratio = number.parse().map_err(|_| refused())?;
        let decimals = match number.split_once('.') {
            Some((_, decimals)) if !number.contains('/') && ratio.den() != 1 => decimals.len(),
            _ => return Self::from_ratio(ratio).ok_or_else(refused),
        };
        let mut scale = Ratio::ONE;
        for _ in 0..decimals.min(12) {
            scale = scale * Ratio::from_integer(10);
        }
        let written = ratio.checked_mul(scale).ok_or_else(refused)?.floor();
        Self::TRADE
            .into_iter()
            .find(|trade| {
                let exact = trade.ratio() * scale;
                written == exact.round() || written == exact.floor()
            })
            .ok_or_else(refused)
    }
}
