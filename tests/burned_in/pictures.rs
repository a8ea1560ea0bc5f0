//! How the picture lies, and how its pixels are kept.

use super::TEN;
use crate::common::program::read;
use crate::common::{BurnedIn, H264, Paper, Shelf, movie};

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
