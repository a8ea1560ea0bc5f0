//! Which picture is frame 0, and when it is shown.

use super::TEN;
use crate::common::program::read;
use crate::common::{BurnedIn, H264, Shelf};

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
        let said = read(&shelf.path(name));
        said.must_be_sure_of(label);
        // Hidden frames have their times.
        assert!(!said.codes().contains(&"stamps_repaired"), "{}", said.all());
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
