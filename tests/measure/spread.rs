//! Work spread over all cores.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Does `work` for every number below `count`, in order, on as many threads as there are cores, each of which has what `begin` gives it; a
/// thread ends when `work` says so by false.
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
