//! More than a clock in one line, no clock, and not quite a clock.

use super::draw;
use crate::common::program::{Said, read};
use crate::common::{BurnedIn, FONT, H264, Shelf};
use rollmark::clip::{ReadOptions, read_clip};
use rollmark::outcome::Verdict;
use rollmark::progress::{Event, Wish};
use rollmark::vision::Eye;
use std::path::PathBuf;

/// The day of the month makes four pairs with the time of day, of which the last counts
/// seconds. 14:22:10 is 51,730 s after midnight.
#[test]
fn a_date_before_the_time_of_day_is_left_aside() {
    let shelf = Shelf::new();
    let time = "%{pts\\:gmtime\\:51730\\:%H\\\\\\:%M\\\\\\:%S}";
    for date in ["2026-11-12", "12.11.2026", "12"] {
        // Characters of this font are 19.3 px wide at that size.
        let behind_px = 60 + (date.len() as i32 + 1) * 193 / 10;
        shelf.ffmpeg(&format!(
            "-f lavfi -i mandelbrot=s=640x360:r=25:start_scale=0.4 -t 4 -vf \
             drawbox=y=280:h=80:t=fill:c=black,{},{} {H264} dated.mp4",
            draw(&format!("text='{date}'"), 32, "white", (60, 300)),
            draw(&format!("text='{time}'"), 32, "white", (behind_px, 300)),
        ));
        read(&shelf.path("dated.mp4")).must_be_sure_of("14:22:10");
    }
}

/// Films the time `text` from `at_px` on, each time with another word beside it, and asks whether its
/// start is the `label`, as `must_tell` wants it, and the half of the day is left open.
fn letters_leave_the_half_of_the_day_open(
    (text, at_px, label): (&str, i32, &str),
    must_tell: impl Fn(&Said, &str),
    words: &[(&str, u32, (i32, i32), bool)],
) {
    let shelf = Shelf::new();
    for &(word, px, at, is_open) in words {
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=0x303840:s=640x360:r=25 -t 4 -vf {},{},noise=alls=6:allf=t {H264} half.mp4",
            draw(&format!("text='{text}'"), 40, "white", (at_px, 160)),
            draw(&format!("text='{word}'"), px, "white", at),
        ));
        let said = read(&shelf.path("half.mp4"));
        must_tell(&said, label);
        let codes = said.codes();
        assert_eq!(
            codes.contains(&"half_day_unknown"),
            is_open,
            "{word} at {at:?}: {codes:?}"
        );
    }
}

/// AM or PM stands anywhere about a clock of twelve hours, and tells the half of the day. Other words
/// say nothing of it, those that hold its letters neither.
#[test]
fn am_and_pm_leave_the_half_of_the_day_open() {
    let time = "%{pts\\:gmtime\\:15730\\:%H\\\\\\:%M\\\\\\:%S}";
    letters_leave_the_half_of_the_day_open(
        (time, 200, "04:22:10"),
        Said::must_start_at,
        &[
            ("PM", 24, (500, 168), true),
            ("PM", 24, (140, 168), true),
            ("PM", 18, (412, 180), true),
            ("PM", 24, (290, 230), true),
            ("am", 30, (200, 110), true),
            ("p.m.", 20, (410, 172), true),
            ("A.M.", 20, (420, 215), true),
            ("SCENE", 24, (500, 168), false),
            ("ROLL", 24, (90, 168), false),
            ("CAM", 24, (290, 230), false),
            ("SAMPLE", 24, (200, 110), false),
            ("CAM1", 40, (60, 160), false),
            ("TEAM", 40, (430, 160), false),
        ],
    );
}

#[test]
fn am_and_pm_beside_thousandths_leave_the_half_of_the_day_open_too() {
    let time = "%{pts\\:hms\\:15730}";
    letters_leave_the_half_of_the_day_open(
        (time, 100, "04:22:10.000"),
        Said::must_start_at,
        &[
            ("PM", 18, (416, 180), true),
            ("SCENE", 24, (497, 168), false),
        ],
    );
    // Letters that touch the last thousandth may be read in its place.
    letters_leave_the_half_of_the_day_open(
        (time, 100, "04:22:10.000"),
        Said::must_hold,
        &[("PM", 24, (404, 168), true)],
    );
}

#[test]
fn am_and_pm_beside_frames_leave_the_half_of_the_day_open_too() {
    let shelf = Shelf::new();
    for (word, px, is_open) in [("PM", 32, true), ("AM", 26, true), ("NDF", 26, false)] {
        let below = draw(&format!("text='{word}'"), px, "white", (220, 240));
        let clock = BurnedIn::new("10:04:22:07", "25").then(format!(",{below}").leak());
        let said = read(&shelf.clip("half.mp4", &clock, H264));
        said.must_start_at("10:04:22:07");
        assert_eq!(
            said.codes().contains(&"half_day_unknown"),
            is_open,
            "{word}"
        );
    }
}

#[test]
fn pictures_without_a_clock_are_none() {
    let shelf = Shelf::new();
    for source in [
        "mandelbrot=s=640x360:r=25",
        "smptebars=s=640x360:r=25",
        "life=s=640x360:r=25:ratio=0.3:seed=7",
        "color=c=gray:s=640x360:r=25,noise=alls=90:allf=t",
        "color=c=black:s=640x360:r=25",
        "gradients=s=640x360:r=25:seed=3",
    ] {
        shelf.ffmpeg(&format!("-f lavfi -i {source} -t 3 {H264} plain.mp4"));
        let said = read(&shelf.path("plain.mp4"));
        said.must_be_none();
        assert_eq!(said.status, 0);
    }
}

#[test]
fn a_clock_that_stands_still_is_never_sure() {
    let shelf = Shelf::new();
    // The first picture of the clock, held.
    let clock = BurnedIn::new("14:25:36:20", "25").then(",trim=end_frame=1,loop=loop=60:size=1");
    let clip = shelf.clip("held.mp4", &clock, H264);
    assert!(shelf.probe("held.mp4", "frame=pts").len() > 50);
    let said = read(&clip);
    assert_ne!(said.verdict(), "sure", "{}", said.all());
    assert_ne!(said.verdict(), "failed", "{}", said.all());
}

/// A clip of 12 s whose clock stands at 20:50:SS:08 while it wanders about the picture.
fn film_a_still_clock(shelf: &Shelf, seconds: u8, crf: u8) -> PathBuf {
    let name = format!("still{seconds}.mp4");
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=0x335566:s=1280x720:r=25:d=12 -vf drawtext=fontfile={FONT}:{},noise=alls=8:allf=t \
         {H264} -crf {crf} -g 12 {name}",
        format_args!(
            r"text='20\:50\:{seconds}\:08':fontsize=60:fontcolor=white:x='500+100*sin(2*t)':y='300+100*cos(3*t)'"
        )
    ));
    shelf.path(&name)
}

/// Lettering that reads like a clock is known again at the next look, also where a camera sways, and
/// so are its pieces: the frames around it are decoded once.
#[test]
fn a_clock_that_stands_still_is_followed_once() {
    let shelf = Shelf::new();
    let clip = film_a_still_clock(&shelf, 17, 23);
    let mut frames_read = 0;
    let mut count = |event| {
        frames_read += usize::from(matches!(event, Event::Reading { .. }));
        Wish::GoOn
    };
    let eye = Eye::open().expect("the networks are built in");
    let read = read_clip(&eye, &clip, &ReadOptions::default(), &mut count);
    assert_eq!(read.outcome.verdict, Verdict::None);
    // Half a second shows that it stands; the second opinion is one of two looks more.
    assert!((10..40).contains(&frames_read), "{frames_read}");
}

/// The last digit of the hours, minutes and seconds pass for a clock of seconds, which is waited for
/// six seconds. Meanwhile the whole clock is found again and again; the last of its frames, with none
/// behind it, was taken for a clock of which too little was seen.
#[test]
fn a_clock_that_stands_still_is_no_other_when_it_is_found_again() {
    let shelf = Shelf::new();
    for (seconds, crf) in [(15, 18), (16, 18), (36, 23)] {
        read(&film_a_still_clock(&shelf, seconds, crf)).must_be_none();
    }
}

/// FFmpeg's first test picture counts whole seconds from 0 in one figure, the
/// second shows a tiny `00:00:00.000` and a frame number. Of its digits, 10 px high, tenths may be
/// all that is made out.
#[test]
fn counters_of_test_pictures_are_right_or_doubted() {
    let shelf = Shelf::new();
    for (source, label) in [("testsrc", "00:00:00"), ("testsrc2", "00:00:00.000")] {
        shelf.ffmpeg(&format!(
            "-f lavfi -i {source}=s=640x360:r=25 -t 4 {H264} {source}.mp4"
        ));
        read(&shelf.path(&format!("{source}.mp4"))).must_not_be_sure_of_other_than(label);
    }
}
