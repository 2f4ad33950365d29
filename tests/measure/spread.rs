//! Distributes work over all cores.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Runs `work` for every number below `count`, in order, on as many threads as there are cores. Each thread gets its own value from
/// `begin`, and ends when `work` returns false.
pub fn spread<S>(count: usize, begin: impl Fn() -> S + Sync, work: impl Fn(&mut S, usize) -> bool + Sync) {
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from).min(count) {
            scope.spawn(|| {
                let mut own = begin();
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    if at >= count || !work(&mut own, at) {
                        return;
                    }
                }
            });
        }
    });
}
