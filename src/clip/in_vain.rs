//! Displays that led nowhere: lettering mostly, which is met again at every look. A clock that
//! comes to stand where lettering stood shows other digits, and one that cannot be read by its
//! luma may be read by its colour.

use super::track::{PLAIN, plain_digits};
use crate::error::Result;
use crate::frame::Light;
use crate::reading::DigitOdds;
use crate::vision::Display;

/// Share of a display's places that must be plainly seen to tell whether they show the same.
const MOST_PLACES: (usize, usize) = (3, 4);

/// Seconds between two looks, at most, by which a clock of whole seconds goes on that seemed to
/// stand: looks lie two apart at most, or a little more where frames are lost.
const MOST_STEPS: i32 = 3;

/// Displays that led nowhere.
#[derive(Default)]
pub(super) struct InVain(Vec<Known>);

/// What is known of a display that a look found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Met {
    /// It was not met before, or is plainly another than was, or went on since.
    Never,
    /// It is one that led nowhere.
    InVain,
    /// It was, and shows the same digits as it did then: it does not run.
    Standing,
}

struct Known {
    /// If it was followed and did not change, or could not be read: where, and by which light.
    /// `None` if one look saw it and nothing came of the frames around.
    place: Option<(Light, Display)>,
    /// What it showed at the last; nothing if no frame showed it.
    shown: Vec<DigitOdds>,
    /// True if a display that stood there was waited for as a clock of slowed footage is: a digit
    /// that is misread now and then goes on, too.
    was_waited_for: bool,
}

impl Known {
    fn stood_at(&self, light: Light, display: &Display) -> bool {
        let place = self.place.as_ref();
        place.is_some_and(|(by, place)| *by == light && place.is_same_as(display))
    }
}

impl InVain {
    /// Takes one that was followed.
    pub fn add(&mut self, light: Light, display: Display, shown: Vec<DigitOdds>) {
        let mut stood = self.0.iter().filter(|k| k.stood_at(light, &display));
        let was_waited_for = stood.any(|known| known.was_waited_for);
        self.0.push(Known {
            place: Some((light, display)),
            shown,
            was_waited_for,
        });
    }

    /// Takes one that a look saw, though nothing came of the frames around it.
    pub fn add_glimpse(&mut self, shown: Vec<DigitOdds>) {
        self.0.push(Known {
            place: None,
            shown,
            was_waited_for: false,
        });
    }

    /// True if `display` shows whole seconds, and one like it was followed in vain by that light
    /// where it stands: it is to be waited for. No second time: so that is noted.
    pub fn waits_for(&mut self, light: Light, display: &Display) -> bool {
        let mut waits = false;
        let stood = self.0.iter_mut().filter(|k| k.stood_at(light, display));
        for known in stood.filter(|_| shows_seconds(display)) {
            waits |= !std::mem::replace(&mut known.was_waited_for, true);
        }
        waits
    }

    /// Whether `display`, seen by `light`, is one of them: it stands where one was followed by that
    /// light and does not plainly show something else or seconds that went on, or it shows the same
    /// anywhere and by any light, as lettering does that a camera pans over. `shown` tells what it
    /// shows, if it is seen.
    ///
    /// # Errors
    /// Those of `shown`.
    pub fn meets(
        &self,
        light: Light,
        display: &Display,
        shown: impl FnOnce() -> Result<Option<Vec<DigitOdds>>>,
    ) -> Result<Met> {
        if self.0.is_empty() {
            return Ok(Met::Never);
        }
        let now = shown()?.unwrap_or_default();
        let mut met = Met::Never;
        for known in &self.0 {
            if shows_a_part_of(&known.shown, &now) {
                return Ok(Met::Standing);
            }
            if known.stood_at(light, display)
                && !Alike::of(&known.shown, &now).is_other()
                && (known.was_waited_for || !has_stepped(display, &known.shown, &now))
            {
                met = Met::InVain;
            }
        }
        Ok(met)
    }
}

/// True if it shows whole seconds, or less.
fn shows_seconds(display: &Display) -> bool {
    matches!(display.layout().groups[..], [1 | 2, 2, 2])
}

/// True if all that changed of a display of whole seconds is that they went on: footage that plays
/// slower than it was shot shows each for longer than a clock is waited for.
fn has_stepped(display: &Display, then: &[DigitOdds], now: &[DigitOdds]) -> bool {
    let (Some(then), Some(now)) = (plain_digits(then), plain_digits(now)) else {
        return false;
    };
    if !shows_seconds(display) || then.len() != now.len() || then.len() < 2 {
        return false;
    }
    let last = now.len() - 2;
    let seconds = |digits: &[u8]| i32::from(digits[last]) * 10 + i32::from(digits[last + 1]);
    then[..last] == now[..last] && (1..=MOST_STEPS).contains(&(seconds(&now) - seconds(&then)))
}

/// True if `now` are the digits that were shown `then`, all of them or some that follow each other: of
/// lettering that is known, one look may find a piece only.
fn shows_a_part_of(then: &[DigitOdds], now: &[DigitOdds]) -> bool {
    let most_left_out = then.len().saturating_sub(now.len());
    (0..=most_left_out).any(|left_out| Alike::of(&then[left_out..], now).is_same())
}

/// How much of what a display shows was shown before.
struct Alike {
    places: usize,
    /// Places that plainly show a digit.
    plain: usize,
    /// Those of them that show the one from before.
    as_then: usize,
}

impl Alike {
    fn of(then: &[DigitOdds], now: &[DigitOdds]) -> Self {
        let (mut plain, mut as_then) = (0, 0);
        for (i, odds) in now.iter().enumerate() {
            let (digit, p) = odds.best();
            if p >= PLAIN {
                plain += 1;
                // A doubtful digit that comes out the same again was no other.
                as_then += usize::from(then.get(i).is_some_and(|odds| odds.best().0 == digit));
            }
        }
        Self {
            places: now.len(),
            plain,
            as_then,
        }
    }

    fn is_plain(&self) -> bool {
        let (num, den) = MOST_PLACES;
        self.plain * den >= self.places * num
    }

    /// True if most places plainly show another digit.
    fn is_other(&self) -> bool {
        self.plain > 0 && self.is_plain() && self.as_then * 2 < self.plain
    }

    /// True if most places can be told, and none shows another digit: a running clock shows
    /// other frames at the next look.
    fn is_same(&self) -> bool {
        self.plain > 0 && self.is_plain() && self.as_then == self.plain
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Point, Quad};

    /// Odds of digits as a reader gives them; `.` is a place that cannot be told.
    fn seen(digits: &str) -> Vec<DigitOdds> {
        digits
            .chars()
            .map(|c| {
                let mut weights = [0.1; 10];
                if let Some(digit) = c.to_digit(10) {
                    weights[digit as usize] = 9.0;
                }
                DigitOdds::from_weights(weights)
            })
            .collect()
    }

    #[test]
    fn what_stands_where_lettering_stood_is_another_display_if_most_of_its_digits_are_others() {
        for (then, now, is_other, is_same) in [
            ("17042031", "17042031", false, true),
            ("17042031", "170.2031", false, true),
            // One or the other digit misread at the next look.
            ("17042031", "17842037", false, false),
            ("17042031", "12254917", true, false),
            // A clock that was cut off: its minutes are as they were.
            ("12254917", "12255508", false, false),
            // Texture tells no digits, then or now.
            ("........", "12254917", true, false),
            ("17042031", ".2.5.91.", false, false),
            ("........", "........", false, false),
            ("", "12254917", true, false),
            ("17042031", "1225.917", true, false),
            ("17042031", "", false, false),
        ] {
            let alike = Alike::of(&seen(then), &seen(now));
            assert_eq!(alike.is_other(), is_other, "{now} after {then}");
            assert_eq!(alike.is_same(), is_same, "{now} after {then}");
        }
    }

    #[test]
    fn what_one_look_saw_is_known_again_anywhere_but_only_by_its_digits() {
        let corners = |x: f32| [(x, 0.0), (x + 90.0, 0.0), (x + 90.0, 20.0), (x, 20.0)];
        let standing_at = |x: f32| {
            let quad = Quad::from_corners(corners(x).map(|(x, y)| Point::new(x, y)));
            Display::in_plain_view(quad, &[2, 2, 2, 2])
        };
        let mut in_vain = InVain::default();
        in_vain.add(Light::Luma, standing_at(0.0), seen("17042031"));
        in_vain.add_glimpse(seen("95059014"));
        for (x, light, now, met) in [
            // Where one was followed, what is not plainly another.
            (0.0, Light::Luma, "17842037", Met::InVain),
            (0.0, Light::Luma, "17042031", Met::Standing),
            (0.0, Light::Colour, "17842037", Met::Never),
            (0.0, Light::Luma, "12254917", Met::Never),
            // Elsewhere, and by another light, what shows the same.
            (400.0, Light::Luma, "17042031", Met::Standing),
            (400.0, Light::Colour, "95059014", Met::Standing),
            (0.0, Light::Colour, "9505.014", Met::Standing),
            // A piece of it, by itself.
            (400.0, Light::Luma, "70420", Met::Standing),
            (400.0, Light::Luma, "059014", Met::Standing),
            (400.0, Light::Luma, "059015", Met::Never),
            (400.0, Light::Luma, "90504", Met::Never),
            // A clock that a look saw has gone on at the next.
            (400.0, Light::Luma, "95059114", Met::Never),
        ] {
            let shown = || Ok(Some(seen(now)));
            let is = in_vain.meets(light, &standing_at(x), shown).unwrap();
            assert_eq!(is, met, "{now} at {x} by {light:?}");
        }
    }

    #[test]
    fn whole_seconds_that_went_on_are_no_lettering() {
        let corners = [(0.0, 0.0), (90.0, 0.0), (90.0, 20.0), (0.0, 20.0)];
        let quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
        for (groups, then, now, is_held) in [
            (&[2, 2, 2][..], "102030", "102030", true),
            (&[2, 2, 2], "102030", "102031", false),
            (&[2, 2, 2], "102029", "102030", false),
            (&[1, 2, 2], "92030", "92033", false),
            // Backwards, too far, not plainly, or not the seconds.
            (&[2, 2, 2], "102030", "102029", true),
            (&[2, 2, 2], "102030", "102034", true),
            (&[2, 2, 2], "102030", ".02031", true),
            (&[2, 2, 2], "102030", "102130", true),
            // Frames that stood are waited for as long as they need.
            (&[2, 2, 2, 2], "10203007", "10203008", true),
        ] {
            let display = Display::in_plain_view(quad, groups);
            let mut in_vain = InVain::default();
            assert!(!in_vain.waits_for(Light::Luma, &display));
            in_vain.add(Light::Luma, display.clone(), seen(then));
            let met = in_vain.meets(Light::Luma, &display, || Ok(Some(seen(now))));
            assert_eq!(met.unwrap() != Met::Never, is_held, "{now} after {then}");
            // It is waited for once.
            assert!(!in_vain.waits_for(Light::Colour, &display));
            let waits = in_vain.waits_for(Light::Luma, &display);
            assert_eq!(waits, groups.len() == 3, "{now} after {then}");
            assert!(!in_vain.waits_for(Light::Luma, &display));
            let is_held = is_held || waits;
            in_vain.add(Light::Luma, display.clone(), seen(then));
            let met = in_vain.meets(Light::Luma, &display, || Ok(Some(seen(now))));
            assert_eq!(
                met.unwrap() != Met::Never,
                is_held,
                "{now} after {then}, waited for"
            );
        }
    }
}
