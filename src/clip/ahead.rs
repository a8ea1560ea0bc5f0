//! Frames ahead of those that are read: does the clock go on as it should, and is another slate held up?

use super::dense::Pass;
use super::track::{Track, plain_digits};
use super::{END_S, Watch};
use crate::error::Result;
use crate::fit::ClockFit;
use crate::frame::{Stamp, Stride};
use crate::timecode::Ratio;
use crate::vision::{self, Display, Pyramid, Sharpness};

/// Once the fit is sure, frames ahead are asked whether the clock goes on as it should, at least so
/// many seconds apart: one that is set anew or stopped while it is held up may have run evenly until
/// then. Most slates are held for two seconds, of which 1.3 were read by then.
const GLANCE_STEP_S: Ratio = Ratio::new(1, 2);
/// Frames ahead that are looked at; one that does not show the display is searched for another.
const GLANCES: usize = 2;
/// Frames ahead are key frames, where one comes within so many seconds.
const GLANCE_WIDEST_S: Ratio = Ratio::new(6, 5);
/// Once it is read, the slate is looked for at frames so many seconds apart, until the display has gone
/// from as many in a row as there are glances.
const BESIDE_STEP_S: Ratio = Ratio::new(9, 10);

/// What frames ahead show of displays whose start seems settled.
pub(super) enum Ahead {
    /// What was expected, or no display; whether they are in view to the last.
    NothingElse { is_in_view: bool },
    /// Other digits than they should show there.
    OtherDigits(Stamp),
    /// Others, of whole clocks, where they have gone or beside them: another slate.
    OtherDisplays(Slate),
}

/// Displays found in a frame.
pub(super) struct Slate {
    pub displays: Vec<Display>,
    pub stamp: Stamp,
}

impl Watch<'_> {
    /// Looks at a few frames ahead of the one at `at`: do the displays show there what `answer` has
    /// them show, or is another one held up where they have gone, or beside those that are there from
    /// the head of the clip on. Comes back to where it was called where they show something else, which
    /// is no more than a reason to read on: a digit may be misread.
    pub(super) fn glance_ahead(
        &mut self,
        at: Ratio,
        pass: &Pass,
        answer: &ClockFit,
    ) -> Result<Ahead> {
        self.footage.set_stride(Stride::Ahead {
            closest_s: GLANCE_STEP_S,
            widest_s: GLANCE_WIDEST_S,
        });
        let mut ahead = pass.tracks.clone();
        let mut agreed = answer.frames_agreeing();
        let mut is_in_view = false;
        let mut seen = None;
        for _ in 0..GLANCES {
            let Some(stamp) = self.advance()? else {
                is_in_view = false;
                break;
            };
            let picture = self.picture()?;
            is_in_view = self.see_any(&mut ahead, &picture, stamp)?;
            if !is_in_view || pass.is_from_the_head {
                // Where all have gone another may be held up in their place.
                let known: Vec<&Track> = match is_in_view {
                    true => ahead.iter().chain(&pass.done).collect(),
                    false => Vec::new(),
                };
                if let Some(slate) = self.slate_ahead(&known, &picture, stamp)? {
                    seen = Some(Ahead::OtherDisplays(slate));
                    break;
                }
            }
            if !is_in_view {
                continue;
            }
            let agree = self.answer(&pass.done, &ahead).0.frames_agreeing();
            if agree <= agreed {
                seen = Some(Ahead::OtherDigits(stamp));
                break;
            }
            agreed = agree;
        }
        self.footage.set_stride(Stride::EveryFrame);
        Ok(match seen {
            Some(Ahead::OtherDigits(_)) if !self.go_back(at)? => Ahead::NothingElse { is_in_view },
            Some(seen) => seen,
            None => Ahead::NothingElse { is_in_view },
        })
    }

    /// Follows tracks into a picture further on; true if it shows any of them.
    fn see_any(&self, tracks: &mut [Track], picture: &Pyramid, stamp: Stamp) -> Result<bool> {
        let mut is_in_view = false;
        for track in tracks {
            if let Some(seen) = self.see(track, picture, stamp, vision::Search::Around)? {
                track.take(seen);
                is_in_view = true;
            }
        }
        Ok(is_in_view)
    }

    /// Whole clocks that a picture shows elsewhere than where those `known` are.
    pub(super) fn slate_beside(
        &mut self,
        known: &[&Track],
        picture: &Pyramid,
        stamp: Stamp,
    ) -> Result<Option<Slate>> {
        let mut displays = (self.fresh_displays(picture, stamp, Sharpness::Broad)?).displays;
        displays.retain(|display| {
            let is_known = known.iter().any(|track| track.display.is_near(display));
            display.is_plain_and_whole() && !is_known
        });
        Ok((!displays.is_empty()).then_some(Slate { displays, stamp }))
    }

    /// As [`Self::slate_beside`], at a look ahead, but none if all of it stands at the next one: reading it
    /// frame by frame would tell the same. What that look does not tell may run.
    fn slate_ahead(
        &mut self,
        known: &[&Track],
        picture: &Pyramid,
        stamp: Stamp,
    ) -> Result<Option<Slate>> {
        let Some(slate) = self.slate_beside(known, picture, stamp)? else {
            return Ok(None);
        };
        let mut shown = Vec::new();
        for display in &slate.displays {
            // Seconds may stand from one look to the next.
            let counts_fast = display.layout().groups.len() > 3;
            let odds = self.shown_by(display, picture, stamp)?;
            let odds = odds.filter(|_| counts_fast);
            match odds.and_then(|odds| plain_digits(&odds).map(|digits| (odds, digits))) {
                Some(both) => shown.push(both),
                None => return Ok(Some(slate)),
            }
        }
        let Some(next) = self.advance()? else {
            return Ok(Some(slate));
        };
        let picture = self.picture()?;
        for (display, (_, digits)) in slate.displays.iter().zip(&shown) {
            let seen = (self.eye).follow(&picture, display, next, vision::Search::Around)?;
            let now = seen.and_then(|seen| plain_digits(&seen.reading.places));
            if now.as_ref() != Some(digits) {
                return Ok(Some(slate));
            }
        }
        for (odds, _) in shown {
            self.in_vain.add_glimpse(odds);
        }
        Ok(None)
    }

    /// Looks through the head of the clip for a clock that comes into view beside displays that are
    /// there from the first: the slate, where these are laid over the picture. What the pass is done
    /// with is none.
    pub(super) fn look_for_another(&mut self, pass: &Pass) -> Result<Option<Slate>> {
        self.footage.set_stride(Stride::Ahead {
            closest_s: BESIDE_STEP_S,
            widest_s: GLANCE_WIDEST_S,
        });
        let mut ahead = pass.tracks.clone();
        let mut another = None;
        let mut out_of_view = 0;
        while another.is_none()
            && out_of_view < GLANCES
            && let Some(stamp) = self.advance()?
            && stamp.seconds() <= Ratio::from_integer(END_S)
        {
            let picture = self.picture()?;
            out_of_view = match self.see_any(&mut ahead, &picture, stamp)? {
                true => 0,
                false => out_of_view + 1,
            };
            let known: Vec<&Track> = ahead.iter().chain(&pass.done).collect();
            another = self.slate_ahead(&known, &picture, stamp)?;
        }
        self.footage.set_stride(Stride::EveryFrame);
        Ok(another)
    }
}
