//! What the benches that read single frames share: looks at a frame, and what they read.

use image::{GrayImage, Luma, RgbImage};
use rollmark::frame::Stamp;
use rollmark::vision::{Eye, Lettering, Pyramid, Search, Sharpness};
use std::time::{Duration, Instant};

/// Looks at a frame, one after the other until one of them finds its display: a coarse one, a fine
/// one, and one at its colours, as for a clip.
pub const LOOKS: usize = 3;
/// Displays of a frame that are read, as many as a clip's dense pass takes on.
const MOST_DISPLAYS: usize = 4;

/// How long looks took.
#[derive(Clone, Copy, Default)]
pub struct Spent {
    pub looks: u32,
    pub search: Duration,
    /// Displays that were followed.
    pub follows: u32,
    pub follow: Duration,
}

impl std::ops::AddAssign for Spent {
    fn add_assign(&mut self, other: Self) {
        self.looks += other.looks;
        self.search += other.search;
        self.follows += other.follows;
        self.follow += other.follow;
    }
}

impl Spent {
    pub fn search_ms(&self) -> f64 {
        self.search.as_secs_f64() * 1e3 / f64::from(self.looks.max(1))
    }

    pub fn follow_ms(&self) -> f64 {
        self.follow.as_secs_f64() * 1e3 / f64::from(self.follows.max(1))
    }
}

/// The digits of a display, each with its probability.
pub struct Read {
    pub text: String,
    pub probabilities: Vec<f32>,
}

/// A display that shows one of the counts that were on the glass.
pub struct Found<'a> {
    pub read: &'a Read,
    /// The count that it comes closest to.
    pub shown: &'a str,
    /// Digits that differ from it.
    pub wrong: usize,
}

impl<'a> Found<'a> {
    /// Of what a look saw the display that comes closest to one of the counts `shown`; `None` if most
    /// digits of each differ from all of them, as on other displays.
    pub fn among(reads: &'a [Read], shown: &'a [String]) -> Option<Self> {
        let pairs = reads
            .iter()
            .flat_map(|read| shown.iter().map(move |s| (read, s)));
        pairs
            .filter(|(read, shown)| read.text.len() == shown.len())
            .map(|(read, shown)| Self {
                read,
                shown,
                wrong: (read.text.bytes().zip(shown.bytes()))
                    .filter(|(a, b)| a != b)
                    .count(),
            })
            .min_by_key(|found| found.wrong)
            .filter(|found| found.wrong * 2 <= found.shown.len())
    }
}

/// A frame as the eye sees it.
pub struct Sight {
    luma: Pyramid,
    /// How far red, green and blue lie apart.
    colour: Pyramid,
}

impl Sight {
    pub fn of(picture: &RgbImage) -> Self {
        let plane = |value: fn([u8; 3]) -> u8| {
            GrayImage::from_fn(picture.width(), picture.height(), |x, y| {
                Luma([value(picture.get_pixel(x, y).0)])
            })
        };
        Self {
            luma: Pyramid::new(plane(|code| {
                // ITU-R BT.709, item 3.2.
                let [r, g, b] = code.map(f32::from);
                (0.2126 * r + 0.7152 * g + 0.0722 * b).round() as u8
            })),
            colour: Pyramid::new(plane(|[r, g, b]| r.max(g).max(b) - r.min(g).min(b))),
        }
    }

    /// What one of the [`LOOKS`] sees.
    pub fn look(&self, number: usize, eye: &Eye, stamp: Stamp, spent: &mut Spent) -> Vec<Read> {
        let (plane, sharpness) = match number {
            0 => (&self.luma, Sharpness::Coarse),
            1 => (&self.luma, Sharpness::Fine),
            _ => (&self.colour, Sharpness::Coarse),
        };
        look(eye, plane, stamp, sharpness, spent)
    }
}

/// Finds displays in a frame, and reads each as a clip's dense pass would begin to.
fn look(
    eye: &Eye,
    frame: &Pyramid,
    stamp: Stamp,
    sharpness: Sharpness,
    spent: &mut Spent,
) -> Vec<Read> {
    let began = Instant::now();
    let discovery = eye
        .discover(frame, sharpness, &mut Lettering::default(), stamp)
        .expect("the networks run");
    spent.looks += 1;
    spent.search += began.elapsed();
    let displays = discovery.displays.iter().take(MOST_DISPLAYS);
    let read = displays.filter_map(|display| {
        let began = Instant::now();
        let seen = eye.follow(frame, display, stamp, Search::Around);
        spent.follows += 1;
        spent.follow += began.elapsed();
        let places = seen.expect("the networks run")?.reading.places;
        let best = places.iter().map(|odds| odds.best());
        let (text, probabilities) = best.map(|(digit, p)| (char::from(b'0' + digit), p)).unzip();
        Some(Read {
            text,
            probabilities,
        })
    });
    read.collect()
}
