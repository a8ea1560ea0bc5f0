//! Displays of seven segments, some of them misread or dark.

use crate::common::program::read;
use crate::common::segments::{Display, digits_at_25};
use crate::common::{H264, Shelf};
use std::path::PathBuf;

/// Encodes frames of a display at 25 fps.
fn segment_clip(
    shelf: &Shelf,
    display: Display,
    frames: u32,
    draw: impl Fn(u32) -> ([u8; 8], [bool; 8]),
) -> PathBuf {
    let mut raw = Vec::new();
    for n in 0..frames {
        let (digits, lit) = draw(n);
        raw.extend(display.frame(digits, lit));
    }
    std::fs::write(shelf.path("segments.raw"), raw).unwrap();
    shelf.ffmpeg(&format!(
        "-f rawvideo -pix_fmt gray -s {}x{} -r 25 -i segments.raw {H264} segments.mp4",
        display.width(),
        display.height()
    ));
    shelf.path("segments.mp4")
}

const ALL_LIT: [bool; 8] = [true; 8];
const PLAIN: Display = Display {
    scale: 2,
    has_unusual_shapes: false,
};

/// 02:28:52:00 and 12:34:20:00 as counts at 25.
const TWO_28_52: u32 = ((2 * 60 + 28) * 60 + 52) * 25;
const TWELVE_34_20: u32 = ((12 * 60 + 34) * 60 + 20) * 25;

/// Misreads one digit as people report it of such displays; `seed` picks the place.
fn flipped(mut digits: [u8; 8], seed: u32) -> [u8; 8] {
    // Of the digits only 4 has no double.
    let swap = |digit| match digit {
        0 => 8,
        1 | 2 => 7,
        3 => 9,
        5 => 6,
        6 => 5,
        7 => 1,
        8 => 0,
        9 => 3,
        other => other,
    };
    let start = (seed.wrapping_mul(2_654_435_761) >> 29) as usize;
    let place = (0..8)
        .map(|step| (start + step) % 8)
        .find(|&place| swap(digits[place]) != digits[place])
        .unwrap();
    digits[place] = swap(digits[place]);
    digits
}

#[test]
fn both_shapes_of_six_seven_and_nine_are_read() {
    let shelf = Shelf::new();
    // 17:46:59:07 at 25.
    let start = ((17 * 60 + 46) * 60 + 59) * 25 + 7;
    for has_unusual_shapes in [false, true] {
        let display = Display {
            has_unusual_shapes,
            ..PLAIN
        };
        let clip = segment_clip(&shelf, display, 60, |n| (digits_at_25(start + n), ALL_LIT));
        read(&clip).must_be_sure_of("17:46:59:07");
    }
}

#[test]
fn one_wrong_digit_in_every_fifth_frame_does_not_move_the_start() {
    let shelf = Shelf::new();
    // Frame 0 is among the wrong ones.
    let clip = segment_clip(&shelf, PLAIN, 100, |n| {
        let digits = digits_at_25(TWO_28_52 + n);
        let shown = if n % 5 == 0 {
            flipped(digits, n)
        } else {
            digits
        };
        (shown, ALL_LIT)
    });
    let said = read(&clip);
    said.must_be_sure_of("02:28:52:00");
    said.must_run_at("25/1");
}

#[test]
fn where_most_frames_are_wrong_the_program_is_not_sure() {
    let shelf = Shelf::new();
    let clip = segment_clip(&shelf, PLAIN, 100, |n| {
        let digits = digits_at_25(TWO_28_52 + n);
        let shown = if n % 5 < 3 {
            flipped(digits, n)
        } else {
            digits
        };
        (shown, ALL_LIT)
    });
    let said = read(&clip);
    assert_ne!(said.verdict(), "sure", "{}", said.all());
    assert_ne!(said.verdict(), "failed", "{}", said.all());
}

/// Each digit is seen in three of eight frames, beside others that are dark: of some what is seen is not
/// enough to be sure of, but it is right.
#[test]
fn a_display_that_lights_three_digits_at_a_time_is_read_from_many_frames() {
    let display = Display { scale: 1, ..PLAIN };
    let hour = 25 * 3600;
    let starts = [
        (TWELVE_34_20, "12:34:20:00"),
        (TWELVE_34_20 + 2 * hour, "14:34:20:00"),
        (TWELVE_34_20 + 7 * hour, "19:34:20:00"),
        (TWO_28_52, "02:28:52:00"),
        (TWO_28_52 + 4 * hour, "06:28:52:00"),
    ];
    let mut sure = 0;
    for (first, label) in starts {
        let shelf = Shelf::new();
        let clip = segment_clip(&shelf, display, 50, |n| {
            let mut lit = [false; 8];
            for step in 0..3 {
                lit[((n * 3 + step) % 8) as usize] = true;
            }
            (digits_at_25(first + n), lit)
        });
        let said = read(&clip);
        said.must_start_at(label);
        sure += usize::from(said.verdict() == "sure");
    }
    assert!(sure >= 3, "{sure}");
}

#[test]
fn hours_that_are_never_lit_are_not_made_up() {
    let shelf = Shelf::new();
    let clip = segment_clip(&shelf, PLAIN, 50, |n| {
        let mut lit = ALL_LIT;
        lit[..4].fill(false);
        (digits_at_25(TWELVE_34_20 + n), lit)
    });
    let said = read(&clip);
    assert_ne!(said.verdict(), "sure", "{}", said.all());
    assert_ne!(said.verdict(), "failed", "{}", said.all());
}
