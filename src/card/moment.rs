//! Moments as containers write them: ISO 8601 with or without a zone. The machine's own
//! zone never takes part; the calendar library is built without any zones.

use crate::timecode::Ratio;
use jiff::Timestamp;
use jiff::civil::DateTime;

/// Parts of a second in which headers and lengths are reckoned. Exact ones have terms of many digits
/// where a clip plays at an odd speed, and those of a whole card multiply; a part is nothing beside
/// the second that a header is good to.
pub(super) const MICROSECONDS: i64 = 1_000_000;

/// A moment of the camera's own clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Moment {
    /// Since 1970, as if a text without a zone were UTC.
    nanoseconds: i128,
}

impl Moment {
    /// `2021-05-28T12:40:43.000000Z`, `2021-05-28T15:40:43+0300`, `2021-05-28 12:40:43`.
    /// `None` for anything else, and for years before 1971: an unset clock.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let stamp = text.parse::<Timestamp>().ok().or_else(|| {
            let civil = text.parse::<DateTime>().ok()?;
            let utc = jiff::tz::TimeZone::UTC;
            utc.to_timestamp(civil).ok()
        })?;
        const YEAR_S: i64 = 365 * 86_400;
        (stamp.as_second() >= YEAR_S).then_some(Self {
            nanoseconds: stamp.as_nanosecond(),
        })
    }

    /// Seconds since 1970, down to whole microseconds: no container writes finer ones.
    pub fn seconds(self) -> Ratio {
        Ratio::new(self.nanoseconds.div_euclid(1000), MICROSECONDS.into())
    }

    /// Seconds since 1970, rounded down.
    pub fn whole_seconds(self) -> i64 {
        i64::try_from(self.nanoseconds.div_euclid(1_000_000_000)).unwrap_or(i64::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 3705050443 seconds after the QuickTime epoch of 1904 (QuickTime file format) are
    /// 3705050443 - 2082844800 after that of 1970.
    #[test]
    fn moments_are_read_with_their_own_zone_and_no_other() {
        let utc = Moment::parse("2021-05-28T12:40:43.000000Z").unwrap();
        assert_eq!(utc.whole_seconds(), 3_705_050_443 - 2_082_844_800);
        for same in [
            "2021-05-28T12:40:43Z",
            "2021-05-28T15:40:43+0300",
            "2021-05-28T15:40:43+03:00",
            " 2021-05-28 12:40:43",
        ] {
            assert_eq!(Moment::parse(same), Some(utc), "{same}");
        }
    }

    #[test]
    fn what_is_no_moment_or_an_unset_clock_is_none() {
        for text in [
            "",
            "yesterday",
            "1904-01-01T00:00:00Z",
            "1970-01-01T00:00:00Z",
            "2021-13-01T00:00:00Z",
        ] {
            assert_eq!(Moment::parse(text), None, "{text}");
        }
    }
}
