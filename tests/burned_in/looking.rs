//! Where and when the clock is looked for.

use super::{TEN, draw, read_burned_in};
use crate::common::program::{Said, read, read_with};
use crate::common::{BurnedIn, H264, Paper, Shelf};
use rollmark::clip::{ReadOptions, read_clip};
use rollmark::outcome::Verdict;
use rollmark::progress::{Event, Wish};
use rollmark::vision::Eye;

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

/// A slate far from both ends of a clip whose file does not say how long it is.
#[test]
fn the_middle_of_a_clip_of_unknown_length_is_looked_at() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new(TEN, "25")
        .seconds("75")
        .then(",drawbox=t=fill:c=gray:enable='not(between(t,34,38))'");
    let clip = shelf.clip("live.mkv", &clock, &format!("{H264} -g 25 -live 1"));
    assert_eq!(shelf.probe("live.mkv", "format=duration"), ["N/A"]);
    read(&clip).must_be_sure_of(TEN);
}

/// The last seconds that are there, not those that the file claims.
#[test]
fn the_tail_of_a_file_that_is_cut_off_is_looked_at() {
    let shelf = Shelf::new();
    let clock = BurnedIn::new(TEN, "25")
        .seconds("100")
        .then(",drawbox=t=fill:c=gray:enable='not(between(t,60,63))'");
    let clip = shelf.clip("cut.mkv", &clock, "-c:v mjpeg -q:v 5");
    let whole = std::fs::read(&clip).unwrap();
    std::fs::write(&clip, &whole[..whole.len() * 70 / 100]).unwrap();
    let said = read_with(&["--look", "tail"], &clip);
    said.must_start_at(TEN);
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

/// A sign that the slate hid shows the same at two looks ahead: its frames need not be read. The slate is
/// waited for until 2.6 s.
#[test]
fn digits_that_stand_where_the_slate_was_cost_two_looks() {
    let shelf = Shelf::new();
    shelf.ffmpeg(&format!(
        "-f lavfi -i color=c=black:s=640x360:r=25 -t 6 -vf {},{} {H264} -g 25 sign.mp4",
        draw(
            r"timecode='10\:00\:00\:00':r=25:enable='lt(t,2.2)'",
            60,
            "white",
            (100, 150)
        ),
        draw(
            r"text='20\:50\:17\:08':enable='gt(t,2.6)'",
            60,
            "white",
            (100, 150)
        ),
    ));
    let mut read_last_s = 0.0_f64;
    let mut keep = |event| {
        if let Event::Reading { at_s } = event {
            read_last_s = read_last_s.max(at_s);
        }
        Wish::GoOn
    };
    let eye = Eye::open().expect("the networks are built in");
    let read = read_clip(
        &eye,
        &shelf.path("sign.mp4"),
        &ReadOptions::default(),
        &mut keep,
    );
    assert_eq!(read.outcome.verdict, Verdict::Sure);
    assert!((1.0..2.65).contains(&read_last_s), "{read_last_s}");
}

/// What is laid over the picture from its first frame on, or runs on a monitor in view, is not all:
/// the slate is held up later, or while the other is read and gone before that settles a start.
#[test]
fn a_slate_that_is_held_up_beside_a_clock_that_is_always_there_is_noticed() {
    for shown in ["between(t,0.6,1.4)", "between(t,1.7,3.4)", "between(t,6,8)"] {
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

/// A cut, or a pause of the recording, four frames and more behind the slate's first: those frames lie
/// before the one in which it is found.
#[test]
fn a_cut_soon_after_the_slate_came_into_view_is_noticed() {
    for (last, gap) in [(18, 52), (20, 50), (22, 48)] {
        let shelf = Shelf::new();
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=black:s=640x360:r=25 -t 5 -vf {},{},{},setpts=N/25/TB {H264} -g 25 -sc_threshold 0 cut.mp4",
            draw(r"timecode='10\:00\:00\:00':r=25", 60, "white", (100, 150)),
            "drawbox=t=fill:c=gray:enable='lt(n,14)+gt(n,115)'",
            format_args!("select='lt(n,{last})+gte(n,{})'", last + gap),
        ));
        let said = read(&shelf.path("cut.mp4"));
        assert_eq!(said.verdict(), "unsure", "{last}: {}", said.all());
    }
}

/// A clock that is laid over the picture for a second at a time, hours of it in one clip, is no more
/// than a clock that goes on; each showing is read like a slate that follows upon another.
#[test]
fn a_clock_that_comes_and_goes_all_the_time_is_one_clock() {
    let clock = BurnedIn::new(TEN, "25")
        .seconds("24")
        .then(",drawbox=t=fill:c=gray:enable='gt(mod(t,1.6),1)'");
    read_burned_in(&clock).must_be_sure_of(TEN);
}

/// The recorder's and what a monitor plays, right below one another and a few frames apart: as large,
/// in one form, and the same in most digits.
#[test]
fn two_clocks_in_rows_that_nearly_touch_are_two() {
    for (below, height, at) in [("10:00:00:19", 80, 300), ("10:00:01:07", 60, 280)] {
        let shelf = Shelf::new();
        let timecode = |label: &str| format!("timecode='{}':r=25", label.replace(':', r"\:"));
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=black:s=1280x720:r=25 -t 4 -vf {},{} {H264} both.mp4",
            draw(&timecode("10:00:00:14"), height, "white", (200, 220)),
            draw(&timecode(below), height, "white", (200, at)),
        ));
        let said = read(&shelf.path("both.mp4"));
        assert_eq!(said.codes(), ["clocks_disagree"], "{}", said.all());
        said.must_leave_open(["10:00:00:14", below]);
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

/// Nobody can tell whether it is the hours or that of a take, unless it stands in a line of words or is
/// no hour; as little behind whole seconds.
#[test]
fn a_number_above_a_clock_without_hours_may_be_them() {
    let frames = r"text='11\:%{eif\:12+trunc(n/25)\:d\:2}\:%{eif\:mod(n\,25)\:d\:2}'";
    let seconds = r"text='11\:%{eif\:12+trunc(n/25)\:d\:2}'";
    for (number, clock, code, start) in [
        ("18", frames, "hours_doubtful", "18:11:12:00"),
        ("18", seconds, "hours_doubtful", "18:11:12"),
        ("TAKE18", frames, "hours_unknown", "00:11:12:00"),
        ("37", frames, "hours_unknown", "00:11:12:00"),
    ] {
        let shelf = Shelf::new();
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=black:s=1280x720:r=25 -t 4 -vf {},{} {H264} take.mp4",
            draw(&format!("text={number}"), 70, "white", (380, 180)),
            draw(clock, 90, "white", (400, 300)),
        ));
        let said = read(&shelf.path("take.mp4"));
        assert_eq!(said.verdict(), "unsure", "{number}: {}", said.all());
        assert!(said.codes().contains(&code), "{number}: {}", said.all());
        assert_eq!(said.label(), Some(start), "{number}: {}", said.all());
    }
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
