//! Where clips lie on the filmed clock, as it reads.
//!
//! The axis is what the clock *shows*: a 29.97 clock without drop-frame shows 10:00:00 only
//! after 36 036 real seconds, and a reader compares the page with the slate and not with a
//! stopwatch. All of this is for drawing and sorting; nothing is computed from it.

use crate::clip_base::clock_form;
use crate::outcome::{CardOutcome, ClipOutcome, Clock};
use crate::timecode::Ratio;

/// Seconds that a clock shows from midnight to midnight.
pub const DAY_S: f64 = 86_400.0;

/// Where a clip lies. All in seconds on the clock's face, counted on beyond midnight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    pub start_s: f64,
    pub end_s: f64,
    /// For an estimate, how far frame 0 may lie from `start_s`, before and after.
    pub doubt_s: Option<(f64, f64)>,
}

/// Seconds that the clock shows in one real second: 1, but for clocks such as 29.97 without
/// drop-frame, which fall behind by 1 in 1001.
fn shown_per_second(clock: Option<&Clock>) -> f64 {
    match clock.and_then(clock_form) {
        Some(form) if !form.drop_frame() => {
            (form.rate().ratio() / Ratio::from_integer(form.base())).to_f64()
        }
        _ => 1.0,
    }
}

/// The card's clips on one axis that begins in the longest pause of the day, so that a
/// night's work stays in one piece.
pub struct Places {
    /// One for each clip; `None` for a clip without start and estimate.
    pub of_clip: Vec<Option<Place>>,
    /// What the clocks show in a real second, for each clip.
    shown: Vec<f64>,
}

impl Places {
    pub fn of(card: &CardOutcome) -> Self {
        // An estimate is told in real seconds of a clock that another clip shows.
        let camera_clock = |camera: usize| {
            let clocks = || {
                card.clips
                    .iter()
                    .filter_map(|clip| Some((clip.camera, clip.outcome.clock.as_ref()?)))
            };
            clocks()
                .find(|(of, _)| *of == camera)
                .or_else(|| clocks().next())
                .map(|(_, clock)| clock)
        };
        let shown: Vec<f64> = card
            .clips
            .iter()
            .map(|clip| {
                let clock = clip.outcome.clock.as_ref();
                shown_per_second(clock.or_else(|| camera_clock(clip.camera)))
            })
            .collect();
        let mut of_clip: Vec<Option<Place>> = card
            .clips
            .iter()
            .zip(&shown)
            .map(|(clip, &shown)| place(&clip.outcome, shown))
            .collect();
        let begin = longest_pause_end(of_clip.iter().flatten());
        for place in of_clip.iter_mut().flatten() {
            let moved = begin + (place.start_s - begin).rem_euclid(DAY_S);
            place.end_s += moved - place.start_s;
            place.start_s = moved;
        }
        Self { of_clip, shown }
    }

    /// What the clock shows `seconds` real seconds after its midnight, for the clip at `index`.
    pub fn shown_s(&self, index: usize, seconds: f64) -> f64 {
        seconds * self.shown[index]
    }
}

fn place(outcome: &ClipOutcome, shown: f64) -> Option<Place> {
    let (seconds, doubt) = match (&outcome.start, &outcome.estimate) {
        (Some(start), _) => (start.seconds, None),
        (None, Some(estimate)) => {
            let [low, high] = estimate.seconds_bounds;
            let doubt = (estimate.seconds - low, high - estimate.seconds);
            (estimate.seconds, Some(doubt))
        }
        (None, None) => return None,
    };
    let length_s = outcome.clip.duration_seconds.unwrap_or(0.0) * outcome.clip.speed;
    let start_s = (seconds * shown).rem_euclid(DAY_S);
    let end_s = start_s + length_s.max(0.0) * shown;
    (start_s.is_finite() && end_s.is_finite()).then_some(Place {
        start_s,
        end_s,
        doubt_s: doubt.map(|(before, after)| (before.max(0.0), after.max(0.0))),
    })
}

/// Where the longest pause of the day ends, 0 to a day; midnight if there is nothing.
fn longest_pause_end<'a>(places: impl Iterator<Item = &'a Place>) -> f64 {
    let mut spans: Vec<(f64, f64)> = places.map(|place| (place.start_s, place.end_s)).collect();
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(&(first, _)) = spans.first() else {
        return 0.0;
    };
    let mut longest = f64::MIN;
    let mut end = first;
    let mut covered_until = f64::MIN;
    for (at, &(start, stop)) in spans.iter().enumerate() {
        if at > 0 && start - covered_until > longest {
            longest = start - covered_until;
            end = start;
        }
        covered_until = covered_until.max(stop);
    }
    // The pause over midnight wins a tie: a day's work begins in the morning.
    if first + DAY_S - covered_until >= longest {
        end = first;
    }
    end
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::{DropFrameKnownBy, RateKnownBy};

    fn at(start_s: f64, length_s: f64) -> Place {
        Place {
            start_s,
            end_s: start_s + length_s,
            doubt_s: None,
        }
    }

    fn clock(form: &str, rate: &str, drop_frame: Option<bool>) -> Clock {
        Clock {
            form: form.into(),
            rate: rate.into(),
            rate_known_by: RateKnownBy::Measured,
            drop_frame,
            drop_frame_known_by: DropFrameKnownBy::Label,
            refresh_hz: None,
            drift_ppm_bounds: None,
        }
    }

    #[test]
    fn a_day_begins_in_its_longest_pause() {
        assert_eq!(longest_pause_end([].iter()), 0.0);
        let day = [at(36_000.0, 60.0), at(50_000.0, 60.0), at(41_000.0, 60.0)];
        assert_eq!(longest_pause_end(day.iter()), 36_000.0);
        let night = [at(3_600.0, 60.0), at(79_200.0, 60.0), at(86_390.0, 60.0)];
        assert_eq!(longest_pause_end(night.iter()), 79_200.0);
    }

    #[test]
    fn a_clock_without_drop_frame_shows_less_than_real_time() {
        // 36 036 real seconds are 1 080 000 frames of 30000/1001, labelled 10:00:00:00.
        let slow = clock("HH:MM:SS:FF", "30000/1001", Some(false));
        assert!((36_036.0 * shown_per_second(Some(&slow)) - 36_000.0).abs() < 1e-6);
        let exact = [
            clock("HH:MM:SS;FF", "30000/1001", Some(true)),
            clock("HH:MM:SS:FF", "25/1", Some(false)),
            clock("HH:MM:SS.ddd", "1000/1", None),
            clock("sundial", "", None),
        ];
        for clock in exact {
            assert_eq!(shown_per_second(Some(&clock)), 1.0, "{clock:?}");
        }
    }
}
