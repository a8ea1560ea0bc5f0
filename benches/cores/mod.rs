//! Work for all cores, as the benches share it out.

use std::sync::atomic::{AtomicUsize, Ordering};

/// `work` for each of `count` numbers, on all cores; what it gives, in their order.
pub fn on_all_cores<T: Send>(count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let worker = || {
        let mut done = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            if number >= count {
                return done;
            }
            done.push((number, work(number)));
        }
    };
    let mut all: Vec<(usize, T)> = std::thread::scope(|scope| {
        let workers = std::thread::available_parallelism().map_or(1, usize::from);
        let threads: Vec<_> = (0..workers).map(|_| scope.spawn(worker)).collect();
        let joined = threads.into_iter().map(|t| t.join().expect("no panic"));
        joined.flatten().collect()
    });
    all.sort_by_key(|(number, _)| *number);
    all.into_iter().map(|(_, given)| given).collect()
}
