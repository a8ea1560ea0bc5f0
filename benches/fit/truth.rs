//! What perfect digits would tell, by trying every clock. Nothing here uses the fit.

use crate::filming::{Clock, FRAMES, Filmed, Label, Light, Scene, Stamps, THOUSANDTHS, segment};
use crate::habits::Habit;
use std::collections::BTreeMap;

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

/// Width of what perfect digits leave over, with the spread of lags that was in view: for this
/// clock, and for the one 1000/1001 as fast if the digits allow it too.
pub fn best_width(scene: &Scene, filmed: &Filmed) -> f64 {
    let spread = filmed.lags.1 - filmed.lags.0;
    let with = |pace: f64| {
        let all = filmed.shown.iter().map(|&(at, count)| {
            let from = count as f64 - pace * at;
            (from, from + 1.0 + spread)
        });
        all.reduce(|a, b| (a.0.max(b.0), a.1.min(b.1)))
            .expect("frames were filmed")
    };
    let mut best = with(scene.pace());
    let cousin = match scene.clock.den {
        1 => scene.pace() * 1000.0 / 1001.0,
        _ => scene.pace() * 1001.0 / 1000.0,
    };
    let other = with(cousin);
    let has_cousin = FRAMES
        .iter()
        .any(|c| c.base == scene.clock.base && c.den != scene.clock.den);
    if has_cousin && other.0 < other.1 {
        best = (best.0.min(other.0), best.1.max(other.1));
    }
    best.1 - best.0
}

/// Phases at frame 0 that explain all frames but some.
#[derive(Clone, Copy)]
struct Explains {
    low: f64,
    high: f64,
    /// Frames that they do not explain.
    misread: u32,
}

/// True if no other clock, at any speed and shown up to a slow panel's refresh late, shows the
/// same digits and starts elsewhere: with perfect digits, one could be certain.
/// `may_be_misread` is the number of frames that may show anything: 1, and no single frame decides.
pub fn could_be_certain(scene: &Scene, filmed: &Filmed, grain: f64, may_be_misread: u32) -> bool {
    // What these could tell is not known.
    if scene.habit != Habit::Even {
        return false;
    }
    let mut counts: Vec<i64> = filmed.shown.iter().map(|s| s.1).collect();
    counts.dedup();
    if filmed.shown.len() < 4 || counts.len() < 3 {
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
    let mut own: Option<f64> = None;
    for (clock, speed) in clocks(scene) {
        let late = clock.rate() / SLOWEST_PANEL_HZ;
        for start in explaining(scene, &seen, &clock, speed, late, may_be_misread) {
            let off = start.off(scene, &clock);
            if (off - *own.get_or_insert(off)).abs() > grain {
                return false;
            }
        }
    }
    true
}

/// Clocks of the table that could show the same number of digits, at all speeds. The one that was
/// filmed comes first: all others are held against its start.
fn clocks(scene: &Scene) -> Vec<(Clock, f64)> {
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

/// The starts of one clock that explain all frames but so many, shown up to `late` counts late.
fn explaining(
    scene: &Scene,
    seen: &[Told],
    clock: &Clock,
    speed: f64,
    late: f64,
    may_be_misread: u32,
) -> Vec<Explains> {
    let same = |digits: &[u8], other: &[u8]| {
        let mut places = digits.iter().zip(other).enumerate();
        places.all(|(place, (a, b))| a == b || scene.dark == Some(place))
    };
    let tick = match scene.stamps {
        Stamps::Exact => 0.0,
        Stamps::Uneven(per_second) => 1.0 / per_second as f64,
    };
    let pace = clock.rate() * speed;
    let fuzz = tick * pace + 1e-9;
    let from_frame = |(at, labels): &Told, misread| {
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
                misread,
            })
        };
        fills.filter_map(start).collect::<Vec<_>>()
    };
    let mut starts = from_frame(&seen[0], 0);
    for (frame, (at, labels)) in seen.iter().enumerate().skip(1) {
        let explains = |start: &Explains| {
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
                    ..*start
                }
            });
            let with: Vec<Explains> = with.filter(|e| e.low < e.high).collect();
            let without = (start.misread < may_be_misread).then(|| Explains {
                misread: start.misread + 1,
                ..*start
            });
            with.into_iter().chain(without).collect::<Vec<_>>()
        };
        let before = frame == 1 && may_be_misread > 0;
        starts = starts.iter().flat_map(explains).collect();
        if before {
            starts.extend(from_frame(&seen[1], 1));
        }
        // Neighbouring counts of a dark place lead to overlapping starts.
        starts.sort_by(|a, b| {
            let by_low = a.low.total_cmp(&b.low);
            a.misread.cmp(&b.misread).then(by_low)
        });
        starts.dedup_by(|b, a| {
            let touch = a.misread == b.misread && b.low <= a.high;
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

/// Width of what the frames leave over to one who sees each of them in its own light: any clock
/// of the table, with the least lateness that explains all frames, whose start is less than
/// `grain` counts from that of the clock that was filmed. A frame may show any count that stood
/// while the shutter was open, if the half of the exposure is less than s sqrt(2 * 7 / D) of it
/// away: s is the noise of a segment, and D the segments in which that count differs from the
/// one in the middle. Uneven stamps are known to a tick.
pub fn width_in_the_light(scene: &Scene, filmed: &Filmed, grain: f64) -> f64 {
    let seen: Vec<Told> = filmed
        .shown
        .iter()
        .zip(&filmed.light)
        .map(|(&(at, count), light)| (at, labels_in(scene, count, light)))
        .collect();
    let mut own: Option<f64> = None;
    let (mut low, mut high) = (f64::MAX, f64::MIN);
    for (clock, speed) in clocks(scene) {
        let mut of_this = LATE_S
            .iter()
            .map(|late_s| explaining(scene, &seen, &clock, speed, clock.rate() * late_s, 0));
        let Some(starts) = of_this.find(|starts| !starts.is_empty()) else {
            continue;
        };
        for start in starts {
            let off = start.off(scene, &clock);
            if (off - *own.get_or_insert(off)).abs() <= grain {
                let half = (start.high - start.low) / 2.0;
                (low, high) = (low.min(off - half), high.max(off + half));
            }
        }
    }
    high - low
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

/// Nats by which the truth must lead everything else before it is certain: ln(10,000).
const CERTAIN: f64 = 9.21;
/// Nats against a spoiled group: ln 100. What it keeps of the noise.
const SPOILED: f64 = 4.6;
const SPOILED_KEEPS: f64 = 0.5;

/// True if the light itself tells the truth from every other value of the hours, the minutes and
/// the seconds, and from starts some counts away, by more than `grain` counts.
///
/// The observer is told the clock, its pace, its phase, each exposure, which digits were
/// flipped, and the law of the noise; he sees the segments where the fit sees ten odds. Noise of
/// one segment has the variance s^2; a share k of it is the same in all n frames. What is left
/// when the light of a clock is taken away, x in frame t, then costs
///
/// ```text
/// 1/(2 s^2) * ( sum x^2 / (1 - k)  -  k (sum x)^2 / ((1 - k) (1 - k + n k)) )    nats,
/// ```
///
/// by the inverse of the covariance s^2 ((1 - k) I + k 11'). Nobody can do better.
///
/// An observer who `allows_for_spoiled` groups takes it for possible, at odds of one to a hundred,
/// that glare or a finger lies on the hours, minutes or seconds alone, and keeps half of the noise
/// there or more: two looks' worth. The truth must then lead by as much, less ln 100.
pub fn could_be_told(scene: &Scene, filmed: &Filmed, grain: f64, allows_for_spoiled: bool) -> bool {
    let clock = &scene.clock;
    let of_light = |light: &Light| light.exposed.iter().map(|e| e.0).collect::<Vec<_>>();
    let mut counts: Vec<i64> = filmed.light.iter().flat_map(of_light).collect();
    counts.sort_unstable();
    counts.dedup();
    let truth: Shown = counts.iter().map(|&c| (c, clock.digits(c))).collect();
    let lead = |rival: &Shown, kept: f64| -> f64 {
        let is_other = |&place: &usize| {
            scene.dark != Some(place) && counts.iter().any(|c| rival[c][place] != truth[c][place])
        };
        let places = (0..6 + clock.last_digits).filter(is_other);
        let loses = |place| {
            let told = filmed.light.iter().filter(|l| l.flipped != Some(place));
            let told: Vec<&Light> = told.collect();
            cost(scene, kept, &told, place, rival) - cost(scene, kept, &told, place, &truth)
        };
        places.map(loses).sum()
    };
    let leads = |rival: Shown| lead(&rival, scene.kept_noise) >= CERTAIN;
    let leads_in_groups = |rival: Shown| {
        let spoiled = || lead(&rival, scene.kept_noise.max(SPOILED_KEEPS)) + SPOILED;
        lead(&rival, scene.kept_noise) >= CERTAIN && (!allows_for_spoiled || spoiled() >= CERTAIN)
    };
    let with_group = |(group, by): (usize, i64)| -> Shown {
        let size = if group == 0 { 24 } else { 60 };
        let moved = truth.iter().map(|(&count, digits)| {
            let mut digits = digits.clone();
            let value = i64::from(10 * digits[2 * group] + digits[2 * group + 1]);
            let value = ((value + by) % size) as u8;
            (digits[2 * group], digits[2 * group + 1]) = (value / 10, value % 10);
            (count, digits)
        });
        moved.collect()
    };
    let hours = (1..24).map(|by| (0, by));
    let minutes_and_seconds = (1..60).flat_map(|by| [(1, by), (2, by)]);
    let later = |by: i64| counts.iter().map(|&c| (c, clock.digits(c + by))).collect();
    let few = (2..10).chain((1..10).map(|tens| 10 * tens));
    let few = few.filter(|&by| by as f64 > grain && by < clock.base);
    hours
        .chain(minutes_and_seconds)
        .map(with_group)
        .all(leads_in_groups)
        && few.flat_map(|by| [by, -by]).map(later).all(leads)
}

/// The digits that a clock shows at each count in view.
type Shown = BTreeMap<i64, Vec<u8>>;

/// Nats that the light of `told` at one place costs a clock that shows these digits, if a share
/// `kept` of the noise is the same in all of it.
fn cost(scene: &Scene, kept: f64, told: &[&Light], place: usize, shown: &Shown) -> f64 {
    let own = 1.0 - kept;
    let (mut sums, mut squares) = ([0.0; 7], 0.0);
    for light in told {
        let mut rest = light.seen[place];
        for (count, share) in &light.exposed {
            let digit = usize::from(shown[count][place]);
            for (s, rest) in rest.iter_mut().enumerate() {
                *rest -= share * segment(digit, s);
            }
        }
        squares += rest.iter().map(|x| x * x).sum::<f64>();
        sums.iter_mut().zip(rest).for_each(|(sum, x)| *sum += x);
    }
    let of_sums: f64 = sums.iter().map(|sum| sum * sum).sum();
    let shared = kept / (own + told.len() as f64 * kept);
    (squares - of_sums * shared) / own / (2.0 * scene.noise * scene.noise)
}
