//! Laws that any fit must obey, and a second, slow and plain fit that must agree.

use super::cases::{RATES, run};
use super::sim::{Filmed, Scene, facts, frames};
use crate::fit::{Known, RateKnownBy, fit};
use crate::outcome::Verdict;
use crate::reading::DigitOdds;
use crate::timecode::{ClockForm, HalfOpen, Rate, Ratio};
use proptest::prelude::*;

prop_compose! {
    fn scenes()(
        clock in 0..8usize,
        camera in 0..8usize,
        day in 0.01..0.98f64,
        n in 40..90u64,
        panel in prop::option::of(0.0..1.0f64),
        seed in 0..1000u64,
    ) -> Scene {
        let form = frames(RATES[clock]);
        let mut scene = Scene::new(form, "00:00:00:00", RATES[camera]);
        scene.phi = form.counts_per_day() as f64 * day;
        scene.frames = (0..n).collect();
        scene.refresh = panel.map(|phase| (60.0, phase));
        scene.seed = seed;
        scene
    }
}

/// Where the rate is open, others widen or move the bounds, each in its own way.
fn counts(scene: &Scene, filmed: &Filmed) -> HalfOpen {
    let known = Known {
        rate: Some(scene.form.rate()),
        speed: Some(Ratio::ONE),
        drop_frame: Some(false),
        lag_s: None,
    };
    let fit = fit(
        std::slice::from_ref(&filmed.sighting),
        &filmed.facts,
        &known,
    );
    fit.start.expect("a start").counts
}

/// The digits of `filmed` as of another label, `by` counts later, in the same light.
fn shifted(scene: &Scene, by: i64) -> Filmed {
    let mut scene = scene.clone();
    scene.phi += by as f64;
    scene.film()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 60,
        max_global_rejects: 30,
        ..ProptestConfig::default()
    })]

    #[test]
    fn the_order_of_readings_does_not_matter(scene in scenes()) {
        let filmed = scene.film();
        let mut reversed = filmed.sighting.clone();
        reversed.readings.reverse();
        let one = run(&filmed);
        let mut other = fit(&[reversed], &filmed.facts, &Known::default());
        other.sightings[0].displayed.reverse();
        prop_assert_eq!(one, other);
    }

    #[test]
    fn a_later_clock_starts_later_by_as_much(scene in scenes(), by in 1..40i64) {
        // The reader's noise falls on other digits, so that the bounds may differ a little; by a count
        // on a panel that becomes late within the first few frames, which decide then.
        let most = if scene.refresh.is_some() { 1.1 } else { 0.6 };
        let (one, other) = (counts(&scene, &scene.film()), counts(&scene, &shifted(&scene, by)));
        let moved = (other.middle() - one.middle()).to_f64();
        prop_assert!((moved - by as f64).abs() < most, "{} by {}", moved, by);
    }

    #[test]
    fn a_clip_cut_later_starts_later_by_as_much(scene in scenes(), cut in 1..20u64) {
        // The same readings with `cut` frames less in front of them.
        let mut late = scene.clone();
        late.frames = scene.frames.iter().map(|n| n + cut).collect();
        let filmed = late.film();
        let mut trimmed = filmed.sighting.clone();
        for reading in &mut trimmed.readings {
            let frame = scene.camera.ratio().recip() / reading.stamp.tick_seconds;
            reading.stamp.ticks -= i64::try_from((frame * Ratio::from_integer(cut)).num()).unwrap();
        }
        // Where the rate is open, others widen the bounds, each in its own way.
        let known = Known {
            rate: Some(scene.form.rate()),
            speed: Some(Ratio::ONE),
            drop_frame: Some(false),
            lag_s: None,
        };
        let one = fit(std::slice::from_ref(&filmed.sighting), &filmed.facts, &known);
        let other = fit(&[trimmed], &filmed.facts, &known);
        // Once in a while another speed explains the noise better by far.
        prop_assume!([&one, &other].iter().all(|fit| fit.speed() == Ratio::ONE));
        let per_frame = scene.form.rate().ratio() / scene.camera.ratio();
        let moved = other.start.unwrap().counts.middle() - one.start.unwrap().counts.middle();
        let off = (moved - per_frame * Ratio::from_integer(cut)).to_f64();
        prop_assert!(off.abs() < 1e-9, "{}", off);
    }

    #[test]
    fn what_is_sure_is_right(scene in scenes()) {
        let filmed = scene.film();
        let fit = run(&filmed);
        // Short looks at near rates may stay in doubt; too many of them fail the test.
        prop_assume!(fit.verdict == Verdict::Sure);
        let start = fit.start.unwrap();
        let off = start.counts.middle().to_f64() - scene.phi;
        let counts_per_frame = scene.form.rate().ratio().to_f64() / scene.camera.ratio().to_f64();
        let refresh = scene.form.rate().ratio().to_f64() / 60.0;
        // Drop-frame and its absence differ in counts, not in labels; so do 30 and 29.97.
        let allowed = counts_per_frame.max(1.0) + refresh;
        let clock = fit.clock.unwrap();
        if clock.form == scene.form {
            prop_assert!(off.abs() <= allowed, "{} {:?}", off, scene);
        } else if clock.rate_known_by == RateKnownBy::Measured {
            prop_assert!(false, "another rate was measured: {:?} {:?}", clock, scene);
        }
    }
}

/// Every rate, every phase within some counts, on a fine grid: the sum of
/// logarithms, plainly. Gives the phases, in counts at frame 0, within 7 nats
/// of the best one, and the rate at which the best one lies.
fn brute_force(filmed: &Filmed, around: i64) -> (Rate, f64, f64) {
    const STEPS: i64 = 240;
    let mut found: Vec<(f64, Rate, f64)> = Vec::new();
    for rate in RATES {
        let form = frames(rate);
        let counts_per_second = rate.ratio().to_f64();
        for step in (around - 8) * STEPS..(around + 8) * STEPS {
            let phase = (step as f64 + 0.5) / STEPS as f64;
            let mut sum = 0.0;
            for reading in &filmed.sighting.readings {
                let count = phase + counts_per_second * reading.stamp.seconds_f64();
                let digits = form.digits(count.floor() as i64);
                let odds = digits.as_slice().iter().zip(&reading.places);
                sum += odds
                    .map(|(&digit, odds)| f64::from(odds.of(digit) * 0.995 + 0.0005).ln())
                    .sum::<f64>();
            }
            found.push((sum, rate, phase));
        }
    }
    let best = found
        .iter()
        .copied()
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap();
    let near: Vec<f64> = found
        .iter()
        .filter(|f| f.1 == best.1 && f.0 > best.0 - 7.0)
        .map(|f| f.2)
        .collect();
    let low = near.iter().copied().fold(f64::INFINITY, f64::min);
    let high = near.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (best.1, low, high)
}

#[test]
fn a_plain_search_of_all_rates_and_phases_agrees() {
    for (i, (clock, camera)) in [
        (Rate::F25, Rate::F24),
        (Rate::F25, Rate::F29_97),
        (Rate::F30, Rate::F25),
        (Rate::F24, Rate::F60),
        (Rate::F50, Rate::F30),
        (Rate::F60, Rate::F50),
        (Rate::F23_976, Rate::F25),
        (Rate::F29_97, Rate::F24),
        (Rate::F59_94, Rate::F25),
        (Rate::F50, Rate::F60),
        (Rate::F30, Rate::F30),
        (Rate::F24, Rate::F29_97),
        (Rate::F59_94, Rate::F29_97),
        (Rate::F25, Rate::F120),
    ]
    .into_iter()
    .enumerate()
    {
        let mut scene = Scene::new(frames(clock), "00:00:41:03", camera);
        scene.phi += 0.13 * i as f64 - 0.3;
        scene.frames = (0..70).collect();
        scene.seed = i as u64;
        let filmed = scene.film();
        let fit = run(&filmed);
        let (rate, low, high) = brute_force(&filmed, scene.phi.floor() as i64);
        assert_eq!(fit.clock.as_ref().unwrap().form.base(), rate.base());
        let counts = fit.start.unwrap().counts;
        // The grid is 1/240 wide; the bounds may hold the cousin on a panel, half a count late.
        assert!(
            counts.low.to_f64() < low + 0.01,
            "{clock} {camera}: {low} {counts}"
        );
        assert!(
            counts.high.to_f64() > high - 0.01,
            "{clock} {camera}: {high} {counts}"
        );
        assert!(
            counts.width().to_f64() < high - low + 0.6,
            "{clock} {camera}: {low} {high} {counts}"
        );
    }
}

#[test]
fn counts_are_exact_whatever_the_tick() {
    // The same frames on ticks of 1/90000 s, 1/1001000000 s and the frame itself.
    let scene = Scene::new(frames(Rate::F29_97), "10:20:30:07", Rate::F29_97);
    let mut starts = Vec::new();
    for tick in [
        Ratio::new(1, 90_000),
        Ratio::new(1001, 30_000),
        Ratio::new(1, 1_000_000_000),
    ] {
        let mut scene = scene.clone();
        scene.tick_seconds = Some(tick);
        let filmed = scene.film();
        let fit = fit(
            std::slice::from_ref(&filmed.sighting),
            &facts(Rate::F29_97, tick),
            &Known::default(),
        );
        starts.push(fit.start.unwrap());
    }
    assert_eq!(starts[0], starts[1]);
    assert_eq!(starts[1], starts[2]);
    let form = frames(Rate::F29_97);
    let count = form.count(&form.parse("10:20:30:07").unwrap()).unwrap();
    assert_eq!(starts[0].counts.low, Ratio::from_integer(count));
    assert_eq!(ClockForm::text(form, count), "10:20:30:07");
}

/// The example of `docs/fit.md`: 25 counts burned into 30 frames a second.
fn worked_example() -> (Scene, Known) {
    let mut scene = Scene::new(frames(Rate::F25), "10:00:00:07", Rate::F30);
    scene.phi = scene.phi.floor() + 0.3;
    let known = Known {
        rate: Some(Rate::F25),
        speed: Some(Ratio::ONE),
        ..Known::default()
    };
    (scene, known)
}

/// Counts after 10:00:00:00.
fn after_ten(counts: HalfOpen) -> HalfOpen {
    counts.shift(Ratio::from_integer(-36_000 * 25))
}

#[test]
fn the_worked_example_comes_out_as_on_paper() {
    let (scene, known) = worked_example();
    let mut filmed = scene.film();
    let wanted = HalfOpen::new(Ratio::new(43, 6), Ratio::new(44, 6));
    let start = |filmed: &Filmed| {
        let fit = fit(
            std::slice::from_ref(&filmed.sighting),
            &filmed.facts,
            &known,
        );
        (
            after_ten(fit.start.unwrap().counts),
            fit.clock.unwrap().refresh_hz,
        )
    };
    assert_eq!(start(&filmed), (wanted, None));
    // Frame 4 read as 18 for 10.
    let mut eight = [0.0; 10];
    eight[8] = 1.0;
    filmed.sighting.readings[4].places[7] = DigitOdds::from_weights(eight);
    let (counts, refresh_hz) = start(&filmed);
    assert_eq!(refresh_hz, None);
    assert!(
        counts.low <= wanted.low && wanted.high <= counts.high,
        "{counts}"
    );
}

#[test]
fn the_late_display_of_the_worked_example_needs_the_slack_of_120_hz() {
    let (scene, known) = worked_example();
    let mut filmed = scene.film();
    // Every second frame at the phase of frame 1 still shows the count before: the one of frame 0, 12, ...
    for frame in (1..60).step_by(12) {
        filmed.sighting.readings[frame].places = filmed.sighting.readings[frame - 1].places.clone();
    }
    let fit = fit(
        std::slice::from_ref(&filmed.sighting),
        &filmed.facts,
        &known,
    );
    assert_eq!(fit.clock.unwrap().refresh_hz, Some(120));
    assert!(fit.notes.iter().any(|note| note.code == "late_display"));
    let counts = after_ten(fit.start.unwrap().counts);
    let paper = HalfOpen::new(Ratio::new(43, 6), Ratio::new(59, 8));
    assert!(
        counts.low == paper.low && counts.high >= paper.high,
        "{counts}"
    );
    assert!(counts.width() < Ratio::new(1, 2), "{counts}");
}
