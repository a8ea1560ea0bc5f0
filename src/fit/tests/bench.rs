//! Ad hoc.
use super::sim::*;
use crate::fit::{Known, fit};
use crate::outcome::Verdict;
use crate::timecode::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

#[test]
#[ignore]
fn time() {
    for n in [30u64, 60, 300, 3000] {
        let mut scene = Scene::new(frames(Rate::F25), "10:20:30:07", Rate::F29_97);
        scene.frames = (0..n).collect();
        let filmed = scene.film();
        let at = std::time::Instant::now();
        let reps = 30_000 / n;
        for _ in 0..reps {
            std::hint::black_box(fit(
                std::slice::from_ref(&filmed.sighting),
                &filmed.facts,
                &Known::default(),
            ));
        }
        println!("{n}: {:?}", at.elapsed() / reps as u32);
    }
}

/// Width of the intersection with perfect digits and the slack of the true display.
fn ideal(scene: &Scene) -> f64 {
    let rate = scene.form.rate().ratio().to_f64() * scene.speed;
    let slack = scene
        .refresh
        .map_or(0.0, |(hz, _)| scene.form.rate().ratio().to_f64() / hz);
    let (mut low, mut high) = (f64::MIN, f64::MAX);
    for &f in &scene.frames {
        let t = f as f64 / scene.camera.ratio().to_f64();
        let real = t * scene.speed;
        let tick = scene
            .refresh
            .map_or(real, |(hz, ph)| ((real * hz - ph).floor() + ph) / hz);
        let c = (scene.phi + scene.form.rate().ratio().to_f64() * tick).floor();
        low = low.max(c - rate * t);
        high = high.min(c + 1.0 + slack - rate * t);
    }
    high - low
}

#[test]
#[ignore]
fn stats() {
    let n: u64 = std::env::var("N")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(2000);
    let show: usize = std::env::var("SHOW")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(3);
    for kind in [
        "clean",
        "panel",
        "flips",
        "poor",
        "short",
        "conformed",
        "coarse",
        "dark",
        "far",
        "millis",
    ] {
        if let Ok(k) = std::env::var("KIND") {
            if k != kind {
                continue;
            }
        }
        let mut strict = 0;
        let mut sure_covered = 0;
        let (mut sure, mut unsure, mut none, mut wrong, mut covered, mut had, mut off) =
            (0, 0, 0, 0, 0, 0, 0);
        let mut ratios = Vec::new();
        let mut shown = 0;
        let mut codes = std::collections::BTreeMap::<String, usize>::new();
        let at = std::time::Instant::now();
        for seed in std::env::var("SEED").ok().map_or(0..n, |s| {
            let s: u64 = s.parse().unwrap();
            s..s + 1
        }) {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let rates = [
                Rate::F23_976,
                Rate::F24,
                Rate::F25,
                Rate::F29_97,
                Rate::F30,
                Rate::F50,
                Rate::F59_94,
                Rate::F60,
            ];
            let cams = [
                Rate::F23_976,
                Rate::F24,
                Rate::F25,
                Rate::F29_97,
                Rate::F30,
                Rate::F50,
                Rate::F59_94,
                Rate::F60,
                Rate::F120,
            ];
            let rate = rates[rng.random_range(0..rates.len())];
            let form = match kind {
                "coarse" => [ClockForm::Seconds, ClockForm::Tenths][rng.random_range(0..2)],
                "millis" => [ClockForm::Hundredths, ClockForm::Thousandths][rng.random_range(0..2)],
                _ => ClockForm::Frames {
                    rate,
                    drop_frame: rate.has_drop_frame() && rng.random_bool(0.5),
                },
            };
            let cam = cams[rng.random_range(0..cams.len())];
            let mut scene = Scene::new(ClockForm::Seconds, "00:00:00", cam);
            scene.form = form;
            scene.phi = rng.random_range(0.0..form.counts_per_day() as f64);
            scene.mark = if form.drop_frame() { SEMICOLON } else { COLON };
            scene.seed = seed;
            let len = if kind == "short" {
                rng.random_range(5..15)
            } else if kind == "coarse" {
                rng.random_range(80..200)
            } else {
                rng.random_range(30..150)
            };
            let first = if kind == "far" {
                rng.random_range(500..10_000)
            } else if rng.random_bool(0.5) {
                0
            } else {
                rng.random_range(0..100)
            };
            scene.frames = (first..first + len).collect();
            if kind != "clean" && rng.random_bool(0.6) {
                scene.refresh = Some((
                    [60.0, 59.94, 50.0, 120.0, 60.3][rng.random_range(0..5)],
                    rng.random(),
                ));
            }
            if kind != "clean" {
                scene.exposure = rng.random_range(0.0..0.6);
            }
            match kind {
                "flips" => scene.flips = 0.2,
                "poor" => {
                    scene.noise = rng.random_range(0.2..0.4);
                    scene.common_noise = rng.random_range(0.0..0.5);
                }
                "conformed" => {
                    scene.speed = [0.8, 0.5, 0.4, 0.25, 0.2, 0.125, 0.1][rng.random_range(0..7)]
                }
                "dark" => scene.dark = vec![rng.random_range(0..8)],
                _ => {}
            }
            let filmed = scene.film();
            let got = fit(
                std::slice::from_ref(&filmed.sighting),
                &filmed.facts,
                &Known::default(),
            );
            match got.verdict {
                Verdict::Sure => sure += 1,
                Verdict::Unsure => unsure += 1,
                _ => none += 1,
            }
            for r in &got.reasons {
                *codes.entry(r.code.clone()).or_default() += 1;
            }
            let mut report = None;
            if let Some(start) = &got.start {
                had += 1;
                let day = form.counts_per_day() as f64;
                // Compare by the label's own count if the form is the same but for drop-frame or family.
                let clock = got.clock.as_ref().unwrap();
                let wrap = |x: f64| (x + day / 2.0).rem_euclid(day) - day / 2.0;
                let mid = start.counts.middle().to_f64();
                let truth = filmed.phi_displayed;
                let (lo, hi) = (
                    start.counts.low.to_f64() - mid,
                    start.counts.high.to_f64() - mid,
                );
                let (err, same) = if clock.form == form {
                    (wrap(mid - truth), true)
                } else {
                    // labels
                    let t = form.label(truth.floor() as i64);
                    let l = clock.form.label(mid.floor() as i64);
                    let s = |l: Label, b: f64, f: f64| {
                        l.hours() as f64 * 3600.0
                            + l.minutes() as f64 * 60.0
                            + l.seconds() as f64
                            + (l.part() as f64 + f) / b
                    };
                    let d = if (l.hours(), l.minutes(), l.seconds())
                        == (t.hours(), t.minutes(), t.seconds())
                    {
                        l.part() as f64 + mid.rem_euclid(1.0)
                            - t.part() as f64
                            - truth.rem_euclid(1.0)
                    } else {
                        (s(l, clock.form.base() as f64, mid.rem_euclid(1.0))
                            - s(t, form.base() as f64, truth.rem_euclid(1.0)))
                            * form.base() as f64
                    };
                    (d, false)
                };
                let r = form.rate().ratio().to_f64() * scene.speed;
                let count = if matches!(form, ClockForm::Seconds | ClockForm::Tenths) {
                    0.0
                } else {
                    1.0
                };
                let grain = (r / cam.ratio().to_f64()).max(count)
                    + scene
                        .refresh
                        .map_or(0.0, |(hz, _)| form.rate().ratio().to_f64() / hz);
                let (least, most) = scene.lags_s();
                let spread = form.rate().ratio().to_f64() * (most - least);
                let strictly = -err >= lo - 1e-7 && -err <= hi + 1e-7;
                let inside = -err >= lo - 1e-7 && -err <= hi + spread + 1e-7;
                if strictly {
                    strict += 1
                }
                if inside && got.verdict == Verdict::Sure {
                    sure_covered += 1
                }
                if let Ok(c) = std::env::var("CODE") {
                    if got.reasons.iter().any(|r| r.code == c) {
                        report = Some("code");
                    }
                }
                if inside {
                    covered += 1
                } else {
                    report = Some("uncovered");
                }
                if err.abs() > grain {
                    off += 1;
                    if got.verdict == Verdict::Sure {
                        wrong += 1;
                        report = Some("WRONG");
                    }
                }
                if same && got.verdict == Verdict::Sure {
                    ratios.push((hi - lo) / ideal(&scene));
                }
                if report.is_some() && shown < show {
                    shown += 1;
                    println!(
                        "{report:?} seed {seed} err {err:.3} bounds {lo:.3}..{hi:.3} {:?} {:?} form {} r {} cam {} speed {} refresh {:?} exp {:.2} len {len} first {first} got {:?} {:?}",
                        got.verdict,
                        got.reasons.iter().map(|r| &r.code).collect::<Vec<_>>(),
                        form.pattern(),
                        form.rate().decimal(),
                        cam.decimal(),
                        scene.speed,
                        scene.refresh,
                        scene.exposure,
                        clock,
                        start.label
                    );
                    println!("    truth {}", form.text(truth.floor() as i64));
                }
            }
        }
        ratios.sort_by(f64::total_cmp);
        let q = |p: f64| {
            ratios
                .get((ratios.len() as f64 * p) as usize)
                .copied()
                .unwrap_or(f64::NAN)
        };
        println!(
            "{kind}: sure {sure} unsure {unsure} none {none} | sure&wrong {wrong} off {off} | covered {sure_covered}/sure {covered} (strict {strict})/{had} | width ratio median {:.2} p90 {:.2} | {:?}/fit\n    {codes:?}",
            q(0.5),
            q(0.9),
            at.elapsed() / n as u32
        );
    }
}
