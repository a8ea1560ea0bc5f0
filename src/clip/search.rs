//! A stretch of a clip, searched: its key frames, and the frames around those that show a
//! display.

use super::{END_S, Found, Watch};
use crate::error::Result;
use crate::frame::{Aim, Light, Stamp, Stride};
use crate::note::Note;
use crate::progress::{Event, Wish};
use crate::timecode::Ratio;
use crate::vision::{Display, LooseDigits, Pyramid, Sharpness};
use image::GrayImage;

/// Seconds between looks where every frame is decoded.
const LOOK_STEP_S: Ratio = Ratio::new(1, 2);
/// Seconds between key frames that are looked at, at least: in head and tail all that cameras
/// write, two a second at most, and from there on one a second, since most clips have no slate
/// there and looking in vain is what a clip without a clock costs. A little less than the half
/// and the whole second lets those through that are not quite so far apart.
const END_CLOSEST_S: Ratio = Ratio::new(2, 5);
const CLOSEST_S: Ratio = Ratio::new(9, 10);
/// Where key frames of head and tail lie further apart than cameras put them, which is a
/// second at most as a rule (common practice, no source), frames between are looked at, too:
/// a slate held for two seconds is met at least once, mostly twice.
const END_WIDEST_S: Ratio = Ratio::new(6, 5);
/// The same for the first seconds, where most slates are held up, some of them for a second only. Key
/// frames a second apart have none between them even there: each costs the decoding of all that lies
/// before it.
const EARLY_WIDEST_S: Ratio = Ratio::new(21, 20);
const EARLY_S: u32 = 4;
/// Seconds from the look at colours before from which on one that finds a display is followed:
/// looks further apart are those of head and tail.
const COLOURS_WIDEST_S: Ratio = Ratio::new(2, 1);
/// Seconds behind a look that showed a display until which every frame is decoded, even if
/// following the display led nowhere. The next key frames are another chance.
const NO_MORE_S: u32 = 1;
/// Frames laid over the first one to see all digits of a multiplexed display.
const AFTERGLOW_FRAMES: usize = 6;

/// How a stretch of the clip is searched.
#[derive(Clone, Copy)]
pub(super) struct Search {
    stride: Stride,
    /// How closely the frames of that stride are looked at.
    sharpness: Sharpness,
    /// How closely every frame around a find is.
    closer: Sharpness,
    /// True if digits that stand out by their colour alone are looked for, too: lit segments
    /// between grey unlit ones in daylight.
    in_colours: bool,
}

impl Search {
    /// Head and tail.
    pub(super) fn of_ends(sharpness: Sharpness) -> Self {
        let (closest, widest) = (END_CLOSEST_S, END_WIDEST_S);
        Self {
            stride: Stride::KeyFrames {
                closest_s: match sharpness {
                    // Digits smaller than any held up on purpose, at four times the cost.
                    Sharpness::Fine => CLOSEST_S,
                    _ => closest,
                },
                widest_s: Some(widest),
                is_rough: false,
            },
            sharpness,
            closer: sharpness,
            in_colours: sharpness == Sharpness::Coarse,
        }
    }

    /// How frames are looked at from `at` on, in clip seconds.
    fn stride_from(self, at: Ratio) -> Stride {
        match self.stride {
            Stride::KeyFrames {
                closest_s,
                widest_s: Some(_),
                is_rough,
            } if self.sharpness == Sharpness::Coarse && at < Ratio::from_integer(EARLY_S) => {
                Stride::KeyFrames {
                    closest_s,
                    widest_s: Some(EARLY_WIDEST_S),
                    is_rough,
                }
            }
            stride => stride,
        }
    }

    /// Between head and tail: digits as tall as an eightieth of the picture's longer side are
    /// seen (24 px of 1920), as on a display held up to the camera. At a quarter of the size the
    /// edges of blocks do not matter; what is found is decoded again.
    pub(super) fn of_middle() -> Self {
        Self {
            stride: Stride::KeyFrames {
                closest_s: CLOSEST_S,
                widest_s: None,
                is_rough: true,
            },
            sharpness: Sharpness::Broad,
            closer: Sharpness::Coarse,
            in_colours: false,
        }
    }

    fn is_broad(self) -> bool {
        self.sharpness == Sharpness::Broad
    }
}

impl Watch<'_> {
    /// Looks at key frames between two times (seconds after frame 0; `None`: from the head, and to
    /// the end), and at every frame around those that show a display.
    pub(super) fn search(
        &mut self,
        from: Option<Ratio>,
        until: Option<Ratio>,
        search: Search,
    ) -> Result<Found> {
        // Frame 0 is decoded as it is. If it shows the display, reading goes on from there.
        let starts_dense = from.is_none();
        self.footage
            .set_stride(from.map_or(Stride::EveryFrame, |from| search.stride_from(from)));
        self.footage.seek(from.map_or(Aim::Head, Aim::At))?;
        let mut last: Option<Ratio> = None;
        let mut widest = Ratio::ZERO;
        while let Some(stamp) = self.advance()? {
            let at = stamp.seconds();
            if until.is_some_and(|end| at > end) {
                break;
            }
            widest = last.map_or(widest, |l| widest.max(at - l));
            let before = last.replace(at);
            let mut found = if starts_dense && before.is_none() {
                self.look(stamp, search.closer)?
            } else {
                self.look_around(before, stamp, search)?
            };
            if found == Found::GoOn && search.in_colours {
                found = self.look_in_colours(stamp, search)?;
            }
            if found != Found::GoOn {
                return Ok(found);
            }
            // What was read closely is not read again.
            last = Some(self.reached);
            self.footage.set_stride(search.stride_from(self.reached));
        }
        self.footage.set_stride(Stride::EveryFrame);
        if search.is_broad() && widest > Ratio::from_integer(2) {
            self.notes.push(Note::new(
                "key_frames_only",
                format!(
                    "between the first and the last {END_S} seconds only key frames were looked at, up to {:.1} s apart: a slate shorter than that may have been missed there",
                    widest.to_f64()
                ),
            ));
        }
        Ok(Found::GoOn)
    }

    /// Looks at a frame, and if it shows a display at every frame around it; the look before was
    /// at `before`.
    fn look_around(
        &mut self,
        before: Option<Ratio>,
        stamp: Stamp,
        search: Search,
    ) -> Result<Found> {
        let at = stamp.seconds();
        if self.tell(Event::Searching { at_s: at.to_f64() }) == Wish::Stop {
            return Ok(Found::Stopped);
        }
        let pyramid = self.picture()?;
        let found = self.fresh_displays(&pyramid, stamp, search.sharpness)?;
        if !found.displays.is_empty() {
            return self.look_closely(before, stamp, &pyramid, &found.displays, search);
        }
        self.stages.candidates(&pyramid, &[], stamp);
        if search.is_broad() || !self.afterglow.is_worth_it(at, &found.loose_digits) {
            return Ok(Found::GoOn);
        }
        if !self.go_back(at)? {
            return Ok(Found::GoOn);
        }
        let luma = self.picture()?.into_full();
        self.look_at_afterglow(luma, found.loose_digits, search.closer)
    }

    /// Looks at a frame, unless one close before it was, and around it for digits that stand out
    /// by their colour alone. Comes back to where it was called.
    fn look_in_colours(&mut self, stamp: Stamp, search: Search) -> Result<Found> {
        let search = Search {
            sharpness: Sharpness::Broad,
            ..search
        };
        let (at, reached) = (stamp.seconds(), self.reached);
        let since = |last: Ratio| at - last;
        let before =
            (self.looked_in_colours).filter(|&last| at >= last && since(last) < COLOURS_WIDEST_S);
        if before.is_some_and(|last| since(last) < CLOSEST_S) {
            return Ok(Found::GoOn);
        }
        self.looked_in_colours = Some(at);
        if reached != at && !self.go_back(at)? {
            return Ok(Found::GoOn);
        }
        self.light = Light::Colour;
        let found = self.look_by_this_light(before, stamp, search);
        self.light = Light::Luma;
        let found = found?;
        if found == Found::GoOn && self.reached < reached {
            self.go_back(reached)?;
        }
        Ok(found)
    }

    /// Looks at a frame, and at every frame around it if it shows a plain display.
    fn look_by_this_light(
        &mut self,
        before: Option<Ratio>,
        stamp: Stamp,
        search: Search,
    ) -> Result<Found> {
        let picture = self.picture()?;
        let displays = (self.fresh_displays(&picture, stamp, search.sharpness)?).displays;
        match displays.iter().any(Display::is_plain) {
            true => self.look_closely(before, stamp, &picture, &displays, search),
            false => Ok(Found::GoOn),
        }
    }

    /// Goes to a frame that was given before, every frame from there on. False if it does not come
    /// again, as in a damaged clip: what comes in its place is another frame.
    pub(super) fn go_back(&mut self, at: Ratio) -> Result<bool> {
        self.footage.set_stride(Stride::EveryFrame);
        self.footage.seek(Aim::At(at))?;
        Ok(self.advance()?.is_some_and(|stamp| stamp.seconds() == at))
    }

    /// Looks at every frame around one that showed `displays`, and remembers them if that led
    /// nowhere. The look before was at `before`.
    fn look_closely(
        &mut self,
        before: Option<Ratio>,
        stamp: Stamp,
        pyramid: &Pyramid,
        displays: &[Display],
        search: Search,
    ) -> Result<Found> {
        self.footage.set_stride(Stride::EveryFrame);
        // A frame that was looked at as closely as it would be now shows nothing new.
        let is_close = search.sharpness == search.closer;
        let seen = is_close.then_some((pyramid, displays));
        let found = self.look_before_and_behind(before, stamp.seconds(), seen, search.closer)?;
        if found == Found::GoOn {
            for display in displays {
                if let Some(shown) = self.shown_by(display, pyramid, stamp)? {
                    self.in_vain.add_glimpse(shown);
                }
            }
        }
        Ok(found)
    }

    /// Looks at the frames from `before` on, at `at` in any case, and some time further. What is
    /// known of the frame at `at` is not looked for again, unless something was followed before it.
    fn look_before_and_behind(
        &mut self,
        before: Option<Ratio>,
        at: Ratio,
        mut seen: Option<(&Pyramid, &[Display])>,
        sharpness: Sharpness,
    ) -> Result<Found> {
        let until = at + Ratio::from_integer(NO_MORE_S);
        self.footage.seek(Aim::At(before.unwrap_or(at)))?;
        let mut next_look = before.map_or(at, |before| before + LOOK_STEP_S);
        self.earlier.forget();
        while let Some(stamp) = self.advance()? {
            let now = stamp.seconds();
            if now > until {
                break;
            }
            if now < next_look && now != at {
                // What was seen at `at` is read as far back as it is in view.
                if now < at && before != Some(now) && self.earlier.wants(stamp) {
                    let picture = self.picture()?;
                    self.earlier.keep(stamp, picture);
                }
                continue;
            }
            next_look = now + LOOK_STEP_S;
            let found = match seen.filter(|_| now == at) {
                Some((pyramid, displays)) => {
                    self.stages.candidates(pyramid, displays, stamp);
                    self.follow(pyramid, displays.to_vec(), stamp)?
                }
                None => self.look(stamp, sharpness)?,
            };
            if found != Found::GoOn {
                return Ok(found);
            }
            if self.reached > now {
                seen = None;
            }
            self.earlier.forget();
        }
        Ok(Found::GoOn)
    }

    /// One coarse look; follows what it finds.
    fn look(&mut self, stamp: Stamp, sharpness: Sharpness) -> Result<Found> {
        if self.tell(Event::Searching {
            at_s: stamp.seconds_f64(),
        }) == Wish::Stop
        {
            return Ok(Found::Stopped);
        }
        let pyramid = self.picture()?;
        let found = self.fresh_displays(&pyramid, stamp, sharpness)?;
        self.stages.candidates(&pyramid, &found.displays, stamp);
        if !found.displays.is_empty() {
            return self.follow(&pyramid, found.displays, stamp);
        }
        if self
            .afterglow
            .is_worth_it(stamp.seconds(), &found.loose_digits)
        {
            return self.look_at_afterglow(pyramid.into_full(), found.loose_digits, sharpness);
        }
        Ok(Found::GoOn)
    }

    /// Looks at the brightest of several frames laid over each other: a multiplexed display
    /// lights only some of its digits in any one frame.
    fn look_at_afterglow(
        &mut self,
        first: GrayImage,
        lines: Vec<LooseDigits>,
        sharpness: Sharpness,
    ) -> Result<Found> {
        self.afterglow.begins(self.reached);
        let mut brightest = first;
        let mut last = None;
        for _ in 0..AFTERGLOW_FRAMES {
            let Some(stamp) = self.advance()? else { break };
            let luma = self.picture()?.into_full();
            if luma.dimensions() != brightest.dimensions() {
                break;
            }
            for (glow, now) in brightest.iter_mut().zip(luma.iter()) {
                *glow = (*glow).max(*now);
            }
            last = Some((stamp, luma));
        }
        let Some((stamp, luma)) = last else {
            return Ok(Found::GoOn);
        };
        let glow = Pyramid::new(brightest);
        let found = self.fresh_displays(&glow, stamp, sharpness)?;
        if found.displays.is_empty() {
            self.afterglow.was_in_vain(lines);
            return Ok(Found::GoOn);
        }
        self.stages.candidates(&glow, &found.displays, stamp);
        self.follow(&Pyramid::new(luma), found.displays, stamp)
    }
}
