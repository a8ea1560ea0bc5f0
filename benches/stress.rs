//! Films 308 clips that are hard to read, eleven of every trouble from mild to the limit
//! and over all clock and camera rates, and 100 without a running clock, with fonts and
//! photos that no network was trained on, and reads them with the whole product. Prints
//! one line a clip and a table by trouble at the end.
//!
//! `cargo bench --bench stress -- [SHARE_OF_CLIPS] [FIRST_SEED] [KEEP_DIR]`: 1 films all
//! clips, 3 every third; the worst twenty are kept in KEEP_DIR with a picture of each.

mod judged;

use judged::{CAMERAS, Judged, argument, clocks, film_and_read, folder};
use rollmark::outcome::Verdict;
use rollmark::rehearse::{Shoot, Stress};
use rollmark::vision::Eye;
use std::path::{Path, PathBuf};

/// Clips of each trouble; strengths from the first to the second value.
const CLIPS_EACH: u32 = 11;
const STRENGTHS: [f64; 2] = [0.3, 1.0];
const WITHOUT_CLOCK: u64 = 100;
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

/// The worst clips so far, in a folder of the user's.
struct Keeper {
    dir: PathBuf,
    kept: Vec<(u32, PathBuf)>,
}

impl Keeper {
    /// Keeps a clip and a picture from its middle, if it is among the worst.
    fn keep(&mut self, badness: u32, shoot: &Shoot, path: &Path) {
        if badness == 0 {
            return;
        }
        std::fs::create_dir_all(&self.dir).expect("KEEP_DIR can be made");
        let kept = self.dir.join(path.file_name().expect("a file"));
        std::fs::copy(path, &kept).expect("the clip is kept");
        let in_view_s = shoot.staged.as_ref().map_or(1.0, |s| {
            (s.hold.from_s.max(0.0) + s.hold.to_s.min(4.0)) / 2.0
        });
        let index = (in_view_s * shoot.camera.rate.ratio().to_f64()) as u64;
        let picture = shoot.film().expect("the photo is there").frame(index);
        picture
            .save(kept.with_extension("png"))
            .expect("the picture is kept");
        self.kept.push((badness, kept));
        self.kept
            .sort_by_key(|(badness, _)| std::cmp::Reverse(*badness));
        for (_, mild) in self.kept.drain(KEPT.min(self.kept.len())..) {
            std::fs::remove_file(mild.with_extension("png")).expect("the picture was there");
            std::fs::remove_file(mild).expect("the clip was there");
        }
    }
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
    let share: usize = argument(0, 1);
    let first_seed: u64 = argument(1, 20_000);
    let mut keeper = folder(2).map(|dir| Keeper {
        dir,
        kept: Vec::new(),
    });
    let eye = Eye::open().expect("the built-in networks load");
    let clips = tempfile::tempdir().expect("a temporary folder");
    let forms = clocks();
    let mut tallies = vec![Tally::default(); Stress::ALL.len()];
    let mut without_clock = Tally::default();
    let mut reading_s = 0.0;

    // Neighbours in this list differ in everything, so that a share has a bit of all.
    let hard = (0..CLIPS_EACH).flat_map(|step| {
        Stress::ALL
            .iter()
            .enumerate()
            .map(move |(number, stress)| (step, number, *stress))
    });
    for (clip, (step, number, stress)) in hard.enumerate() {
        if clip % share != 0 {
            continue;
        }
        let seed = first_seed + clip as u64;
        let form = forms[(clip * 7 + 3 * step as usize) % forms.len()];
        let camera = CAMERAS[(clip * 3 + step as usize) % CAMERAS.len()];
        let [mild, most] = STRENGTHS;
        let strength = mild + (most - mild) * f64::from(step) / f64::from(CLIPS_EACH - 1);
        let shoot = Shoot::stressed(seed, form, camera, stress, strength);
        let path = clips.path().join(format!("{stress:?}_{seed}.mp4"));
        let judged = film_and_read(&eye, &shoot, &path);
        println!(
            "{seed} {stress:?} {strength:.2} {} {} by {camera} (true {}): {}",
            form.pattern(),
            form.rate(),
            form.text(shoot.phi().expect("a clock was filmed").floor() as i64),
            judged.line(),
        );
        reading_s += judged.took_s;
        tallies[number].count(&judged);
        if let Some(keeper) = &mut keeper {
            keeper.keep(badness(&judged, true), &shoot, &path);
        }
        std::fs::remove_file(&path).expect("the clip is removed");
    }
    for clip in (0..WITHOUT_CLOCK).step_by(share) {
        let seed = first_seed + 10_000 + clip;
        let camera = CAMERAS[clip as usize % CAMERAS.len()];
        let shoot = Shoot::without_clock(seed, camera);
        let path = clips.path().join(format!("without_{seed}.mp4"));
        let judged = film_and_read(&eye, &shoot, &path);
        println!("{seed} without a clock by {camera}: {}", judged.line());
        reading_s += judged.took_s;
        without_clock.count(&judged);
        if let Some(keeper) = &mut keeper {
            keeper.keep(badness(&judged, false), &shoot, &path);
        }
        std::fs::remove_file(&path).expect("the clip is removed");
    }

    println!(
        "\n{:<16}{:>6}{:>8}{:>8}{:>16}{:>8}{:>6}{:>8}{:>9}",
        "", "clips", "near", "sure", "sure and wrong", "unsure", "none", "failed", "covered"
    );
    let mut all = Tally::default();
    for (stress, tally) in Stress::ALL.iter().zip(&tallies) {
        println!("{}", tally.row(&format!("{stress:?}")));
        all.add(tally);
    }
    println!("{}", all.row("all troubles"));
    println!("{}", without_clock.row("without a clock"));
    let read = f64::from((all.clips + without_clock.clips).max(1));
    println!(
        "near: within one frame; covered: bounds with one refresh and half a frame hold the truth; mean time to read {:.2} s",
        reading_s / read
    );
}
