//! Films clips that are hard to read, or have no running clock, each in copies that nobody can
//! tell apart: cut by some pixels at the edges, and kept a little better or worse. The copies of a
//! clip give the same answer, or none: where one is sure of something wrong, the clip was sure by
//! luck.
//!
//! `cargo bench --bench alike -- [SHARE_OF_CLIPS] [FIRST_SEED] [COPIES] [KEEP_DIR]`: 3 films every
//! third clip; COPIES of each, eight unless told; those that are sure and wrong are kept in KEEP_DIR.

mod arguments;
mod cores;
mod hard;
mod judged;
mod material;

use arguments::Arguments;
use cores::on_all_cores;
use hard::{ALL_HARD, ALL_WITHOUT_CLOCK, hard, without_clock};
use image::imageops::crop_imm;
use judged::{Judged, read_and_judge};
use material::assert_material;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rollmark::media::{Quality, RecordCodec, RecordOptions, Recorder};
use rollmark::outcome::Verdict;
use rollmark::rehearse::Shoot;
use rollmark::vision::Eye;
use std::path::{Path, PathBuf};

/// Pixels that a copy lacks of the picture's width and height: at the right and below as many as
/// are not cut at the left and above.
const CUT_PX: u32 = 12;
/// How much finer and coarser a copy is kept, in steps of [`Quality::Constant`], and in percent of a
/// bit rate.
const STEPS: [i32; 2] = [-6, 2];
const PERCENT: [u32; 2] = [90, 200];

/// A copy that is being filmed.
struct Copy {
    path: PathBuf,
    left_top_px: [u32; 2],
    recorder: Recorder,
}

impl Copy {
    fn begin(shoot: &Shoot, number: usize, dir: &Path) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(shoot.seed);
        rng.set_stream(1 + number as u64);
        let quality = match shoot.quality {
            Quality::Constant(kept) => {
                let step = rng.random_range(STEPS[0]..=STEPS[1]);
                Quality::Constant((i32::from(kept) + step).clamp(1, 51) as u8)
            }
            Quality::BitRate(kept) => {
                Quality::BitRate(kept / 100 * rng.random_range(PERCENT[0]..=PERCENT[1]))
            }
        };
        let whole = shoot.record_options(RecordCodec::H264);
        let options = RecordOptions {
            width_px: whole.width_px - CUT_PX,
            height_px: whole.height_px - CUT_PX,
            quality,
            ..whole
        };
        let path = dir.join(format!("{}_{number}.mp4", shoot.seed));
        Self {
            left_top_px: [0, 1].map(|_| rng.random_range(0..=CUT_PX)),
            recorder: Recorder::create(&path, options).expect("the copy can be written"),
            path,
        }
    }
}

/// Films a clip in copies and reads them.
fn film_and_read_copies(
    eye: &Eye,
    shoot: &Shoot,
    copies: usize,
    dir: &Path,
) -> Vec<(PathBuf, Judged)> {
    let mut copies: Vec<_> = (0..copies).map(|n| Copy::begin(shoot, n, dir)).collect();
    for (_, picture) in shoot.film().expect("the photo is there") {
        for copy in &mut copies {
            let [left, top] = copy.left_top_px;
            let (width, height) = (picture.width() - CUT_PX, picture.height() - CUT_PX);
            let cut = crop_imm(&picture, left, top, width, height).to_image();
            copy.recorder.write(&cut).expect("a frame is written");
        }
    }
    let read = |copy: Copy| {
        copy.recorder.finish().expect("the copy is whole");
        let judged = read_and_judge(eye, shoot, &copy.path);
        (copy.path, judged)
    };
    copies.into_iter().map(read).collect()
}

fn main() {
    let mut arguments = Arguments::given("alike [SHARE [FIRST_SEED [COPIES [KEEP_DIR]]]]");
    let share = arguments.share(1);
    let first_seed: u64 = arguments.number(30_000);
    let copies: usize = arguments.number(8);
    let keep_dir = arguments.folder();
    arguments.end();
    assert_material();
    let eye = Eye::open().expect("the built-in networks load");
    let dir = tempfile::tempdir().expect("a temporary folder");
    let troubled = (0..ALL_HARD).step_by(share).map(|clip| {
        let hard = hard(clip, first_seed + clip as u64);
        (
            format!("{:?} {:.2}", hard.stress, hard.strength),
            hard.shoot,
        )
    });
    let clockless = (0..ALL_WITHOUT_CLOCK).step_by(share).map(|clip| {
        let shoot = without_clock(clip, first_seed + 10_000 + clip as u64);
        ("without a clock".to_owned(), shoot)
    });
    let plans: Vec<_> = troubled.chain(clockless).collect();
    let told = on_all_cores(plans.len(), |i| {
        let (name, shoot) = &plans[i];
        let read = film_and_read_copies(&eye, shoot, copies, dir.path());
        let is_wrong = |judged: &Judged| judged.is_sure() && !judged.is_near;
        let verdicts: String = read.iter().map(|(_, judged)| letter(judged)).collect();
        println!("{} {name}: {verdicts}", shoot.seed);
        for (path, judged) in &read {
            if is_wrong(judged) {
                println!("  {}: {}", path.display(), judged.line());
                if let Some(dir) = &keep_dir {
                    std::fs::create_dir_all(dir).expect("KEEP_DIR can be made");
                    let kept = dir.join(path.file_name().expect("a file"));
                    std::fs::copy(path, kept).expect("the copy is kept");
                }
            }
            std::fs::remove_file(path).expect("the copy is removed");
        }
        let is_off = |judged: &Judged| judged.is_sure() && !judged.is_covered;
        let off = read.iter().filter(|(_, judged)| is_off(judged)).count();
        (verdicts, off)
    });
    let off: usize = told.iter().map(|(_, off)| off).sum();
    let told: Vec<_> = told.into_iter().map(|(verdicts, _)| verdicts).collect();
    let clips = |is: fn(&str) -> bool| told.iter().filter(|verdicts| is(verdicts)).count();
    let of_copies = |sought| {
        told.iter()
            .flat_map(|v| v.chars())
            .filter(|&c| c == sought)
            .count()
    };
    println!(
        "\nclips {}: all copies sure {}, some {}, none {}; with one sure and wrong {}",
        told.len(),
        clips(|v| v.chars().all(|c| c == 'S')),
        clips(|v| v.contains('S') && v.contains(|c| c != 'S')),
        clips(|v| !v.contains(['S', 'X'])),
        clips(|v| v.contains('X')),
    );
    let wrong = of_copies('X');
    println!(
        "copies: S sure {}, X sure and wrong {wrong}, u unsure and near {}, w unsure and not {}, - none {}",
        of_copies('S'),
        of_copies('u'),
        of_copies('w'),
        of_copies('-'),
    );
    println!(
        "sure copies whose bounds, with one refresh and half a frame, do not hold the truth: {off}"
    );
    assert_eq!(wrong, 0, "copies that are sure and wrong");
}

fn letter(judged: &Judged) -> char {
    match (judged.outcome.verdict, judged.is_near) {
        (Verdict::Sure, true) => 'S',
        (Verdict::Sure, false) => 'X',
        (Verdict::Unsure, true) => 'u',
        (Verdict::Unsure, false) => 'w',
        (Verdict::None | Verdict::Failed, _) => '-',
    }
}
