//! Films 319 clips that are hard to read, eleven of every trouble from mild to the limit
//! and over all clock and camera rates, and 100 without a running clock, with fonts and
//! photos that no network was trained on, and reads them with the whole product. Prints
//! one line a clip, as they come, and a table by trouble at the end.
//!
//! `cargo bench --bench stress -- [SHARE_OF_CLIPS] [FIRST_SEED] [KEEP_DIR] [TROUBLE...]`: 1 films
//! all clips, 3 every third; the worst twenty are kept in KEEP_DIR with a picture of each, and all
//! of these in one, worst.jpg. With the names of troubles, those alone.

mod arguments;
mod cores;
mod hard;
mod judged;
mod material;

use arguments::Arguments;
use cores::on_all_cores;
use hard::{ALL_HARD, ALL_WITHOUT_CLOCK, Hard, hard, without_clock};
use image::RgbImage;
use image::imageops::{self, FilterType};
use judged::{Judged, read_and_judge};
use material::assert_material;
use rollmark::media::RecordCodec;
use rollmark::outcome::Verdict;
use rollmark::rehearse::{Shoot, Stress};
use rollmark::vision::Eye;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

const KEPT: usize = 20;

/// How the clips of one trouble came out.
#[derive(Clone, Copy, Default)]
struct Tally {
    clips: u32,
    near: u32,
    sure: u32,
    sure_and_wrong: u32,
    unsure: u32,
    none: u32,
    failed: u32,
    covered: u32,
}

impl Tally {
    fn count(&mut self, judged: &Judged) {
        self.clips += 1;
        self.near += u32::from(judged.is_near);
        self.sure_and_wrong += u32::from(judged.is_sure() && !judged.is_near);
        self.covered += u32::from(judged.is_covered);
        match judged.outcome.verdict {
            Verdict::Sure => self.sure += 1,
            Verdict::Unsure => self.unsure += 1,
            Verdict::None => self.none += 1,
            Verdict::Failed => self.failed += 1,
        }
    }

    fn add(&mut self, other: &Self) {
        self.clips += other.clips;
        self.near += other.near;
        self.sure += other.sure;
        self.sure_and_wrong += other.sure_and_wrong;
        self.unsure += other.unsure;
        self.none += other.none;
        self.failed += other.failed;
        self.covered += other.covered;
    }

    fn row(&self, name: &str) -> String {
        format!(
            "{name:<16}{:>6}{:>8}{:>8}{:>16}{:>8}{:>6}{:>8}{:>9}",
            self.clips,
            self.near,
            self.sure,
            self.sure_and_wrong,
            self.unsure,
            self.none,
            self.failed,
            self.covered
        )
    }
}

/// Keeps a clip in `dir`, with a picture of when its display is in view.
fn keep(dir: &Path, shoot: &Shoot, path: &Path) {
    std::fs::create_dir_all(dir).expect("KEEP_DIR can be made");
    let kept = dir.join(path.file_name().expect("a file"));
    std::fs::copy(path, &kept).expect("the clip is kept");
    let in_view_s = shoot.staged.as_ref().map_or(1.0, |s| {
        (s.hold.from_s.max(0.0) + s.hold.to_s.min(4.0)) / 2.0
    });
    let index = (in_view_s * shoot.camera.rate.ratio().to_f64()) as u64;
    let picture = shoot.film().expect("the photo is there").frame(index);
    picture
        .save(kept.with_extension("png"))
        .expect("the picture is kept");
}

/// Leaves the worst clips of `kept` in their folder, no more than [`KEPT`], and gives them, the
/// worst first.
fn drop_the_mild(mut kept: Vec<(u32, PathBuf)>) -> Vec<PathBuf> {
    kept.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    for (_, mild) in kept.drain(KEPT.min(kept.len())..) {
        std::fs::remove_file(mild.with_extension("png")).expect("the picture was there");
        std::fs::remove_file(mild).expect("the clip was there");
    }
    kept.into_iter().map(|(_, clip)| clip).collect()
}

/// Draws the pictures of some clips side by side, line by line, into a file.
fn draw_sheet(clips: &[PathBuf], to: &Path) {
    let (columns, (width, height)) = (4, (400, 225));
    let lines = clips.len().div_ceil(columns) as u32;
    let mut sheet = RgbImage::new(columns as u32 * width, lines * height);
    for (at, clip) in (0i64..).zip(clips) {
        let picture = image::open(clip.with_extension("png")).expect("the picture was kept");
        let small = picture.resize(width, height, FilterType::Triangle);
        let (x, y) = (at % columns as i64, at / columns as i64);
        let (x, y) = (x * i64::from(width), y * i64::from(height));
        imageops::replace(&mut sheet, &small.to_rgb8(), x, y);
    }
    sheet.save(to).expect("the sheet is drawn");
}

/// What a clip is made to be.
enum Plan {
    /// How strong the trouble is.
    Trouble(Stress, f64),
    WithoutClock,
}

/// 0 for a clip that came out well; a wrong start that is called sure is worst.
fn badness(judged: &Judged, has_clock: bool) -> u32 {
    match (judged.outcome.verdict, judged.is_near, has_clock) {
        (Verdict::Sure, false, _) => 4,
        (Verdict::Unsure, false, false) => 3,
        (Verdict::Unsure, false, true) => 2,
        (Verdict::None | Verdict::Failed, _, true) => 1,
        _ => 0,
    }
}

fn main() {
    let mut arguments = Arguments::given("stress [SHARE [FIRST_SEED [KEEP_DIR [TROUBLE...]]]]");
    let share = arguments.share(1);
    let first_seed: u64 = arguments.number(20_000);
    let keep_dir = arguments.folder();
    let only = arguments.names(&Stress::ALL.map(|stress| format!("{stress:?}")));
    assert_material();
    let eye = Eye::open().expect("the built-in networks load");
    let clips = tempfile::tempdir().expect("a temporary folder");

    let troubled = (0..ALL_HARD).step_by(share).map(|clip| {
        let seed = first_seed + clip as u64;
        let Hard {
            stress,
            strength,
            shoot,
        } = hard(clip, seed);
        (seed, Plan::Trouble(stress, strength), shoot)
    });
    let is_wanted = |plan: &Plan| match plan {
        Plan::Trouble(stress, _) => only.is_empty() || only.contains(&format!("{stress:?}")),
        Plan::WithoutClock => only.is_empty(),
    };
    let clockless = (0..ALL_WITHOUT_CLOCK).step_by(share).map(|clip| {
        let seed = first_seed + 10_000 + clip as u64;
        (seed, Plan::WithoutClock, without_clock(clip, seed))
    });
    let plans: Vec<_> = (troubled.chain(clockless))
        .filter(|(_, plan, _)| is_wanted(plan))
        .collect();
    let kept = Mutex::new(Vec::new());
    let judged = on_all_cores(plans.len(), |i| {
        let (seed, plan, shoot) = &plans[i];
        let (name, strength) = match *plan {
            Plan::Trouble(stress, strength) => (format!("{stress:?}"), strength),
            Plan::WithoutClock => ("without a clock".to_owned(), 0.0),
        };
        let path = clips
            .path()
            .join(format!("{}_{seed}.mp4", name.replace(' ', "_")));
        let options = shoot.record_options(RecordCodec::H264);
        shoot.record(&path, options).expect("the clip is filmed");
        let judged = read_and_judge(&eye, shoot, &path);
        let truth = shoot.staged.as_ref().zip(shoot.phi()).map(|(staged, phi)| {
            let form = staged.clock.form;
            let label = form.text(phi.floor() as i64);
            format!("{} {} (true {label}) ", form.pattern(), form.rate())
        });
        println!(
            "{seed} {name} {strength:.2} {}by {}: {}",
            truth.unwrap_or_default(),
            shoot.camera.rate,
            judged.line(),
        );
        let badness = badness(&judged, matches!(plan, Plan::Trouble(..)));
        if let Some(dir) = keep_dir.as_ref().filter(|_| badness > 0) {
            keep(dir, shoot, &path);
            let name = path.file_name().expect("a file");
            let mut kept = kept.lock().expect("no thread has panicked");
            kept.push((badness, dir.join(name)));
        }
        std::fs::remove_file(&path).expect("the clip is removed");
        judged
    });
    let worst = drop_the_mild(kept.into_inner().expect("no thread has panicked"));
    if let Some(dir) = keep_dir.filter(|_| !worst.is_empty()) {
        println!("\nthe worst, as worst.jpg shows them, line by line:");
        for clip in &worst {
            println!("{}", clip.file_stem().expect("a name").display());
        }
        draw_sheet(&worst, &dir.join("worst.jpg"));
    }

    let mut tallies = Stress::ALL.map(|stress| (stress, Tally::default()));
    let mut without_clock = Tally::default();
    for ((_, plan, _), judged) in plans.iter().zip(&judged) {
        match *plan {
            Plan::WithoutClock => without_clock.count(judged),
            Plan::Trouble(stress, _) => {
                let of_it = tallies.iter_mut().filter(|(other, _)| *other == stress);
                of_it.for_each(|(_, tally)| tally.count(judged));
            }
        }
    }
    println!(
        "\n{:<16}{:>6}{:>8}{:>8}{:>16}{:>8}{:>6}{:>8}{:>9}",
        "", "clips", "near", "sure", "sure and wrong", "unsure", "none", "failed", "covered"
    );
    let mut all = Tally::default();
    for (stress, tally) in tallies.iter().filter(|(_, tally)| tally.clips > 0) {
        println!("{}", tally.row(&format!("{stress:?}")));
        all.add(tally);
    }
    println!("{}", all.row("all troubles"));
    println!("{}", without_clock.row("without a clock"));
    let read = f64::from((all.clips + without_clock.clips).max(1));
    println!(
        "near: within one frame; covered: bounds with one refresh and half a frame hold the truth; mean time to read {:.2} s",
        judged.iter().map(|j| j.took_s).sum::<f64>() / read
    );
    assert_eq!(all.sure_and_wrong, 0, "clips that are sure and wrong");
    assert_eq!(without_clock.sure, 0, "clips that are sure without a clock");
}
