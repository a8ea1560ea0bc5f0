//! THE loop for one clip: look, read, fit, look again, stop when certain.
//!
//! Looking is lazy. The key frames of the head are searched, then those of the tail, then
//! of everything between; where a display turns up, the frames since the look before are
//! searched, too, and a dense pass follows the display frame by frame and asks the fit, every
//! half second, whether more frames can change the answer.

mod afterglow;
mod track;

use self::afterglow::Afterglow;
use self::track::Track;
use crate::clip_base;
use crate::error::{Error, Result};
use crate::evidence::Album;
use crate::facts::ClipFacts;
use crate::fit::{self, ClockFit, Known, SightingFit};
use crate::frame::{Aim, Footage, Pace, Stamp};
use crate::media;
use crate::note::Note;
use crate::outcome::{CLIP_FORMAT_VERSION, ClipOutcome, ClipPart, Evidence, Tool, Window};
use crate::progress::{Event, Listener, Wish};
use crate::reading::{Reading, Sighting};
use crate::stages::{StagePicture, Stages};
use crate::timecode::Ratio;
use crate::vision::{self, Discovery, Display, Eye, Pyramid, Sharpness, model_hash};
use image::GrayImage;
use std::path::Path;

/// Seconds between looks where every frame is decoded.
const LOOK_STEP_S: (i128, i128) = (1, 2);
/// Seconds between key frames that are looked at, at least: in head and tail all that cameras
/// write, two a second at most, and from there on one a second, since most clips have no slate
/// there and looking in vain is what a clip without a clock costs. A little less than the half
/// and the whole second lets those through that are not quite so far apart.
const END_CLOSEST_S: (i128, i128) = (2, 5);
const CLOSEST_S: (i128, i128) = (9, 10);
/// Where key frames of head and tail lie further apart than cameras put them, which is a
/// second at most as a rule (common practice, no source), frames between are looked at, too:
/// a slate held for two seconds is met at least once, mostly twice.
const END_WIDEST_S: (i128, i128) = (6, 5);
/// Seconds behind a look that showed a display until which every frame is decoded, even if
/// following the display led nowhere. The next key frames are another chance.
const NO_MORE_S: u32 = 1;
/// Head and tail, in seconds, that are looked at before anything else.
const END_S: u32 = 20;
/// Seconds after which a dense pass searches a frame again, for a second opinion.
const LOOK_AGAIN_S: (i128, i128) = (1, 4);
/// Displays followed at once in a dense pass; a screen shows few clocks.
const MOST_DISPLAYS: usize = 4;
/// Seconds after which the fit is asked for the first time. By then the seconds have
/// changed once, which shows the base of the frames; fewer leave the rate assumed and the
/// bounds the wider for it.
const FIRST_ASK_S: (i128, i128) = (5, 4);
/// Seconds after which a start is taken as it is, even if bounds wider than a count say
/// that several rates explain the frames.
const LONG_LOOK_S: u32 = 3;
/// Seconds between two questions to the fit.
const ASK_STEP_S: (i128, i128) = (1, 2);
/// Seconds a dense pass may take before the coarse pass goes on: longer windows narrow
/// the bounds no further than a slate of ordinary length does.
const MOST_DENSE_S: u32 = 6;
/// Places of a clock that shows hours, minutes, seconds and frames: a display of so many is no
/// piece of a larger one.
const WHOLE_PLACES: usize = 8;
/// Bounds of a start that is known to a count, and to a tenth at either end since looks caught
/// in a change say no more (docs/fit.md): a camera locked to the clock learns nothing more.
const LOCKED_COUNTS: (i128, i128) = (6, 5);
/// Share of their width that bounds must keep over half a second to be taken for those.
const UNCHANGED: (i128, i128) = (49, 50);
/// Frames laid over each other to see all digits of a multiplexed display.
const AFTERGLOW_FRAMES: usize = 6;
/// Where in the clip to look.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Look {
    /// Head, tail, then the key frames of everything between.
    #[default]
    Everywhere,
    /// Only the first twenty seconds.
    Head,
    /// Only the last twenty seconds.
    Tail,
}

/// What the user asks for.
#[derive(Clone, Debug, Default)]
pub struct ReadOptions {
    /// What only the user can know.
    pub known: Known,
    pub look: Look,
    /// True to keep pictures of each stage; costs some memory and time.
    pub pictures: bool,
    /// True to keep crops of the display and the readings, for a report.
    pub evidence: bool,
    /// Other clips that are read at the same time; decoding shares the cores with them.
    pub beside: usize,
}

/// One clip, read.
pub struct ClipRead {
    pub outcome: ClipOutcome,
    /// Empty unless [`ReadOptions::evidence`] was set.
    pub evidence: Evidence,
    /// Empty unless [`ReadOptions::pictures`] was set.
    pub stages: Vec<StagePicture>,
}

/// This tool, as outcomes name it.
pub fn tool() -> Tool {
    Tool {
        name: env!("CARGO_PKG_NAME").to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        model: model_hash(),
    }
}

/// Reads one clip. Never fails: a clip that cannot be looked at has the verdict `failed`.
pub fn read_clip(
    eye: &Eye,
    path: &Path,
    options: &ReadOptions,
    listener: &mut dyn Listener,
) -> ClipRead {
    let result = media::open_beside(path, options.beside)
        .and_then(|mut clip| read_footage(eye, &mut clip, options, listener));
    match result {
        Ok(read) => read,
        Err(error) => ClipRead {
            outcome: ClipOutcome::failed(path, &error.in_file(path), tool()),
            evidence: Evidence::default(),
            stages: Vec::new(),
        },
    }
}

/// Reads footage from wherever it comes.
///
/// # Errors
/// If frames cannot be had at all; a clip without a clock is no error.
pub fn read_footage(
    eye: &Eye,
    footage: &mut dyn Footage,
    options: &ReadOptions,
    listener: &mut dyn Listener,
) -> Result<ClipRead> {
    let mut watch = Watch {
        eye,
        footage,
        options,
        listener,
        sightings: Vec::new(),
        in_vain: Vec::new(),
        stages: Stages::new(options.pictures),
        album: Album::new(options.evidence),
        frames_seen: 0,
        notes: Vec::new(),
        afterglow: Afterglow::default(),
        reached: Ratio::ZERO,
    };
    let fit = watch.run()?;
    if watch.frames_seen == 0 {
        let file = &watch.footage.facts().path;
        return Err(Error::new(
            crate::error::ErrorKind::Undecodable,
            "no frame could be decoded",
        )
        .in_file(file)
        .next("play it in another program; if that fails too, copy it again from the card"));
    }
    let facts = watch.footage.facts();
    let stages = watch.stages.draw(&watch.sightings, &fit);
    Ok(ClipRead {
        evidence: watch.album.evidence(&watch.sightings, &fit),
        outcome: outcome(facts, &watch.sightings, &fit, watch.notes),
        stages,
    })
}

/// Whether the clip is settled or the looking goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Found {
    Settled,
    GoOn,
}

struct Watch<'a> {
    eye: &'a Eye,
    footage: &'a mut dyn Footage,
    options: &'a ReadOptions,
    listener: &'a mut dyn Listener,
    sightings: Vec<Sighting>,
    /// Displays that were followed and did not change or could not be read.
    in_vain: Vec<Display>,
    stages: Stages,
    album: Album,
    frames_seen: u64,
    notes: Vec<Note>,
    afterglow: Afterglow,
    /// Time of the frame that was read last.
    reached: Ratio,
}

/// How a stretch of the clip is searched.
#[derive(Clone, Copy)]
struct Search {
    pace: Pace,
    /// At that pace ...
    sharpness: Sharpness,
    /// ... and where every frame is decoded, around a find.
    closer: Sharpness,
}

impl Search {
    /// Head and tail.
    fn of_ends(sharpness: Sharpness) -> Self {
        let (closest, widest) = (ratio(END_CLOSEST_S), ratio(END_WIDEST_S));
        Self {
            pace: Pace::KeyFrames {
                closest_s: match sharpness {
                    // Digits smaller than any held up on purpose, at four times the cost.
                    Sharpness::Fine => ratio(CLOSEST_S),
                    _ => closest,
                },
                widest_s: Some(widest),
                is_rough: false,
            },
            sharpness,
            closer: sharpness,
        }
    }

    /// Between head and tail: digits as tall as an eightieth of the picture's longer side are
    /// seen (24 px of 1920), as on a display held up to the camera. At a quarter of the size the
    /// edges of blocks do not matter; what is found is decoded again.
    fn of_middle() -> Self {
        Self {
            pace: Pace::KeyFrames {
                closest_s: ratio(CLOSEST_S),
                widest_s: None,
                is_rough: true,
            },
            sharpness: Sharpness::Broad,
            closer: Sharpness::Coarse,
        }
    }

    fn is_broad(self) -> bool {
        self.sharpness == Sharpness::Broad
    }
}

fn ratio((num, den): (i128, i128)) -> Ratio {
    Ratio::new(num, den)
}

impl Watch<'_> {
    fn run(&mut self) -> Result<ClockFit> {
        let duration_s = self.footage.facts().duration_s;
        self.tell(Event::Opened {
            duration_s: duration_s.map(|d| d.to_f64()),
        });
        let end = Ratio::from_integer(END_S);
        let is_long = duration_s.is_none_or(|d| d > end);
        let tail_from = duration_s.map_or(end, |d| d - end);
        let look = self.options.look;
        for sharpness in [Sharpness::Coarse, Sharpness::Fine] {
            let facts = self.footage.facts();
            if sharpness == Sharpness::Fine
                && !sharpness.is_finer_than_coarse(facts.width_px, facts.height_px)
            {
                break;
            }
            let ends = Search::of_ends(sharpness);
            if look != Look::Tail && self.search(Aim::Head, Some(end), ends)? == Found::Settled {
                break;
            }
            if look != Look::Head && is_long {
                // What the head has shown already is not looked at twice.
                let from = tail_from.max(if look == Look::Tail { Ratio::ZERO } else { end });
                let aim = if duration_s.is_some() {
                    Aim::At(from)
                } else {
                    Aim::Tail { seconds: END_S }
                };
                if self.search(aim, None, ends)? == Found::Settled {
                    break;
                }
            }
            if look == Look::Everywhere
                && is_long
                && !self.has_a_start()
                && sharpness == Sharpness::Coarse
                && self.search(Aim::At(end), Some(tail_from), Search::of_middle())?
                    == Found::Settled
            {
                break;
            }
            if !self.sightings.is_empty() {
                break;
            }
        }
        Ok(self.fit())
    }

    /// True if what was read so far tells a start by more than a few frames, which lettering
    /// may do that looks like a clock in passing.
    fn has_a_start(&self) -> bool {
        let fit = self.fit();
        let of_the_clock = fit.sightings.iter().filter(|s| s.is_the_clock());
        let agreeing: usize = of_the_clock.map(|s| s.frames_agreeing).sum();
        fit.start.is_some() && agreeing >= fit::FEW_FRAMES
    }

    fn tell(&mut self, event: Event) -> Wish {
        self.listener.hear(event)
    }

    fn fit(&self) -> ClockFit {
        fit::fit(&self.sightings, self.footage.facts(), &self.options.known)
    }

    /// Looks at key frames from `aim` to `until` (seconds after frame 0; `None`: to the end),
    /// and at every frame around those that show a display.
    fn search(&mut self, aim: Aim, until: Option<Ratio>, search: Search) -> Result<Found> {
        // Frame 0 is decoded as it is. If it shows the display, reading goes on from there.
        let starts_dense = aim == Aim::Head;
        self.footage.set_pace(if starts_dense {
            Pace::EveryFrame
        } else {
            search.pace
        });
        self.footage.seek(aim)?;
        let mut last: Option<Ratio> = None;
        let mut widest = Ratio::ZERO;
        while let Some(stamp) = self.advance()? {
            let at = stamp.seconds();
            if until.is_some_and(|end| at > end) {
                break;
            }
            widest = last.map_or(widest, |l| widest.max(at - l));
            if starts_dense && last.is_none() {
                if self.look(stamp, search.closer)? == Found::Settled {
                    return Ok(Found::Settled);
                }
                last = Some(self.reached);
                self.footage.set_pace(search.pace);
                continue;
            }
            if self.tell(Event::Searching { at_s: at.to_f64() }) == Wish::Stop {
                return Ok(Found::Settled);
            }
            let pyramid = Pyramid::new(self.footage.picture()?.luma);
            let found = self.fresh_displays(&pyramid, search.sharpness)?;
            if found.displays.is_empty() {
                self.stages.candidates(&pyramid, &[], stamp);
            }
            let may_be_dark =
                !search.is_broad() && self.afterglow.is_worth_it(at, &found.loose_digits);
            let before = last.replace(at);
            if found.displays.is_empty() && !may_be_dark {
                continue;
            }
            self.footage.set_pace(Pace::EveryFrame);
            let found = if found.displays.is_empty() {
                self.footage.seek(Aim::At(at))?;
                self.advance()?;
                let luma = self.footage.picture()?.luma;
                self.look_at_afterglow(luma, found.loose_digits, search.closer)?
            } else {
                self.look_closely(before, at, search.closer)?
            };
            if found == Found::Settled {
                return Ok(Found::Settled);
            }
            // What was read closely is not read again.
            last = Some(self.reached);
            self.footage.set_pace(search.pace);
        }
        self.footage.set_pace(Pace::EveryFrame);
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

    /// Looks at frames around one, at `at`, that showed a display: from the look `before` on,
    /// which showed none, at that frame in any case, and some time further.
    fn look_closely(
        &mut self,
        before: Option<Ratio>,
        at: Ratio,
        sharpness: Sharpness,
    ) -> Result<Found> {
        let until = at + Ratio::from_integer(NO_MORE_S);
        self.footage.seek(Aim::At(before.unwrap_or(at)))?;
        let mut next_look = before.map_or(at, |before| before + ratio(LOOK_STEP_S));
        while let Some(stamp) = self.advance()? {
            let now = stamp.seconds();
            if now > until {
                break;
            }
            if now < next_look && now != at {
                continue;
            }
            next_look = now + ratio(LOOK_STEP_S);
            if self.look(stamp, sharpness)? == Found::Settled {
                return Ok(Found::Settled);
            }
        }
        Ok(Found::GoOn)
    }

    fn advance(&mut self) -> Result<Option<Stamp>> {
        let stamp = self.footage.advance()?;
        if let Some(stamp) = stamp {
            self.frames_seen += 1;
            self.reached = stamp.seconds();
        }
        Ok(stamp)
    }

    /// One coarse look; follows what it finds.
    fn look(&mut self, stamp: Stamp, sharpness: Sharpness) -> Result<Found> {
        if self.tell(Event::Searching {
            at_s: stamp.seconds_f64(),
        }) == Wish::Stop
        {
            return Ok(Found::Settled);
        }
        let frame = self.footage.picture()?;
        let pyramid = Pyramid::new(frame.luma);
        let found = self.displays_in_view(&pyramid, sharpness)?;
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

    /// As [`Self::fresh_displays`]; where a display is seen plainly and whole in a quarter of
    /// the size, that is enough to follow it. The dense pass looks again in full.
    fn displays_in_view(&mut self, pyramid: &Pyramid, sharpness: Sharpness) -> Result<Discovery> {
        if sharpness == Sharpness::Coarse {
            let found = self.fresh_displays(pyramid, Sharpness::Broad)?;
            let is_whole = |d: &Display| d.is_plain() && d.layout().places() >= WHOLE_PLACES;
            if found.displays.iter().any(is_whole) {
                return Ok(found);
            }
        }
        self.fresh_displays(pyramid, sharpness)
    }

    /// Looks at the brightest of several frames laid over each other: a multiplexed display
    /// lights only some of its digits in any one frame.
    fn look_at_afterglow(
        &mut self,
        first: GrayImage,
        digits: Vec<String>,
        sharpness: Sharpness,
    ) -> Result<Found> {
        self.afterglow.begins(self.reached);
        let mut brightest = first;
        let mut last = None;
        for _ in 0..AFTERGLOW_FRAMES {
            let Some(stamp) = self.advance()? else { break };
            let luma = self.footage.picture()?.luma;
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
        let found = self.fresh_displays(&glow, sharpness)?;
        if found.displays.is_empty() {
            self.afterglow.was_in_vain(digits);
            return Ok(Found::GoOn);
        }
        self.stages.candidates(&glow, &found.displays, stamp);
        self.follow(&Pyramid::new(luma), found.displays, stamp)
    }

    /// Displays in the frame that were not followed in vain before.
    fn fresh_displays(&mut self, pyramid: &Pyramid, sharpness: Sharpness) -> Result<Discovery> {
        let found = self.eye.discover(pyramid, sharpness)?;
        let mut fresh: Vec<Display> = Vec::new();
        for display in found.displays {
            let is_old = self
                .in_vain
                .iter()
                .chain(&fresh)
                .any(|d| d.is_same_as(&display));
            if !is_old && fresh.len() < MOST_DISPLAYS {
                fresh.push(display);
            }
        }
        Ok(Discovery {
            displays: fresh,
            ..found
        })
    }

    /// The dense pass: reads the displays frame by frame until they are gone, still, or
    /// more frames cannot change the answer.
    fn follow(&mut self, first: &Pyramid, displays: Vec<Display>, stamp: Stamp) -> Result<Found> {
        let mut tracks: Vec<Track> = displays.into_iter().map(Track::new).collect();
        let began = stamp.seconds();
        let mut ask_at = began + ratio(FIRST_ASK_S);
        let mut look_at = began + ratio(LOOK_AGAIN_S);
        let mut was_looked_again = false;
        let mut width_before = None;
        let mut done: Vec<Track> = Vec::new();
        let mut now = Some((stamp, None));
        while let Some((stamp, pyramid)) = now.take() {
            let pyramid = pyramid.as_ref().unwrap_or(first);
            // Other layouts of a display, or the same one upside down, need no search of their
            // own once the display has been seen.
            tracks.sort_by(|a, b| b.display.presence.total_cmp(&a.display.presence));
            let mut plain: Vec<Display> = Vec::new();
            for track in &mut tracks {
                let search = if plain.iter().any(|d| d.is_near(&track.display)) {
                    vision::Search::Here
                } else {
                    vision::Search::Around
                };
                match self.eye.follow(pyramid, &track.display, stamp, search)? {
                    Some(seen) if track.is_in_view(&seen.reading) => {
                        plain.extend(Some(&seen.display).filter(|d| d.is_plain()).cloned());
                        self.stages.reading(&seen);
                        self.album.take(pyramid.full(), &seen.reading);
                        track.take(seen);
                    }
                    _ => track.misses += 1,
                }
            }
            let (going, gone): (Vec<Track>, Vec<Track>) =
                tracks.into_iter().partition(Track::is_worth_following);
            tracks = going;
            done.extend(gone);
            let at = stamp.seconds();
            if tracks.is_empty() || at - began > Ratio::from_integer(MOST_DENSE_S) {
                break;
            }
            let mut is_doubtful = !tracks.iter().any(Track::seems_to_run);
            if at >= ask_at {
                ask_at = at + ratio(ASK_STEP_S);
                if self.is_enough(&done, &tracks, at - began, &mut width_before) {
                    break;
                }
                is_doubtful = true;
            }
            if at >= look_at {
                look_at = at + ratio(ASK_STEP_S);
                if is_doubtful || !was_looked_again {
                    was_looked_again = true;
                    self.look_again(pyramid, &mut tracks)?;
                }
            }
            if self.tell(Event::Reading {
                at_s: stamp.seconds_f64(),
            }) == Wish::Stop
            {
                break;
            }
            if let Some(stamp) = self.advance()? {
                now = Some((stamp, Some(Pyramid::new(self.footage.picture()?.luma))));
            }
        }
        done.extend(tracks);
        let tells: Vec<bool> = done.iter().map(|t| t.tells_among(&done)).collect();
        for (track, tells) in done.into_iter().zip(tells) {
            if track.is_still() || !track.is_legible() || track.is_cut() {
                self.in_vain.push(track.display.clone());
            }
            if tells {
                self.sightings.push(track.sighting);
            }
        }
        Ok(if self.fit().is_settled() {
            Found::Settled
        } else {
            Found::GoOn
        })
    }

    /// Adds displays that came into view since, and better layouts of one that is followed.
    fn look_again(&mut self, pyramid: &Pyramid, tracks: &mut Vec<Track>) -> Result<()> {
        for display in self.fresh_displays(pyramid, Sharpness::Coarse)?.displays {
            let followed: Vec<&Display> = tracks.iter().map(|t| &t.display).collect();
            if display.adds_to(&followed, MOST_DISPLAYS) {
                tracks.push(Track::new(display));
            }
        }
        Ok(())
    }

    /// True if more frames cannot change the answer: sure, and the start as narrow as this
    /// clock and camera allow, or in view for long enough. `before`: how wide it was, in counts,
    /// when this was asked last; left as it is now.
    fn is_enough(
        &self,
        done: &[Track],
        tracks: &[Track],
        elapsed_s: Ratio,
        before: &mut Option<Ratio>,
    ) -> bool {
        let tracked = || done.iter().chain(tracks);
        let so_far: Vec<&Sighting> = self
            .sightings
            .iter()
            .chain(
                tracked()
                    .filter(|t| t.tells_among(tracked()))
                    .map(|t| &t.sighting),
            )
            .collect();
        let fit = fit::fit(&so_far, self.footage.facts(), &self.options.known);
        let width = fit.start.as_ref().filter(|_| fit.is_settled());
        let width = width.map(|start| start.counts.width());
        let before = std::mem::replace(before, width);
        let is_long = elapsed_s >= Ratio::from_integer(LONG_LOOK_S);
        width.is_some_and(|width| is_long || is_as_narrow_as_can_be(width, before))
    }
}

/// True for bounds, `width` counts apart, that hold one count alone, or that a camera locked to
/// the clock leaves: about a count, and no less than half a second `before`.
fn is_as_narrow_as_can_be(width: Ratio, before: Option<Ratio>) -> bool {
    width <= Ratio::new(51, 50)
        || (width <= ratio(LOCKED_COUNTS) && before.is_some_and(|b| width >= b * ratio(UNCHANGED)))
}

fn outcome(
    facts: &ClipFacts,
    sightings: &[Sighting],
    fit: &ClockFit,
    mut notes: Vec<Note>,
) -> ClipOutcome {
    notes.extend(facts.notes.iter().cloned());
    notes.extend(fit.notes.iter().cloned());
    let of_the_clock = || {
        sightings
            .iter()
            .zip(&fit.sightings)
            .filter(|(_, fitted)| fitted.is_the_clock())
    };
    let in_mirror = |s: &Sighting| s.readings.iter().any(|r| r.quad.is_mirrored());
    if of_the_clock().any(|(sighting, _)| in_mirror(sighting)) {
        notes.push(Note::new(
            "in_mirror",
            "the display is seen in a mirror, or the picture is flipped: it was read as the mirror shows it",
        ));
    }
    let windows = of_the_clock()
        .filter_map(|(sighting, fitted)| window(sighting, fitted))
        .collect();
    let mut outcome = ClipOutcome {
        format: CLIP_FORMAT_VERSION,
        verdict: fit.verdict,
        reasons: fit.reasons.clone(),
        start: fit.start_outcome(),
        clock: fit.clock_outcome(),
        clip: ClipPart {
            path: facts.path.to_string_lossy().into_owned(),
            frames: facts.frames,
            rate: facts.rate.map(|r| r.to_string()),
            duration_seconds: facts.duration_s.map(|d| d.to_f64()),
            variable_rate: facts.is_variable_rate,
            rotation: facts.rotation_degrees,
            speed: fit.speed().to_f64(),
            exact_duration_seconds: facts.duration_s.map(|d| d.to_string()),
            width_px: Some(facts.width_px),
            height_px: Some(facts.height_px),
            codec: Some(facts.codec.clone()),
            has_audio: Some(facts.has_audio),
            camera: facts.camera.clone(),
            camera_serial: facts.camera_serial.clone(),
            creation_time: facts.creation_time.clone(),
            carried_timecode: facts.carried_timecode.clone(),
        },
        estimate: None,
        chapter: None,
        by_hand: None,
        windows,
        notes,
        tool: tool(),
    };
    clip_base::fill(&mut outcome);
    outcome
}

fn window(sighting: &Sighting, fitted: &SightingFit) -> Option<Window> {
    let first = sighting.readings.first()?;
    let day = Ratio::from_integer(fit::DAY_S);
    let is_fitted = |r: &&Reading| r.stamp.seconds() - first.stamp.seconds() < day;
    let last = sighting.readings.iter().rev().find(is_fitted)?;
    Some(Window {
        first_frame: first.stamp.index,
        last_frame: last.stamp.index,
        first_seconds: first.stamp.seconds_f64(),
        last_seconds: last.stamp.seconds_f64(),
        frames_read: fitted.frames_read,
        frames_agreeing: fitted.frames_agreeing,
        quad: first.quad.corners().map(|p| [p.x, p.y]),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Point, Quad};
    use crate::reading::{DigitOdds, Layout, MarkOdds};

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

    #[test]
    fn a_window_ends_before_a_stamp_that_lies_ages_away() {
        let corners = [(0.0, 0.0), (9.0, 0.0), (9.0, 1.0), (0.0, 1.0)];
        let reading = |ticks| Reading {
            stamp: Stamp {
                ticks,
                tick_seconds: Ratio::new(1, 25),
                index: None,
            },
            places: vec![DigitOdds::FLAT; 6],
            last_mark: MarkOdds::UNKNOWN,
            quad: Quad::from_corners(corners.map(|(x, y)| Point::new(x, y))),
        };
        let sighting = Sighting {
            layout: Layout {
                groups: vec![2, 2, 2],
            },
            readings: vec![reading(25), reading(50), reading(1 << 40)],
        };
        let fitted = SightingFit {
            frames_read: 2,
            frames_agreeing: 2,
            displayed: vec![0, 1, 1],
        };
        let window = window(&sighting, &fitted).unwrap();
        assert_eq!((window.first_seconds, window.last_seconds), (1.0, 2.0));
    }
}
