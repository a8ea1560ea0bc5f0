//! A camera's own clock against the filmed one: measured on the clips that show a slate,
//! it tells roughly where the others lie. In intervals throughout: what is given is wrong
//! only if the camera's clock was set meanwhile or runs worse than [`MOST_DRIFT_PPM`].

use super::moment::MICROSECONDS;
use crate::timecode::{HalfOpen, Ratio};

/// Headers hold whole seconds, rounded either way.
pub(super) const HEADER_S: i64 = 1;
/// Headers that are no further apart tell one moment, in seconds: each is rounded by itself.
pub(super) const SAME_MOMENT_S: i64 = 2 * HEADER_S;
/// From midnight to midnight of a camera's own clock.
pub(super) const CALENDAR_DAY_S: i64 = 86_400;
/// How fast a camera's clock may gain or lose, in parts per million: a cheap quartz in the
/// cold. Common practice, no source.
pub(super) const MOST_DRIFT_PPM: i64 = 100;
/// Clips that are compared with all others; of more, these many spread over the shoot.
const MOST_REFERENCES: usize = 64;

/// When in a take the camera looks at its clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Written {
    AtStart,
    AtEnd,
}

/// A clip whose start on the filmed clock is known.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    /// Whatever the caller knows the clip by.
    pub clip: usize,
    /// The camera's own clock, seconds since 1970, as the container tells it, in whole microseconds.
    pub header_s: Ratio,
    /// Length in real seconds, in whole microseconds.
    pub length_s: Ratio,
    /// Start in real seconds since midnight of the filmed clock.
    pub start_s: HalfOpen,
}

/// The camera's clock, as its slated clips tell it.
#[derive(Clone, Debug)]
pub(super) struct OwnClock {
    /// Seconds from midnight to midnight of the filmed clock.
    day_s: Ratio,
    /// What fits: one of the two, or both.
    pub written: Vec<Written>,
    points: Vec<Point>,
    /// For each of `written`: which points fit, and by how much the camera's clock may
    /// gain on the filmed one, seconds per second.
    fits: Vec<(Vec<bool>, HalfOpen)>,
}

impl OwnClock {
    /// `None` unless more than half of the points fit together.
    pub fn fit(mut points: Vec<Point>, day_s: Ratio) -> Option<Self> {
        for point in &mut points {
            point.start_s = point.start_s.outward(MICROSECONDS);
        }
        points.sort_by(|a, b| {
            (a.header_s, a.start_s.low, a.clip).cmp(&(b.header_s, b.start_s.low, b.clip))
        });
        let both = [Written::AtStart, Written::AtEnd]
            .map(|written| (written, consistent(&points, written, day_s)));
        let size = |fits: &[bool]| fits.iter().filter(|f| **f).count();
        let most = both.iter().map(|(_, fits)| size(fits)).max()?;
        if most == 0 || (points.len() > 1 && most * 2 <= points.len()) {
            return None;
        }
        let mut clock = Self {
            day_s,
            written: Vec::new(),
            points,
            fits: Vec::new(),
        };
        for (written, fits) in both {
            if size(&fits) == most
                && let Some(drift) = clock.drift(written, &fits)
            {
                clock.written.push(written);
                clock.fits.push((fits, drift));
            }
        }
        (!clock.written.is_empty()).then_some(clock)
    }

    /// Clips that fit by no reading of the headers.
    pub fn outliers(&self) -> Vec<usize> {
        let points = self.points.iter().enumerate();
        points
            .filter(|(at, _)| self.fits.iter().all(|(fits, _)| !fits[*at]))
            .map(|(_, point)| point.clip)
            .collect()
    }

    /// Clips that do.
    pub fn rests_on(&self) -> Vec<usize> {
        let points = self.points.iter().enumerate();
        points
            .filter(|(at, _)| self.fits.iter().any(|(fits, _)| fits[*at]))
            .map(|(_, point)| point.clip)
            .collect()
    }

    /// Filmed clock minus the camera's time of day, in seconds, at the first clip that fits; within
    /// half a day of zero.
    pub fn offset_s(&self) -> Ratio {
        let ((fits, _), written) = (&self.fits[0], self.written[0]);
        let first = fits
            .iter()
            .position(|f| *f)
            .expect("at least one point fits");
        let point = &self.points[first];
        // From the camera's own midnight: a day of the filmed clock may be longer or shorter than
        // one of the calendar, which adds up over the days since 1970.
        let day_s = Ratio::from_integer(CALENDAR_DAY_S);
        let days = (point.header_s / day_s).floor();
        let offset = offset(point, written).middle() + Ratio::from_integer(days) * day_s;
        offset.wrapped(self.day_s)
    }

    /// Parts per million by which the camera's clock gains on the filmed one, if the clips
    /// bound it more closely than what any camera does.
    pub fn gain_ppm(&self) -> Option<Ratio> {
        let mut all = self.fits.iter().map(|(_, drift)| *drift);
        let first = all.next()?;
        let drift = all.fold(first, hull);
        let most = Ratio::new((MOST_DRIFT_PPM).into(), 1_000_000);
        (drift.width() <= most).then(|| -drift.middle() * Ratio::from_integer(1_000_000))
    }

    /// Where frame 0 of a clip lies, in real seconds since midnight of the filmed clock;
    /// the middle lies within the day. `length_s` is needed if headers may be written at
    /// the end of a take.
    pub fn start_s(&self, header_s: Ratio, length_s: Option<Ratio>) -> Option<HalfOpen> {
        let mut found: Option<HalfOpen> = None;
        for (written, (fits, drift)) in self.written.iter().zip(&self.fits) {
            let at = match written {
                Written::AtStart => header_s,
                Written::AtEnd => header_s - length_s?,
            };
            let offset = self.offset_at(header_s, *written, fits, *drift);
            let second = Ratio::from_integer(HEADER_S);
            let start = HalfOpen::new(offset.low + at - second, offset.high + at + second);
            found = Some(found.map_or(start, |other| hull(other, start)));
        }
        let found = found?;
        let midnight = (found.middle() / self.day_s).floor();
        Some(found.shift(-Ratio::from_integer(midnight) * self.day_s))
    }

    /// All offsets that the fitting points allow at `header_s`.
    fn offset_at(
        &self,
        header_s: Ratio,
        written: Written,
        fits: &[bool],
        drift: HalfOpen,
    ) -> HalfOpen {
        let fitting: Vec<&Point> = self
            .points
            .iter()
            .zip(fits)
            .filter_map(|(point, fits)| fits.then_some(point))
            .collect();
        // Points lie in the order of their headers; those next to this one say most.
        let next = fitting.partition_point(|point| point.header_s < header_s);
        let near = next.saturating_sub(1)..(next + 1).min(fitting.len());
        let reference = offset(fitting[0], written).middle();
        let mut allowed: Option<HalfOpen> = None;
        for at in near.chain(spread(fitting.len())) {
            let here = offset(fitting[at], written);
            let here = here.nearest_to(reference, self.day_s);
            let carried = carry(here, header_s - fitting[at].header_s, drift);
            let both = allowed.map_or(carried, |a| a.intersect(carried));
            // Drift that is not even can leave nothing; then what there was must do.
            allowed = Some(if both.is_empty() {
                allowed.map_or(carried, |a| hull(a, carried))
            } else {
                both
            });
        }
        allowed.expect("at least one point fits")
    }

    /// Bounds of the slope of the offset; `None` if the points allow none.
    fn drift(&self, written: Written, fits: &[bool]) -> Option<HalfOpen> {
        let most = Ratio::new(MOST_DRIFT_PPM.into(), 1_000_000);
        let mut drift = HalfOpen::new(-most, most);
        let fitting: Vec<Point> = self
            .points
            .iter()
            .zip(fits)
            .filter(|(_, fits)| **fits)
            .map(|(point, _)| *point)
            .collect();
        for i in spread(fitting.len()) {
            for j in spread(fitting.len()) {
                let apart_s = fitting[j].header_s - fitting[i].header_s;
                if !apart_s.is_positive() {
                    continue;
                }
                let (a, b) = (offset(&fitting[i], written), offset(&fitting[j], written));
                let b = b.nearest_to(a.middle(), self.day_s);
                let slope = HalfOpen::new((b.low - a.high) / apart_s, (b.high - a.low) / apart_s);
                drift = drift.intersect(slope);
            }
        }
        (!drift.is_empty()).then_some(drift)
    }
}

/// Filmed clock minus the camera's at one clip.
fn offset(point: &Point, written: Written) -> HalfOpen {
    let at = match written {
        Written::AtStart => point.header_s,
        Written::AtEnd => point.header_s - point.length_s,
    };
    let second = Ratio::from_integer(HEADER_S);
    HalfOpen::new(
        point.start_s.low - at - second,
        point.start_s.high - at + second,
    )
}

/// An offset `apart_s` seconds later, with a slope within `drift`.
fn carry(offset: HalfOpen, apart_s: Ratio, drift: HalfOpen) -> HalfOpen {
    let (a, b) = (drift.low * apart_s, drift.high * apart_s);
    HalfOpen::new(offset.low + a.min(b), offset.high + a.max(b)).outward(MICROSECONDS)
}

/// The largest set of points that one clock explains.
fn consistent(points: &[Point], written: Written, day_s: Ratio) -> Vec<bool> {
    let most = Ratio::new(MOST_DRIFT_PPM.into(), 1_000_000);
    let drift = HalfOpen::new(-most, most);
    let mut best = (0, vec![false; points.len()]);
    for reference in spread(points.len()) {
        let at = &points[reference];
        let here = offset(at, written);
        let all: Vec<HalfOpen> = points
            .iter()
            .map(|point| {
                let there = offset(point, written);
                let there = there.nearest_to(here.middle(), day_s);
                carry(there, at.header_s - point.header_s, drift).intersect(here)
            })
            .collect();
        let (size, common) = deepest(&all);
        if size > best.0 {
            best = (size, all.iter().map(|i| i.contains(common)).collect());
        }
        if best.0 == points.len() {
            break;
        }
    }
    best.1
}

/// Where most of the intervals overlap, and how many they are; empty ones do not count.
fn deepest(all: &[HalfOpen]) -> (usize, Ratio) {
    // Ends before starts at the same place: the intervals are half-open.
    let mut ends: Vec<(Ratio, bool)> = all
        .iter()
        .filter(|i| !i.is_empty())
        .flat_map(|i| [(i.low, true), (i.high, false)])
        .collect();
    ends.sort_unstable();
    let (mut depth, mut best) = (0, (0, Ratio::ZERO));
    for (at, begins) in ends {
        if begins {
            depth += 1;
            if depth > best.0 {
                best = (depth, at);
            }
        } else {
            depth -= 1;
        }
    }
    best
}

/// At most [`MOST_REFERENCES`] of `0..count`, the first and the last among them.
fn spread(count: usize) -> impl Iterator<Item = usize> {
    let taken = count.min(MOST_REFERENCES);
    (0..taken).map(move |n| {
        if taken < 2 {
            n
        } else {
            n * (count - 1) / (taken - 1)
        }
    })
}

fn hull(a: HalfOpen, b: HalfOpen) -> HalfOpen {
    HalfOpen::new(a.low.min(b.low), a.high.max(b.high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(seconds: i64) -> Ratio {
        Ratio::from_integer(seconds)
    }

    fn point(clip: usize, header_s: i64, length_s: i64, start_s: i64) -> Point {
        Point {
            clip,
            header_s: s(header_s),
            length_s: s(length_s),
            start_s: HalfOpen::new(s(start_s), s(start_s) + Ratio::new(1, 25)),
        }
    }

    fn fit(points: &[Point]) -> Option<OwnClock> {
        OwnClock::fit(points.to_vec(), s(CALENDAR_DAY_S))
    }

    /// 2021-05-28T12:40:43Z in seconds since 1970.
    const T: i64 = 1_622_205_643;

    #[test]
    fn one_slate_leaves_open_when_the_header_was_written() {
        let clock = fit(&[point(0, T, 60, 10 * 3600)]).unwrap();
        assert_eq!(clock.written, [Written::AtStart, Written::AtEnd]);
        // An hour later, another length: the bounds hold both readings, and drift.
        let start = clock.start_s(s(T + 3600), Some(s(100))).unwrap();
        assert!(start.contains(s(11 * 3600)) && start.contains(s(11 * 3600 - 40)));
        let width = start.width().to_f64();
        assert!((44.0..46.0).contains(&width), "{width}");
    }

    #[test]
    fn takes_of_different_length_show_when_the_header_is_written() {
        // Header at the end: the start is the header less the length.
        let clock = fit(&[
            point(0, T + 60, 60, 10 * 3600),
            point(1, T + 1200, 200, 10 * 3600 + 1000),
        ])
        .unwrap();
        assert_eq!(clock.written, [Written::AtEnd]);
        let start = clock.start_s(s(T + 2500), Some(s(500))).unwrap();
        assert!(start.contains(s(10 * 3600 + 2000)), "{start}");
        assert!(start.width() < s(6), "{start}");
        assert_eq!(clock.start_s(s(T + 2500), None), None);
    }

    #[test]
    fn one_clip_that_does_not_fit_is_told_apart() {
        let clock = fit(&[
            point(7, T, 60, 10 * 3600),
            point(8, T + 100, 60, 10 * 3600 + 100),
            point(9, T + 200, 60, 15 * 3600),
            point(10, T + 300, 60, 10 * 3600 + 300),
        ])
        .unwrap();
        assert_eq!(clock.outliers(), [9]);
        assert_eq!(clock.rests_on(), [7, 8, 10]);
    }

    #[test]
    fn a_clock_that_fits_half_of_its_clips_tells_nothing() {
        assert!(fit(&[]).is_none());
        assert!(fit(&[point(0, T, 60, 36_000), point(1, T + 100, 60, 50_000)]).is_none());
    }

    #[test]
    fn midnight_of_the_filmed_clock_is_no_jump() {
        let clock = fit(&[
            point(0, T, 60, CALENDAR_DAY_S - 100),
            point(1, T + 200, 60, 100),
        ])
        .unwrap();
        assert!(clock.outliers().is_empty());
        let start = clock.start_s(s(T + 100), Some(s(60))).unwrap();
        assert!(start.contains(s(0)), "{start}");
    }

    #[test]
    fn a_fast_clock_is_measured_over_a_long_day_only() {
        // 60 ppm fast: in 20 hours the camera gains 4.32 s.
        let long = fit(&[point(0, T, 60, 0), point(1, T + 72_004, 60, 72_000)]).unwrap();
        let ppm = long.gain_ppm().unwrap().to_f64();
        assert!((30.0..=90.0).contains(&ppm), "{ppm}");
        let short = fit(&[point(0, T, 60, 0), point(1, T + 3600, 60, 3600)]).unwrap();
        assert_eq!(short.gain_ppm(), None);
    }

    /// Starts and headers whose terms have nothing in common, as odd speeds make them.
    #[test]
    fn the_most_uneven_numbers_leave_the_clock_in_bounds() {
        let odd = |seconds: i64, den: i128| s(seconds) + Ratio::new(1, den);
        let points = (0..40).map(|n| {
            let at = i64::from(n) * 977;
            let start = odd(36_000 + at, 999_999_999_989 + 2 * i128::from(n));
            Point {
                header_s: s(T + at) + Ratio::new(i128::from(n) * 7919, MICROSECONDS.into()),
                length_s: Ratio::new(7_000_003 + i128::from(n), MICROSECONDS.into()),
                start_s: HalfOpen::new(start, start + Ratio::new(1, 999_983)),
                ..point(n as usize, 0, 0, 0)
            }
        });
        let clock = fit(&points.collect::<Vec<_>>()).unwrap();
        assert!(clock.outliers().is_empty());
        let header_s = s(T + 50_000) + Ratio::new(999_983, MICROSECONDS.into());
        let start = clock.start_s(header_s, Some(s(7))).unwrap();
        assert!(
            start.contains(s(86_000)) && start.width() < s(30),
            "{start}"
        );
        assert!(clock.gain_ppm().is_none_or(|ppm| ppm.abs() < s(100)));
    }

    #[test]
    fn the_offset_is_within_half_a_day() {
        // The filmed clock says 15:40:38, the header 12:40:43.
        let clock = fit(&[point(0, T, 0, 56_438)]).unwrap();
        let offset = clock.offset_s().to_f64();
        assert!((offset - 10_795.0).abs() < 0.1, "{offset}");
    }

    /// Drop-frame labels come round after 2,589,408 counts (SMPTE ST 12-1), 86 ms before a day is
    /// over, and labels without after 2,592,000, 86 s behind it.
    #[test]
    fn a_day_of_the_filmed_clock_that_is_none_of_the_calendar_shifts_no_offset() {
        for counts in [2_589_408, 2_592_000] {
            let day_s = Ratio::new(counts * 1001, 30_000);
            let clock = OwnClock::fit(vec![point(0, T, 0, 45_643)], day_s).unwrap();
            let offset = clock.offset_s().to_f64();
            assert!(offset.abs() < 0.1, "{offset}");
        }
    }
}
