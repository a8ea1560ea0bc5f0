//! How long other programs took, as the benches tell it.

use std::fs;
use std::time::Instant;

/// Processor time of waited-for children in /proc/self/stat is counted in these (Linux).
const TICKS_PER_S: f64 = 100.0;

/// Seconds, by the clock on the wall and of all cores.
#[derive(Clone, Copy)]
pub struct Took {
    pub wall_s: f64,
    pub cpu_s: f64,
}

fn children_cpu_s() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").expect("Linux");
    let (_, fields) = stat.rsplit_once(')').expect("the name is in brackets");
    // User and system time of children that were waited for are fields 16 and 17; what lies
    // behind the name begins with field 3.
    let ticks: f64 = fields
        .split_whitespace()
        .skip(13)
        .take(2)
        .map(|n| n.parse::<f64>().expect("a number"))
        .sum();
    ticks / TICKS_PER_S
}

/// What `job` takes in the mean of so many turns.
#[allow(dead_code, reason = "not every bench repeats")]
pub fn timed_each(turns: u32, mut job: impl FnMut()) -> Took {
    let ((), took) = timed(|| (0..turns).for_each(|_| job()));
    let turns = f64::from(turns);
    Took {
        wall_s: took.wall_s / turns,
        cpu_s: took.cpu_s / turns,
    }
}

/// Does `job`, whose programs must have ended with it.
pub fn timed<T>(job: impl FnOnce() -> T) -> (T, Took) {
    let (began, before) = (Instant::now(), children_cpu_s());
    let result = job();
    let took = Took {
        wall_s: began.elapsed().as_secs_f64(),
        cpu_s: children_cpu_s() - before,
    };
    (result, took)
}
