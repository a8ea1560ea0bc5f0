//! Exact rational numbers.

use super::TimecodeError;
use std::cmp::Ordering;
use std::fmt;
use std::ops::{Add, Div, Mul, Neg, Sub};
use std::str::FromStr;

/// A rational number, always in lowest terms with a positive denominator, so
/// that equality and hashing go by value.
///
/// The operators panic when a numerator or denominator leaves `i128`, and on
/// division by zero; the `checked_` forms give `None` instead. Times and counts
/// of clips stay far below: a microsecond time base over a year times a rate
/// with denominator 1001 needs 60 bits. Comparison never overflows.
///
/// ```
/// use rollmark::timecode::Ratio;
/// let frame_s = Ratio::new(1001, 30000);
/// assert_eq!(frame_s * Ratio::from_integer(30000), Ratio::from_integer(1001));
/// assert_eq!(frame_s.to_string(), "1001/30000");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Ratio {
    num: i128,
    den: i128,
}

const OVERFLOW: &str = "ratio left the range of i128";

impl Ratio {
    pub const ZERO: Self = Self { num: 0, den: 1 };
    pub const ONE: Self = Self { num: 1, den: 1 };

    /// `num / den` in lowest terms.
    ///
    /// # Panics
    /// If `den` is zero, or if the result leaves `i128` (only possible with `i128::MIN`).
    pub const fn new(num: i128, den: i128) -> Self {
        assert!(den != 0, "a ratio needs a denominator other than zero");
        Self::checked_new(num, den).expect(OVERFLOW)
    }

    /// `num / den` in lowest terms; `None` if `den` is zero or on overflow.
    pub const fn checked_new(num: i128, den: i128) -> Option<Self> {
        if den == 0 {
            return None;
        }
        let divisor = gcd(num.unsigned_abs(), den.unsigned_abs());
        let (magnitude, whole) = (num.unsigned_abs() / divisor, den.unsigned_abs() / divisor);
        let (Some(magnitude), Some(whole)) = (as_i128(magnitude), as_i128(whole)) else {
            return None;
        };
        Some(Self {
            num: if (num < 0) == (den < 0) {
                magnitude
            } else {
                -magnitude
            },
            den: whole,
        })
    }

    pub fn from_integer(value: impl Into<i128>) -> Self {
        Self {
            num: value.into(),
            den: 1,
        }
    }

    /// Numerator in lowest terms; carries the sign.
    pub const fn num(self) -> i128 {
        self.num
    }

    /// Denominator in lowest terms; above zero.
    pub const fn den(self) -> i128 {
        self.den
    }

    /// Largest integer that is not above `self`.
    pub const fn floor(self) -> i128 {
        self.num.div_euclid(self.den)
    }

    /// Smallest integer that is not below `self`.
    pub const fn ceil(self) -> i128 {
        self.floor() + if self.den == 1 { 0 } else { 1 }
    }

    /// Nearest integer; halves go up.
    pub const fn round(self) -> i128 {
        let rest = self.num.rem_euclid(self.den);
        // `rest >= den / 2`, written so that doubling cannot overflow.
        self.floor() + if rest >= self.den - rest { 1 } else { 0 }
    }

    /// The short way round a dial that begins anew after `day`: `self` less the nearest whole number
    /// of days, at least `-day / 2` and below `day / 2`.
    ///
    /// # Panics
    /// If `day` is zero, or as the operators do.
    #[must_use]
    pub fn wrapped(self, day: Self) -> Self {
        self - day * Self::from_integer((self / day).round())
    }

    /// # Panics
    /// If the numerator is `i128::MIN`.
    pub const fn abs(self) -> Self {
        Self {
            num: self.num.checked_abs().expect(OVERFLOW),
            den: self.den,
        }
    }

    /// `1 / self`.
    ///
    /// # Panics
    /// If `self` is zero.
    pub fn recip(self) -> Self {
        Self::new(self.den, self.num)
    }

    pub const fn is_zero(self) -> bool {
        self.num == 0
    }

    pub const fn is_positive(self) -> bool {
        self.num > 0
    }

    /// Nearest float, or within a few units of the last place of it: for
    /// display and for probabilities.
    pub fn to_f64(self) -> f64 {
        let whole = self.floor();
        let rest = self.num.rem_euclid(self.den);
        if whole == 0 || whole == -1 {
            self.num as f64 / self.den as f64
        } else {
            whole as f64 + rest as f64 / self.den as f64
        }
    }

    pub fn checked_add(self, other: Self) -> Option<Self> {
        if self.den == other.den {
            return Self::checked_new(self.num.checked_add(other.num)?, self.den);
        }
        // Over the least common denominator, so that intermediate products stay small.
        let shared = as_i128(gcd(self.den.unsigned_abs(), other.den.unsigned_abs()))?;
        let widen = other.den / shared;
        let num = self
            .num
            .checked_mul(widen)?
            .checked_add(other.num.checked_mul(self.den / shared)?)?;
        Self::checked_new(num, self.den.checked_mul(widen)?)
    }

    pub fn checked_sub(self, other: Self) -> Option<Self> {
        self.checked_add(other.checked_neg()?)
    }

    pub fn checked_mul(self, other: Self) -> Option<Self> {
        // Cancel crosswise first: the result is then in lowest terms already.
        let left = as_i128(gcd(self.num.unsigned_abs(), other.den.unsigned_abs()))?;
        let right = as_i128(gcd(other.num.unsigned_abs(), self.den.unsigned_abs()))?;
        Some(Self {
            num: (self.num / left).checked_mul(other.num / right)?,
            den: (self.den / right).checked_mul(other.den / left)?,
        })
    }

    /// `None` also if `other` is zero.
    pub fn checked_div(self, other: Self) -> Option<Self> {
        self.checked_mul(Self::checked_new(other.den, other.num)?)
    }

    fn checked_neg(self) -> Option<Self> {
        Some(Self {
            num: self.num.checked_neg()?,
            den: self.den,
        })
    }
}

/// As [`Ratio::wrapped`], of whole counts or seconds on a dial of `day` of them; `day` is above zero.
pub const fn wrapped(value: i64, day: i64) -> i64 {
    let ahead = value.rem_euclid(day);
    if ahead < day - ahead {
        ahead
    } else {
        ahead - day
    }
}

const fn as_i128(value: u128) -> Option<i128> {
    if value > i128::MAX.unsigned_abs() {
        return None;
    }
    Some(value as i128)
}

/// Greatest common divisor; 1 for a pair of zeros, so that one can divide by it.
pub(crate) const fn gcd(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        // Almost all ratios fit in 64 bits, where division is many times faster.
        if a <= u64::MAX as u128 && b <= u64::MAX as u128 {
            let (mut x, mut y) = (a as u64, b as u64);
            while y != 0 {
                (x, y) = (y, x % y);
            }
            return x as u128;
        }
        (a, b) = (b, a % b);
    }
    if a == 0 { 1 } else { a }
}

impl Ord for Ratio {
    fn cmp(&self, other: &Self) -> Ordering {
        if self.den == other.den {
            return self.num.cmp(&other.num);
        }
        if let (Some(a), Some(b)) = (
            self.num.checked_mul(other.den),
            other.num.checked_mul(self.den),
        ) {
            return a.cmp(&b);
        }
        // The products overflow: compare whole parts, then the reciprocals of
        // the rests the other way round. Denominators shrink as in Euclid's
        // algorithm, so this ends.
        let whole = self.floor().cmp(&other.floor());
        if whole != Ordering::Equal {
            return whole;
        }
        let rest = |r: &Self| (r.num.rem_euclid(r.den), r.den);
        match (rest(self), rest(other)) {
            ((0, _), (0, _)) => Ordering::Equal,
            ((0, _), _) => Ordering::Less,
            (_, (0, _)) => Ordering::Greater,
            ((an, ad), (bn, bd)) => Self { num: bd, den: bn }.cmp(&Self { num: ad, den: an }),
        }
    }
}

impl PartialOrd for Ratio {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Add for Ratio {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        self.checked_add(other).expect(OVERFLOW)
    }
}

impl Sub for Ratio {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self.checked_sub(other).expect(OVERFLOW)
    }
}

impl Mul for Ratio {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        self.checked_mul(other).expect(OVERFLOW)
    }
}

impl Div for Ratio {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        assert!(!other.is_zero(), "division of a ratio by zero");
        self.checked_div(other).expect(OVERFLOW)
    }
}

impl Neg for Ratio {
    type Output = Self;
    fn neg(self) -> Self {
        self.checked_neg().expect(OVERFLOW)
    }
}

/// `30000/1001`; integers as `25/1`.
impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.num, self.den)
    }
}

/// Reads `25`, `-3/4`, `0.04` (exactly 1/25) and `24/1.001`; spaces may stand
/// around the parts. No exponents, and at most 18 digits behind a point.
impl FromStr for Ratio {
    type Err = TimecodeError;

    fn from_str(text: &str) -> Result<Self, TimecodeError> {
        let parsed = match text.split_once('/') {
            Some((num, den)) => decimal(num)
                .zip(decimal(den))
                .and_then(|(num, den)| num.checked_div(den)),
            None => decimal(text),
        };
        parsed.ok_or_else(|| TimecodeError::NotARatio { text: text.into() })
    }
}

/// Digits behind the point of a decimal that is read. What is measured or said has fewer, and
/// fractions of longer ones leave no room to count with.
const MOST_DECIMALS: usize = 18;

/// An integer or a plain decimal, exactly.
fn decimal(text: &str) -> Option<Ratio> {
    let text = text.trim();
    let (is_negative, unsigned) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, ""));
    if whole.len() + fraction.len() == 0
        || unsigned.ends_with('.')
        || fraction.len() > MOST_DECIMALS
    {
        return None;
    }
    let mut num: i128 = 0;
    for byte in whole.bytes().chain(fraction.bytes()) {
        if !byte.is_ascii_digit() {
            return None;
        }
        num = num.checked_mul(10)?.checked_add(i128::from(byte - b'0'))?;
    }
    let den = 10i128.checked_pow(u32::try_from(fraction.len()).ok()?)?;
    Ratio::checked_new(if is_negative { -num } else { num }, den)
}
