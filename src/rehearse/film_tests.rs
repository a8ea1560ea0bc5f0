use super::*;
use crate::media::Quality;
use crate::rehearse::camera::Camera;
use crate::rehearse::display::{Clock, Display, Drive, Edge};
use crate::rehearse::glass::Glass;
use crate::rehearse::motion::{Hold, Pose, Steadiness};
use crate::rehearse::scene::{Ambient, Scene};
use crate::rehearse::screens::{Body, Look};
use crate::rehearse::shoot::Staged;
use crate::timecode::{ClockForm, Rate};

pub(super) const WIDTH: u32 = 480;
pub(super) const HEIGHT: u32 = 270;

pub(super) fn ratio(num: i128, den: i128) -> Ratio {
    Ratio::new(num, den)
}

/// White digits on black, straight in front of a perfect camera.
pub(super) fn measured(clock: Clock, drive: Drive, camera: Camera) -> Shoot {
    Shoot {
        camera,
        staged: Some(Staged {
            clock,
            display: Display {
                look: Look::plain(),
                drive,
                lag_s: Ratio::ZERO,
            },
            pose: Pose::upright(50.0),
            hold: Hold::ALWAYS,
            holder: Steadiness::TRIPOD,
            glass: Glass::NONE,
        }),
        scene: Scene::Plain([0; 3]),
        ambient: Ambient::DAY,
        quality: Quality::Constant(20),
        frames: 50,
        seed: 5,
    }
}

pub(super) fn frames25() -> ClockForm {
    ClockForm::frames(Rate::F25, false).unwrap()
}

pub(super) fn camera25() -> Camera {
    Camera::ideal(Rate::F25, WIDTH, HEIGHT)
}

/// The picture of a display that stands still at a count.
fn still(count: i64) -> RgbImage {
    let clock = Clock {
        form: frames25(),
        phi: Ratio::from_integer(count),
        is_running: false,
    };
    let mut shoot = measured(clock, Drive::Direct, camera25());
    shoot.frames = 1;
    shoot.film().unwrap().frame(0)
}

pub(super) fn rows(picture: &RgbImage, range: std::ops::Range<f64>) -> &[u8] {
    let h = f64::from(picture.height());
    let row = |share: f64| (share * h) as usize * picture.width() as usize * 3;
    &picture.as_raw()[row(range.start)..row(range.end)]
}

/// Bounding box of bright pixels: left, top, right, bottom.
pub(super) fn bright_box(picture: &RgbImage) -> [f32; 4] {
    let mut b = [f32::MAX, f32::MAX, 0.0, 0.0];
    for (x, y, p) in picture.enumerate_pixels() {
        if p.0[1] > 120 {
            let (x, y) = (x as f32, y as f32);
            b = [
                b[0].min(x),
                b[1].min(y),
                b[2].max(x + 1.0),
                b[3].max(y + 1.0),
            ];
        }
    }
    b
}

pub(super) fn quad_box(quad: &Quad) -> [f32; 4] {
    let c = quad.corners();
    let fold = |f: fn(f32, f32) -> f32, of: fn(&Point) -> f32| c.iter().map(of).reduce(f).unwrap();
    [
        fold(f32::min, |p| p.x),
        fold(f32::min, |p| p.y),
        fold(f32::max, |p| p.x),
        fold(f32::max, |p| p.y),
    ]
}

#[test]
fn frames_show_the_count_at_the_middle_of_their_exposure() {
    // 25 counts filmed at 24 frames: the phase goes through the whole count.
    let clock = Clock::running(frames25(), ratio(123_400, 1) + ratio(3, 7));
    let camera = Camera::ideal(Rate::F24, WIDTH, HEIGHT);
    let mut film = measured(clock, Drive::Direct, camera).film().unwrap();
    let mut seen = 0;
    for index in 0..24 {
        let truth = film.truth(index);
        let exact = ratio(123_400, 1) + ratio(3, 7) + ratio(25, 24) * Ratio::from_integer(index);
        assert_eq!(i128::from(truth.count), exact.floor());
        assert_eq!(truth.shown, Some(truth.count));
        // Clear of a change by more than half of the exposure's 25/1000 counts.
        let phase = exact - Ratio::from_integer(exact.floor());
        if phase > ratio(1, 50) && phase < ratio(49, 50) {
            assert_eq!(film.frame(index), still(truth.count), "frame {index}");
            seen += 1;
        }
    }
    assert!(seen > 20);
}

#[test]
fn an_exposure_across_a_change_blends_by_time() {
    // The change to 1000 comes a quarter into the exposure of frame 0:
    // a quarter shows 999, three quarters 1000.
    let exposure_s = ratio(1, 50);
    let phi = Ratio::from_integer(1000) + ratio(25, 1) * ratio(1, 200);
    let camera = Camera {
        exposure_s,
        ..camera25()
    };
    let mut film = measured(Clock::running(frames25(), phi), Drive::Direct, camera)
        .film()
        .unwrap();
    let (old, new, blend) = (still(999), still(1000), film.frame(0));
    let code = |share: f32| 255.0 * crate::rehearse::canvas::linear_to_srgb(share);
    let (mut gone, mut come) = (0, 0);
    for ((o, n), b) in old.pixels().zip(new.pixels()).zip(blend.pixels()) {
        let (o, n, b) = (o.0[0], n.0[0], f32::from(b.0[0]));
        // Fully white in one picture: code 246, past the sensor's shoulder.
        if o > 245 && n == 0 {
            assert!((b - code(0.25)).abs() < 4.0, "{b} {}", code(0.25));
            gone += 1;
        } else if n > 245 && o == 0 {
            assert!((b - code(0.75)).abs() < 4.0, "{b} {}", code(0.75));
            come += 1;
        }
    }
    assert!(gone > 50 && come > 50, "{gone} {come}");
}

#[test]
fn scan_out_shows_new_digits_above_old_ones() {
    // The screen is 150 px high; the digits stand in its middle. Frame 0 is
    // taken when half of the lines are written.
    let drive = Drive::Panel {
        refresh_hz: Ratio::from_integer(50),
        phase: ratio(1, 2),
        scan: Ratio::ONE,
        from: Edge::Top,
    };
    // Count 1000 is reached just before the refresh that begins at -10 ms.
    let phi = Ratio::from_integer(1000) + ratio(25, 1) * ratio(101, 10_000);
    let clock = Clock::running(frames25(), phi);
    let mut film = measured(clock, drive, camera25()).film().unwrap();
    let (old, new, torn) = (still(999), still(1000), film.frame(0));
    assert_eq!(rows(&torn, 0.0..0.45), rows(&new, 0.0..0.45));
    assert_eq!(rows(&torn, 0.55..1.0), rows(&old, 0.55..1.0));
    assert_ne!(rows(&torn, 0.0..0.45), rows(&old, 0.0..0.45));
    assert_ne!(rows(&torn, 0.55..1.0), rows(&new, 0.55..1.0));
}

#[test]
fn a_rolling_shutter_shows_old_digits_above_new_ones() {
    let phi = Ratio::from_integer(1000);
    let camera = Camera {
        readout_s: ratio(1, 50),
        exposure_s: ratio(1, 100_000),
        ..camera25()
    };
    let mut film = measured(Clock::running(frames25(), phi), Drive::Direct, camera)
        .film()
        .unwrap();
    let (old, new, rolled) = (still(999), still(1000), film.frame(0));
    assert_eq!(rows(&rolled, 0.0..0.48), rows(&old, 0.0..0.48));
    assert_eq!(rows(&rolled, 0.52..1.0), rows(&new, 0.52..1.0));
}

#[test]
fn quads_lie_around_the_digits() {
    for (roll, yaw, pitch) in [
        (0.0, 0.0, 0.0),
        (90.0, 0.0, 0.0),
        (180.0, 0.0, 0.0),
        (270.0, 20.0, 0.0),
        (0.0, 35.0, 0.0),
        (180.0, -30.0, 20.0),
    ] {
        // 08:00:00:00: its outer digits reach all four corners.
        let clock = Clock {
            form: frames25(),
            phi: Ratio::from_integer(8 * 3600 * 25),
            is_running: false,
        };
        let mut shoot = measured(clock, Drive::Direct, camera25());
        let pose = &mut shoot.staged.as_mut().unwrap().pose;
        pose.digit_px = 30.0;
        pose.roll_degrees = roll;
        pose.yaw_degrees = yaw;
        pose.pitch_degrees = pitch;
        let mut film = shoot.film().unwrap();
        let truth = film.truth(0);
        assert!(truth.is_fully_visible);
        let (ink, outline) = (bright_box(&film.frame(0)), quad_box(&truth.quads[0]));
        for (a, b) in ink.into_iter().zip(outline) {
            assert!(
                (a - b).abs() < 2.5,
                "{roll} {yaw} {pitch}: {ink:?} {outline:?}"
            );
        }
        // Reading order: the text runs from the left corners to the right ones.
        let q = truth.quads[0];
        let runs = (q.top_right.y - q.top_left.y).atan2(q.top_right.x - q.top_left.x);
        let turn = (f64::from(runs).to_degrees() - roll).rem_euclid(360.0);
        assert!(!(15.0..=345.0).contains(&turn), "{turn}");
    }
}

#[test]
fn quads_follow_hands_and_rolling_shutter() {
    let clock = Clock {
        form: frames25(),
        phi: Ratio::from_integer(8 * 3600 * 25),
        is_running: false,
    };
    let camera = Camera {
        readout_s: ratio(1, 40),
        hand: Steadiness {
            sway: 0.02,
            tremor: 0.0,
            roll_degrees: 0.0,
            zoom: 0.0,
        },
        ..camera25()
    };
    let mut shoot = measured(clock, Drive::Direct, camera);
    let staged = shoot.staged.as_mut().unwrap();
    staged.holder = camera.hand;
    staged.pose.digit_px = 30.0;
    let mut film = shoot.film().unwrap();
    let mut places = Vec::new();
    for index in (0..50).step_by(7) {
        let outline = quad_box(&film.truth(index).quads[0]);
        let ink = bright_box(&film.frame(index));
        for (a, b) in ink.into_iter().zip(outline) {
            assert!((a - b).abs() < 3.0, "{index}: {ink:?} {outline:?}");
        }
        places.push(outline[0]);
    }
    let spread = places
        .iter()
        .fold(0.0f32, |m, x| m.max((x - places[0]).abs()));
    assert!(spread > 4.0, "the hands stood still: {places:?}");
}

#[test]
fn the_same_shoot_gives_the_same_pictures() {
    let shoot = Shoot::ordinary(11, frames25(), Rate::F25).resized(WIDTH, HEIGHT);
    let mut a = shoot.film().unwrap();
    let mut b = shoot.film().unwrap();
    // Order does not matter.
    let late = a.frame(40);
    assert_eq!(a.frame(7), b.frame(7));
    assert_eq!(late, b.frame(40));
    let other = Shoot::ordinary(12, frames25(), Rate::F25).resized(WIDTH, HEIGHT);
    assert_ne!(other.film().unwrap().frame(7), a.frame(7));
}

#[test]
fn ordinary_clips_keep_the_observation_model() {
    for (seed, form, rate) in [
        (1, frames25(), Rate::F24),
        (2, ClockForm::frames(Rate::F29_97, true).unwrap(), Rate::F25),
        (
            3,
            ClockForm::frames(Rate::F59_94, false).unwrap(),
            Rate::F29_97,
        ),
        (4, ClockForm::Hundredths, Rate::F50),
        (5, ClockForm::Seconds, Rate::F23_976),
    ] {
        let shoot = Shoot::ordinary(seed, form, rate).resized(WIDTH, HEIGHT);
        let phi = shoot.phi().unwrap();
        let display = &shoot.staged.as_ref().unwrap().display;
        let r = form.rate().ratio();
        // One refresh to wait, its lines to be written, and the row's own time.
        let late_s = display.refresh_s() + display.scan_delay_s(Ratio::ONE);
        let aside = r * shoot.camera.readout_s / Ratio::from_integer(2);
        let film = shoot.film().unwrap();
        let mut visible = 0;
        for index in 0..shoot.frames {
            let truth = film.truth(index);
            let exact = phi + r * truth.stamp.seconds();
            assert_eq!(i128::from(truth.count), exact.floor());
            if let Some(shown) = truth.shown {
                let shown = Ratio::from_integer(shown);
                assert!(shown <= exact + aside);
                assert!(exact - aside < shown + Ratio::ONE + r * late_s);
            }
            if truth.is_fully_visible {
                visible += 1;
                assert!(!truth.quads.is_empty());
            }
        }
        let visible_s = f64::from(visible) / rate.ratio().to_f64();
        assert!((1.2..3.8).contains(&visible_s), "{seed}: {visible_s} s");
    }
}

#[test]
fn without_a_display_nothing_is_claimed() {
    let mut shoot = Shoot::ordinary(4, frames25(), Rate::F25).resized(WIDTH, HEIGHT);
    shoot.staged = None;
    let mut film = shoot.film().unwrap();
    let truth = film.truth(3);
    assert!(truth.quads.is_empty() && truth.shown.is_none() && !truth.is_fully_visible);
    assert_eq!(film.next().unwrap().0.ticks, 0);
    assert_eq!(film.next().unwrap().0.seconds(), ratio(1, 25));
    assert_eq!(shoot.phi(), None);
}

#[test]
fn films_end_after_their_frames() {
    let mut shoot = Shoot::ordinary(4, frames25(), Rate::F25).resized(64, 36);
    shoot.frames = 3;
    assert_eq!(shoot.film().unwrap().count(), 3);
}

#[test]
fn extreme_poses_do_not_panic() {
    for body in [Body::PhoneUpright, Body::Window] {
        for (digit_px, yaw, pitch, x) in [
            (1.0, 0.0, 0.0, 0.5),
            (2000.0, 0.0, 0.0, 0.5),
            (600.0, 85.0, 0.0, 0.5),
            (300.0, 0.0, -88.0, 0.5),
            (100.0, 90.0, 0.0, 0.5),
            (40.0, 0.0, 0.0, 30.0),
            (900.0, -70.0, 70.0, -0.4),
        ] {
            let clock = Clock::running(frames25(), Ratio::from_integer(-3));
            let mut shoot = measured(clock, Drive::Direct, camera25()).resized(160, 90);
            let staged = shoot.staged.as_mut().unwrap();
            staged.display.look.body = body;
            staged.pose = Pose {
                x,
                roll_degrees: 33.0,
                yaw_degrees: yaw,
                pitch_degrees: pitch,
                ..Pose::upright(digit_px)
            };
            let mut film = shoot.film().unwrap();
            let truth = film.truth(0);
            assert_eq!(film.frame(0).dimensions(), (160, 90));
            assert!(x < 2.0 || truth.quads.is_empty());
        }
    }
}
