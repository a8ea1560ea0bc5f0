//! Whether frames are worth laying over each other, which shows all digits of a display that
//! lights only some of them in any one frame. It costs a search and the decoding of seven frames
//! and more, and any lettering in the scene may be what is left of a clock.

use crate::timecode::Ratio;
use crate::vision::LooseDigits;
use std::collections::BTreeSet;

/// Seconds between two looks at frames laid over each other.
const STEP_S: u32 = 2;

/// What was laid over before.
#[derive(Default)]
pub(super) struct Afterglow {
    last: Option<Ratio>,
    /// Digits, line by line, that were in view when it was done in vain.
    lettering: BTreeSet<String>,
}

impl Afterglow {
    /// True if these `lines` may be a part of a clock in the frame at `at`: some of
    /// them were not in view yet when frames were laid over each other in vain. A clock of which
    /// other digits are lit in each frame reads otherwise in each; lettering does not.
    pub fn is_worth_it(&self, at: Ratio, lines: &[LooseDigits]) -> bool {
        let step = Ratio::from_integer(STEP_S);
        let is_soon = self.last.is_some_and(|last| at >= last && at < last + step);
        !is_soon
            && lines
                .iter()
                .any(|line| !self.lettering.contains(&line.digits))
    }

    pub fn begins(&mut self, at: Ratio) {
        self.last = Some(at);
    }

    pub fn was_in_vain(&mut self, lines: Vec<LooseDigits>) {
        self.lettering
            .extend(lines.into_iter().map(|line| line.digits));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Point, Quad};

    #[test]
    fn lettering_is_looked_at_once_and_digits_that_change_again_and_again() {
        let seconds = Ratio::from_integer;
        let corners = [(0.0, 0.0), (90.0, 0.0), (90.0, 20.0), (0.0, 20.0)];
        let quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
        let lines = |texts: &[&str]| -> Vec<LooseDigits> {
            let line = |text: &&str| LooseDigits {
                quad,
                digits: (*text).to_owned(),
            };
            texts.iter().map(line).collect()
        };
        let mut afterglow = Afterglow::default();
        assert!(!afterglow.is_worth_it(seconds(0), &[]));
        assert!(afterglow.is_worth_it(seconds(0), &lines(&["42"])));
        afterglow.begins(seconds(0));
        afterglow.was_in_vain(lines(&["42"]));
        assert!(!afterglow.is_worth_it(seconds(1), &lines(&["107"])), "soon");
        assert!(!afterglow.is_worth_it(seconds(2), &lines(&["42"])));
        assert!(afterglow.is_worth_it(seconds(2), &lines(&["42", "107"])));
        // The tail is looked at before what lies between.
        afterglow.begins(seconds(90));
        assert!(afterglow.is_worth_it(seconds(89), &lines(&["8"])));
    }
}
