//! Kinds of footage, and a scene of each for every seed.

use crate::filming::{self, Clock, FRAMES, Scene, Stamps};
use crate::habits::Habit;
use crate::truth::SPEEDS;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Frames a second that no table holds.
const ODD_BASES: [u32; 11] = [10, 12, 15, 16, 20, 36, 40, 64, 72, 75, 90];
const CAMERAS: [(u32, u32); 9] = [
    (24000, 1001),
    (24, 1),
    (25, 1),
    (30000, 1001),
    (30, 1),
    (50, 1),
    (60000, 1001),
    (60, 1),
    (120, 1),
];
/// Refreshes of panels, in hertz, the slowest first, and the share of displays that are panels.
pub const PANELS_HZ: [f64; 6] = [50.0, 59.94, 60.0, 60.3, 90.0, 120.0];
pub const PANELS: f64 = 0.6;

/// A kind of footage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Case {
    BurnedIn,
    Panel,
    Flipped,
    PoorLight,
    PoorerLight,
    RashReader,
    Short,
    Conformed,
    Uneven,
    DarkPlace,
    FarFromStart,
    Coarse,
    Fine,
    HeadAndTail,
    Minute,
    Midnight,
    OddSpeed,
    OffClock,
    OddRate,
    Misses,
    TwoSources,
    TwelveHours,
    Frozen,
    Stale,
    Set,
    SetBetween,
    Swaps,
    Loses,
    Ramp,
}

impl Case {
    /// Whether the clock, the camera or the reader does not keep to what the fit assumes of it.
    pub fn is_unruly(self) -> bool {
        let first = CASES.iter().position(|c| c.0 == Self::OddSpeed);
        let this = CASES.iter().position(|c| c.0 == self);
        this >= first
    }
}

pub const CASES: [(Case, &str); 29] = [
    (Case::BurnedIn, "30 to 150 frames, burned in, clear"),
    (Case::Panel, "on panels, moving digits"),
    (Case::Flipped, "one digit flipped in 20 % of frames"),
    (
        Case::PoorLight,
        "poor light, noise partly the same throughout",
    ),
    (
        Case::PoorerLight,
        "poor light, noise mostly the same throughout",
    ),
    (Case::RashReader, "the same, by a reader too sure of itself"),
    (Case::Short, "5 to 14 frames"),
    (Case::Conformed, "conformed to 0.8 to 0.1 of real speed"),
    (Case::Uneven, "uneven stamps, dropped and doubled frames"),
    (Case::DarkPlace, "one place dark"),
    (Case::FarFromStart, "500 to 10,000 frames after frame 0"),
    (Case::Coarse, "whole seconds and tenths"),
    (Case::Fine, "hundredths and thousandths"),
    (
        Case::HeadAndTail,
        "two or three windows, 15 ppm (1 sigma) of drift",
    ),
    (Case::Minute, "drop-frame over a minute mark"),
    (Case::Midnight, "over midnight"),
    (Case::OddSpeed, "1 to 2.5 % fast or slow"),
    (
        Case::OffClock,
        "seconds and tenths that run 0.1 to 5 % fast or slow",
    ),
    (Case::OddRate, "frames at rates that no table holds"),
    (Case::Misses, "displays that miss counts"),
    (
        Case::TwoSources,
        "frames and seconds from two sources that do not agree",
    ),
    (Case::TwelveHours, "twelve hours a day, over one o'clock"),
    (Case::Frozen, "one place stands still"),
    (Case::Stale, "through a player that falls behind"),
    (Case::Set, "set while in view"),
    (Case::SetBetween, "set between two windows"),
    (Case::Swaps, "two neighbours swapped in 5 to 30 % of frames"),
    (Case::Loses, "frames lost, stamped evenly"),
    (Case::Ramp, "another speed from some frame on"),
];

fn pick<T: Copy>(rng: &mut impl Rng, from: &[T]) -> T {
    from[rng.random_range(0..from.len())]
}

pub fn scene(case: Case, seed: u64) -> Scene {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x0F17_BE4C_0000_0000);
    let clock = match case {
        Case::Coarse | Case::OffClock => pick(&mut rng, &[filming::SECONDS, filming::TENTHS]),
        Case::Fine => pick(&mut rng, &[filming::HUNDREDTHS, filming::THOUSANDTHS]),
        Case::Minute => {
            let skipping: Vec<Clock> = FRAMES.into_iter().filter(|c| c.skipped > 0).collect();
            pick(&mut rng, &skipping)
        }
        Case::OddRate => filming::frames_of(pick(&mut rng, &ODD_BASES)),
        _ => pick(&mut rng, &FRAMES),
    };
    let camera = pick(&mut rng, &CAMERAS);
    let frames_in = |s: f64| (s * f64::from(camera.0) / f64::from(camera.1)) as u64;
    let frames = match case {
        Case::Short => rng.random_range(5..15),
        Case::Coarse => rng.random_range(80..200),
        Case::OffClock => frames_in(rng.random_range(2.0..20.0)),
        _ => rng.random_range(30..150),
    };
    let first = match case {
        Case::FarFromStart => rng.random_range(500..10_000),
        Case::OffClock => frames_in(rng.random_range(0.0..10.0)),
        // What was otherwise before, nothing that was seen can tell.
        Case::Frozen | Case::Ramp => 0,
        _ if rng.random_bool(0.5) => 0,
        _ => rng.random_range(0..100),
    };
    let mut windows = vec![(first..first + frames).collect::<Vec<u64>>()];
    if matches!(case, Case::HeadAndTail | Case::SetBetween) {
        for _ in 0..rng.random_range(1..3) {
            let from =
                windows.last().and_then(|w| w.last()).unwrap_or(&0) + rng.random_range(100..20_000);
            windows.push((from..from + rng.random_range(30..100)).collect());
        }
    }
    if case == Case::Uneven {
        windows[0].retain(|_| rng.random_bool(0.93));
    }
    let mut scene = Scene {
        clock,
        phi: 0.0,
        speed: match case {
            Case::Conformed => pick(&mut rng, &SPEEDS[1..]),
            Case::OddSpeed => 1.0 + pick(&mut rng, &[-1.0, 1.0]) * rng.random_range(0.01..0.025),
            _ => 1.0,
        },
        drift_ppm: match case {
            Case::OffClock => {
                // Evenly by logarithm.
                let off = 50f64.powf(rng.random()) * 1_000.0;
                off * pick(&mut rng, &[-1.0, 1.0])
            }
            _ => 0.0,
        },
        camera,
        stamps: Stamps::Exact,
        windows,
        panel: None,
        exposure: 0.0,
        noise: 0.15,
        kept_noise: 0.0,
        noise_believed: 0.15,
        flips: 0.0,
        doubled: 0.0,
        dark: None,
        has_mark: rng.random_bool(0.7),
        habit: Habit::Even,
        seed,
    };
    if case != Case::BurnedIn {
        scene.exposure = rng.random_range(0.0..0.6);
        if rng.random_bool(PANELS) {
            scene.panel = Some((pick(&mut rng, &PANELS_HZ), rng.random()));
        }
    }
    let read_s = scene.windows[0][0] as f64 * scene.frame_s() * scene.speed;
    let seen_s = frames as f64 * scene.frame_s() * scene.speed;
    // Seconds since midnight at which the clock is first read.
    let read_at = match case {
        Case::Minute => {
            let minute = 60.0 * f64::from(rng.random_range(0..1440));
            minute - seen_s * rng.random_range(-0.02..1.02)
        }
        Case::TwelveHours => 46_800.0 - seen_s * rng.random_range(-0.02..1.02),
        Case::Midnight => 86_400.0 - seen_s * rng.random_range(-0.5..1.0),
        _ => rng.random_range(0.0..86_400.0),
    };
    scene.phi = match case {
        Case::Minute => {
            // By labels, since drop-frame and real minutes part during the day.
            let minute = (read_at / 60.0).ceil() as i64;
            let label = [minute / 60 % 24, minute % 60, 0, clock.skipped];
            let at = clock.count(label).expect("a label that is never skipped");
            at as f64 - (60.0 * minute as f64 - read_at + read_s) * clock.rate()
        }
        _ => (read_at - read_s) / 86_400.0 * clock.day() as f64,
    };
    match case {
        Case::Flipped => scene.flips = 0.2,
        Case::PoorLight => {
            scene.noise = rng.random_range(0.25..0.45);
            scene.kept_noise = rng.random_range(0.0..0.5);
            scene.noise_believed = scene.noise;
        }
        Case::PoorerLight | Case::RashReader => {
            scene.noise = rng.random_range(0.25..0.45);
            scene.kept_noise = rng.random_range(0.4..0.9);
            scene.noise_believed = match case {
                Case::RashReader => scene.noise * rng.random_range(0.6..1.0),
                _ => scene.noise,
            };
        }
        Case::Uneven => {
            scene.stamps = Stamps::Uneven(pick(&mut rng, &[600, 1000, 90_000]));
            scene.doubled = 0.02;
        }
        Case::DarkPlace => scene.dark = Some(rng.random_range(0..6 + clock.last_digits)),
        Case::HeadAndTail => {
            let sum: f64 = (0..12).map(|_| rng.random::<f64>()).sum();
            scene.drift_ppm = 15.0 * (sum - 6.0);
        }
        _ => {}
    }
    // A moment in the first window, and one between the first two, in clip seconds.
    let first = &scene.windows[0];
    let in_view = f64::from(rng.random_range(1..first.len() as u32)) - 0.5;
    let at_s = (first[0] as f64 + in_view) * scene.frame_s();
    let between_s = (first[0] + first.len() as u64) as f64 * scene.frame_s();
    let sign = pick(&mut rng, &[-1, 1]);
    let by = match rng.random_range(0..3) {
        0 => sign * rng.random_range(2..10),
        1 => sign * rng.random_range(1..100) * clock.base,
        _ => sign * rng.random_range(2..3600 * clock.base),
    };
    scene.habit = match case {
        Case::Misses => Habit::Misses(rng.random_range(0.02..0.2)),
        Case::TwoSources => Habit::TwoSources(rng.random_range(1..clock.base)),
        Case::TwelveHours => Habit::TwelveHours,
        Case::Frozen => Habit::Frozen(rng.random_range(2..6 + clock.last_digits)),
        Case::Stale => Habit::Stale(rng.random_range(0.02..0.3)),
        Case::Set => Habit::Set { at_s, by },
        Case::SetBetween => Habit::Set {
            at_s: between_s,
            by: match rng.random_bool(0.2) {
                true => -(scene.phi as i64) - (between_s * clock.rate()) as i64,
                false => by,
            },
        },
        Case::Swaps => Habit::Swaps(rng.random_range(0.05..0.3)),
        Case::Loses => Habit::Loses(rng.random_range(0.005..0.1)),
        Case::Ramp => Habit::Ramp {
            at_s,
            speed: pick(&mut rng, &[0.25, 0.4, 0.5, 0.8, 2.0]),
        },
        _ => Habit::Even,
    };
    scene
}
