//! The program, end to end, on clips with a clock burned in: every count is
//! known exactly, so every start label must be exactly right.

mod common;

use common::program::{Said, read, read_all, read_with};
use common::segments::{Display, digits_at_25};
use common::{BurnedIn, FONT, H264, Paper, Shelf, movie};
use rollmark::clip::{ReadOptions, read_clip};
use rollmark::outcome::Verdict;
use rollmark::progress::{Event, Wish};
use rollmark::vision::Eye;
use std::path::{Path, PathBuf};

const TEN: &str = "10:00:00:00";

/// Makes the clip as plain H.264 in MP4, and reads it.
fn read_burned_in(clock: &BurnedIn) -> Said {
    let shelf = Shelf::new();
    read(&shelf.clip("clip.mp4", clock, H264))
}

/// Reads clips of clocks that start at these labels, and names all that fail.
fn must_all_be_read(clocks: &[(&'static str, &'static str, &str)]) {
    for &(label, rate, shown) in clocks {
        let said = read_burned_in(&BurnedIn::new(label, rate));
        said.must_be_sure_of(shown);
        said.must_run_at(&rational(rate));
    }
}

/// `25` as `25/1`.
fn rational(rate: &str) -> String {
    match rate.contains('/') {
        true => rate.to_owned(),
        false => format!("{rate}/1"),
    }
}

/// FFmpeg's filter that draws what `source` says, its upper left corner at `at`.
fn draw(source: &str, font_px: u32, ink: &str, (x, y): (i32, i32)) -> String {
    format!("drawtext=fontfile={FONT}:{source}:fontsize={font_px}:fontcolor={ink}:x={x}:y={y}")
}

// Where the clock is looked for ---------------------------------------------------

/// A clip of eight seconds with a key frame every `key_interval` frames, whose clock is in
/// view from 2.4 s to 5 s.
fn in_view_for_a_while(key_interval: u32) -> Said {
    let clock = BurnedIn::new(TEN, "25")
        .seconds("8")
        .then(",drawbox=t=fill:c=gray:enable='not(between(t,2.4,5))'");
    let shelf = Shelf::new();
    let coding = format!("{H264} -g {key_interval} -sc_threshold 0");
    read(&shelf.clip("clip.mp4", &clock, &coding))
}

/// The key frame at 3 s shows the clock first; half a second of it lies before.
#[test]
fn frames_before_the_first_key_frame_with_the_clock_are_read_too() {
    let said = in_view_for_a_while(25);
    said.must_be_sure_of(TEN);
    let first_s = said.json["windows"][0]["first_seconds"].as_f64();
    assert!(first_s.is_some_and(|s| s < 2.6), "{}", said.all());
}

/// Reading goes back to the look before a find and shows nothing until it comes there again; what
/// that frame showed is known.
#[test]
fn no_frame_is_looked_at_twice() {
    let clock = BurnedIn::new(TEN, "25")
        .seconds("8")
        .then(",drawbox=t=fill:c=gray:enable='lt(t,2.6)'");
    let shelf = Shelf::new();
    let clip = shelf.clip("clip.mp4", &clock, &format!("{H264} -g 25 -sc_threshold 0"));
    let mut looks = Vec::new();
    let mut keep = |event| {
        if let Event::Searching { at_s } = event {
            looks.push((at_s * 1000.0).round() as u64);
        }
        Wish::GoOn
    };
    let eye = Eye::open().expect("the networks are built in");
    let read = read_clip(&eye, &clip, &ReadOptions::default(), &mut keep);
    assert_eq!(read.outcome.verdict, Verdict::Sure);
    let all = looks.len();
    looks.sort_unstable();
    looks.dedup();
    assert!(looks.contains(&3000) && looks.len() == all, "{looks:?}");
}

#[test]
fn a_clock_between_key_frames_that_lie_far_apart_is_found() {
    in_view_for_a_while(999).must_be_sure_of(TEN);
}

/// Held up for less than a second, a little behind the key frame at 1.2 s and gone before the next.
#[test]
fn a_clock_that_is_in_view_for_less_than_a_second_early_in_the_clip_is_found() {
    for key_interval in [30, 60] {
        let clock = BurnedIn::new(TEN, "25")
            .seconds("8")
            .then(",drawbox=t=fill:c=gray:enable='not(between(t,1.3,2.2))'");
        let shelf = Shelf::new();
        let coding = format!("{H264} -g {key_interval} -sc_threshold 0");
        read(&shelf.clip("clip.mp4", &clock, &coding)).must_be_sure_of(TEN);
    }
}

/// Half of a 0 reads like a 1, and of an 8 like a 3.
#[test]
fn a_clock_whose_first_digit_lies_outside_the_picture_in_part_does_not_tell_its_hours() {
    let shelf = Shelf::new();
    for (hours, cut_px) in [("03", 10), ("03", 26), ("08", 18), ("06", 24), ("09", 26)] {
        let clock = format!(r"timecode='{hours}\:40\:08\:12':r=25:box=1:boxcolor=black");
        let clock = draw(&clock, 60, "white", (-cut_px, 150));
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=gray:s=640x360:r=25 -t 3 -vf {clock} {H264} cut.mp4"
        ));
        let said = read(&shelf.path("cut.mp4"));
        let is_sure = said.json["verdict"] == "sure";
        let is_right = said.json["start"]["label"] == format!("{hours}:40:08:12");
        assert!(is_right || !is_sure, "{cut_px} px: {}", said.all());
        assert!(!is_sure || cut_px < 18, "{cut_px} px: {}", said.all());
    }
}

/// Digits that run and are no clock are followed for six seconds.
#[test]
fn a_clock_that_comes_into_view_beside_a_counter_is_found() {
    let shelf = Shelf::new();
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=black:s=640x360:r=25 -t 8 -vf {},{},{} {H264} both.mp4",
        draw(r"timecode='10\:00\:00\:00':r=25", 56, "white", (60, 220)),
        "drawbox=y=200:h=100:t=fill:c=black:enable='not(between(t,3,5.4))'",
        draw(r"text='%{eif\:(n*7919)\:d\:8}'", 56, "white", (60, 40)),
    ));
    read(&shelf.path("both.mp4")).must_be_sure_of(TEN);
}

/// Another crew's slate, and ours after it: nobody can tell which is which.
#[test]
fn a_slate_that_follows_upon_another_is_noticed() {
    let shelf = Shelf::new();
    let slate = |label: &str, shown: &str| {
        let label = label.replace(':', r"\:");
        let source = format!("timecode='{label}':r=25:enable='{shown}'");
        draw(&source, 60, "white", (100, 150))
    };
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=black:s=640x360:r=25 -t 6 -vf {},{} {H264} -g 25 two.mp4",
        slate("02:10:05:21", "lt(t,2.2)"),
        slate("11:22:33:14", "gt(t,2.6)"),
    ));
    read(&shelf.path("two.mp4")).must_leave_open(["02:10:05:21", "11:22:33:14"]);
}

/// What is laid over the picture from its first frame on, or runs on a monitor in view, is not all:
/// the slate is held up later.
#[test]
fn a_slate_that_is_held_up_beside_a_clock_that_is_always_there_is_noticed() {
    for shown in ["between(t,1.7,3.4)", "between(t,6,8)"] {
        let shelf = Shelf::new();
        let slate = format!(r"timecode='10\:11\:12\:07':r=25:enable='{shown}'");
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=black:s=640x360:r=25 -t 9 -vf {},{} {H264} -g 25 both.mp4",
            draw(r"timecode='01\:00\:03\:11':r=25", 28, "white", (30, 310)),
            draw(&slate, 60, "white", (100, 120)),
        ));
        read(&shelf.path("both.mp4")).must_leave_open(["01:00:03:11", "10:11:12:07"]);
    }
}

/// How long has been recorded, say, large above the time of day: which is the clock, nobody can tell.
#[test]
fn a_large_clock_does_not_hide_a_small_one_beside_it() {
    let shelf = Shelf::new();
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=black:s=1280x720:r=25 -t 4 -vf {},{} {H264} both.mp4",
        draw(r"timecode='00\:00\:12\:00':r=25", 110, "white", (120, 220)),
        draw(r"timecode='13\:08\:06\:12':r=25", 40, "skyblue", (400, 380)),
    ));
    let said = read(&shelf.path("both.mp4"));
    assert!(said.codes().contains(&"clocks_disagree"), "{}", said.all());
    said.must_leave_open(["00:00:12:00", "13:08:06:12"]);
}

/// The number of a take above minutes, seconds and frames is not read as the hours.
#[test]
fn a_number_above_a_clock_without_hours_is_none_of_its_own() {
    let shelf = Shelf::new();
    let clock = r"text='11\:%{eif\:12+trunc(n/25)\:d\:2}\:%{eif\:mod(n\,25)\:d\:2}'";
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=black:s=1280x720:r=25 -t 4 -vf {},{} {H264} take.mp4",
        draw("text=TAKE18", 70, "white", (380, 180)),
        draw(clock, 90, "white", (400, 300)),
    ));
    let said = read(&shelf.path("take.mp4"));
    assert_ne!(said.verdict(), "sure", "{}", said.all());
    assert!(!said.all().contains("18:11:12"), "{}", said.all());
}

/// Three frames at the head tell a start, but nothing that one could rely on.
#[test]
fn a_glimpse_at_the_head_does_not_end_the_search() {
    let clock = BurnedIn::new(TEN, "25")
        .seconds("60")
        .then(",drawbox=t=fill:c=gray:enable='not(between(t,5,5.09)+between(t,30,33))'");
    let shelf = Shelf::new();
    let coding = format!("{H264} -g 25 -sc_threshold 0");
    read(&shelf.clip("clip.mp4", &clock, &coding)).must_be_sure_of(TEN);
}

/// A time on a sign, in view for too short to see that it stands still.
#[test]
fn a_sign_at_the_head_does_not_end_the_search() {
    let shelf = Shelf::new();
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=black:s=640x360:r=25 -t 60 -vf {},{},{},{} {H264} -g 25 sign.mp4",
        draw(r"text='11\:05\:00'", 56, "white", (60, 40)),
        "drawbox=h=120:t=fill:c=gray:enable='not(between(t,5,5.4))'",
        draw(r"timecode='10\:00\:00\:00':r=25", 56, "white", (60, 220)),
        "drawbox=y=200:h=100:t=fill:c=gray:enable='not(between(t,30,33))'",
    ));
    read(&shelf.path("sign.mp4")).must_be_sure_of(TEN);
}

/// Digits 9 px tall in 1080p.
#[test]
fn small_digits_are_found() {
    let clock = BurnedIn::new(TEN, "25").strip("1920x1080", 12, (900, 500));
    read_burned_in(&clock).must_start_at(TEN);
}

/// Inks whose luma is that of the paper, by ITU-R BT.601, 2.5.1, which FFmpeg draws by.
#[test]
fn digits_that_stand_out_by_their_colour_alone_are_read() {
    for (ink, paper) in [
        ("0xff0000", "0x4c4c4c"),
        ("0x00b400", "0x6a6a6a"),
        ("0x3c3cff", "0x525252"),
    ] {
        let clock = BurnedIn {
            ink,
            paper: Paper::Plain(paper),
            ..BurnedIn::new(TEN, "25")
        };
        read_burned_in(&clock).must_be_sure_of(TEN);
    }
}

/// Lettering that looks like a stopped clock is followed from frame 0 on, by its luma; the
/// frames it was followed through are looked at by their colours all the same.
#[test]
fn digits_in_colour_beside_white_ones_that_stand_still_are_read() {
    let shelf = Shelf::new();
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=0x4c4c4c:s=640x360:r=25 -t 1.6 -vf {},{} {H264} both.mp4",
        draw(r"text='17\:42\:08\:31'", 56, "white", (60, 40)),
        draw(r"timecode='10\:00\:00\:00':r=25", 56, "0xff0000", (60, 220)),
    ));
    read(&shelf.path("both.mp4")).must_be_sure_of(TEN);
}

/// Reading stops once the start is settled, but looks ahead before it does: a clock that is set
/// anew a moment later, still in view, is not relied on; one that is held, as at the clap, is by what
/// it showed before, and that it was held is told. Key frames lie close to each other, or the first
/// is the only one; the clip ends soon after, or goes on.
#[test]
fn a_clock_that_is_set_anew_or_held_while_it_is_in_view_is_noticed() {
    let shelf = Shelf::new();
    let blank = "drawbox=h=120:t=fill:c=black";
    let anew = |at: &str| {
        let first = draw(r"timecode='10\:00\:00\:00':r=25", 56, "white", (60, 40));
        let second = draw(r"timecode='10\:15\:00\:00':r=25", 56, "white", (60, 40));
        format!("{first},{blank}:enable='gte(t,{at})',{second}:enable='gte(t,{at})'")
    };
    let held = |at: &str| {
        let clock = draw(r"timecode='10\:00\:00\:00':r=25", 56, "white", (60, 40));
        format!("{clock},trim=end={at},tpad=stop_mode=clone:stop=100")
    };
    let cases = [
        ("1.5", anew("1.5"), "12", "4", "unsure"),
        ("1.8", anew("1.8"), "25", "4", "unsure"),
        ("1.5", anew("1.5"), "999", "2.2", "unsure"),
        ("1.7", held("1.7"), "25", "3", "sure"),
        ("1.5", held("1.5"), "999", "3", "sure"),
        ("0.9", held("0.9"), "25", "4", "sure"),
    ];
    for (at, filters, key_interval, seconds, verdict) in cases {
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=black:s=640x360:r=25 -t {seconds} -vf {filters} {H264} \
             -g {key_interval} -sc_threshold 0 clip.mp4"
        ));
        let said = read(&shelf.path("clip.mp4"));
        let all = said.all();
        assert_eq!(said.verdict(), verdict, "at {at} s, {key_interval}: {all}");
        let code = match verdict {
            "sure" => {
                said.must_start_at(TEN);
                "display_held"
            }
            _ => "clock_jumped",
        };
        assert!(said.codes().contains(&code), "{all}");
    }
}

/// Both ends of a clip whose clock gains 27 ms in ten minutes, drawn by hundredths: the picture's
/// times are shortened after it was drawn. A sign that comes before the clock at the tail is no
/// sight of it, though the head has settled the start.
#[test]
fn slates_at_both_ends_tell_the_drift_if_they_are_asked_for() {
    let shelf = Shelf::new();
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=black:s=480x120:r=100 -t 600 -vf \
         {},settb=1/1000000,setpts=PTS*0.999955,fps=25:round=up,{},{} {H264} -g 25 clip.mp4",
        draw(r"timecode='10\:00\:00\:00':r=100", 60, "white", (10, 30)),
        "drawbox=t=fill:c=gray:enable='between(t,2.5,597.5)'",
        draw(
            r"text='11\:05\:00':enable='between(t,583,590)'",
            60,
            "white",
            (40, 30)
        ),
    ));
    let clip = shelf.path("clip.mp4");
    let said = read_with(&["--look", "ends"], &clip);
    said.must_be_sure_of(TEN);
    let windows = said.json["windows"].as_array().unwrap();
    assert_eq!(windows.len(), 2, "{}", said.all());
    let bounds = &said.json["clock"]["drift_ppm_bounds"];
    let [low, high] = [0, 1].map(|i| bounds[i].as_f64().expect("measured"));
    assert!(low <= 45.0 && 45.0 <= high, "{}", said.all());
    assert!(high - low < 60.0, "{}", said.all());
    assert!(said.codes().contains(&"drift_measured"), "{}", said.all());
}

/// A clip that is as long as what is looked at of either end, or shorter, has ends, too.
#[test]
fn the_ends_of_a_short_clip_are_looked_at_if_they_are_asked_for() {
    let shelf = Shelf::new();
    let clock = |label| draw(&format!("timecode='{label}':r=25"), 60, "white", (10, 30));
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=black:s=480x120:r=25 -t 8 -vf {},{},{},{} {H264} clip.mp4",
        clock(r"10\:00\:00\:00"),
        "drawbox=t=fill:c=black:enable='gte(t,2)'",
        clock(r"11\:30\:00\:00") + ":enable='gte(t,5)'",
        "drawbox=t=fill:c=black:enable='between(t,2,5)'",
    ));
    let clip = shelf.path("clip.mp4");
    read_with(&["--look", "head"], &clip).must_be_sure_of(TEN);
    read_with(&["--look", "tail"], &clip).must_be_sure_of(TEN);
    let said = read_with(&["--look", "ends"], &clip);
    assert_eq!(said.verdict(), "unsure", "{}", said.all());
    assert!(said.codes().contains(&"clock_rejammed"), "{}", said.all());
}

// Rates ------------------------------------------------------------------------

#[test]
fn clocks_at_film_and_50_hz_rates_are_read_exactly() {
    must_all_be_read(&[
        ("01:17:42:19", "24000/1001", "01:17:42:19"),
        ("09:58:03:07", "24", "09:58:03:07"),
        ("14:25:36:20", "25", "14:25:36:20"),
        ("20:06:51:31", "48000/1001", "20:06:51:31"),
        ("11:39:28:46", "48", "11:39:28:46"),
        ("16:40:17:33", "50", "16:40:17:33"),
        ("08:12:59:71", "100", "08:12:59:71"),
    ]);
}

#[test]
fn clocks_at_60_hz_rates_are_read_exactly() {
    must_all_be_read(&[
        ("03:48:10:26", "30000/1001", "03:48:10:26"),
        ("22:31:07:14", "30", "22:31:07:14"),
        ("07:53:44:52", "60000/1001", "07:53:44:52"),
        ("18:09:35:28", "60", "18:09:35:28"),
        ("13:27:46:098", "120000/1001", "13:27:46:098"),
        ("05:34:12:075", "120", "05:34:12:075"),
    ]);
}

#[test]
fn a_camera_at_another_rate_than_the_clock_still_gives_its_label_on_frame_0() {
    // `fps` with `round=up` shows, at each output time, what was drawn last.
    for (label, clock_rate, then) in [
        ("14:25:36:20", "25", ",fps=50:round=up"),
        ("16:40:17:33", "50", ",fps=25:round=up"),
        ("09:58:03:07", "24", ",fps=30000/1001:round=up"),
        ("07:53:44:52", "60000/1001", ",fps=24000/1001:round=up"),
        ("03:48:10:26", "30000/1001", ",fps=25:round=up"),
        ("18:09:35:28", "60", ",fps=24:round=up"),
    ] {
        let clock = BurnedIn::new(label, clock_rate).seconds("4").then(then);
        let said = read_burned_in(&clock);
        said.must_be_sure_of(label);
        said.must_run_at(&rational(clock_rate));
    }
}

#[test]
fn a_clock_over_a_busy_picture_is_found_and_read() {
    let clock = BurnedIn::new("14:25:36:20", "25").strip("640x360", 40, (330, 290));
    for (ink, paper) in [
        ("white", Paper::Busy),
        ("yellow", Paper::Busy),
        ("black", Paper::Plain("white")),
        ("red", Paper::Plain("black")),
    ] {
        let said = read_burned_in(&clock.clone().colours(ink, paper));
        said.must_be_sure_of("14:25:36:20");
    }
}

// Drop-frame and midnight --------------------------------------------------------

#[test]
fn drop_frame_clocks_are_read_across_the_minute_and_the_ten_minutes() {
    for (label, rate, shown) in [
        ("00:00:58;20", "30000/1001", "00:00:58;20"),
        ("10:08:59;25", "30000/1001", "10:08:59;25"),
        ("10:09:58;21", "30000/1001", "10:09:58;21"),
        ("00:00:58;41", "60000/1001", "00:00:58;41"),
        ("23:09:58;59", "60000/1001", "23:09:58;59"),
        ("04:33:58;117", "120000/1001", "04:33:58;117"),
        ("04:39:58;001", "120000/1001", "04:39:58;001"),
    ] {
        let said = read_burned_in(&BurnedIn::new(label, rate));
        said.must_be_sure_of(shown);
        said.must_run_at(rate);
        let clock = &said.json["clock"];
        assert_eq!(clock["drop_frame"], true, "{}", said.all());
        let known_by = clock["drop_frame_known_by"].as_str().unwrap();
        assert!(
            ["mark", "skipped_label"].contains(&known_by),
            "{}",
            said.all()
        );
    }
}

#[test]
fn a_label_that_drop_frame_skips_proves_that_the_clock_counts_without() {
    let said = read_burned_in(&BurnedIn::new("00:00:59:10", "30000/1001"));
    said.must_be_sure_of("00:00:59:10");
    let clock = &said.json["clock"];
    assert_eq!(clock["drop_frame"], false, "{}", said.all());
    assert_eq!(clock["drop_frame_known_by"], "label", "{}", said.all());
}

#[test]
fn two_frames_before_a_drop_frame_minute_are_enough() {
    let long = BurnedIn::new("10:08:59;28", "30000/1001");
    let short = BurnedIn::new("00:00:59;28", "30000/1001")
        .seconds("0.3")
        .strip("640x180", 72, (20, 50));
    for clock in [long, short] {
        let said = read_burned_in(&clock);
        said.must_be_sure_of(clock.label);
        said.must_run_at("30000/1001");
        assert_eq!(said.json["clock"]["drop_frame"], true, "{}", said.all());
    }
}

#[test]
fn clocks_are_read_across_midnight() {
    let strip = |label, rate| BurnedIn::new(label, rate).strip("480x120", 60, (10, 30));
    for (clock, shown) in [
        (
            strip("23:59:59:20", "24000/1001").seconds("1"),
            "23:59:59:20",
        ),
        (BurnedIn::new("23:59:58:24", "25"), "23:59:58:24"),
        (BurnedIn::new("23:59:58;29", "30000/1001"), "23:59:58;29"),
        (BurnedIn::new("23:59:59:05", "30"), "23:59:59:05"),
    ] {
        let said = read_burned_in(&clock);
        said.must_be_sure_of(shown);
        said.must_run_at(&rational(clock.rate));
    }
}

// Frame 0 ------------------------------------------------------------------------

/// What is the first picture on the screen, whatever the order in the file.
#[test]
fn b_frames_do_not_move_the_start() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new(TEN, "25");
    let coding = format!("{H264} -bf 2 -g 12");
    for (name, container) in [("list.mp4", ""), ("no_list.mp4", "-use_editlist 0")] {
        let clip = shelf.clip(name, &clock, &format!("{coding} {container}"));
        read(&clip).must_be_sure_of(TEN);
    }
    // Without an edit list the first picture is presented after zero.
    let first = |name| shelf.probe(name, "stream=start_pts").remove(0);
    assert_eq!(first("list.mp4"), "0");
    assert_ne!(first("no_list.mp4"), "0");
}

#[test]
fn frames_hidden_by_an_edit_list_do_not_count() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new(TEN, "25").seconds("4");
    for (name, groups, from_s, label, packets, frames) in [
        // A cut between key frames keeps the pictures since the last one, hidden.
        ("short.mp4", 12, "0.6", "10:00:00:15", 88, 85),
        ("long.mp4", 250, "1.6", "10:00:01:15", 100, 60),
    ] {
        shelf.clip("whole.mp4", &clock, &format!("{H264} -bf 2 -g {groups}"));
        shelf.ffmpeg(&format!("-ss {from_s} -i whole.mp4 -c copy {name}"));
        assert_eq!(shelf.probe(name, "packet=pts").len(), packets);
        assert_eq!(shelf.probe(name, "frame=pts").len(), frames);
        read(&shelf.path(name)).must_be_sure_of(label);
    }
}

#[test]
fn containers_and_codecs_of_the_trade_give_the_same_start() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new("14:25:36:20", "25");
    for (name, coding) in [
        ("h264.mov", H264),
        ("h264.mkv", H264),
        ("h264.mts", "-c:v libx264 -pix_fmt yuv420p -bf 2 -f mpegts"),
        (
            "hevc.mp4",
            "-c:v libx265 -x265-params log-level=error -pix_fmt yuv420p",
        ),
        ("prores.mov", "-c:v prores_ks -pix_fmt yuv422p10le"),
        ("mpeg2.mxf", "-c:v mpeg2video -pix_fmt yuv422p -b:v 8M"),
        ("mjpeg.avi", "-c:v mjpeg -q:v 3"),
    ] {
        let said = read(&shelf.clip(name, &clock, coding));
        said.must_be_sure_of("14:25:36:20");
        said.must_run_at("25/1");
    }
    // A transport stream does not start at zero.
    let first: f64 = shelf.probe("h264.mts", "stream=start_time")[0]
        .parse()
        .unwrap();
    assert!(first > 1.0);
}

#[test]
fn uneven_frame_times_are_taken_as_they_are() {
    let shelf = Shelf::new();
    // Digits first, so that they show true time; then a phone's rhythm: one
    // frame in eleven missing, every third a little late.
    let clock = BurnedIn::new(TEN, "30")
        .seconds("4")
        .then(",select='not(eq(mod(n,11),5))',settb=1/600,setpts='PTS+if(eq(mod(N,3),1),3,0)'");
    let uneven = "-vsync passthrough -enc_time_base 1/600 -bf 0 -video_track_timescale 600";
    let clip = shelf.clip("uneven.mp4", &clock, &format!("{H264} {uneven}"));
    let times = shelf.probe("uneven.mp4", "packet=pts");
    assert_eq!(times.len(), 109);
    assert_eq!(times.last().unwrap(), "2380");
    let said = read(&clip);
    said.must_be_sure_of(TEN);
    said.must_run_at("30/1");
    assert_eq!(said.json["clip"]["variable_rate"], true, "{}", said.all());
    assert!(said.codes().contains(&"variable_rate"), "{}", said.all());
}

// Orientation and pixels ---------------------------------------------------------

#[test]
fn turned_pictures_are_read_with_and_without_a_matrix_that_says_so() {
    let shelf = Shelf::new();
    for (degrees, turned_back, width, height) in [
        (90, ",transpose=cclock", 360, 640),
        (180, ",hflip,vflip", 640, 360),
        (270, ",transpose=clock", 360, 640),
    ] {
        let clock = BurnedIn::new("14:25:36:20", "25").then(turned_back);
        let lying = shelf.clip("lying.mp4", &clock, H264);
        assert_eq!(
            shelf.probe("lying.mp4", "stream=width,height"),
            [width.to_string(), height.to_string()]
        );
        let said = read(&lying);
        said.must_be_sure_of("14:25:36:20");
        assert_eq!(said.json["clip"]["rotation"], 0, "{}", said.all());

        let upright = shelf.path("upright.mp4");
        std::fs::copy(&lying, &upright).unwrap();
        movie::set_matrix(&upright, movie::turn_clockwise(degrees, width, height));
        let said = read(&upright);
        said.must_be_sure_of("14:25:36:20");
        assert_eq!(said.json["clip"]["rotation"], degrees, "{}", said.all());
    }
}

#[test]
fn a_mirrored_picture_is_read_as_the_mirror_shows_it_and_says_so() {
    let shelf = Shelf::new();
    for flip in [",hflip", ",vflip"] {
        let clock = BurnedIn::new("14:25:36:20", "25").then(flip);
        let said = read(&shelf.clip("mirror.mp4", &clock, H264));
        said.must_be_sure_of("14:25:36:20");
        assert!(said.codes().contains(&"in_mirror"), "{}", said.all());
    }
    let said = read(&shelf.clip("plain.mp4", &BurnedIn::new("14:25:36:20", "25"), H264));
    assert!(!said.codes().contains(&"in_mirror"), "{}", said.all());
}

#[test]
fn depth_subsampling_and_range_do_not_change_what_is_read() {
    let shelf = Shelf::new();
    let strip = BurnedIn::new(TEN, "25").strip("480x120", 60, (10, 30));
    let full_range = strip.clone().then(",scale=out_range=full");
    for (name, clock, coding) in [
        ("8_bit.mp4", &strip, "-c:v libx264 -pix_fmt yuv420p"),
        ("4_2_2.mov", &strip, "-c:v libx264 -pix_fmt yuv422p10le"),
        ("4_4_4.mov", &strip, "-c:v libx264 -pix_fmt yuv444p10le"),
        ("prores.mov", &strip, "-c:v prores_ks -pix_fmt yuv422p10le"),
        (
            "full.mp4",
            &full_range,
            "-c:v libx264 -color_range pc -pix_fmt yuvj420p",
        ),
    ] {
        read(&shelf.clip(name, clock, coding)).must_be_sure_of(TEN);
    }
    assert_eq!(shelf.probe("full.mp4", "stream=color_range"), ["pc"]);
}

#[test]
fn dim_digits_in_ten_bit_high_dynamic_range_are_read() {
    let shelf = Shelf::new();
    let dim = BurnedIn::new(TEN, "25")
        .strip("480x120", 60, (10, 30))
        .colours("0x404040", Paper::Plain("black"));
    let coding = "-c:v libx265 -x265-params log-level=error -pix_fmt yuv420p10le \
                  -color_trc arib-std-b67 -color_primaries bt2020 -colorspace bt2020nc";
    read(&shelf.clip("long.mp4", &dim, coding)).must_be_sure_of(TEN);
    // Five frames: right, however certain, to two counts.
    let brief = dim.seconds("0.2");
    read(&shelf.clip("brief.mp4", &brief, coding)).must_start_within(TEN, 2.0);
    assert_eq!(shelf.probe("brief.mp4", "frame=pts").len(), 5);
}

// Seven-segment displays -----------------------------------------------------------

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

#[test]
fn a_display_that_lights_three_digits_at_a_time_is_read_from_many_frames() {
    let shelf = Shelf::new();
    let display = Display { scale: 1, ..PLAIN };
    let clip = segment_clip(&shelf, display, 50, |n| {
        let mut lit = [false; 8];
        for step in 0..3 {
            lit[((n * 3 + step) % 8) as usize] = true;
        }
        (digits_at_25(TWELVE_34_20 + n), lit)
    });
    read(&clip).must_be_sure_of("12:34:20:00");
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

// Cards ----------------------------------------------------------------------------

/// Four chapters whose files all claim the first one's start.
#[test]
fn chapters_start_where_their_own_clock_says() {
    let shelf = Shelf::new();
    let chapters = [
        ("GX010042.mp4", "10:00:00:00"),
        ("GX020042.mp4", "10:00:02:00"),
        // Three frames were lost here.
        ("GX030042.mp4", "10:00:04:03"),
        ("GX010043.mp4", "11:00:00:00"),
    ];
    let claims = "-timecode 10:00:00:00 -metadata creation_time=2021-05-28T12:40:43Z";
    let clips = chapters.map(|(name, label)| {
        let clock = BurnedIn::new(label, "25").seconds("2");
        shelf.clip(name, &clock, &format!("{H264} {claims}"))
    });
    let paths = clips.each_ref().map(PathBuf::as_path);
    for (said, (name, label)) in read_all(&paths).iter().zip(chapters) {
        said.must_be_sure_of(label);
        assert_eq!(shelf.probe(name, "frame=pts").len(), 50);
        assert_eq!(said.json["clip"]["rate"], "25/1", "{}", said.all());
    }
}

#[test]
fn a_broken_file_is_a_result_and_stops_nothing() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new(TEN, "25");
    let last = shelf.clip("last.mp4", &clock, &format!("{H264} -bf 2 -g 12"));
    let no_index = shelf.path("no_index.mp4");
    movie::cut(&last, &no_index, 70);
    let empty = shelf.path("empty.mp4");
    std::fs::write(&empty, "").unwrap();
    let text = shelf.path("notes.MOV");
    std::fs::write(&text, "Scene 4, take 2: boom in shot.\n").unwrap();
    let folder = shelf.path("X.MP4");
    std::fs::create_dir(&folder).unwrap();
    let missing = shelf.path("gone.mp4");

    let paths: [&Path; 6] = [&no_index, &empty, &text, &folder, &missing, &last];
    let said = read_all(&paths);
    said[0].must_fail_with("no_index");
    said[1].must_fail_with("empty_file");
    said[2].must_fail_with("not_video");
    said[3].must_fail_with("is_folder");
    said[4].must_fail_with("cannot_open");
    said[5].must_start_at(TEN);
    assert_eq!(said[5].verdict(), "sure");
    // The clip that was read has no sound at all, which is nothing to mention.
    assert_eq!(said[5].json["clip"]["has_audio"], false);
    let remarks = said[5].json["notes"].to_string();
    assert!(
        !remarks.contains("sound") && !remarks.contains("audio"),
        "{remarks}"
    );
}

#[test]
fn truncated_files_are_read_from_the_frames_they_have_and_say_so() {
    let shelf = Shelf::new();
    // Noise beside the digits, so that the bytes spread over the frames.
    let clock = BurnedIn::new(TEN, "25").colours("white", Paper::Busy);
    let coding = format!("{H264} -g 12 -movflags +faststart");
    let whole = shelf.clip("whole.mp4", &clock, &coding);
    let cut = shelf.path("cut.mp4");
    movie::cut(&whole, &cut, 70);
    let left = shelf.probe("cut.mp4", "frame=pts").len();
    assert!((20..70).contains(&left), "{left} frames are left of 75");
    let said = read(&cut);
    said.must_be_sure_of(TEN);
    assert!(said.codes().contains(&"truncated"), "{}", said.all());
}

#[test]
fn fragmented_files_are_read_up_to_the_cut() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new(TEN, "25").colours("white", Paper::Busy);
    let coding = format!("{H264} -g 12 -movflags frag_keyframe+empty_moov");
    let whole = shelf.clip("whole.mp4", &clock, &coding);
    let cut = shelf.path("cut.mp4");
    for percent in [90, 80, 60] {
        movie::cut(&whole, &cut, percent);
        let left = shelf.probe("cut.mp4", "frame=pts").len();
        assert!((24..75).contains(&left), "{left} frames are left of 75");
        read(&cut).must_start_at(TEN);
    }
}

// More than a clock in one line -------------------------------------------------------

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

// No clock, and not quite a clock -----------------------------------------------------

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

/// Lettering that reads like a clock is known again at the next look, also where a camera sways, and
/// so are its pieces: the frames around it are decoded once.
#[test]
fn a_clock_that_stands_still_is_followed_once() {
    let shelf = Shelf::new();
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=0x335566:s=1280x720:r=25:d=12 -vf drawtext=fontfile={FONT}:{},noise=alls=8:allf=t \
         {H264} -g 12 still.mp4",
        r"text='20\:50\:17\:08':fontsize=60:fontcolor=white:x='500+100*sin(2*t)':y='300+100*cos(3*t)'"
    ));
    let mut frames_read = 0;
    let mut count = |event| {
        frames_read += usize::from(matches!(event, Event::Reading { .. }));
        Wish::GoOn
    };
    let eye = Eye::open().expect("the networks are built in");
    let options = ReadOptions::default();
    let read = read_clip(&eye, &shelf.path("still.mp4"), &options, &mut count);
    assert_eq!(read.outcome.verdict, Verdict::None);
    // Half a second shows that it stands; the second opinion is one of two looks more.
    assert!((10..40).contains(&frames_read), "{frames_read}");
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
