//! The dense pass: displays read frame by frame until more frames cannot change the answer.

use super::ahead::{Ahead, Slate};
use super::track::Track;
use super::{Found, MOST_DISPLAYS, Watch};
use crate::error::Result;
use crate::fit::{self, ClockFit, FittedClock};
use crate::frame::Stamp;
use crate::progress::{Event, Wish};
use crate::reading::Sighting;
use crate::timecode::Ratio;
use crate::vision::{self, Display, Followed, Pyramid, Sharpness};
use std::borrow::Cow;
use std::collections::VecDeque;

/// Seconds after which a dense pass searches a frame again, for a second opinion.
const LOOK_AGAIN_S: Ratio = Ratio::new(1, 4);
/// Seconds after which the fit is asked for the first time. By then the seconds have
/// changed once, which shows the base of the frames; fewer leave the rate assumed and the
/// bounds the wider for it.
const FIRST_ASK_S: Ratio = Ratio::new(5, 4);
/// Seconds after which a start is taken as it is, even if bounds wider than a count say
/// that several rates explain the frames.
const LONG_LOOK_S: u32 = 3;
/// Seconds between two questions to the fit.
const ASK_STEP_S: Ratio = Ratio::new(1, 2);
/// Questions in vain behind which what is followed may not be the clock, though it runs: one
/// comes too soon for most clocks.
const MOST_IN_VAIN: usize = 1;
/// Seconds a dense pass may take before the coarse pass goes on: longer windows narrow
/// the bounds no further than a slate of ordinary length does.
const MOST_DENSE_S: u32 = 6;
/// The same where the clip plays slower than it was shot: at a tenth of the speed, whole seconds
/// change twice in that time.
const MOST_DENSE_SLOWED_S: u32 = 20;
/// Bounds of a start that is known to a count, and to a tenth at either end since looks caught
/// in a change say no more (docs/fit.md): a camera locked to the clock learns nothing more.
const LOCKED_COUNTS: Ratio = Ratio::new(6, 5);
/// Share of their width that bounds must keep over half a second to be taken for those.
const UNCHANGED: Ratio = Ratio::new(49, 50);
/// A display that is there so many seconds behind frame 0 and does not go, as slates do, may be laid
/// over the picture or be a monitor in view. Then the slate is still to come, and is looked for.
const AT_THE_HEAD_S: Ratio = Ratio::new(1, 2);
/// While such a display is read, the slate is looked for from so many seconds on, as often as the fit
/// is asked.
const FIRST_BESIDE_S: Ratio = Ratio::new(3, 4);
/// Slates that are read one after the other without a look between them, at most: what comes and goes
/// more often is laid over the picture, and hours of it need not be read.
const MOST_SLATES: usize = 8;

impl Watch<'_> {
    /// The dense pass: reads the displays frame by frame until they are gone, still, or
    /// more frames cannot change the answer; then other slates that came into view meanwhile.
    pub(super) fn follow(
        &mut self,
        first: &Pyramid,
        displays: Vec<Display>,
        stamp: Stamp,
    ) -> Result<Found> {
        let (mut found, mut next_slate) = self.follow_one(first, displays, stamp)?;
        for _ in 1..MOST_SLATES {
            if found == Found::Stopped {
                break;
            }
            let Some(slate) = next_slate else { break };
            if !self.go_back(slate.stamp.seconds())? {
                break;
            }
            let picture = self.picture()?;
            (found, next_slate) = self.follow_one(&picture, slate.displays, slate.stamp)?;
        }
        Ok(found)
    }

    /// Reads displays frame by frame; with it the next slate, if another came into view.
    fn follow_one(
        &mut self,
        first: &Pyramid,
        displays: Vec<Display>,
        stamp: Stamp,
    ) -> Result<(Found, Option<Slate>)> {
        let mut pass = self.begin(displays, stamp)?;
        let mut now = Some((stamp, None));
        while let Some((stamp, pyramid)) = now.take() {
            let pyramid = pyramid.as_ref().unwrap_or(first);
            self.read(&mut pass, pyramid, stamp)?;
            self.let_go(&mut pass);
            if pass.is_over(stamp.seconds()) {
                break;
            }
            for track in pass
                .tracks
                .iter_mut()
                .filter(|t| t.is_new_to_looks_around())
            {
                self.look_for_half_days(pyramid, track)?;
            }
            self.look_for_a_slate(&mut pass, pyramid, stamp)?;
            if self.ask(&mut pass, pyramid, stamp)? == Found::Settled {
                break;
            }
            self.look_again(&mut pass, pyramid, stamp)?;
            if self.tell(Event::Reading {
                at_s: stamp.seconds_f64(),
            }) == Wish::Stop
            {
                let (_, next_slate) = self.conclude(pass)?;
                return Ok((Found::Stopped, next_slate));
            }
            if let Some(stamp) = self.advance()? {
                now = Some((stamp, Some(self.picture()?)));
            }
        }
        self.conclude(pass)
    }

    /// A pass over the frames from one that shows `displays` on, which are looked for in those before
    /// it, too.
    fn begin(&mut self, displays: Vec<Display>, stamp: Stamp) -> Result<Pass> {
        let mut tracks: Vec<Track> = displays.into_iter().map(Track::new).collect();
        let earlier = self.earlier.take();
        let all: Vec<Display> = tracks.iter().map(|t| t.display.clone()).collect();
        let mut plain: Vec<Display> = Vec::new();
        for track in tracks.iter_mut().filter(|track| track.display.is_plain()) {
            let found = track.display.clone();
            let search = search_among(&all, &plain, &found);
            self.see_before(track, &earlier, search)?;
            plain.push(found);
        }
        let began = tracks.iter().filter_map(Track::began).min();
        let began = began.unwrap_or_else(|| stamp.seconds());
        Ok(Pass {
            began,
            is_from_the_head: stamp.seconds() <= AT_THE_HEAD_S,
            slowdown: self.slowdown(&tracks),
            tracks,
            done: Vec::new(),
            next_slate: None,
            beside_at: began + FIRST_BESIDE_S,
            ask_at: began + FIRST_ASK_S,
            asked_in_vain: 0,
            width_before: None,
            has_glanced: false,
            look_at: began + LOOK_AGAIN_S,
            was_looked_again: false,
        })
    }

    /// Reads in one frame what is followed, the plainest first.
    fn read(&mut self, pass: &mut Pass, pyramid: &Pyramid, stamp: Stamp) -> Result<()> {
        let tracks = &mut pass.tracks;
        tracks.sort_by(|a, b| b.display.presence.total_cmp(&a.display.presence));
        let all: Vec<Display> = tracks.iter().map(|t| t.display.clone()).collect();
        let at = stamp.seconds();
        let mut waits: Vec<bool> = tracks.iter().map(|t| t.can_wait(at)).collect();
        if waits.contains(&true) && !tracks.iter().any(Track::is_in_full_view) {
            waits.fill(false);
        }
        let mut plain: Vec<Display> = Vec::new();
        for (track, _) in tracks.iter_mut().zip(&waits).filter(|(_, waits)| !**waits) {
            let search = search_among(&all, &plain, &track.display);
            match self.see(track, pyramid, stamp, search)? {
                Some(seen) => {
                    plain.extend(Some(&seen.display).filter(|d| d.is_plain()).cloned());
                    self.stages.reading(&seen);
                    self.album.take(pyramid, &seen.reading);
                    track.take(seen);
                }
                None => track.misses += 1,
            }
        }
        for at in (0..tracks.len()).filter(|&at| !waits[at]) {
            let (before, rest) = tracks.split_at_mut(at);
            let Some((track, behind)) = rest.split_first_mut() else {
                break;
            };
            track.meets(before.iter().chain(&*behind));
        }
        Ok(())
    }

    /// Follows no longer what is not worth it; what leaves out a place is followed with it.
    fn let_go(&mut self, pass: &mut Pass) {
        let tracks = std::mem::take(&mut pass.tracks);
        let is_worth_it = |t: &Track| {
            t.is_worth_following(pass.slowdown)
                && !tracks.iter().any(|whole| t.is_idle_beside(whole))
        };
        let stay: Vec<bool> = tracks.iter().map(is_worth_it).collect();
        let mut stay = stay.into_iter();
        let (going, gone): (Vec<Track>, Vec<Track>) =
            tracks.into_iter().partition(|_| stay.next() == Some(true));
        // Another look would take it for a display that comes into view.
        for track in gone.iter().filter(|t| t.is_still()) {
            self.in_vain.add_glimpse(track.shown_last());
        }
        pass.tracks = going;
        for completed in gone.iter().filter_map(Track::completed) {
            let mut followed = pass.tracks.iter().map(|t| &t.display);
            let is_known = followed.any(|d| d.has_the_groups_of(&completed));
            if !is_known && pass.tracks.len() < MOST_DISPLAYS {
                pass.tracks.push(Track::new(completed));
            }
        }
        pass.done.extend(gone);
    }

    /// Looks now and then for a slate beside displays that are there from the head of the clip on.
    fn look_for_a_slate(&mut self, pass: &mut Pass, pyramid: &Pyramid, stamp: Stamp) -> Result<()> {
        let at = stamp.seconds();
        if pass.is_from_the_head && pass.next_slate.is_none() && at >= pass.beside_at {
            pass.beside_at = at + ASK_STEP_S;
            let known: Vec<&Track> = pass.tracks.iter().chain(&pass.done).collect();
            pass.next_slate = self.slate_beside(&known, pyramid, stamp)?;
        }
        Ok(())
    }

    /// Asks the fit now and then, and once it knows enough the frames ahead, whether to read on.
    fn ask(&mut self, pass: &mut Pass, pyramid: &Pyramid, stamp: Stamp) -> Result<Found> {
        let at = stamp.seconds();
        if at < pass.ask_at {
            return Ok(Found::GoOn);
        }
        pass.ask_at = at + ASK_STEP_S;
        self.look_beside(pyramid, &mut pass.tracks)?;
        let (answer, is_settled) = self.answer(&pass.done, &pass.tracks);
        let may_be_refuted =
            (answer.clock.as_ref()).is_some_and(FittedClock::is_one_of_several_speeds);
        let width = answer
            .start
            .as_ref()
            .filter(|_| is_settled && !may_be_refuted);
        let width = width.map(|start| start.counts.width());
        if is_enough(width, at - pass.began, &mut pass.width_before) {
            if std::mem::replace(&mut pass.has_glanced, true) {
                return Ok(Found::Settled);
            }
            match self.glance_ahead(at, pass, &answer)? {
                Ahead::NothingElse { is_in_view } => {
                    if is_in_view && pass.is_from_the_head && pass.next_slate.is_none() {
                        pass.next_slate = self.look_for_another(pass)?;
                    }
                    return Ok(Found::Settled);
                }
                // What is seen there is read on to, and for as long again.
                Ahead::OtherDigits(there) => pass.ask_at = there.seconds() + ASK_STEP_S,
                Ahead::OtherDisplays(found) => {
                    pass.next_slate.get_or_insert(found);
                    return Ok(Found::Settled);
                }
            }
        }
        pass.asked_in_vain += 1;
        Ok(Found::GoOn)
    }

    /// Searches a frame now and then for displays that came into view since, and for better layouts
    /// of one that is followed, where what is followed may not be all there is.
    fn look_again(&mut self, pass: &mut Pass, pyramid: &Pyramid, stamp: Stamp) -> Result<()> {
        let at = stamp.seconds();
        if at < pass.look_at {
            return Ok(());
        }
        pass.look_at = at + ASK_STEP_S;
        let is_doubtful =
            pass.asked_in_vain > MOST_IN_VAIN || !pass.tracks.iter().any(Track::seems_to_run);
        let has_lost_one = pass
            .tracks
            .iter()
            .any(|a| pass.tracks.iter().any(|b| a.has_come_onto(b)));
        let leaves_nothing_out = !has_lost_one && pass.tracks.iter().any(Track::is_in_full_view);
        if !is_doubtful && (pass.was_looked_again || leaves_nothing_out) {
            return Ok(());
        }
        pass.was_looked_again = true;
        let found = self.fresh_displays(pyramid, stamp, Sharpness::Coarse)?;
        for display in found.displays {
            let followed: Vec<&Display> = pass.tracks.iter().map(|t| &t.display).collect();
            if display.adds_to(&followed, MOST_DISPLAYS) {
                pass.tracks.push(Track::new(display));
            }
        }
        Ok(())
    }

    /// Takes what a pass has read, says whether that is enough, and which slate comes next.
    fn conclude(&mut self, mut pass: Pass) -> Result<(Found, Option<Slate>)> {
        let have_gone = pass.tracks.is_empty();
        let mut done = std::mem::take(&mut pass.done);
        done.append(&mut pass.tracks);
        let tells: Vec<bool> = done.iter().map(|t| t.tells_among(&done)).collect();
        for (track, tells) in done.into_iter().zip(tells) {
            if track.is_still() || !track.is_legible() || track.is_cut() {
                let shown = track.shown_last();
                self.in_vain.add(self.light, track.display.clone(), shown);
            }
            if tells {
                self.sightings.push(track.told().into_owned());
            }
        }
        let answer = self.fit();
        let is_settled = self.is_settled(&answer, &self.sightings);
        // What comes behind displays that have gone may be another crew's slate, or ours.
        if have_gone
            && is_settled
            && pass.next_slate.is_none()
            && let Ahead::OtherDisplays(slate) = self.glance_ahead(self.reached, &pass, &answer)?
        {
            pass.next_slate = Some(slate);
        }
        let found = match is_settled {
            true => Found::Settled,
            false => Found::GoOn,
        };
        Ok((found, pass.next_slate))
    }

    /// Clip seconds to a second of the clock, at most, as far as is known: as the user says, else as
    /// in the slowest footage where a display of whole seconds was followed in vain before.
    fn slowdown(&mut self, tracks: &[Track]) -> Ratio {
        let mut slowdown = Ratio::ONE;
        for track in tracks {
            if self.in_vain.waits_for(self.light, &track.display) {
                slowdown = fit::slowest_speed().recip();
            }
        }
        match self.options.known.speed {
            Some(speed) => speed.recip().max(Ratio::ONE),
            None => slowdown,
        }
    }

    /// Looks for AM or PM around the digits of what may be a clock of twelve hours.
    fn look_for_half_days(&self, pyramid: &Pyramid, track: &mut Track) -> Result<()> {
        if track.shows_an_hour_of_twelve() && track.may_show_half_day() {
            let look = track.looks_around();
            if let Some(logit) = self.eye.half_day_logit(pyramid, &track.display, look)? {
                track.take_half_day(logit);
            }
        }
        Ok(())
    }

    /// Looks closer at what stands beside the digits, where following does not: AM and PM, and whatever
    /// may be frames behind seconds.
    fn look_beside(&self, pyramid: &Pyramid, tracks: &mut [Track]) -> Result<()> {
        for track in tracks.iter_mut() {
            self.look_for_half_days(pyramid, track)?;
            if track.has_three_groups() {
                track.take_ground(self.eye.is_ground_even(pyramid, &track.display));
            }
        }
        Ok(())
    }

    /// What all that was read so far says, and whether more frames would not change it.
    pub(super) fn answer(&self, done: &[Track], tracks: &[Track]) -> (ClockFit, bool) {
        let tracked = || done.iter().chain(tracks);
        let so_far: Vec<Cow<Sighting>> = self
            .sightings
            .iter()
            .map(Cow::Borrowed)
            .chain(
                tracked()
                    .filter(|t| t.tells_among(tracked()))
                    .map(Track::told),
            )
            .collect();
        let answer = fit::fit(&so_far, self.footage.facts(), &self.options.known);
        let is_settled = self.is_settled(&answer, &so_far);
        (answer, is_settled)
    }

    /// Reads a display in the frames before the one in which it was found, as far back as it is in
    /// view without a break.
    fn see_before(
        &mut self,
        track: &mut Track,
        earlier: &VecDeque<(Stamp, Pyramid)>,
        search: vision::Search,
    ) -> Result<()> {
        let found = track.display.clone();
        let mut before = Vec::new();
        for (stamp, picture) in earlier.iter().rev() {
            let Some(seen) = self.see(track, picture, *stamp, search)? else {
                break;
            };
            before.push((picture, seen.clone()));
            track.take(seen);
        }
        for (picture, seen) in before.iter().rev() {
            self.stages.reading(seen);
            self.album.take(picture, &seen.reading);
        }
        track.sighting.readings.reverse();
        track.display = found;
        Ok(())
    }

    /// What a frame shows of a display under way; `None` if it is out of view.
    pub(super) fn see(
        &self,
        track: &Track,
        pyramid: &Pyramid,
        stamp: Stamp,
        search: vision::Search,
    ) -> Result<Option<Followed>> {
        let seen = (self.eye).follow(pyramid, &track.display, stamp, search)?;
        Ok(seen.filter(|seen| track.is_in_view(&seen.reading)))
    }
}

/// A dense pass under way.
pub(super) struct Pass {
    /// Clip seconds of its first reading.
    began: Ratio,
    /// True if it began at frame 0, or as good as there.
    pub is_from_the_head: bool,
    /// Clip seconds to a second of the clock, at most, as far as is known.
    slowdown: Ratio,
    /// What is followed.
    pub tracks: Vec<Track>,
    /// What was followed before.
    pub done: Vec<Track>,
    /// Another slate that came into view.
    next_slate: Option<Slate>,
    /// When it is next looked for, in clip seconds.
    beside_at: Ratio,
    /// When the fit is next asked, how often it was not content, and how wide it found the bounds.
    ask_at: Ratio,
    asked_in_vain: usize,
    width_before: Option<Ratio>,
    /// True once it was content, and frames ahead were looked at.
    has_glanced: bool,
    /// When a frame is next searched again, and whether one was.
    look_at: Ratio,
    was_looked_again: bool,
}

impl Pass {
    /// True if nothing is followed any more, or was for long enough.
    fn is_over(&self, at: Ratio) -> bool {
        let longest_s = Ratio::from_integer(MOST_DENSE_S) * self.slowdown;
        let longest_s = longest_s.min(Ratio::from_integer(MOST_DENSE_SLOWED_S));
        self.tracks.is_empty() || at - self.began > longest_s
    }
}

/// How a display is looked for among all that are followed, once those in `read` have been: other
/// layouts of one of them, or the same one upside down, need no search of their own.
fn search_among(all: &[Display], read: &[Display], display: &Display) -> vision::Search {
    let is_another_row = |other: &Display| {
        other.is_plain()
            && other.is_near(display)
            && !(other.is_where(display) || display.is_where(other))
    };
    if read.iter().any(|d| d.is_where(display)) {
        vision::Search::Here
    } else if all.iter().any(is_another_row) {
        vision::Search::Among
    } else {
        vision::Search::Around
    }
}

/// True if more frames cannot change an answer whose start is `width` counts wide, `None` if it is
/// not settled: as narrow as this clock and camera allow, or in view for long enough. `before`: how
/// wide it was when this was asked last; left as it is now.
fn is_enough(width: Option<Ratio>, elapsed_s: Ratio, before: &mut Option<Ratio>) -> bool {
    let before = std::mem::replace(before, width);
    let is_long = elapsed_s >= Ratio::from_integer(LONG_LOOK_S);
    width.is_some_and(|width| is_long || is_as_narrow_as_can_be(width, before))
}

/// True for bounds, `width` counts apart, that hold one count alone, or that a camera locked to
/// the clock leaves: about a count, and no less than half a second `before`.
fn is_as_narrow_as_can_be(width: Ratio, before: Option<Ratio>) -> bool {
    width <= Ratio::new(51, 50)
        || (width <= LOCKED_COUNTS && before.is_some_and(|b| width >= b * UNCHANGED))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Point, Quad};

    #[test]
    fn where_another_row_stands_close_by_a_display_is_not_looked_for_as_far_as_that() {
        let at = |y: f32| {
            let corners = [(0.0, y), (160.0, y), (160.0, y + 20.0), (0.0, y + 20.0)];
            let quad = Quad::from_corners(corners.map(|(x, y)| Point::new(x, y)));
            Display::in_plain_view(quad, &[2, 2, 2, 2])
        };
        for (all, read, expected) in [
            (vec![at(0.0)], vec![], vision::Search::Around),
            (vec![at(0.0), at(200.0)], vec![], vision::Search::Around),
            (vec![at(0.0), at(28.0)], vec![], vision::Search::Among),
            (
                vec![at(0.0), at(28.0)],
                vec![at(28.0)],
                vision::Search::Among,
            ),
            // Another layout of the same digits.
            (vec![at(0.0), at(3.0)], vec![at(3.0)], vision::Search::Here),
        ] {
            assert_eq!(search_among(&all, &read, &at(0.0)), expected);
        }
    }

    #[test]
    fn bounds_of_about_a_count_are_enough_once_half_a_second_leaves_them_as_they_are() {
        let hundredths = |n| Ratio::new(n, 100);
        for (width, before, is_enough) in [
            (100, None, true),
            (104, None, false),
            (104, Some(110), false),
            (104, Some(105), true),
            // Wider ones are narrowed by what is seen of the clock's rate, late or soon.
            (150, Some(150), false),
        ] {
            assert_eq!(
                is_as_narrow_as_can_be(hundredths(width), before.map(hundredths)),
                is_enough,
                "{width}, before {before:?}"
            );
        }
    }
}
