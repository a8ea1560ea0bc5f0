//! Reads single simulated frames, ordinary ones and those with one trouble each, with fonts
//! and photos that no network was trained on, and tells how many are read exactly: every
//! digit of a count that was on the glass while the frame was exposed. Besides, how many are
//! read exactly but for digits that nobody could tell: fingers hide what sets them apart from
//! others, or several were on the glass one after another within the exposure, none for long.
//!
//! `cargo bench --bench reading -- [FRAMES_EACH] [FIRST_SEED] [KEEP_DIR [KIND...]]` prints one line
//! a trouble (strengths rise from mild to the limit), then how well the digits' probabilities hold.
//! The first look that finds the display is judged: another one that would have read it better does
//! not count.
//! KIND is a row's name: others are left out. KEEP_DIR gets every frame as `NUMBER.png`, and
//! `frames.tsv` with what it shows, whether it was read exactly, and whether so but for digits
//! that nobody could tell, what the eye said, and which digits those are, `?` among `#`:
//! `scripts/readers.py` shows the same frames to other readers.

mod arguments;
mod material;
mod stills;

use arguments::Arguments;
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use material::assert_material;
use rollmark::frame::Stamp;
use rollmark::rehearse::{Film, Shoot, Stress};
use rollmark::timecode::{ClockForm, Rate};
use rollmark::vision::Eye;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use stills::{Found, LOOKS, Read, Sight, Spent};

const CAMERA: Rate = Rate::F25;
/// Strengths of the troubles, from the first to the last frame.
const STRENGTHS: [f64; 2] = [0.3, 1.0];
/// Digit heights of ordinary frames otherwise filmed as they come, px.
const SMALL_PX: [f64; 3] = [9.0, 12.0, 16.0];
/// A digit can be told if it was on the glass for so much of its exposure: with twice the light of
/// all others that came in its place, as the fourth hundredth blends with those before ...
const LEAST_SHARE: f32 = 2.0 / 3.0;
/// ... and if so much ink in plain view sets it apart from all others: half a segment. Of a 2
/// and a 3 the upper halves are the same.
const LEAST_APART: f32 = 0.1;
/// JPEG qualities that stand for few bits, from mild to the limit: single frames have no
/// neighbours that a video coder could borrow from.
const FEW_BITS: [f64; 2] = [22.0, 5.0];
const BINS: usize = 10;

/// What is filmed.
#[derive(Clone, Copy)]
enum Kind {
    Ordinary,
    DigitPx(f64),
    Trouble(Stress),
}

impl Kind {
    fn name(self) -> String {
        match self {
            Self::Ordinary => "Ordinary".to_owned(),
            Self::DigitPx(px) => format!("Digits of {px} px"),
            Self::Trouble(stress) => format!("{stress:?}"),
        }
    }
}

/// A frame and what it shows.
struct Still {
    picture: RgbImage,
    stamp: Stamp,
    /// Digits of every count that was on the glass during the digits' exposure.
    shown: Vec<String>,
    /// Which of them nobody could tell.
    is_untellable: Vec<bool>,
}

#[derive(Default)]
struct Tally {
    frames: u32,
    found: u32,
    exact: u32,
    /// Exact but for digits that nobody could tell.
    tellable: u32,
    /// First looks are timed: most frames need no other.
    first: Spent,
    later: Spent,
}

/// Digits that stood still while they were exposed, by their probability: how many, sum of
/// probabilities, how many were right.
type Reliability = [[f64; 3]; BINS];

/// The middle frame of the time for which the display is held up; `number` of `each`.
fn film(kind: Kind, seed: u64, number: u64, each: u64) -> Still {
    let forms = [
        ClockForm::frames(Rate::F25, false).expect("a trade rate"),
        ClockForm::frames(Rate::F29_97, true).expect("a trade rate"),
        ClockForm::Hundredths,
    ];
    let form = forms[usize::try_from(seed % 3).expect("a small number")];
    let share = (number as f64 + 0.5) / each as f64;
    let between = |[low, high]: [f64; 2]| low + (high - low) * share;
    let mut shoot = match kind {
        Kind::Trouble(stress) => Shoot::stressed(seed, form, CAMERA, stress, between(STRENGTHS)),
        _ => Shoot::ordinary(seed, form, CAMERA),
    };
    let staged = shoot.staged.as_mut().expect("a display is filmed");
    if let Kind::DigitPx(px) = kind {
        staged.pose.digit_px = px;
    }
    let hold = staged.hold;
    let middle_s = f64::midpoint(hold.from_s.max(0.0), hold.to_s);
    let index = (middle_s * CAMERA.ratio().to_f64()).round() as u64;
    let digits = |count: i64| -> String {
        form.text(count)
            .chars()
            .filter(char::is_ascii_digit)
            .collect()
    };
    let mut film = Film::new(shoot).expect("the photos can be read");
    let seen = film.digits_seen(index);
    let counts: BTreeSet<i64> = seen.iter().flat_map(|d| d.counts.keys().copied()).collect();
    let shown: Vec<String> = counts.into_iter().map(digits).collect();
    let is_untellable = (seen.iter().enumerate())
        .map(|(place, digit)| {
            let mut shares = [0.0; 256];
            for (&count, share) in &digit.counts {
                shares[usize::from(digits(count).as_bytes()[place])] += share;
            }
            digit.apart < LEAST_APART || shares.iter().all(|&share| share < LEAST_SHARE)
        })
        .collect();
    let mut picture = film.frame(index);
    if matches!(kind, Kind::Trouble(Stress::LowBitRate)) {
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, between(FEW_BITS) as u8)
            .encode_image(&picture)
            .expect("a picture is encoded in memory");
        picture = image::load_from_memory(&bytes)
            .expect("it is decoded again")
            .into_rgb8();
    }
    Still {
        picture,
        stamp: Stamp {
            ticks: i64::try_from(index).expect("a short clip"),
            tick_seconds: CAMERA.ratio().recip(),
            index: Some(index),
        },
        shown,
        is_untellable,
    }
}

/// True if `read` gives every digit of `shown` that can be told, and nothing else but, at
/// most, something for each other one.
fn agrees_where_tellable(shown: &[u8], is_untellable: &[bool], read: &[u8]) -> bool {
    let Some((digit, later)) = shown.split_first() else {
        return read.is_empty();
    };
    let (is_this, are_later) = (is_untellable[0], &is_untellable[1..]);
    let goes_on = |rest: &[u8]| agrees_where_tellable(later, are_later, rest);
    (is_this && goes_on(read))
        || (read.split_first())
            .is_some_and(|(first, rest)| (is_this || first == digit) && goes_on(rest))
}

/// What came of one frame.
#[derive(Default)]
struct Outcome {
    is_found: bool,
    is_exact: bool,
    /// Exact but for digits that nobody could tell.
    is_told: bool,
    /// Digits of every display, look after look.
    said: Vec<String>,
}

/// Whether the display in the frame is read exactly, by the first look that finds it.
fn read(eye: &Eye, still: &Still, tally: &mut Tally, reliability: &mut Reliability) -> Outcome {
    let sight = Sight::of(&still.picture);
    let mut outcome = Outcome::default();
    for number in 0..LOOKS {
        let spent = if number == 0 {
            &mut tally.first
        } else {
            &mut tally.later
        };
        let reads = sight.look(number, eye, still.stamp, spent);
        (outcome.said).extend(reads.iter().map(|read| read.text.clone()));
        // A digit that nobody can tell may be missing from what was read.
        let agrees = |read: &Read| {
            let agrees_with = |shown: &String| {
                let (shown, read) = (shown.as_bytes(), read.text.as_bytes());
                agrees_where_tellable(shown, &still.is_untellable, read)
            };
            still.shown.iter().any(agrees_with)
        };
        let Some(found) = Found::among(&reads, &still.shown) else {
            outcome.is_told = reads.iter().any(agrees);
            if outcome.is_told {
                break;
            }
            continue;
        };
        outcome.is_found = true;
        outcome.is_exact = found.wrong == 0;
        outcome.is_told = agrees(found.read);
        let digits = found.read.text.bytes().zip(&found.read.probabilities);
        for (place, ((digit, &p), shown)) in digits.zip(found.shown.bytes()).enumerate() {
            // Where a digit changed within the exposure, either would be right.
            if still.shown.iter().any(|s| s.as_bytes()[place] != shown) {
                continue;
            }
            let bin = &mut reliability[((p * BINS as f32) as usize).min(BINS - 1)];
            bin[0] += 1.0;
            bin[1] += f64::from(p);
            bin[2] += f64::from(u8::from(digit == shown));
        }
        break;
    }
    tally.frames += 1;
    tally.found += u32::from(outcome.is_found);
    tally.exact += u32::from(outcome.is_exact);
    tally.tellable += u32::from(outcome.is_told);
    outcome
}

fn main() {
    let mut arguments = Arguments::given("reading [FRAMES_EACH [FIRST_SEED [KEEP_DIR [KIND...]]]]");
    let each: u64 = arguments.number(20);
    let first_seed: u64 = arguments.number(90_000);
    let keep = arguments.folder();
    if let Some(keep) = &keep {
        std::fs::create_dir_all(keep).expect("KEEP_DIR can be made");
    }
    assert_material();
    let eye = Eye::open().expect("the built-in networks load");
    let mut kinds = vec![Kind::Ordinary];
    kinds.extend(SMALL_PX.map(Kind::DigitPx));
    kinds.extend(Stress::ALL.map(Kind::Trouble));
    let only = arguments.names(&kinds.iter().map(|kind| kind.name()).collect::<Vec<_>>());
    let mut reliability = Reliability::default();
    let mut kept = String::from("file\tkind\tshown\tread\ttellable\tsaid\tcan_be_told\n");
    let mut files = 0;
    println!(
        "{:>16} frames found exact tellable  search ms  follow ms",
        ""
    );
    let rows = (0u64..).zip(kinds);
    for (row, kind) in rows.filter(|(_, kind)| only.is_empty() || only.contains(&kind.name())) {
        let mut tally = Tally::default();
        for n in 0..each {
            // Scenes of its own: a display that is hard to read counts in one row only.
            let still = film(kind, first_seed + row * each + n, n, each);
            let outcome = read(&eye, &still, &mut tally, &mut reliability);
            if let Some(keep) = &keep {
                let file = format!("{files:04}.png");
                still
                    .picture
                    .save(keep.join(&file))
                    .expect("the frame is kept");
                let shown = still.shown.join(" ");
                let places = still
                    .is_untellable
                    .iter()
                    .map(|&no| if no { '?' } else { '#' });
                let places: String = places.collect();
                writeln!(
                    kept,
                    "{file}\t{}\t{shown}\t{}\t{}\t{}\t{places}",
                    kind.name(),
                    u8::from(outcome.is_exact),
                    u8::from(outcome.is_told),
                    outcome.said.join(" ")
                )
                .expect("writing to a string cannot fail");
                files += 1;
            }
        }
        println!(
            "{:>16} {:6} {:5} {:5} {:8} {:10.1} {:10.1}",
            kind.name(),
            tally.frames,
            tally.found,
            tally.exact,
            tally.tellable,
            tally.first.search_ms(),
            tally.first.follow_ms(),
        );
    }
    let digits: f64 = reliability.iter().map(|bin| bin[0]).sum();
    let apart: f64 = reliability.iter().map(|bin| (bin[1] - bin[2]).abs()).sum();
    println!(
        "digits {digits}, expected calibration error {:.4}",
        apart / digits.max(1.0)
    );
    for [count, said, right] in reliability.into_iter().filter(|bin| bin[0] > 0.0) {
        println!(
            "  said {:.3}, right {:.3}, {count} digits",
            said / count,
            right / count
        );
    }
    if let Some(keep) = keep {
        std::fs::write(keep.join("frames.tsv"), kept).expect("the list is kept");
    }
}
