//! Clocks and cameras at every rate, drop-frame, midnight.

use super::{draw, must_all_be_read, rational, read_burned_in};
use crate::common::program::read;
use crate::common::{BurnedIn, H264, Paper, Shelf};

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

/// In the first second and a quarter each shows counts that a slower clock has, too.
#[test]
fn a_clock_in_slow_motion_is_read_until_it_shows_a_count_that_others_have_not() {
    for (rate, slowdown, first, label) in [
        ("30", 4, 8, "10:20:30:08"),
        ("25", 4, 5, "10:20:30:05"),
        ("24", 5, 11, "10:20:30:11"),
    ] {
        let shelf = Shelf::new();
        let counts: u32 = 2 * rate.parse::<u32>().unwrap();
        let frames = format!(r"%{{eif\:mod({first}+n*2/{slowdown}\,{counts})\:d\:2}}");
        shelf.ffmpeg(&format!(
            "-f lavfi -i color=c=0x303030:s=1280x720:r={rate} -t 3 -vf {} {H264} slow.mp4",
            draw(
                &format!(r"text='10\:20\:30\:{frames}'"),
                90,
                "white",
                (200, 300)
            ),
        ));
        let said = read(&shelf.path("slow.mp4"));
        said.must_run_at(&rational(&counts.to_string()));
        assert_eq!(said.label(), Some(label), "{}", said.all());
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

/// The seconds of a clock that counts frames at 29.97 are a thousandth longer than those of a clock
/// that shows seconds alone, which nobody sees: only that nothing stands behind them tells.
#[test]
fn whole_seconds_at_29_97_are_sure_where_nothing_stands_behind_them() {
    let shelf = Shelf::new();
    let real_seconds = r"%{eif\:trunc(n*1001/30000)\:d\:2}";
    let of_30_frames = r"%{eif\:trunc(n/30)\:d\:2}";
    let frames = r"%{eif\:mod(n\,30)\:d\:2}";
    // Characters of 60 px are 36 px wide here.
    let clock = |seconds: &str, behind: &str, x: i32| {
        draw(
            &format!(r"text='10\:00\:{seconds}{behind}'"),
            60,
            "white",
            (x, 300),
        )
    };
    let dots = r"\:";
    let covered = format!("{dots}{frames}");
    for (name, drawn, is_sure) in [
        ("bare", clock(real_seconds, "", 200), true),
        (
            "beyond the edge",
            clock(of_30_frames, &covered, 720 - 8 * 36 - 6),
            false,
        ),
        (
            "covered",
            format!(
                "{},drawbox=x=528:y=280:w=120:h=90:color=0x808080:t=fill",
                clock(of_30_frames, &covered, 200)
            ),
            false,
        ),
    ] {
        shelf.ffmpeg(&format!(
            "-y -f lavfi -i color=c=0x303030:s=720x720:r=30000/1001 -t 4 -vf {drawn} {H264} seconds.mp4"
        ));
        let said = read(&shelf.path("seconds.mp4"));
        if is_sure {
            said.must_be_sure_of("10:00:00");
        } else {
            assert_eq!(said.verdict(), "unsure", "{name}: {}", said.all());
            assert!(said.codes().contains(&"frames_unseen"), "{}", said.all());
        }
    }
}
