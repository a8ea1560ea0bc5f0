//! What spoils pictures, measured in the pictures.

use super::tests::{HEIGHT, WIDTH, bright_box, camera25, frames25, measured, quad_box, ratio};
use super::*;
use crate::rehearse::camera::{Camera, Hunt};
use crate::rehearse::canvas::{linear_to_srgb, srgb_to_linear};
use crate::rehearse::display::{Clock, Drive, Edge};
use crate::rehearse::flicker::{Flicker, Wave};
use crate::rehearse::glass::Glass;
use crate::rehearse::motion::Steadiness;
use crate::rehearse::scene::{Ambient, Scene};
use crate::rehearse::shoot::Staged;
use crate::timecode::Rate;
use approx::assert_relative_eq;

/// 08:08:08:08 and standing.
fn eights() -> Clock {
    Clock {
        form: frames25(),
        phi: Ratio::from_integer((8 * 3600 + 8 * 60 + 8) * 25 + 8),
        is_running: false,
    }
}

/// The one frame of a standing clock, with changes to the shoot.
fn filmed(change: impl FnOnce(&mut Shoot)) -> RgbImage {
    let mut shoot = measured(eights(), Drive::Direct, camera25());
    change(&mut shoot);
    shoot.film().unwrap().frame(0)
}

fn staged(shoot: &mut Shoot) -> &mut Staged {
    shoot.staged.as_mut().unwrap()
}

/// Linear light of a colour at each pixel. The sensor's shoulder begins at 0.8, so
/// pictures that are measured stay below.
fn light(picture: &RgbImage, colour: usize) -> Vec<f64> {
    picture
        .pixels()
        .map(|p| f64::from(srgb_to_linear(f32::from(p.0[colour]) / 255.0)))
        .collect()
}

/// 01:11:11:11 and standing: its last digit is an upright bar with room around it.
fn ones() -> Clock {
    Clock {
        phi: Ratio::from_integer((3600 + 11 * 60 + 11) * 25 + 11),
        ..eights()
    }
}

/// Variance across of the light of the last bar of [`ones`], pixels squared.
fn bar_variance(film: &mut Film, index: u64) -> f64 {
    let quad = film.truth(index).quads[0];
    let picture = film.frame(index);
    let bar_x = (quad.top_right.x + quad.bottom_right.x) / 2.0 - 3.0;
    let lights = light(&picture, 1);
    let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
    for y in 0..HEIGHT as usize {
        for x in (bar_x - 17.0) as usize..(bar_x + 17.0) as usize {
            let l = lights[y * WIDTH as usize + x];
            sum += l;
            first += l * x as f64;
            second += l * (x * x) as f64;
        }
    }
    second / sum - (first / sum).powi(2)
}

fn half_bright(shoot: &mut Shoot) {
    staged(shoot).display.look.brightness = 0.7;
}

/// Light that is spread evenly along a way of length w gains a variance of w^2 / 12.
#[test]
fn motion_blur_is_as_long_as_the_way() {
    let hand = Steadiness {
        tremor: 0.02,
        ..Steadiness::TRIPOD
    };
    let film = |exposure_s: Ratio| {
        let camera = Camera {
            exposure_s,
            hand,
            ..camera25()
        };
        let mut shoot = measured(ones(), Drive::Direct, camera);
        half_bright(&mut shoot);
        shoot.film().unwrap()
    };
    let (mut sharp, mut smeared) = (film(ratio(1, 100_000)), film(ratio(1, 50)));
    let mut longest = 0.0f64;
    for index in [3, 8, 13, 21, 34] {
        let at = |share: f64| {
            let stage = smeared.stage.as_ref().unwrap();
            let time_s = index as f64 / 25.0 + share / 50.0;
            let (x, y) = stage.plate.middle;
            let place = smeared.to_picture(stage, time_s).unwrap();
            f64::from(place.apply(f64::from(x), f64::from(y)).unwrap().x)
        };
        // Nearly straight within a fiftieth of a second; the mean square of the way counts.
        let places: Vec<f64> = (0..200)
            .map(|i| at((f64::from(i) + 0.5) / 200.0 - 0.5))
            .collect();
        let mean = places.iter().sum::<f64>() / 200.0;
        let way = places.iter().map(|p| (p - mean).powi(2)).sum::<f64>() / 200.0;
        let gained = bar_variance(&mut smeared, index) - bar_variance(&mut sharp, index);
        assert!(
            (gained - way).abs() < 0.1 * way + 0.4,
            "{index}: {gained} {way}"
        );
        longest = longest.max((12.0 * way).sqrt());
    }
    assert!(longest > 6.0, "the hand stood still: {longest} pixels");
}

/// A Gaussian of standard deviation s adds s^2.
#[test]
fn a_hunting_focus_spreads_light_by_its_blur() {
    let camera = Camera {
        hunt: Hunt {
            swing_px: 3.0,
            hz: 0.5,
            turn: 0.0,
        },
        ..camera25()
    };
    let mut shoot = measured(ones(), Drive::Direct, camera);
    half_bright(&mut shoot);
    let mut film = shoot.film().unwrap();
    // Half a swing takes 25 frames: sharp at frames 0 and 25.
    let sharp = bar_variance(&mut film, 0);
    for index in [4, 8, 12, 17, 25] {
        let gained = bar_variance(&mut film, index) - sharp;
        let blur = f64::from(camera.focus_px(index));
        // The focus moves in steps of a quarter of a pixel.
        assert!(
            (gained - blur * blur).abs() < 1.0,
            "{index}: {gained} {blur}"
        );
    }
}

#[test]
fn scan_across_shows_new_digits_beside_old_ones() {
    // As from the top in the test of the vertical scan, but from the left.
    let drive = Drive::Panel {
        refresh_hz: Ratio::from_integer(50),
        phase: ratio(1, 2),
        scan: Ratio::ONE,
        from: Edge::Left,
    };
    // From 09:59:59:24 to 10:00:00:00 every digit changes.
    let change = 10 * 3600 * 25;
    let phi = Ratio::from_integer(change) + ratio(25, 1) * ratio(101, 10_000);
    let torn = measured(Clock::running(frames25(), phi), drive, camera25())
        .film()
        .unwrap()
        .frame(0);
    let still = |count: i128| {
        let clock = Clock {
            phi: Ratio::from_integer(count),
            ..eights()
        };
        measured(clock, Drive::Direct, camera25())
            .film()
            .unwrap()
            .frame(0)
    };
    let (old, new) = (still(change - 1), still(change));
    let apart = |a: &RgbImage, b: &RgbImage, columns: std::ops::Range<u32>| {
        let mut count = 0;
        for y in 0..HEIGHT {
            for x in columns.clone() {
                let (a, b) = (a.get_pixel(x, y).0[0], b.get_pixel(x, y).0[0]);
                count += u32::from(a.abs_diff(b) > 3);
            }
        }
        count
    };
    let (left, right) = (0..WIDTH * 47 / 100, WIDTH * 53 / 100..WIDTH);
    assert_eq!(apart(&torn, &new, left.clone()), 0);
    assert_eq!(apart(&torn, &old, right.clone()), 0);
    assert!(apart(&torn, &old, left) > 200 && apart(&torn, &new, right) > 200);
}

/// 1 + d sin(2 pi f t), averaged over the exposure, row by row.
#[test]
fn mains_light_makes_bands_where_rows_are_read_one_by_one() {
    let camera = Camera {
        readout_s: ratio(1, 40),
        exposure_s: ratio(1, 500),
        ..camera25()
    };
    let flicker = Flicker {
        hz: Ratio::from_integer(120),
        turn: ratio(1, 8),
        wave: Wave::Sine { depth: 0.6 },
    };
    let grey = 130;
    let mut shoot = measured(eights(), Drive::Direct, camera);
    shoot.staged = None;
    shoot.scene = Scene::Plain([grey; 3]);
    shoot.ambient.flicker = Some(flicker);
    let picture = shoot.film().unwrap().frame(7);
    let mean = f64::from(srgb_to_linear(f32::from(grey) / 255.0));
    let rows = light(&picture, 1);
    let (mut crests, mut rising) = (0, true);
    let mut before = 0.0;
    for y in 0..HEIGHT {
        let at_s = (camera.middle_s(7) + camera.row_delay_s(y)).to_f64();
        let expected = mean * flicker.mean(at_s - 0.001, at_s + 0.001, 0.0);
        let row = rows[(y * WIDTH + 100) as usize];
        assert!(
            (row - expected).abs() < 0.02 * mean,
            "row {y}: {row} {expected}"
        );
        if rising && row < before - 1e-3 {
            crests += 1;
            rising = false;
        } else if row > before + 1e-3 {
            rising = true;
        }
        before = row;
    }
    // A fortieth of a second holds three periods of 120 Hz.
    assert_eq!(crests, 3);
}

#[test]
fn lamps_do_not_flicker_on_what_shines_and_do_on_what_does_not() {
    let dark = Ambient {
        level: 0.25,
        flicker: None,
    };
    let lit_of = |body| {
        let look_at = |ambient: Ambient| {
            filmed(|shoot| {
                half_bright(shoot);
                shoot.ambient = ambient;
                staged(shoot).display.look.body = body;
            })
        };
        let day = light(&look_at(Ambient::DAY), 1)
            .into_iter()
            .fold(0.0, f64::max);
        let night = light(&look_at(dark), 1).into_iter().fold(0.0, f64::max);
        night / day
    };
    assert_relative_eq!(lit_of(crate::rehearse::Body::LedBox), 1.0, epsilon = 0.01);
    assert_relative_eq!(lit_of(crate::rehearse::Body::Lcd), 0.25, epsilon = 0.01);
}

#[test]
fn multiplexed_digits_are_seen_in_turn() {
    let drive = Drive::Multiplexed {
        rounds_hz: Ratio::from_integer(100),
        turn: ratio(5, 16),
        digits: 8,
    };
    let film = |exposure_s: Ratio, drive: Drive| {
        let camera = Camera {
            exposure_s,
            ..camera25()
        };
        let mut shoot = measured(eights(), drive, camera);
        // Eight digits share the light: each is eight times as bright in its turn.
        staged(&mut shoot).display.look.brightness = 0.09;
        shoot.film().unwrap()
    };
    let mut short = film(ratio(1, 1000), drive);
    let quad = short.truth(0).quads[0];
    let picture = short.frame(0);
    let lights = light(&picture, 1);
    // Cells of 0.76 digit heights of 50 pixels, and marks of 0.344 after each second one.
    let of_digit = |k: usize| {
        let left = quad.top_left.x + (k as f32 * 0.76 + (k / 2) as f32 * 0.344) * 50.0;
        let mut sum = 0.0;
        for y in quad.top_left.y as usize..quad.bottom_left.y as usize {
            for x in left as usize..(left + 0.56 * 50.0) as usize {
                sum += lights[y * WIDTH as usize + x];
            }
        }
        sum
    };
    let sums: Vec<f64> = (0..8).map(of_digit).collect();
    // Time 0 is in the middle of the third digit's turn.
    for (k, sum) in sums.iter().enumerate() {
        if k == 2 {
            assert!(*sum > 100.0, "{sums:?}");
        } else {
            assert!(*sum < 1.0, "{k}: {sums:?}");
        }
    }
    // A whole round gives all of them the light that they have without turns.
    let (round, steady) = (
        film(ratio(1, 100), drive).frame(0),
        film(ratio(1, 100), Drive::Direct).frame(0),
    );
    for (a, b) in round.pixels().zip(steady.pixels()) {
        assert!(a.0[1].abs_diff(b.0[1]) <= 2, "{a:?} {b:?}");
    }
}

/// 0.7 panel pixels to a pixel of the sensor are too fine for it, and come back as waves of
/// 1 - 0.7 = 0.3 periods a pixel.
#[test]
fn panel_pixels_beat_with_the_sensor() {
    let strength = |pixels_per_digit: f32, periods_per_px: f64| {
        let picture = filmed(|shoot| {
            half_bright(shoot);
            let look = &mut staged(shoot).display.look;
            look.ground = [255; 3];
            look.pixels_per_digit = pixels_per_digit;
        });
        let lights = light(&picture, 1);
        let row = (HEIGHT / 2 - 50) as usize * WIDTH as usize;
        let (from, to) = (100usize, 380usize);
        let (mut re, mut im) = (0.0, 0.0);
        for (x, l) in lights[row + from..row + to].iter().enumerate() {
            let angle = std::f64::consts::TAU * periods_per_px * x as f64;
            re += l * angle.cos();
            im += l * angle.sin();
        }
        re.hypot(im) / (to - from) as f64
    };
    let pixels = 0.7 * 50.0;
    let beat = strength(pixels, 0.3);
    // Half the amplitude: 0.7 of light, 1.75 for stripes of 0.28, exp(-2 pi^2 (0.45 x 0.7)^2)
    // for the lens, and sin(0.7 pi) / (0.7 pi) for the area of a sensor pixel: 0.032. Two
    // samples a pixel stand for its area, which are good for a half more.
    assert!((0.025..0.048).contains(&beat), "{beat}");
    for other in [0.05, 0.10, 0.15, 0.2, 0.4] {
        assert!(beat > 5.0 * strength(pixels, other), "{other}");
    }
    assert!(beat > 20.0 * strength(0.0, 0.3));
}

#[test]
fn a_mirror_turns_the_picture_around() {
    // 12:34:56:07, of which little looks the same in a mirror.
    let filmed = |is_mirrored| {
        filmed(|shoot| {
            staged(shoot).clock.phi = Ratio::from_integer((12 * 3600 + 34 * 60 + 56) * 25 + 7);
            staged(shoot).pose.is_mirrored = is_mirrored;
        })
    };
    let (plain, mirrored) = (filmed(false), filmed(true));
    let flipped = image::imageops::flip_horizontal(&plain);
    let apart = |a: &RgbImage, b: &RgbImage| {
        let sum: u64 = a
            .pixels()
            .zip(b.pixels())
            .map(|(a, b)| u64::from(a.0[1].abs_diff(b.0[1])))
            .sum();
        sum as f64 / f64::from(WIDTH * HEIGHT)
    };
    assert!(
        apart(&mirrored, &flipped) < 0.3,
        "{}",
        apart(&mirrored, &flipped)
    );
    assert!(apart(&mirrored, &plain) > 3.0);
    let mut shoot = measured(eights(), Drive::Direct, camera25());
    staged(&mut shoot).pose.is_mirrored = true;
    let quad = shoot.film().unwrap().truth(0).quads[0];
    assert!(quad.top_left.x > quad.top_right.x && quad.top_left.y < quad.bottom_left.y);
}

#[test]
fn quads_lie_around_digits_behind_a_bulge() {
    let mut shoot = measured(eights(), Drive::Direct, camera25());
    staged(&mut shoot).pose.digit_px = 30.0;
    staged(&mut shoot).glass = Glass {
        bulge: 0.3,
        ..Glass::NONE
    };
    let mut film = shoot.film().unwrap();
    let outline = quad_box(&film.truth(0).quads[0]);
    let bulged = bright_box(&film.frame(0));
    staged(&mut shoot).glass = Glass::NONE;
    let flat = bright_box(&shoot.film().unwrap().frame(0));
    for side in [0, 2] {
        assert!(
            (bulged[side] - outline[side]).abs() < 3.0,
            "{bulged:?} {outline:?}"
        );
    }
    assert!(
        bulged[2] - bulged[0] > flat[2] - flat[0] + 4.0,
        "{bulged:?} {flat:?}"
    );
}

/// ITU-R BT.709: red carries 21.26 % of the luma, blue 7.22 %.
#[test]
fn coloured_digits_lose_luma() {
    for (lit, share) in [([255, 0, 0], 0.2126), ([0, 0, 255], 0.0722)] {
        let picture = filmed(|shoot| {
            half_bright(shoot);
            staged(shoot).display.look.lit = lit;
        });
        let brightest = image::DynamicImage::from(picture)
            .to_luma8()
            .pixels()
            .map(|p| p.0[0])
            .max()
            .unwrap();
        let expected = share * 255.0 * f64::from(linear_to_srgb(0.7));
        assert!(
            (f64::from(brightest) - expected).abs() < 3.0,
            "{brightest} {expected}"
        );
    }
}

#[test]
fn ghosts_have_their_share_of_the_light() {
    let ghost = 0.2;
    let mut shoot = measured(ones(), Drive::Direct, camera25());
    half_bright(&mut shoot);
    staged(&mut shoot).display.look.ghost = ghost;
    let lights = light(&shoot.film().unwrap().frame(0), 1);
    let near = |l: f64| lights.iter().filter(|v| (**v - l).abs() < 0.01).count();
    // A dark segment is about 100 pixels; there are 25 of the 48 of seven digits and more.
    assert!(near(0.7 * f64::from(ghost)) > 1000, "{}", near(0.14));
    let (lit, between) = (near(0.7), near(0.42));
    assert!(lit > 500 && between < lit / 4, "{lit} {between}");
}

#[test]
fn too_much_light_clips_and_glows() {
    let digits = |brightness: f32, bloom: f32| {
        let picture = filmed(|shoot| {
            shoot.camera.bloom = bloom;
            staged(shoot).display.look.brightness = brightness;
        });
        let count = |f: &dyn Fn(u8) -> bool| picture.pixels().filter(|p| f(p.0[1])).count();
        (
            count(&|c| c == 255),
            count(&|c| (20..235).contains(&c)),
            count(&|c| c < 4),
        )
    };
    let (clipped, _, dark) = digits(0.7, 0.0);
    assert_eq!(clipped, 0);
    let (burnt, halo, left_dark) = digits(8.0, 0.1);
    assert!(burnt > 3000, "{burnt}");
    assert!(halo > 20_000, "{halo}");
    assert!(left_dark < dark / 2, "{left_dark} {dark}");
}

#[test]
fn night_scales_the_light_of_the_scene() {
    for level in [1.0, 0.1, 0.02] {
        let mut shoot = measured(eights(), Drive::Direct, camera25());
        shoot.staged = None;
        shoot.scene = Scene::Plain([200; 3]);
        shoot.ambient.level = level;
        let seen = light(&shoot.film().unwrap().frame(0), 1)[0];
        let day = f64::from(srgb_to_linear(200.0 / 255.0));
        assert!(
            (seen - day * f64::from(level)).abs() < 0.004,
            "{level}: {seen}"
        );
    }
}

/// A protector scatters the panel's light and does not take it.
#[test]
fn haze_spreads_light_around_digits() {
    let glass = Glass {
        haze: 0.5,
        haze_reach: 0.12,
        ..Glass::NONE
    };
    let clear = filmed(half_bright);
    let hazy = filmed(|shoot| {
        half_bright(shoot);
        staged(shoot).glass = glass;
    });
    let (clear, hazy) = (light(&clear, 1), light(&hazy, 1));
    let (a, b) = (clear.iter().sum::<f64>(), hazy.iter().sum::<f64>());
    assert_relative_eq!(a, b, max_relative = 0.02);
    let peak = |l: &[f64]| l.iter().copied().fold(0.0, f64::max);
    assert!(peak(&hazy) < 0.8 * peak(&clear));
    let faint = |l: &[f64]| l.iter().filter(|v| **v > 0.01 && **v < 0.2).count();
    assert!(faint(&hazy) > 3 * faint(&clear));
}

#[test]
fn few_bits_give_small_files_and_worse_pictures() {
    let dir = tempfile::tempdir().unwrap();
    let mut shoot = Shoot::ordinary(3, frames25(), Rate::F25).resized(WIDTH, HEIGHT - 2);
    shoot.frames = 50;
    let record = |quality, name: &str| {
        let mut shoot = shoot.clone();
        shoot.quality = quality;
        let path = dir.path().join(name);
        let options = shoot.record_options(crate::media::RecordCodec::H264);
        shoot.record(&path, options).unwrap();
        let mut clip = crate::media::open(&path).unwrap();
        let mut apart = 0.0;
        use crate::frame::{Footage, Light};
        for (_, drawn) in shoot.film().unwrap().take(25) {
            clip.advance().unwrap().unwrap();
            let seen = clip.picture(Light::Luma).unwrap().grey;
            let drawn = image::DynamicImage::from(drawn).to_luma8();
            apart += seen
                .pixels()
                .zip(drawn.pixels())
                .map(|(a, b)| (f64::from(a.0[0]) - f64::from(b.0[0])).powi(2))
                .sum::<f64>();
        }
        (std::fs::metadata(path).unwrap().len(), apart)
    };
    use crate::media::Quality;
    let (size, apart) = record(Quality::BitRate(150_000), "low.mp4");
    let (good_size, good_apart) = record(Quality::Constant(20), "good.mp4");
    // Two seconds of 150 kbit/s; coders need a while to settle.
    let asked = 2.0 * 150_000.0 / 8.0;
    assert!(
        (0.5..2.0).contains(&(size as f64 / asked)),
        "{size} {asked}"
    );
    assert!(
        good_size > 2 * size && apart > 1.3 * good_apart,
        "{apart} {good_apart}"
    );
}

#[test]
fn fingers_leave_less_of_digits_at_an_edge_and_of_no_others() {
    let apart = |fingers: usize, seed: u64| -> Vec<f32> {
        let mut shoot = measured(eights(), Drive::Direct, camera25());
        shoot.seed = seed;
        staged(&mut shoot).glass = Glass {
            fingers,
            finger_reach: 0.9,
            ..Glass::NONE
        };
        let seen = shoot.film().unwrap().digits_seen(0);
        seen.iter().map(|digit| digit.apart).collect()
    };
    let free = apart(0, 1);
    assert_eq!(free.len(), 8);
    assert!(free.iter().all(|apart| *apart > 0.1), "{free:?}");
    let mut touching = 0;
    for seed in 0..8 {
        let left = apart(1, seed);
        assert!(
            free.iter().zip(&left).all(|(a, b)| b <= a),
            "{seed}: {left:?}"
        );
        let is_touched: Vec<bool> = free.iter().zip(&left).map(|(a, b)| a - b > 0.01).collect();
        // A finger may hide a part only that sets the digit apart from none that is like it.
        let Some(first) = is_touched.iter().position(|touched| *touched) else {
            continue;
        };
        touching += 1;
        // From the left a part of the first digit; from below a few side by side.
        let last = is_touched.iter().rposition(|touched| *touched).unwrap();
        assert!(last - first < 3, "{seed}: {left:?}");
    }
    assert!(touching >= 4, "{touching} of 8 fingers");
}

/// An exposure of half a count that begins an eighth of a count before the change: worked by hand,
/// a quarter of it shows the count before. Digits that both have stand all the time.
#[test]
fn a_digit_that_changes_is_seen_as_either_for_its_share_of_the_exposure() {
    let count = (3600 + 11 * 60 + 11) * 25 + 20;
    let clock = Clock::running(frames25(), Ratio::from_integer(count) + ratio(1, 8));
    let mut shoot = measured(clock, Drive::Direct, camera25());
    shoot.camera.exposure_s = ratio(1, 50);
    shoot.camera.readout_s = Ratio::ZERO;
    let seen = shoot.film().unwrap().digits_seen(0);
    assert_eq!(seen.len(), 8);
    for digit in seen {
        let shares: Vec<(i64, f32)> = digit.counts.into_iter().collect();
        let [(before, early), (after, late)] = shares[..] else {
            panic!("{shares:?}");
        };
        assert_eq!((i128::from(before), i128::from(after)), (count - 1, count));
        assert_relative_eq!(early, 0.25, epsilon = 1e-3);
        assert_relative_eq!(late, 0.75, epsilon = 1e-3);
    }
}
