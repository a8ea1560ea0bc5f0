//! THE loop for one clip: look, read, fit, look again, stop when certain.
//!
//! Looking is lazy. The key frames of the head are searched, then those of the tail, then
//! of everything between; where a display turns up, the frames since the look before are
//! searched, too, and a dense pass follows the display frame by frame and asks the fit, every
//! half second, whether more frames can change the answer.

mod afterglow;
mod ahead;
mod dense;
mod earlier;
mod in_vain;
mod search;
mod track;

use self::afterglow::Afterglow;
use self::earlier::Earlier;
use self::in_vain::{InVain, Met};
use self::search::Search;
use crate::clip_base;
use crate::error::{Error, Result};
use crate::evidence::Album;
use crate::facts::ClipFacts;
use crate::fit::{self, ClockFit, Known, SightingFit};
use crate::frame::{Aim, Footage, Light, Stamp};
use crate::geometry::Quad;
use crate::media;
use crate::note::Note;
use crate::outcome::{CLIP_FORMAT_VERSION, ClipOutcome, ClipPart, Evidence, Tool, Verdict, Window};
use crate::progress::{Event, Listener, Wish};
use crate::reading::{DigitOdds, Reading, Sighting};
use crate::stages::{StagePicture, Stages};
use crate::timecode::Ratio;
use crate::vision::{self, Discovery, Display, Eye, Lettering, Pyramid, Sharpness, model_hash};
use std::borrow::Borrow;
use std::path::Path;

/// Head and tail, in seconds, that are looked at before anything else.
const END_S: u32 = 20;
/// Displays followed at once in a dense pass; a screen shows few clocks.
const MOST_DISPLAYS: usize = 4;

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
    /// The first and the last twenty seconds, or the halves of a clip of less than forty, the latter
    /// even if the former settles the start: a clock seen at both ends shows its drift, and whether
    /// it was set anew.
    Ends,
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
        in_vain: InVain::default(),
        lettering: Lettering::default(),
        stages: Stages::new(options.pictures),
        album: Album::new(options.evidence),
        frames_seen: 0,
        notes: Vec::new(),
        afterglow: Afterglow::default(),
        light: Light::Luma,
        looked_in_colours: None,
        must_see_from: None,
        reached: Ratio::ZERO,
        earlier: Earlier::default(),
    };
    let fit = watch.run()?;
    if watch.frames_seen == 0 {
        let file = &watch.footage.facts().path;
        return Err(Error::new(
            crate::error::ErrorKind::Undecodable,
            "no frame could be decoded",
        )
        .in_file(file)
        .next("play it in another program; if that fails too, copy it from the card again"));
    }
    let facts = watch.footage.facts();
    let stages = watch.stages.draw(&watch.sightings, &fit);
    Ok(ClipRead {
        evidence: watch.album.evidence(&watch.sightings, &fit),
        outcome: outcome(facts, &watch.sightings, &fit, watch.notes),
        stages,
    })
}

/// Whether the looking goes on, and why not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Found {
    /// More frames would not change the answer.
    Settled,
    /// The listener wants no more.
    Stopped,
    GoOn,
}

struct Watch<'a> {
    eye: &'a Eye,
    footage: &'a mut dyn Footage,
    options: &'a ReadOptions,
    listener: &'a mut dyn Listener,
    sightings: Vec<Sighting>,
    in_vain: InVain,
    lettering: Lettering,
    stages: Stages,
    album: Album,
    frames_seen: u64,
    notes: Vec<Note>,
    afterglow: Afterglow,
    /// By which light frames are looked at.
    light: Light,
    /// When they were last looked at by their colours.
    looked_in_colours: Option<Ratio>,
    /// The clock must be seen from this time on, or nothing is settled.
    must_see_from: Option<Ratio>,
    /// Time of the frame that the footage gave last.
    reached: Ratio,
    /// Frames behind the last look.
    earlier: Earlier,
}

impl Watch<'_> {
    fn run(&mut self) -> Result<ClockFit> {
        let duration_s = self.footage.facts().duration_s;
        self.tell(Event::Opened {
            duration_s: duration_s.map(|d| d.to_f64()),
        });
        let look = self.options.look;
        let end = Ratio::from_integer(END_S);
        // A clip that is no longer than both has halves for ends.
        let end = match duration_s.filter(|_| look == Look::Ends) {
            Some(duration_s) => end.min(duration_s * Ratio::new(1, 2)),
            None => end,
        };
        let mut is_long = duration_s.is_none_or(|d| d > end);
        for sharpness in [Sharpness::Coarse, Sharpness::Fine] {
            let facts = self.footage.facts();
            if sharpness == Sharpness::Fine
                && !sharpness.is_finer_than_coarse(facts.width_px, facts.height_px)
            {
                break;
            }
            let ends = Search::of_ends(sharpness);
            self.must_see_from = None;
            if look != Look::Tail {
                let found = self.search(None, Some(end), ends)?;
                // Files tell less than there is where recordings were joined.
                is_long |= self.reached > end;
                match found {
                    Found::Stopped => break,
                    Found::Settled if look != Look::Ends || !is_long => break,
                    Found::Settled | Found::GoOn => {}
                }
            }
            if look == Look::Tail || (look != Look::Head && is_long) {
                // What the head has shown already is not looked at twice.
                let least = match look {
                    Look::Tail => Ratio::ZERO,
                    _ => end,
                };
                let mut from = self.tail_from()?.max(least);
                let found = loop {
                    self.must_see_from = (look == Look::Ends).then_some(from);
                    let found = self.search(Some(from), None, ends)?;
                    if found != Found::GoOn {
                        break found;
                    }
                    // The way there may have shown that the clip is shorter than its file tells.
                    let sooner = self.tail_from()?.max(least);
                    if sooner >= from {
                        break found;
                    }
                    from = sooner;
                };
                if found != Found::GoOn {
                    break;
                }
                // Lettering may tell a start, too; it does not run.
                if look == Look::Everywhere
                    && !self.fit().was_seen_running
                    && sharpness == Sharpness::Coarse
                    && self.search(Some(end), Some(from), Search::of_middle())? != Found::GoOn
                {
                    break;
                }
            }
            if !self.sightings.is_empty() {
                break;
            }
        }
        self.check_times()?;
        Ok(self.fit())
    }

    /// A start rests on all times from frame 0 to the clock, those that were jumped over among them.
    fn check_times(&mut self) -> Result<()> {
        let fit = self.fit();
        if fit.verdict != Verdict::Sure {
            return Ok(());
        }
        let of_the_clock = self.sightings.iter().zip(&fit.sightings);
        let seen = of_the_clock.filter(|(_, fitted)| fitted.is_the_clock());
        let first = seen.filter_map(|(sighting, _)| sighting.readings.first());
        let Some(at) = first.map(|reading| reading.stamp.seconds()).min() else {
            return Ok(());
        };
        let at_s = at.to_f64();
        while self.footage.read_up_to(at)? && self.tell(Event::Reading { at_s }) == Wish::GoOn {}
        Ok(())
    }

    /// Seconds from frame 0 to the tail, as far as is known. Only the way there shows how long a clip
    /// is whose file does not tell.
    fn tail_from(&mut self) -> Result<Ratio> {
        match self.footage.facts().duration_s {
            Some(duration_s) => Ok((duration_s - Ratio::from_integer(END_S)).max(Ratio::ZERO)),
            None => Ok(self.footage.seek(Aim::Tail { seconds: END_S })?.asked_s),
        }
    }

    fn tell(&mut self, event: Event) -> Wish {
        self.listener.hear(event)
    }

    fn fit(&self) -> ClockFit {
        fit::fit(&self.sightings, self.footage.facts(), &self.options.known)
    }

    /// True if more frames would not change the answer to `sightings`, seen where they must be.
    fn is_settled<S: Borrow<Sighting>>(&self, answer: &ClockFit, sightings: &[S]) -> bool {
        let is_seen_from = |from: Ratio| {
            answer.sightings.iter().zip(sightings).any(|(fitted, of)| {
                let last = of.borrow().readings.last();
                fitted.is_the_clock() && last.is_some_and(|r| r.stamp.seconds() >= from)
            })
        };
        answer.is_settled() && self.must_see_from.is_none_or(is_seen_from)
    }

    fn advance(&mut self) -> Result<Option<Stamp>> {
        let stamp = self.footage.advance()?;
        if let Some(stamp) = stamp {
            self.frames_seen += 1;
            self.reached = stamp.seconds();
        }
        Ok(stamp)
    }

    /// The frame that [`Self::advance`] gave last, by the present light.
    fn picture(&mut self) -> Result<Pyramid> {
        Ok(Pyramid::new(self.footage.picture(self.light)?.grey))
    }

    /// Displays in the frame that were not followed in vain before, and loose digits. What lies on
    /// lettering that stands there as it stood before, and has no more places, is a view of it: a
    /// piece, or the way it reads in a mirror.
    fn fresh_displays(
        &mut self,
        pyramid: &Pyramid,
        stamp: Stamp,
        sharpness: Sharpness,
    ) -> Result<Discovery> {
        let mut found = (self.eye).discover(pyramid, sharpness, &mut self.lettering, stamp)?;
        let mut standing: Vec<Display> = Vec::new();
        let mut fresh: Vec<Display> = Vec::new();
        for display in found.displays {
            let shown = || self.shown_by(&display, pyramid, stamp);
            match self.in_vain.meets(self.light, &display, shown)? {
                Met::Standing => standing.push(display),
                Met::InVain => {}
                Met::Never => fresh.push(display),
            }
        }
        fresh.retain(|d| !standing.iter().any(|lettering| d.is_view_of(lettering)));
        fresh.truncate(MOST_DISPLAYS);
        let stands_alone =
            |line: &Quad| !standing.iter().any(|lettering| lettering.has_on_it(line));
        found.loose_digits.retain(|loose| stands_alone(&loose.quad));
        found.displays = fresh;
        Ok(found)
    }

    /// What a display shows that was found in this frame; `None` if it cannot be read there.
    fn shown_by(
        &self,
        display: &Display,
        pyramid: &Pyramid,
        stamp: Stamp,
    ) -> Result<Option<Vec<DigitOdds>>> {
        let seen = (self.eye).follow(pyramid, display, stamp, vision::Search::Here)?;
        Ok(seen.map(|seen| seen.reading.places))
    }
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
    let fitted_ones = sighting.readings.iter().filter(is_fitted);
    let last = fitted_ones.clone().next_back()?;
    let middle = fitted_ones.clone().nth(fitted_ones.count() / 2)?;
    Some(Window {
        first_frame: first.stamp.index,
        last_frame: last.stamp.index,
        first_seconds: first.stamp.seconds_f64(),
        last_seconds: last.stamp.seconds_f64(),
        frames_read: fitted.frames_read,
        frames_agreeing: fitted.frames_agreeing,
        quad: middle.quad.corners().map(|p| [p.x, p.y]),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Frame, Landing, Stride};
    use crate::geometry::{Point, Quad};
    use crate::reading::{DigitOdds, Layout, MarkOdds};
    use crate::timecode::Rate;
    use image::GrayImage;

    /// A minute of black, and where in it one looked.
    struct Black {
        facts: ClipFacts,
        next: i64,
        aims: Vec<Aim>,
    }

    impl Black {
        fn stamp(index: i64) -> Stamp {
            Stamp {
                ticks: index,
                tick_seconds: Ratio::new(1, 25),
                index: u64::try_from(index).ok(),
            }
        }
    }

    impl Footage for Black {
        fn facts(&self) -> &ClipFacts {
            &self.facts
        }

        fn seek(&mut self, aim: Aim) -> Result<Landing> {
            self.aims.push(aim);
            let asked_s = match aim {
                Aim::At(at_s) => at_s,
                Aim::Head | Aim::Tail { .. } => Ratio::ZERO,
            };
            let index = (asked_s * Ratio::from_integer(25)).floor();
            self.next = index.try_into().unwrap();
            Ok(Landing {
                asked_s,
                got: Some(Self::stamp(self.next)),
            })
        }

        fn set_stride(&mut self, _: Stride) {}

        fn advance(&mut self) -> Result<Option<Stamp>> {
            self.next += 1;
            Ok((self.next <= 60 * 25).then(|| Self::stamp(self.next - 1)))
        }

        fn picture(&mut self, _: Light) -> Result<Frame> {
            Ok(Frame {
                stamp: Self::stamp(self.next - 1),
                grey: GrayImage::new(160, 90),
                is_interlaced: false,
            })
        }
    }

    #[test]
    fn whoever_stops_in_the_head_is_not_taken_to_the_tail() {
        let eye = Eye::open().unwrap();
        for look in [Look::Everywhere, Look::Head, Look::Ends] {
            let mut footage = Black {
                facts: ClipFacts {
                    width_px: 160,
                    height_px: 90,
                    duration_s: Some(Ratio::from_integer(60)),
                    ..ClipFacts::plain("a.mov", Rate::F25)
                },
                next: 0,
                aims: Vec::new(),
            };
            let options = ReadOptions {
                look,
                ..ReadOptions::default()
            };
            // Once: a tail that is begun would be looked through.
            let mut has_stopped = false;
            let mut stop_at_once = |event| match event {
                Event::Searching { .. } if !std::mem::replace(&mut has_stopped, true) => Wish::Stop,
                _ => Wish::GoOn,
            };
            read_footage(&eye, &mut footage, &options, &mut stop_at_once).unwrap();
            assert_eq!(footage.aims, [Aim::Head], "{look:?}");
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
            glyphs: Vec::new(),
            last_mark: MarkOdds::UNKNOWN,
            quad: Quad::from_corners(corners.map(|(x, y)| Point::new(x, y))),
            digit_px: 1.0,
        };
        let sighting = Sighting {
            layout: Layout {
                groups: vec![2, 2, 2],
            },
            shows_half_day: false,
            groups_apart: 0,
            stands_free: true,
            readings: vec![reading(25), reading(50), reading(1 << 40)],
        };
        let fitted = SightingFit {
            frames_read: 2,
            frames_agreeing: 2,
            displayed: vec![Some(0), Some(1), None],
        };
        let window = window(&sighting, &fitted).unwrap();
        assert_eq!((window.first_seconds, window.last_seconds), (1.0, 2.0));
    }
}
