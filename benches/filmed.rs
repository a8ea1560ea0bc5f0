//! Films every clock rate with every camera rate by the simulator, at ordinary quality,
//! with fonts and photos that no network was trained on, and reads the clips with the
//! whole product. Prints one line a clip and the figures at the end.
//!
//! `cargo bench --bench filmed -- [SHARE_OF_CASES] [FIRST_SEED] [KEEP_DIR]`: 1 films all
//! cases, 3 every third; clips that went wrong are kept in KEEP_DIR.

use rollmark::clip::{ReadOptions, read_clip};
use rollmark::media::RecordCodec;
use rollmark::outcome::{ClipOutcome, Start, Verdict};
use rollmark::progress::Deaf;
use rollmark::rehearse::Shoot;
use rollmark::timecode::{ClockForm, Rate};
use rollmark::vision::Eye;
use std::path::PathBuf;
use std::time::Instant;

const CAMERAS: [Rate; 7] = [
    Rate::F23_976,
    Rate::F24,
    Rate::F25,
    Rate::F29_97,
    Rate::F30,
    Rate::F50,
    Rate::F59_94,
];

fn clocks() -> Vec<ClockForm> {
    let mut forms = Vec::new();
    for rate in Rate::TRADE {
        for drop_frame in [false, true] {
            forms.extend(ClockForm::frames(rate, drop_frame));
        }
    }
    forms.extend([
        ClockForm::Seconds,
        ClockForm::Tenths,
        ClockForm::Hundredths,
        ClockForm::Thousandths,
    ]);
    forms
}

/// Phi as read. Where the readings do not tell whether the clock drops labels, or at which
/// of two near rates it runs (the outcome says so), the label is right either way and the
/// count is not, so the label counts, by the rule of the clock that was filmed.
fn count_by_label(form: ClockForm, start: &Start, outcome: &ClipOutcome) -> f64 {
    let is_open = outcome
        .clock
        .as_ref()
        .is_some_and(|c| c.drop_frame.is_none() || c.rate_known_by == "assumed");
    let label = form.parse(&start.label.replace(';', ":"));
    match label.and_then(|l| form.count(&l)) {
        Ok(count) if is_open => count as f64 + start.count.rem_euclid(1.0),
        _ => start.count,
    }
}

fn main() {
    let mut args = std::env::args().skip(1).filter(|a| a != "--bench");
    let share: usize = args
        .next()
        .map_or(1, |a| a.parse().expect("SHARE_OF_CASES is a number"));
    let first_seed: u64 = args
        .next()
        .map_or(1000, |a| a.parse().expect("FIRST_SEED is a number"));
    let keep: Option<PathBuf> = args.next().map(PathBuf::from);
    let eye = Eye::open().expect("the built-in networks load");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (mut total, mut near, mut sure, mut wrong, mut covered) = (0, 0, 0, 0, 0);
    let mut reading_s = 0.0;
    let cases = clocks()
        .into_iter()
        .flat_map(|form| CAMERAS.map(|camera| (form, camera)));
    for (number, (form, camera)) in cases.enumerate() {
        if number % share != 0 {
            continue;
        }
        let seed = first_seed + number as u64;
        let shoot = Shoot::ordinary(seed, form, camera);
        let path = folder.path().join(format!("filmed_{seed}.mp4"));
        let options = shoot.record_options(RecordCodec::H264);
        shoot.record(&path, options).expect("the clip is filmed");
        let began = Instant::now();
        let outcome = read_clip(&eye, &path, &ReadOptions::default(), &mut Deaf).outcome;
        let took_s = began.elapsed().as_secs_f64();
        reading_s += took_s;
        let truth = shoot.phi().expect("a clock was filmed").to_f64();
        let refresh_s = shoot
            .staged
            .as_ref()
            .map_or(0.0, |s| s.display.refresh_s().to_f64());
        let frame_s = 1.0 / camera.ratio().to_f64();
        let count_s = 1.0 / form.rate().ratio().to_f64();
        // A clock of whole seconds is placed by its changes, not by its counts.
        let unit_s = if form == ClockForm::Seconds {
            frame_s
        } else {
            frame_s.max(count_s)
        };
        let allowed_s = unit_s + refresh_s;
        let off_s = outcome
            .start
            .as_ref()
            .map(|s| (count_by_label(form, s, &outcome) - truth) * count_s);
        let is_near = off_s.is_some_and(|off| off.abs() <= allowed_s);
        let is_sure = outcome.verdict == Verdict::Sure;
        let is_covered = outcome.start.as_ref().zip(off_s).is_some_and(|(s, off_s)| {
            let half_s = (s.count_bounds[1] - s.count_bounds[0]) / 2.0 * count_s;
            off_s.abs() <= half_s + refresh_s + frame_s / 2.0
        });
        total += 1;
        near += usize::from(is_near);
        sure += usize::from(is_sure);
        wrong += usize::from(is_sure && !is_near);
        covered += usize::from(is_covered);
        println!(
            "{seed} {:>12} {:>10} by {:>10}: {:?} {} (true {}), off {} ms of {:.1} allowed, {took_s:.2} s; {}",
            form.pattern(),
            form.rate().to_string(),
            camera.to_string(),
            outcome.verdict,
            outcome.start.as_ref().map_or("-", |s| &s.label),
            form.text(shoot.phi().expect("a clock was filmed").floor() as i64),
            off_s.map_or("-".to_owned(), |off| format!("{:.1}", off * 1e3)),
            allowed_s * 1e3,
            outcome
                .reasons
                .iter()
                .map(|r| r.code.as_str())
                .collect::<Vec<_>>()
                .join(" "),
        );
        if let Some(keep) = keep.as_ref().filter(|_| !is_near || !is_sure) {
            std::fs::create_dir_all(keep).expect("KEEP_DIR can be made");
            std::fs::copy(&path, keep.join(path.file_name().expect("a file")))
                .expect("the clip is kept");
        }
        std::fs::remove_file(&path).expect("the clip is removed");
    }
    println!(
        "clips {total}; within one frame {near}; sure {sure}; sure and wrong {wrong}; bounds with one refresh and half a frame cover the truth {covered}"
    );
    println!(
        "mean time to read {:.2} s",
        reading_s / f64::from(total.max(1))
    );
}
