//! What perfect digits would tell, by trying every clock. Nothing here uses the fit.

use crate::filming::{Clock, FRAMES, Filmed, Label, Light, Scene, Stamps, THOUSANDTHS, segment};
use crate::habits::Habit;

/// Real seconds per clip second.
pub const SPEEDS: [f64; 8] = [1.0, 0.8, 0.5, 0.4, 0.25, 0.2, 0.125, 0.1];
/// The slowest panel in common use: a rival clock may be shown this late.
const SLOWEST_PANEL_HZ: f64 = 50.0;

/// Counts from the truth to a start of another clock, compared as a person would: by what the
/// labels say; in one second, parts by parts.
pub fn counts_off(scene: &Scene, clock: &Clock, label: Label, within: f64) -> f64 {
    let truth = &scene.clock;
    let day = truth.day() as f64;
    let [hour, minute, second, part] = label;
    let phi = scene.habit.read_on_frame_0(truth, scene.phi);
    let true_label = truth.label(phi.floor() as i64);
    let true_within = phi.rem_euclid(1.0);
    if label[..3] == true_label[..3] && clock.last_digits == truth.last_digits {
        return (part - true_label[3]) as f64 + within - true_within;
    }
    let count = if clock.base == truth.base {
        let same = truth.count(label);
        let later = truth.count([hour, minute, second, part + truth.skipped]);
        same.or(later).expect("a label with a base in common") as f64 + within
    } else {
        let seconds = |[h, m, s, p]: Label, base: i64, within: f64| {
            (h * 3600 + m * 60 + s) as f64 + (p as f64 + within) / base as f64
        };
        let apart =
            seconds(label, clock.base, within) - seconds(true_label, truth.base, true_within);
        phi + apart * truth.base as f64
    };
    (count - phi + day / 2.0).rem_euclid(day) - day / 2.0
}

/// Phases at frame 0 that explain all frames so far.
#[derive(Clone, Copy)]
struct Explains {
    low: f64,
    high: f64,
    /// Frames that they take for the picture before.
    repeats: u32,
    /// When the picture was taken that the last frame shows, by its stamp.
    taken_at: f64,
}

/// True if no other clock, at any speed and shown up to a slow panel's refresh late, shows the
/// same digits and starts elsewhere: with perfect digits, one could be certain.
pub fn could_be_certain(scene: &Scene, filmed: &Filmed, grain: f64) -> bool {
    if !was_seen_running(scene, filmed) {
        return false;
    }
    // A change that may be shown late is known to no better than that, besides the frame.
    let late_s = 1.0 / SLOWEST_PANEL_HZ;
    let refresh_s = scene.panel.map_or(0.0, |(hz, _)| 1.0 / hz);
    if scene.clock.is_coarse() && late_s > scene.frame_s() + refresh_s {
        return false;
    }
    let seen: Vec<Told> = filmed
        .shown
        .iter()
        .map(|&(at, count)| (at, vec![scene.clock.digits(count)]))
        .collect();
    let mut own: Option<(f64, u32)> = None;
    for (clock, speed) in clocks(scene) {
        let late = clock.rate() / SLOWEST_PANEL_HZ;
        for start in explaining(scene, &seen, &clock, clock.rate() * speed, late) {
            let off = start.off(scene, &clock);
            let (own_off, most) = *own.get_or_insert((off, start.repeats + more_repeats(scene)));
            if start.repeats <= most && (off - own_off).abs() > grain {
                return false;
            }
        }
    }
    true
}

/// False if too little was seen for anyone to say that a clock runs, or if nobody knows what a
/// habit like the scene's leaves over.
pub fn was_seen_running(scene: &Scene, filmed: &Filmed) -> bool {
    let mut counts: Vec<i64> = filmed.shown.iter().map(|s| s.1).collect();
    counts.dedup();
    scene.habit == Habit::Even && filmed.shown.len() >= 4 && counts.len() >= 3
}

/// Frames more than must be that may be taken for repeats of the picture before, within the doubt
/// that bounds must hold.
fn more_repeats(scene: &Scene) -> u32 {
    (POSSIBLE / repeat_nats(scene)) as u32
}

/// Nats that it takes to call one frame a repeat.
fn repeat_nats(scene: &Scene) -> f64 {
    -scene.doubled.ln()
}

/// Clocks of the table that could show the same number of digits, at all speeds. The one that was
/// filmed comes first: all others are held against its start.
pub fn clocks(scene: &Scene) -> Vec<(Clock, f64)> {
    let mut clocks: Vec<Clock> = if FRAMES.contains(&scene.clock) {
        // A colon may stand before thousandths, too; hundredths are a hundred frames.
        FRAMES
            .into_iter()
            .chain([THOUSANDTHS])
            .filter(|c| c.last_digits == scene.clock.last_digits)
            // A semicolon is drop-frame's.
            .filter(|c| !scene.has_mark || scene.clock.skipped == 0 || c.skipped > 0)
            .collect()
    } else {
        vec![scene.clock]
    };
    clocks.sort_by_key(|clock| *clock != scene.clock);
    let mut speeds = SPEEDS;
    speeds.sort_by_key(|&speed| speed.total_cmp(&scene.speed).is_ne());
    let at_speeds = |clock| speeds.map(|speed| (clock, speed));
    clocks.into_iter().flat_map(at_speeds).collect()
}

/// When a frame was seen, and the labels that it may show.
type Told = (f64, Vec<Vec<u8>>);

/// The starts of one clock of so many counts a second that explain all frames, shown up to `late`
/// counts late, those with the fewest repeats first.
fn explaining(scene: &Scene, seen: &[Told], clock: &Clock, pace: f64, late: f64) -> Vec<Explains> {
    let same = |digits: &[u8], other: &[u8]| {
        let mut places = digits.iter().zip(other).enumerate();
        places.all(|(place, (a, b))| a == b || scene.dark == Some(place))
    };
    let tick = match scene.stamps {
        Stamps::Exact => 0.0,
        Stamps::Uneven(per_second) => 1.0 / per_second as f64,
    };
    let fuzz = tick * pace + 1e-9;
    let from_frame = |(at, labels): &Told| {
        let fills = labels.iter().flat_map(|digits| match scene.dark {
            None => vec![digits.clone()],
            Some(place) => (0..10)
                .map(|d| {
                    let mut filled = digits.clone();
                    filled[place] = d;
                    filled
                })
                .collect(),
        });
        let start = |digits: Vec<u8>| {
            let two = |i: usize| i64::from(10 * digits[i] + digits[i + 1]);
            let part = digits[6..]
                .iter()
                .fold(0, |sum, &d| 10 * sum + i64::from(d));
            let count = clock.count([two(0), two(2), two(4), part])? as f64;
            let from = count - pace * at;
            Some(Explains {
                low: from - fuzz,
                high: from + 1.0 + late + fuzz,
                repeats: 0,
                taken_at: *at,
            })
        };
        fills.filter_map(start).collect::<Vec<_>>()
    };
    let most_repeats = match scene.doubled > 0.0 {
        true => MOST_REPEATS,
        false => 0,
    };
    let mut starts = from_frame(&seen[0]);
    for (at, labels) in seen.iter().skip(1) {
        let taken_at = |start: &Explains, at: f64, repeats: u32| {
            let first = (start.low + pace * at - late).floor() as i64;
            let last = (start.high + pace * at).floor() as i64;
            let fits = (first..=last).filter(|&c| {
                let shown = clock.digits(c);
                labels.iter().any(|digits| same(&shown, digits))
            });
            let with = fits.map(|c| {
                let from = c as f64 - pace * at;
                Explains {
                    low: start.low.max(from - fuzz),
                    high: start.high.min(from + 1.0 + late + fuzz),
                    repeats,
                    taken_at: at,
                }
            });
            with.filter(|e| e.low < e.high).collect::<Vec<_>>()
        };
        let explains = |start: &Explains| {
            let mut all = taken_at(start, *at, start.repeats);
            if start.repeats < most_repeats {
                all.extend(taken_at(start, start.taken_at, start.repeats + 1));
            }
            all
        };
        starts = starts.iter().flat_map(explains).collect();
        // Neighbouring counts of a dark place lead to overlapping starts.
        starts.sort_by(|a, b| {
            let (by_low, by_taken) = (a.low.total_cmp(&b.low), a.taken_at.total_cmp(&b.taken_at));
            a.repeats.cmp(&b.repeats).then(by_taken).then(by_low)
        });
        starts.dedup_by(|b, a| {
            let is_like = a.repeats == b.repeats && a.taken_at.total_cmp(&b.taken_at).is_eq();
            let touch = is_like && b.low <= a.high;
            if touch {
                a.high = a.high.max(b.high);
            }
            touch
        });
        if starts.is_empty() {
            break;
        }
    }
    starts
}

impl Explains {
    /// Counts from the truth to the middle.
    fn off(&self, scene: &Scene, clock: &Clock) -> f64 {
        let middle = f64::midpoint(self.low, self.high);
        let label = clock.label(middle.floor() as i64);
        counts_off(scene, clock, label, middle.rem_euclid(1.0))
    }
}

/// Nats within which bounds must hold what is possible: one in 1,100.
const POSSIBLE: f64 = 7.0;
/// Lateness that is tried, in seconds, the least first.
const LATE_S: [f64; 4] = [0.0, 1.0 / 120.0, 1.0 / 60.0, 1.0 / 50.0];

/// Crystals drift by so many parts per million, either way, against each other.
const DRIFTS: [f64; 3] = [0.0, -30e-6, 30e-6];
/// Counts that pass in a frame from which on the readings of single places do not tell which of
/// them stood in the middle of the exposure.
const A_PILE: f64 = 4.0;
/// Frames of one set that may repeat the picture before, at most: one in fifty does, of 150.
const MOST_REPEATS: u32 = 12;

/// Width of what the frames leave over to one who sees each of them in its own light, and knows all
/// but what nobody can: any clock of the table that drifts as crystals do, with the lateness and the
/// repeated frames that cost least, whose start is less than `grain` counts from that of the clock
/// that was filmed. `None` if no clock explains the frames.
///
/// A frame may show any count that stood while the shutter was open, if the half of the exposure is
/// less than s sqrt(2 * 7 / D) of it away: s is the noise of a segment, and D the segments in which
/// that count differs from the one in the middle. How long the shutter was open is not known: of a
/// pile of counts the digits of a place are known to have stood at some moment of a frame's time.
/// Uneven stamps are known to a tick; that a frame repeats the picture before costs the logarithm
/// of how seldom frames do, and bounds must hold what is 7 nats behind.
pub fn width_in_the_light(scene: &Scene, filmed: &Filmed, grain: f64) -> Option<f64> {
    let seen: Vec<Told> = filmed
        .shown
        .iter()
        .zip(&filmed.light)
        .map(|(&(at, count), light)| (at, labels_in(scene, count, light)))
        .collect();
    // The start of the clock that was filmed, and the repeats that any clock may take.
    let mut own: Option<(f64, u32)> = None;
    let (mut low, mut high) = (f64::MAX, f64::MIN);
    for (clock, speed) in clocks(scene) {
        for drift in DRIFTS {
            let pace = clock.rate() * speed * (1.0 + drift);
            // In the late zone each frame foretells two counts.
            let late_nats = |late_s: f64| {
                std::f64::consts::LN_2 * (clock.rate() * late_s).min(1.0) * seen.len() as f64
            };
            let mut of_this: Option<(f64, Vec<Explains>)> = None;
            for late_s in LATE_S {
                if of_this
                    .as_ref()
                    .is_some_and(|best| best.0 <= late_nats(late_s))
                {
                    break;
                }
                let starts = explaining(scene, &seen, &clock, pace, clock.rate() * late_s);
                let Some(first) = starts.first() else {
                    continue;
                };
                let repeats = match first.repeats {
                    0 => 0.0,
                    n => f64::from(n) * repeat_nats(scene),
                };
                let nats = late_nats(late_s) + repeats;
                if of_this.as_ref().is_none_or(|best| nats < best.0) {
                    of_this = Some((nats, starts));
                }
            }
            let Some((_, starts)) = of_this else {
                continue;
            };
            for start in starts {
                let off = start.off(scene, &clock);
                let (own_off, most) =
                    *own.get_or_insert((off, start.repeats + more_repeats(scene)));
                if start.repeats <= most && (off - own_off).abs() <= grain {
                    let half = (start.high - start.low) / 2.0;
                    (low, high) = (low.min(off - half), high.max(off + half));
                }
            }
        }
    }
    let frame = scene.pace() * scene.frame_s();
    let unknown = if frame < A_PILE { 0.0 } else { frame };
    own.map(|_| high - low + unknown)
}

/// The labels that a frame may show.
fn labels_in(scene: &Scene, count: i64, light: &Light) -> Vec<Vec<u8>> {
    let shown = scene.clock.digits(count);
    let mut labels = vec![shown.clone()];
    let mut before = 0.0;
    for &(other, share) in &light.exposed {
        let (from, to) = (before, before + share);
        before = to;
        let digits = scene.clock.digits(other);
        let differs = |(place, (&a, &b)): (usize, (&u8, &u8))| match scene.dark == Some(place) {
            true => 0,
            false => (0..7)
                .filter(|&s| segment(a.into(), s) != segment(b.into(), s))
                .count(),
        };
        let pairs = shown.iter().zip(&digits).enumerate();
        let segments: usize = pairs.map(differs).sum();
        let away = (from - 0.5).max(0.5 - to);
        if segments > 0 && away < scene.noise * (2.0 * POSSIBLE / segments as f64).sqrt() {
            labels.push(digits);
        }
    }
    labels
}
