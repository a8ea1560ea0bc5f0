//! Reads frames that are kept as pictures, each with what it shows: those of `reading` with a
//! KEEP_DIR, or of `scripts/train/plain.py`. For choosing between networks and rules, on frames
//! that measure nothing else.
//!
//! `cargo bench --bench frames -- DIR...` prints, by kind, how many frames are found, read
//! exactly, and read exactly with every digit above nine tenths, by the first look that finds the
//! display; then the digits that are
//! above nine tenths and wrong, the frames whose outcome differs from the one kept, and the time.

mod arguments;
mod cores;
mod stills;

use arguments::Arguments;
use cores::on_all_cores;
use rollmark::frame::Stamp;
use rollmark::timecode::Ratio;
use rollmark::vision::Eye;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use stills::{Found, LOOKS, Sight, Spent};

/// Probability of a digit that passes for sure here.
const SURE: f32 = 0.9;

struct Frame {
    picture: PathBuf,
    kind: String,
    /// Digits of every count that was on the glass during the exposure.
    shown: Vec<String>,
    was_exact: bool,
}

#[derive(Clone, Default)]
struct Outcome {
    is_found: bool,
    is_exact: bool,
    is_sure: bool,
    read: Vec<String>,
    /// Wrong digits above [`SURE`]: the digit, the one that is shown, how likely it was said to be.
    bold: Vec<(char, char, f32)>,
    spent: Spent,
}

/// The frames of a folder, from its `frames.tsv`.
fn frames_in(folder: &Path) -> Vec<Frame> {
    let list = folder.join("frames.tsv");
    let text = fs::read_to_string(&list).unwrap_or_else(|e| panic!("{}: {e}", list.display()));
    let frame = |line: &str| {
        let fields: Vec<&str> = line.split('\t').collect();
        let &[file, kind, shown, was_exact, ..] = &fields[..] else {
            panic!(
                "{}: four fields and more are wanted: {line}",
                list.display()
            );
        };
        Frame {
            picture: folder.join(file),
            kind: kind.to_owned(),
            shown: shown.split(' ').map(str::to_owned).collect(),
            was_exact: was_exact == "1",
        }
    };
    text.lines().skip(1).map(frame).collect()
}

fn read(eye: &Eye, frame: &Frame) -> Outcome {
    let picture = image::open(&frame.picture).expect("the picture can be read");
    let sight = Sight::of(&picture.into_rgb8());
    let stamp = Stamp {
        ticks: 0,
        tick_seconds: Ratio::new(1, 25),
        index: Some(0),
    };
    let mut outcome = Outcome::default();
    for number in 0..LOOKS {
        let spent = &mut outcome.spent;
        let reads = sight.look(number, eye, stamp, spent);
        (outcome.read).extend(reads.iter().map(|read| read.text.clone()));
        let Some(Found { read, shown, wrong }) = Found::among(&reads, &frame.shown) else {
            continue;
        };
        outcome.is_found = true;
        outcome.is_exact = wrong == 0;
        outcome.is_sure = wrong == 0 && read.probabilities.iter().all(|&p| p > SURE);
        let said = read.text.chars().zip(&read.probabilities);
        let bold =
            (shown.chars().zip(said)).filter(|(shown, (said, p))| shown != said && **p > SURE);
        outcome.bold = bold.map(|(shown, (said, &p))| (said, shown, p)).collect();
        break;
    }
    outcome
}

fn main() {
    let folders = Arguments::given("frames DIR...").rest();
    let frames: Vec<Frame> = folders
        .into_iter()
        .flat_map(|folder| frames_in(Path::new(&folder)))
        .collect();
    let eye = Eye::open().expect("the built-in networks load");
    let outcomes = on_all_cores(frames.len(), |i| read(&eye, &frames[i]));
    let mut kinds: BTreeMap<&str, [u32; 4]> = BTreeMap::new();
    for (frame, outcome) in frames.iter().zip(&outcomes) {
        let counts = [true, outcome.is_found, outcome.is_exact, outcome.is_sure];
        for kind in [&*frame.kind, "all"] {
            let sums = kinds.entry(kind).or_default();
            sums.iter_mut()
                .zip(counts)
                .for_each(|(sum, one)| *sum += u32::from(one));
        }
        if outcome.is_exact != frame.was_exact {
            let what = if outcome.is_exact {
                "read now"
            } else {
                "not read now"
            };
            let (picture, shown) = (frame.picture.display(), frame.shown.join(" "));
            println!(
                "{picture} {} {shown}: {what}, {:?}",
                frame.kind, outcome.read
            );
        }
        for (read, shown, p) in &outcome.bold {
            println!(
                "{} {}: {read} for {shown}, said {p:.3}",
                frame.picture.display(),
                frame.kind
            );
        }
    }
    println!("{:>24} frames found exact sure", "");
    for (kind, [count, found, exact, sure]) in kinds {
        println!("{kind:>24} {count:6} {found:5} {exact:5} {sure:4}");
    }
    let bold: usize = outcomes.iter().map(|o| o.bold.len()).sum();
    println!("wrong digits above {SURE}: {bold}");
    let mut spent = Spent::default();
    outcomes.iter().for_each(|o| spent += o.spent);
    println!(
        "all cores at work: search {:.1} ms a look, following {:.1} ms a display",
        spent.search_ms(),
        spent.follow_ms()
    );
}
