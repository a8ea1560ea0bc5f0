//! Clocks whose groups stand in rows, one below the other.

use super::{TEN, draw};
use crate::common::program::{Said, read};
use crate::common::{H264, Shelf};

/// Text that counts from 10:00:00:00 on in a clip of 25 frames a second.
const SECONDS: &str = r"%{eif\:trunc(n/25)\:d\:2}";
const FRAMES: &str = r"%{eif\:mod(n\,25)\:d\:2}";

/// Reads four seconds that show rows of text, so many pixels apart.
fn read_rows(rows: &[&str], font_px: u32, step_px: i32) -> Said {
    let shelf = Shelf::new();
    let rows: Vec<String> = (60..)
        .step_by(step_px as usize)
        .zip(rows)
        .map(|(y, text)| draw(&format!("text='{text}'"), font_px, "white", (300, y)))
        .collect();
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=0x303030:s=720x720:r=25 -t 4 -vf {} {H264} rows.mp4",
        rows.join(",")
    ));
    read(&shelf.path("rows.mp4"))
}

/// Digits of 44 px: the rows' middles stand 1.4 to 4.5 digit heights apart.
#[test]
fn two_rows_of_an_upright_screen_may_stand_far_apart() {
    for step_px in [60, 120, 200] {
        read_rows(&[r"10\:00", &format!(r"{SECONDS}\:{FRAMES}")], 60, step_px).must_be_sure_of(TEN);
    }
}

/// Frames would stand behind the seconds, and in a clip of 23.976 they matter.
#[test]
fn seconds_in_a_row_of_their_own_are_all_of_a_clock_unless_a_mark_stands_behind_them() {
    let shelf = Shelf::new();
    let seconds = r"%{eif\:trunc(n*1001/24000)\:d\:2}";
    let covered = ",drawbox=x=410:y=150:w=140:h=80:t=fill:c=0x8a6a50";
    for (mark, cover, is_all) in [("", "", true), (r"\:", covered, false)] {
        let hours = draw(r"text='10\:00'", 60, "white", (300, 60));
        let last = draw(&format!("text='{seconds}{mark}'"), 60, "white", (300, 160));
        shelf.ffmpeg(&format!(
            "-y -f lavfi -i color=c=0x101010:s=720x480:r=24000/1001 -t 4 -vf {hours},{last}{cover} \
             {H264} seconds.mp4"
        ));
        let said = read(&shelf.path("seconds.mp4"));
        if is_all {
            said.must_be_sure_of("10:00:00");
        } else {
            assert_eq!(said.verdict(), "unsure", "{}", said.all());
            assert!(said.codes().contains(&"frames_unseen"), "{}", said.all());
        }
    }
}

#[test]
fn hours_minutes_seconds_and_frames_may_stand_in_rows_of_their_own() {
    // The finder takes some of them for one line from the side.
    for step_px in [80, 100, 130, 140] {
        read_rows(&["10", "00", SECONDS, FRAMES], 70, step_px).must_be_sure_of(TEN);
    }
}

/// Nor are three.
#[test]
fn a_column_of_more_numbers_is_no_clock() {
    for rows in [
        &["10", "00", SECONDS, FRAMES, "31"][..],
        &["44", "10", "00", SECONDS, FRAMES],
        &["00", SECONDS, FRAMES],
    ] {
        let said = read_rows(rows, 70, 100);
        assert_ne!(said.verdict(), "sure", "{rows:?}: {}", said.all());
    }
}

/// Filters that draw hours, minutes and seconds of 90 px, and frames of `small_px` behind them, so far
/// below their upper edge.
fn with_small_frames(small_px: u32, down_px: i32) -> String {
    let large = draw(
        &format!(r"text='10\:00\:{SECONDS}'"),
        90,
        "white",
        (60, 200),
    );
    let small = draw(
        &format!(r"text='\:{FRAMES}'"),
        small_px,
        "white",
        (60 + 8 * 54, 200 + down_px),
    );
    format!("{large},{small}")
}

/// On the base line, and in the middle of the line.
#[test]
fn frames_of_half_the_size_behind_the_seconds_are_read() {
    let shelf = Shelf::new();
    for (small_px, down_px) in [(45, 33), (45, 16), (54, 26), (38, 39)] {
        let clock = with_small_frames(small_px, down_px);
        shelf.ffmpeg(&format!(
            "-y -f lavfi -i color=c=0x303030:s=720x480:r=25 -t 4 -vf {clock} {H264} small.mp4"
        ));
        read(&shelf.path("small.mp4")).must_be_sure_of(TEN);
    }
}

/// Not a line that is seen from the side: cut for that, the large digits would drift out of their places.
#[test]
fn frames_of_two_thirds_of_the_size_are_no_perspective() {
    let shelf = Shelf::new();
    let clock = with_small_frames(60, 22);
    for turn in ["0.12", "-0.1"] {
        let swings = format!("rotate=a='{turn}+0.03*sin(t*9)':c=0x303030,noise=alls=6:allf=t");
        shelf.ffmpeg(&format!(
            "-y -f lavfi -i color=c=0x303030:s=720x480:r=25 -t 4 -vf {clock},{swings} {H264} -crf 28 \
             turned.mp4"
        ));
        let said = read(&shelf.path("turned.mp4"));
        said.must_be_sure_of(TEN);
        said.must_run_at("25/1");
    }
}

/// The filter that draws a time of day that runs from 04:22:10 on, or a part of it.
fn time_of_day(parts: &str, font_px: u32, at: (i32, i32)) -> String {
    let text = format!(r"text='%{{pts\:gmtime\:15730\:{parts}}}'");
    draw(&text, font_px, "white", at)
}

/// As desk clocks show them: at the foot of the minutes or at their top.
#[test]
fn small_seconds_beside_large_hours_and_minutes_are_read() {
    let shelf = Shelf::new();
    for (px, at) in [(28, (335, 176)), (36, (330, 170)), (28, (340, 150))] {
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=0x202428:s=640x360:r=25 -t 4 -vf {},{} {H264} desk.mp4",
            time_of_day(r"%H\\\:%M", 72, (100, 140)),
            time_of_day("%S", px, at),
        ));
        let said = read(&shelf.path("desk.mp4"));
        said.must_be_sure_of("04:22:10");
    }
}

/// A frame rate, say. It is neither frames that stand nor a digit that the seconds lack.
#[test]
fn a_small_number_that_stands_behind_the_seconds_is_left_aside() {
    let shelf = Shelf::new();
    for (number, px, at) in [
        ("30", 36, (496, 150)),
        ("50", 36, (500, 160)),
        ("07", 28, (500, 176)),
    ] {
        let time = time_of_day(r"%H\\\:%M\\\:%S", 84, (70, 120));
        let number = draw(&format!("text={number}"), px, "white", at);
        shelf.ffmpeg(&format!(
            "-y -f lavfi -i color=c=0x202428:s=720x360:r=25 -t 4 -vf {time},{number} {H264} rate.mp4"
        ));
        read(&shelf.path("rate.mp4")).must_be_sure_of("04:22:10");
    }
}

/// One digit, or two that may pass for hours, and a space before the clock.
#[test]
fn a_number_before_the_clock_in_its_line_is_left_aside() {
    let shelf = Shelf::new();
    for (number, x) in [("7", 60), ("12", 26)] {
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=black:s=640x360:r=25 -t 3 -vf {},{} {H264} numbered.mp4",
            draw(r"timecode='10\:00\:00\:00':r=25", 56, "white", (120, 150)),
            draw(&format!("text={number}"), 56, "white", (x, 150)),
        ));
        read(&shelf.path("numbered.mp4")).must_be_sure_of(TEN);
    }
}
