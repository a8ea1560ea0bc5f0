//! Films every clock rate with every camera rate by the simulator, at ordinary quality,
//! with fonts and photos that no network was trained on, and reads the clips with the
//! whole product. Prints one line a clip, as they come, and the figures at the end.
//!
//! `cargo bench --bench filmed -- [SHARE_OF_CASES] [FIRST_SEED] [KEEP_DIR]`: 1 films all
//! cases, 3 every third; clips that went wrong are kept in KEEP_DIR.

mod arguments;
mod cores;
mod judged;
mod material;

use arguments::Arguments;
use cores::on_all_cores;
use judged::{CAMERAS, Judged, camera_of, clocks, read_and_judge};
use material::assert_material;
use rollmark::media::RecordCodec;
use rollmark::rehearse::Shoot;
use rollmark::vision::Eye;

fn main() {
    let mut arguments = Arguments::given("filmed [SHARE [FIRST_SEED [KEEP_DIR]]]");
    let share = arguments.share(1);
    let first_seed: u64 = arguments.number(1000);
    let keep = arguments.folder();
    arguments.end();
    assert_material();
    let eye = Eye::open().expect("the built-in networks load");
    let clips = tempfile::tempdir().expect("a temporary folder");
    let forms = clocks();
    let cases: Vec<_> = (0..forms.len() * CAMERAS.len())
        .step_by(share)
        .map(|number| (number, forms[number / CAMERAS.len()], camera_of(number)))
        .collect();
    let judged = on_all_cores(cases.len(), |i| {
        let (number, form, camera) = cases[i];
        let seed = first_seed + number as u64;
        let shoot = Shoot::ordinary(seed, form, camera);
        let path = clips.path().join(format!("filmed_{seed}.mp4"));
        let options = shoot.record_options(RecordCodec::H264);
        shoot.record(&path, options).expect("the clip is filmed");
        let judged = read_and_judge(&eye, &shoot, &path);
        println!(
            "{seed} {:>12} {:>10} by {:>10} (true {}): {}",
            form.pattern(),
            form.rate().to_string(),
            camera.to_string(),
            form.text(shoot.phi().expect("a clock was filmed").floor() as i64),
            judged.line(),
        );
        if let Some(keep) = keep
            .as_ref()
            .filter(|_| !judged.is_near || !judged.is_sure())
        {
            std::fs::create_dir_all(keep).expect("KEEP_DIR can be made");
            std::fs::copy(&path, keep.join(path.file_name().expect("a file")))
                .expect("the clip is kept");
        }
        std::fs::remove_file(&path).expect("the clip is removed");
        judged
    });
    let count = |is: fn(&Judged) -> bool| judged.iter().filter(|j| is(j)).count();
    let wrong = count(|j| j.is_sure() && !j.is_near);
    println!(
        "clips {}; within one frame {}; sure {}; sure and wrong {wrong}; bounds with one refresh and half a frame cover the truth {}",
        judged.len(),
        count(|j| j.is_near),
        count(Judged::is_sure),
        count(|j| j.is_covered),
    );
    println!(
        "mean time to read {:.2} s",
        judged.iter().map(|j| j.took_s).sum::<f64>() / judged.len().max(1) as f64
    );
    assert_eq!(wrong, 0, "clips that are sure and wrong");
}
