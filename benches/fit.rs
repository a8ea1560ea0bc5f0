//! Measures the fit on simulated readings with known answers, none of which it was tuned on:
//! does the truth lie in the bounds, how much wider are they than perfect digits would make
//! them, is what is `sure` right, is what could be known `sure`, and what does it cost.
//!
//! `cargo bench --bench fit -- [SETS] [FIRST_SEED] [CASE]`: SETS over all cases, 100000
//! unless told, on all cores; CASE is part of a case's name, or `assumed` for all that keep to what
//! the fit assumes, or `unruly` for the others; the
//! cost is measured where no case is named, and with SETS 0 alone. The
//! environment's `SHOWN` says how many sets of a kind are shown for a look, 3 unless told; its
//! `REFERENCES`, how many of each case are held against what is possible, what the readings tell, and
//! the best width, all unless told: these take longer than the fit. Lines
//! that begin with a brace are the table once more, for programs. The exit status is 1 if any
//! set that keeps to what the fit assumes was sure and off; the last thirteen cases do not.

mod arguments;
mod cores;
#[path = "fit/filming.rs"]
mod filming;
#[path = "fit/habits.rs"]
mod habits;
#[path = "fit/observer.rs"]
mod observer;
#[path = "fit/scenes.rs"]
mod scenes;
#[path = "fit/truth.rs"]
mod truth;

use arguments::Arguments;
use cores::on_all_cores;
use filming::{Clock, FRAMES, Scene};
use habits::Habit;
use rollmark::fit::{ClockFit, Known, fit};
use rollmark::outcome::Verdict;
use rollmark::timecode::Ratio;
use scenes::{CASES, Case, scene};
use std::collections::BTreeMap;
use std::process::ExitCode;
use std::sync::LazyLock;
use std::time::Instant;
use truth::{could_be_certain, counts_off, width_in_the_light};

/// Seconds that this thread has computed, as the kernel counts them, so that other work on the
/// machine does not show; the time of day where there is no such count.
fn computed_s() -> f64 {
    static FIRST: LazyLock<Instant> = LazyLock::new(Instant::now);
    let first = *FIRST;
    let counted = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    counted
        .as_deref()
        .and_then(|text| text.split(' ').next()?.parse::<f64>().ok())
        .map_or_else(|| first.elapsed().as_secs_f64(), |ns| ns * 1e-9)
}

/// What came of one set of readings.
#[derive(Clone, Debug, Default)]
struct Score {
    sure: bool,
    started: bool,
    off: bool,
    /// The truth as displayed lies in the bounds: less a lag of some change in view; less the
    /// least of them.
    covered: bool,
    covered_strictly: bool,
    /// Bounds against the best possible, where the clock was recognised.
    ratio: Option<f64>,
    /// Perfect digits would tell the start.
    possible: bool,
    /// The readings do, to one who knows how they came about: with one in 1,000 against it, and with
    /// one in 10,000, as the fit allows each group of digits.
    tellable: bool,
    plain: bool,
    seconds: f64,
    /// Codes of the reasons.
    codes: Vec<String>,
    what: String,
}

/// `has_references`: whether it is asked what is possible, tellable, and left over at best.
fn run(case: Case, seed: u64, has_references: bool) -> Score {
    let scene = scene(case, seed);
    let filmed = scene.film();
    let from_s = computed_s();
    let got = fit(&filmed.sightings, &filmed.facts, &Known::default());
    let seconds = computed_s() - from_s;
    let frame = scene.pace() * scene.frame_s();
    let grain = if scene.clock.is_coarse() {
        frame
    } else {
        frame.max(1.0)
    };
    let rate = scene.clock.rate();
    let late = scene.panel.map_or(0.0, |(hz, _)| rate / hz) + scene.habit.latest_counts(rate);
    let possible = has_references && could_be_certain(&scene, &filmed, grain);
    let doubt = has_references.then(|| observer::doubt(&scene, &filmed, grain));
    let mut score = Score {
        sure: got.verdict == Verdict::Sure,
        possible,
        tellable: doubt.is_some_and(|doubt| doubt <= 1e-3),
        plain: doubt.is_some_and(|doubt| doubt <= 1e-4),
        seconds,
        codes: got.reasons.iter().map(|r| r.code.clone()).collect(),
        ..Score::default()
    };
    if let (Some(start), Some(clock)) = (&got.start, &got.clock) {
        score.started = true;
        let numbers: Vec<i64> = start
            .label
            .split([':', ';', '.'])
            .map(|n| n.parse().expect("digits"))
            .chain([0])
            .collect();
        let label = [numbers[0], numbers[1], numbers[2], numbers[3]];
        let base = i64::from(clock.form.base());
        let other = Clock {
            base,
            last_digits: clock.form.last_digits().into(),
            ..scene.clock
        };
        let middle = start.counts.middle();
        let within = (middle - Ratio::from_integer(middle.floor())).to_f64();
        let off = counts_off(&scene, &other, label, within);
        // In counts of the clock that was filmed.
        let is_finer = clock.form.last_digits() as usize != scene.clock.last_digits;
        let unit = if is_finer {
            scene.clock.base as f64 / base as f64
        } else {
            1.0
        };
        let half = start.counts.width().to_f64() / 2.0 * unit;
        score.off = off.abs() > grain + late;
        let hair = 1e-6;
        score.covered_strictly = (off + filmed.lags.0).abs() <= half + hair;
        let (near, far) = (off + filmed.lags.0, off + filmed.lags.1);
        score.covered = near <= half + hair && far >= -half - hair;
        let is_it = base == scene.clock.base && (clock.speed.to_f64() - scene.speed).abs() < 1e-9;
        let is_even = scene.habit == Habit::Even;
        let has_one = filmed.sightings.len() == 1;
        if has_references && is_it && is_even && score.sure && has_one {
            let best = width_in_the_light(&scene, &filmed, grain);
            score.ratio = best.map(|best| 2.0 * half / best);
        }
        score.what = format!(
            "{} off {off:.3} half {half:.3} missed {:.3} lags {:?}",
            start.label,
            (near - half).max(-half - far),
            filmed.lags
        );
    }
    score.what += &told(&scene, &got);
    score
}

/// One line for a set that needs a look.
fn told(scene: &Scene, got: &ClockFit) -> String {
    let codes: Vec<&str> = got.reasons.iter().map(|r| r.code.as_str()).collect();
    let clock = got.clock.as_ref().map(|c| {
        format!(
            "{} {} x{} {:?}",
            c.form.pattern(),
            c.form.rate(),
            c.speed,
            c.refresh_hz
        )
    });
    let window = &scene.windows[0];
    format!(
        " {codes:?} as {}; truth {:?} of {}/{} skipping {} x{} by {}/{}, {} frames from {}, \
         panel {:?} open {:.2} drift {:.1} noise {:.2} kept {:.2} {:?}",
        clock.unwrap_or_default(),
        scene.clock.label(scene.phi.floor() as i64),
        scene.clock.num,
        scene.clock.den,
        scene.clock.skipped,
        scene.speed,
        scene.camera.0,
        scene.camera.1,
        window.len(),
        window[0],
        scene.panel,
        scene.exposure,
        scene.drift_ppm,
        scene.noise,
        scene.kept_noise,
        scene.habit,
    )
}

/// Sums over sets.
#[derive(Default)]
struct Total {
    sets: usize,
    started: usize,
    started_covered: usize,
    sure: usize,
    off: usize,
    covered: usize,
    strictly: usize,
    possible: usize,
    possible_sure: usize,
    tellable: usize,
    tellable_sure: usize,
    plain: usize,
    plain_sure: usize,
    /// Possible and tellable.
    both: usize,
    both_sure: usize,
    ratios: Vec<f64>,
    seconds: f64,
}

impl Total {
    fn add(&mut self, score: &Score) {
        self.sets += 1;
        self.seconds += score.seconds;
        self.started += usize::from(score.started);
        self.started_covered += usize::from(score.started && score.covered);
        self.possible += usize::from(score.possible);
        self.possible_sure += usize::from(score.possible && score.sure);
        self.tellable += usize::from(score.tellable);
        self.tellable_sure += usize::from(score.tellable && score.sure);
        self.plain += usize::from(score.plain);
        self.plain_sure += usize::from(score.plain && score.sure);
        let both = score.possible && score.tellable;
        self.both += usize::from(both);
        self.both_sure += usize::from(both && score.sure);
        if score.sure {
            self.sure += 1;
            self.off += usize::from(score.off);
            self.covered += usize::from(score.covered);
            self.strictly += usize::from(score.covered_strictly);
        }
        self.ratios.extend(score.ratio);
    }

    /// Names and values of the table's columns, after the case.
    fn columns(&mut self) -> Vec<(&'static str, f64)> {
        self.ratios.sort_by(f64::total_cmp);
        let quantile = |of: &[f64], p: f64| match of.len() {
            0 => f64::NAN,
            n => of[((n - 1) as f64 * p).round() as usize],
        };
        let width = |p: f64| quantile(&self.ratios, p);
        let percent = |a: usize, b: usize| 100.0 * a as f64 / b.max(1) as f64;
        let number = |n: usize| n as f64;
        vec![
            ("sets", number(self.sets)),
            ("sure", number(self.sure)),
            ("off", number(self.off)),
            ("covered", number(self.covered)),
            ("covered_percent", percent(self.covered, self.sure)),
            ("strictly_percent", percent(self.strictly, self.sure)),
            (
                "started_percent",
                percent(self.started_covered, self.started),
            ),
            ("width_p50", width(0.5)),
            ("width_p75", width(0.75)),
            ("width_p90", width(0.9)),
            ("width_p99", width(0.99)),
            ("possible", number(self.possible)),
            (
                "possible_sure_percent",
                percent(self.possible_sure, self.possible),
            ),
            ("tellable", number(self.tellable)),
            (
                "tellable_sure_percent",
                percent(self.tellable_sure, self.tellable),
            ),
            ("plain", number(self.plain)),
            ("plain_sure_percent", percent(self.plain_sure, self.plain)),
            ("both", number(self.both)),
            ("both_sure_percent", percent(self.both_sure, self.both)),
            ("ms", 1e3 * self.seconds / number(self.sets.max(1))),
        ]
    }

    /// A row for people.
    fn row(&mut self, name: &str) -> String {
        let cell = |(column, value): (&str, f64)| match value.fract() {
            0.0 if !column.contains('_') && column != "ms" => format!("{value:.0}"),
            _ => format!("{value:.2}"),
        };
        let cells: Vec<String> = self.columns().into_iter().map(cell).collect();
        format!("| {name} | {} |", cells.join(" | "))
    }

    /// The same row for programs, as JSON; what there is none of is `null`.
    fn object(&mut self, name: &str) -> String {
        let mut object = serde_json::Map::new();
        object.insert("case".into(), name.into());
        let columns = self.columns().into_iter();
        object.extend(columns.map(|(column, value)| (column.into(), value.into())));
        serde_json::Value::Object(object).to_string()
    }
}

/// Runs the seeds on all cores; the scores come in the order of the seeds.
fn run_all(case: Case, seeds: std::ops::Range<u64>, references: u64) -> Vec<(u64, Score)> {
    let sets = usize::try_from(seeds.end - seeds.start).expect("sets that fit into memory");
    on_all_cores(sets, |set| {
        let seed = seeds.start + set as u64;
        (seed, run(case, seed, (set as u64) < references))
    })
}

/// The cost of one fit over all clocks, by readings.
fn cost() {
    println!("cost of one fit over all clocks, on one core");
    let mut before: Option<(f64, f64)> = None;
    for frames in [30u64, 100, 300, 1_000, 3_000, 10_000, 30_000] {
        let mut scene = scene(Case::Panel, 1);
        scene.clock = FRAMES[2];
        scene.camera = (30_000, 1001);
        scene.panel = Some((60.0, 0.3));
        scene.phi = 930_757.4;
        scene.windows = vec![(0..frames).collect()];
        let filmed = scene.film();
        // Long enough for a kernel that counts in hundredths of a second.
        let repeats = (30_000 / frames).max(3);
        let from_s = computed_s();
        for _ in 0..repeats {
            let got = fit(&filmed.sightings, &filmed.facts, &Known::default());
            std::hint::black_box(got);
        }
        let ms = 1e3 * (computed_s() - from_s) / repeats as f64;
        let power = before.map(|(n, t)| (ms / t).ln() / (frames as f64 / n).ln());
        let power = power.map_or(String::new(), |p| format!(", as readings^{p:.2}"));
        println!("  {frames:>6} readings: {ms:>8.2} ms{power}");
        before = Some((frames as f64, ms));
    }
}

fn main() -> ExitCode {
    let mut arguments = Arguments::given("fit [SETS [FIRST_SEED [CASE]]]");
    let sets: u64 = arguments.number(100_000);
    let first_seed: u64 = arguments.number(7_000_000);
    let wanted = arguments.word().unwrap_or_default();
    let cases: Vec<_> = CASES
        .into_iter()
        .filter(|(case, name)| match wanted.as_str() {
            "assumed" => !case.is_unruly(),
            "unruly" => case.is_unruly(),
            part => name.contains(part),
        })
        .collect();
    if cases.is_empty() {
        arguments.refuse(&format!("`{wanted}` is part of no case's name"));
    }
    arguments.end();
    if wanted.is_empty() {
        cost();
    }
    let each = sets.div_ceil(cases.len() as u64);
    if each == 0 {
        return ExitCode::SUCCESS;
    }
    let names = Total::default().columns();
    let names: Vec<&str> = names.into_iter().map(|c| c.0).collect();
    println!("\n| readings | {} |", names.join(" | "));
    println!("|---|{}", "---|".repeat(names.len()));
    let (mut all, mut unruly) = (Total::default(), Total::default());
    let mut looks = Vec::new();
    let mut why = Vec::new();
    let mut objects = Vec::new();
    let told = |name| {
        std::env::var(name)
            .ok()
            .map(|n| n.parse().expect("a number"))
    };
    let each_kind = told("SHOWN").unwrap_or(3);
    let references = told("REFERENCES").unwrap_or(each);
    for (case, name) in cases {
        let mut total = Total::default();
        let mut shown = [0; 3];
        let mut codes: BTreeMap<String, usize> = BTreeMap::new();
        for (seed, score) in run_all(case, first_seed..first_seed + each, references) {
            total.add(&score);
            let sum = if case.is_unruly() {
                &mut unruly
            } else {
                &mut all
            };
            sum.add(&score);
            if score.tellable && !score.sure {
                for code in &score.codes {
                    *codes.entry(code.clone()).or_default() += 1;
                }
            }
            let kinds = [
                (score.sure && score.off, "sure and off"),
                (score.sure && !score.covered, "not covered"),
                (score.tellable && !score.sure, "not sure"),
            ];
            for (shown, (is_one, kind)) in shown.iter_mut().zip(kinds) {
                if is_one && *shown < each_kind {
                    *shown += 1;
                    looks.push(format!("{name}, {kind}, seed {seed}: {}", score.what));
                }
            }
        }
        println!("{}", total.row(name));
        objects.push(total.object(name));
        let codes: Vec<String> = codes.iter().map(|(c, n)| format!("{c} {n}")).collect();
        why.push(format!("  {name}: {}", codes.join(", ")));
    }
    let sums = [
        ("all that keep to what the fit assumes", &mut all),
        ("all that do not", &mut unruly),
    ];
    for (name, sum) in sums {
        println!("{}", sum.row(name));
        objects.push(sum.object(name));
    }
    println!("\nReasons where the readings tell, and the fit is not sure:");
    for line in why {
        println!("{line}");
    }
    println!("\nFor a look:");
    for look in looks {
        println!("  {look}");
    }
    println!();
    for object in objects {
        println!("{object}");
    }
    ExitCode::from(u8::from(all.off > 0))
}
