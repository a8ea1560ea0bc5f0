//! What the benches that read single frames share: looks at a frame, and what they read.

use rollmark::frame::Stamp;
use rollmark::vision::{Eye, Lettering, Pyramid, Search, Sharpness};
use std::time::{Duration, Instant};

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

impl Read {
    /// The one among the counts `shown` that it comes closest to; `None` if most digits differ
    /// from all of them, as on another display.
    pub fn nearest<'s>(&self, shown: &'s [String]) -> Option<&'s str> {
        let wrong = |shown: &&str| {
            let pairs = shown.bytes().zip(self.text.bytes());
            pairs.filter(|(a, b)| a != b).count()
        };
        (shown.iter().map(String::as_str))
            .filter(|s| s.len() == self.text.len())
            .min_by_key(wrong)
            .filter(|s| wrong(s) * 2 <= s.len())
    }
}

/// Finds displays in a frame, and reads each as a clip's dense pass would begin to.
pub fn look(
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
