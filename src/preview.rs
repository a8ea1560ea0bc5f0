//! A short movie per clip for an eye that wants to be sure: the frames in which
//! the clock was seen, the filmed display enlarged, and beside it what the fit says
//! that the clock showed, frame by frame.

use crate::caption::text;
use crate::clip_base::{clock_form, displayed_bounds, exact_speed, lag_s, lag_text};
use crate::error::{Error, ErrorKind, Result};
use crate::frame::{Aim, Footage, Frame, Light};
use crate::media::{self, RecordCodec, RecordOptions, Recorder};
use crate::outcome::{ClipOutcome, Window};
use crate::progress::{Event, Listener, Wish};
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};
use image::{GrayImage, Rgb, RgbImage, imageops};
use std::path::Path;

/// What a preview's name ends with, after the clip's.
pub const SUFFIX: &str = ".preview.mp4";

/// Seconds of each slate that are shown, and before the first frame read.
const LONGEST_S: i128 = 8;
const BEFORE_S: Ratio = Ratio::new(1, 5);

/// Sizes of the picture, px: the frame fits into this, and a band below it holds
/// the display and the label.
const WIDTH_PX: u32 = 1280;
const FRAME_HEIGHT_PX: u32 = 540;
const BAND_PX: u32 = 220;
const MARGIN_PX: u32 = 20;
/// The display's half of the band.
const DISPLAY_PX: u32 = 620;

/// Surroundings of the digits in the enlarged display, in heights of the digits.
const SURROUNDINGS: f32 = 0.6;

/// Edge of a pixel of the 8 x 8 font, px.
const LABEL_SCALE: u32 = 6;
const SMALL_SCALE: u32 = 2;

const PAPER: Rgb<u8> = Rgb([24, 26, 30]);
const INK: Rgb<u8> = Rgb([236, 236, 230]);
const FAINT: Rgb<u8> = Rgb([150, 154, 162]);

/// Where frames per second are not known; only for the movie's own pace.
const FALLBACK: Rate = Rate::F25;

/// What the fit says about each frame.
struct Forecast {
    form: ClockForm,
    /// What was displayed on frame 0.
    phi: HalfOpen,
    /// Counts per clip second, without the drift.
    pace: Ratio,
    /// By how much the clock gains on the clip's frame times, as a part of the pace.
    drift: f64,
    /// Counts by which the display may be late.
    slack: Ratio,
    /// Where the label comes from.
    origin: String,
}

impl Forecast {
    /// `None` if the outcome has no clock and start.
    fn of(outcome: &ClipOutcome) -> Option<Self> {
        let clock = outcome.clock.as_ref()?;
        let form = clock_form(clock)?;
        let rate = form.rate().ratio();
        let micro = |value: f64| Ratio::new((value * 1e6).round() as i128, 1_000_000);
        let slack = clock.refresh_hz.filter(|hz| *hz > 1.0);
        let start = outcome.start.as_ref()?;
        Some(Self {
            form,
            phi: displayed_bounds(start, form)?,
            pace: rate * exact_speed(outcome.clip.speed),
            drift: clock.drift(),
            slack: slack.map_or(Ratio::ZERO, |hz| rate / micro(hz)),
            origin: match lag_text(lag_s(start)) {
                Some(lag) => format!("displayed; the start is {lag} later"),
                None => "read by Rollmark".to_owned(),
            },
        })
    }

    /// What the display shows at a time after frame 0, in seconds: the count by the
    /// middle of the bounds, and the first and the last that are possible.
    fn counts(&self, at_s: Ratio) -> Counts {
        let gone = self.pace * at_s;
        // In whole thousandths of a count, whose terms are small.
        let gained = (gone.to_f64() * self.drift * 1e3).round() as i128;
        let gone = gone + Ratio::new(gained, 1000);
        let whole = |count: i128| i64::try_from(count).unwrap_or(0);
        let half_slack = self.slack / Ratio::from_integer(2);
        Counts {
            likeliest: whole((self.phi.middle() + gone - half_slack).floor()),
            first: whole((self.phi.low + gone - self.slack).floor()),
            // The upper bound is not in the interval.
            last: whole((self.phi.high + gone).ceil()) - 1,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Counts {
    likeliest: i64,
    first: i64,
    last: i64,
}

impl Counts {
    /// What else the display may show; empty if nothing.
    fn doubt(self, form: ClockForm) -> String {
        let Self {
            likeliest,
            first,
            last,
        } = self;
        if first >= last {
            String::new()
        } else if last - first == 1 {
            let other = first + last - likeliest;
            format!("changing: or {}", form.text(other))
        } else {
            format!("{} to {}", form.text(first), form.text(last))
        }
    }
}

/// Draws the first slate of a clip, and the last if there are several, into an MP4
/// file at `file`, which is replaced: the caller gives a temporary name, and the movie
/// comes by way of the same with the ending `.mp4`. `None`, and `file` as it was, if the
/// listener wants to stop.
///
/// # Errors
/// [`ErrorKind::BadRequest`] if the outcome has no start to be checked; those of
/// [`media::open()`] and [`Recorder`].
pub fn write(
    source: &Path,
    outcome: &ClipOutcome,
    file: &Path,
    listener: &mut dyn Listener,
) -> Result<Option<()>> {
    let mut clip = media::open(source)?;
    let cannot = |e: std::io::Error| {
        Error::new(ErrorKind::CannotWrite, "the preview cannot be written")
            .in_file(file)
            .next("choose another folder, or look at its rights and at the free space")
            .because(e)
    };
    // The recorder knows a container by its name's ending, and replaces nothing.
    let movie = file.with_extension("mp4");
    if draw(&mut clip, outcome, &movie, listener)?.is_none() {
        return Ok(None);
    }
    let moved = std::fs::rename(&movie, file);
    if moved.is_err() {
        let _ = std::fs::remove_file(&movie);
    }
    moved.map(Some).map_err(cannot)
}

/// As [`write()`], of any footage into a new file.
///
/// # Errors
/// As [`write()`].
pub fn draw(
    footage: &mut dyn Footage,
    outcome: &ClipOutcome,
    movie: &Path,
    listener: &mut dyn Listener,
) -> Result<Option<()>> {
    let source = footage.facts().path.clone();
    let nothing = || {
        Error::new(
            ErrorKind::BadRequest,
            "has no start that a preview could show",
        )
        .in_file(&source)
        .next("choose clips with a start")
    };
    let forecast = Forecast::of(outcome).ok_or_else(nothing)?;
    let first = outcome.windows.first().ok_or_else(nothing)?;
    let last = outcome.windows.last().filter(|last| *last != first);
    let rate = footage.facts().rate.unwrap_or(FALLBACK);
    let mut recorder: Option<Recorder> = None;
    for window in std::iter::once(first).chain(last) {
        let (from_s, until_s) = stretch(window);
        footage.seek(Aim::At(from_s))?;
        while let Some(stamp) = footage.advance()? {
            if stamp.seconds() > until_s {
                break;
            }
            let at_s = stamp.seconds_f64();
            if listener.hear(Event::Reading { at_s }) == Wish::Stop {
                return Ok(None);
            }
            let page = page(&footage.picture(Light::Luma)?, window, &forecast);
            let recorder = match &mut recorder {
                Some(recorder) => recorder,
                none => {
                    let (width, height) = page.dimensions();
                    let options = RecordOptions::new(width, height, rate, RecordCodec::H264);
                    none.insert(Recorder::create(movie, options)?)
                }
            };
            recorder.write(&page)?;
        }
    }
    recorder.ok_or_else(nothing)?.finish()?;
    Ok(Some(()))
}

/// What is shown of a slate, in seconds after frame 0.
fn stretch(window: &Window) -> (Ratio, Ratio) {
    let milli = |s: f64| Ratio::new((s.max(0.0) * 1e3).floor() as i128, 1000);
    let from_s = milli(window.first_seconds - BEFORE_S.to_f64());
    let last_s = milli(window.last_seconds) + BEFORE_S;
    (from_s, last_s.min(from_s + Ratio::from_integer(LONGEST_S)))
}

/// The frame, and below it the filmed display beside the label.
fn page(frame: &Frame, window: &Window, forecast: &Forecast) -> RgbImage {
    let small = fit(&frame.grey, WIDTH_PX, FRAME_HEIGHT_PX);
    let mut page = RgbImage::from_pixel(WIDTH_PX, FRAME_HEIGHT_PX + BAND_PX, PAPER);
    paste(&mut page, &small, (WIDTH_PX - small.width()) / 2, 0);

    let top = FRAME_HEIGHT_PX + MARGIN_PX;
    let display = display(&frame.grey, window);
    let (wide, high) = (DISPLAY_PX - 2 * MARGIN_PX, BAND_PX - 2 * MARGIN_PX);
    let large = fit(&display, wide, high);
    let y = top + (high - large.height()) / 2;
    paste(&mut page, &large, MARGIN_PX + (wide - large.width()) / 2, y);

    let counts = forecast.counts(frame.stamp.seconds());
    let label = forecast.form.text(counts.likeliest);
    text(&mut page, DISPLAY_PX, top + 36, LABEL_SCALE, &label, INK);
    let doubt = counts.doubt(forecast.form);
    text(&mut page, DISPLAY_PX, top + 100, SMALL_SCALE, &doubt, INK);
    let place = match frame.stamp.index {
        Some(index) => format!("frame {index}, {:.3} s", frame.stamp.seconds_f64()),
        None => format!("{:.3} s", frame.stamp.seconds_f64()),
    };
    text(&mut page, DISPLAY_PX, top + 140, SMALL_SCALE, &place, FAINT);
    text(
        &mut page,
        DISPLAY_PX,
        top,
        SMALL_SCALE,
        &forecast.origin,
        FAINT,
    );
    page
}

/// The part of a frame in which the display was held, with surroundings.
fn display(frame: &GrayImage, window: &Window) -> GrayImage {
    let xs = window.quad.map(|corner| corner[0]);
    let ys = window.quad.map(|corner| corner[1]);
    let span = |values: [f32; 4]| {
        let low = values.iter().copied().fold(f32::INFINITY, f32::min);
        (
            low,
            values.iter().copied().fold(f32::NEG_INFINITY, f32::max),
        )
    };
    let ((left, right), (top, bottom)) = (span(xs), span(ys));
    let room = (bottom - top).min(right - left) * SURROUNDINGS;
    let within = |value: f32, limit: u32| (value.max(0.0) as u32).min(limit.saturating_sub(1));
    let (x, y) = (
        within(left - room, frame.width()),
        within(top - room, frame.height()),
    );
    let (x_end, y_end) = (
        within(right + room, frame.width()),
        within(bottom + room, frame.height()),
    );
    imageops::crop_imm(frame, x, y, (x_end - x).max(1), (y_end - y).max(1)).to_image()
}

/// As large as it fits.
fn fit(picture: &GrayImage, width: u32, height: u32) -> GrayImage {
    let (from_width, from_height) = (u64::from(picture.width()), u64::from(picture.height()));
    let (width, height) = (u64::from(width), u64::from(height));
    let is_wide = from_width * height > width * from_height;
    let (wide, high) = if is_wide {
        (width, (from_height * width / from_width).max(1))
    } else {
        ((from_width * height / from_height).max(1), height)
    };
    let px = |value: u64| u32::try_from(value).expect("fits into the page");
    imageops::resize(picture, px(wide), px(high), imageops::FilterType::Triangle)
}

fn paste(page: &mut RgbImage, picture: &GrayImage, x: u32, y: u32) {
    for (dx, dy, grey) in picture.enumerate_pixels() {
        page.put_pixel(x + dx, y + dy, Rgb([grey.0[0]; 3]));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::caption::FONT_PX;
    use crate::facts::ClipFacts;
    use crate::frame::{Landing, Stamp, Stride};
    use crate::outcome::{Clock, DropFrameKnownBy, RateKnownBy, Start, Tool};
    use crate::progress::Deaf;

    /// Grey frames at 25 a second whose brightness is their index.
    struct Greys {
        facts: ClipFacts,
        next: u64,
    }

    impl Greys {
        fn new() -> Self {
            Self {
                facts: ClipFacts {
                    width_px: 160,
                    height_px: 90,
                    ..ClipFacts::plain("a.mov", Rate::F25)
                },
                next: 0,
            }
        }

        fn stamp(index: u64) -> Stamp {
            Stamp {
                ticks: index.try_into().unwrap(),
                tick_seconds: Ratio::new(1, 25),
                index: Some(index),
            }
        }
    }

    impl Footage for Greys {
        fn facts(&self) -> &ClipFacts {
            &self.facts
        }

        fn seek(&mut self, aim: Aim) -> Result<Landing> {
            let Aim::At(asked_s) = aim else {
                panic!("a slate has a time")
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
            Ok((self.next <= 100).then(|| Self::stamp(self.next - 1)))
        }

        fn picture(&mut self, _: Light) -> Result<Frame> {
            let index = self.next - 1;
            Ok(Frame {
                stamp: Self::stamp(index),
                grey: GrayImage::from_pixel(160, 90, image::Luma([2 * index as u8])),
                is_interlaced: false,
            })
        }
    }

    /// A clock of 25 that shows count 1000 on frame 0, read in frames 10 to 50.
    fn outcome() -> ClipOutcome {
        let tool = Tool {
            name: "rollmark".into(),
            version: "0".into(),
            model: String::new(),
        };
        let nothing = Error::new(ErrorKind::Empty, "");
        let mut outcome = ClipOutcome::failed(Path::new("a.mov"), &nothing, tool);
        outcome.start = Some(Start {
            label: "00:00:40:00".into(),
            count: 1000.5,
            count_bounds: [1000.0, 1001.0],
            seconds: 40.02,
            seconds_bounds: [40.0, 40.04],
            exact_count_bounds: Some(["1000/1".into(), "1001/1".into()]),
            in_clip_base: None,
            inherited_from: None,
            exact_lag_seconds: None,
        });
        outcome.clock = Some(Clock {
            form: "HH:MM:SS:FF".into(),
            rate: "25/1".into(),
            rate_known_by: RateKnownBy::Measured,
            drop_frame: Some(false),
            drop_frame_known_by: DropFrameKnownBy::Rate,
            refresh_hz: None,
            drift_ppm_bounds: None,
        });
        outcome.windows = vec![Window {
            first_frame: Some(10),
            last_frame: Some(50),
            first_seconds: 0.4,
            last_seconds: 2.0,
            frames_read: 41,
            frames_agreeing: 41,
            quad: [[40.0, 30.0], [120.0, 30.0], [120.0, 50.0], [40.0, 50.0]],
        }];
        outcome
    }

    /// The label's place on a page, as black and white.
    fn label_of(page: &GrayImage) -> Vec<bool> {
        let top = FRAME_HEIGHT_PX + MARGIN_PX + 36;
        let size = (WIDTH_PX - DISPLAY_PX, FONT_PX * LABEL_SCALE);
        let part = imageops::crop_imm(page, DISPLAY_PX, top, size.0, size.1).to_image();
        part.pixels().map(|pixel| pixel.0[0] > 128).collect()
    }

    fn written(label: &str) -> Vec<bool> {
        let mut page = RgbImage::from_pixel(WIDTH_PX, FRAME_HEIGHT_PX + BAND_PX, PAPER);
        let top = FRAME_HEIGHT_PX + MARGIN_PX + 36;
        text(&mut page, DISPLAY_PX, top, LABEL_SCALE, label, INK);
        label_of(&imageops::grayscale(&page))
    }

    #[test]
    fn each_frame_of_the_slate_stands_beside_its_own_label() {
        let folder = tempfile::tempdir().unwrap();
        let movie = folder.path().join("a.mp4");
        draw(&mut Greys::new(), &outcome(), &movie, &mut Deaf)
            .unwrap()
            .unwrap();
        let mut preview = media::open(&movie).unwrap();
        let form = ClockForm::frames(Rate::F25, false).unwrap();
        // A fifth of a second before the first reading, and behind the last.
        for index in 5..=55 {
            preview.advance().unwrap().expect("a frame");
            let page = preview.picture(Light::Luma).unwrap().grey;
            let grey = page.get_pixel(WIDTH_PX / 2, FRAME_HEIGHT_PX / 2).0[0];
            assert!(grey.abs_diff(2 * index) <= 2, "frame {index} is {grey}");
            let label = written(&form.text(1000 + i64::from(index)));
            let differing = label_of(&page)
                .iter()
                .zip(&label)
                .filter(|(a, b)| a != b)
                .count();
            // A digit that changes differs in over a hundred pixels.
            assert!(
                differing < 50,
                "frame {index}: {differing} pixels of its label"
            );
        }
        assert_eq!(preview.advance().unwrap(), None);
    }

    #[test]
    fn nothing_is_left_where_the_listener_says_stop_or_there_is_no_start() {
        let folder = tempfile::tempdir().unwrap();
        let movie = folder.path().join("a.mp4");
        let mut frames = 0;
        let mut stop = |_| {
            frames += 1;
            if frames > 5 { Wish::Stop } else { Wish::GoOn }
        };
        let drawn = draw(&mut Greys::new(), &outcome(), &movie, &mut stop).unwrap();
        assert!(drawn.is_none());
        let without = ClipOutcome {
            start: None,
            ..outcome()
        };
        let error = draw(&mut Greys::new(), &without, &movie, &mut Deaf).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::BadRequest);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    fn forecast(slack: Ratio) -> Forecast {
        let form = ClockForm::frames(Rate::F25, false).unwrap();
        Forecast {
            form,
            phi: HalfOpen::new(Ratio::new(1009, 10), Ratio::new(1011, 10)),
            pace: form.rate().ratio(),
            drift: 0.0,
            slack,
            origin: String::new(),
        }
    }

    fn shown(forecast: &Forecast, at_s: Ratio) -> (i64, i64, i64) {
        let Counts {
            likeliest,
            first,
            last,
        } = forecast.counts(at_s);
        (likeliest, first, last)
    }

    #[test]
    fn a_frame_shows_one_count_or_says_that_it_may_show_two() {
        let sharp = forecast(Ratio::ZERO);
        // 101.0 +- 0.1: before or after the change.
        assert_eq!(shown(&sharp, Ratio::ZERO), (101, 100, 101));
        // Half a count later nothing is open.
        assert_eq!(shown(&sharp, Ratio::new(1, 50)), (101, 101, 101));
        assert_eq!(shown(&sharp, Ratio::new(1, 25)), (102, 101, 102));
    }

    #[test]
    fn a_late_display_may_still_show_the_count_before() {
        let late = forecast(Ratio::new(5, 12));
        // 101.5 +- 0.1, up to 0.42 late.
        assert_eq!(shown(&late, Ratio::new(1, 50)), (101, 100, 101));
        // 101.8 +- 0.1
        assert_eq!(shown(&late, Ratio::new(4, 125)), (101, 101, 101));
    }

    #[test]
    fn what_a_clock_that_drifts_must_show_follows_from_its_drift() {
        let gaining = Forecast {
            drift: 150e-6,
            ..forecast(Ratio::ZERO)
        };
        // 101.0 +- 0.1, and after 600.02 s 15 000.5 counts and 2.25 that it gains.
        let at_s = Ratio::new(30_001, 50);
        assert_eq!(shown(&gaining, at_s), (15_103, 15_103, 15_103));
    }

    #[test]
    fn what_the_display_must_show_is_the_start_without_the_lag_in_it() {
        let mut late = outcome();
        let start = late.start.as_mut().unwrap();
        start.exact_count_bounds = Some(["2025/2".into(), "2027/2".into()]);
        start.exact_lag_seconds = Some("1/2".into());
        let at_s = Ratio::new(4, 5);
        let forecasts = [outcome(), late].map(|outcome| Forecast::of(&outcome).unwrap());
        assert_eq!(shown(&forecasts[0], at_s), (1020, 1020, 1020));
        assert_eq!(shown(&forecasts[1], at_s), (1020, 1020, 1020));
        let said = "displayed; the start is 500 ms later";
        assert_eq!(forecasts[1].origin, said);
    }

    #[test]
    fn doubt_is_said_in_labels() {
        let form = ClockForm::frames(Rate::F25, false).unwrap();
        let doubt = |likeliest, first, last| {
            Counts {
                likeliest,
                first,
                last,
            }
            .doubt(form)
        };
        assert_eq!(doubt(25, 25, 25), "");
        assert_eq!(doubt(25, 24, 25), "changing: or 00:00:00:24");
        assert_eq!(doubt(24, 24, 25), "changing: or 00:00:01:00");
        assert_eq!(doubt(25, 20, 50), "00:00:00:20 to 00:00:02:00");
    }

    #[test]
    fn pictures_are_as_large_as_they_fit() {
        let size = |width, height| fit(&GrayImage::new(width, height), 1280, 540).dimensions();
        assert_eq!(size(1920, 1080), (960, 540));
        assert_eq!(size(1080, 1920), (303, 540));
        assert_eq!(size(64, 8), (1280, 160));
    }
}
