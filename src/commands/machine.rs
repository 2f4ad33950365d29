//! Checks that the machine has the file handles, address space and threads that the program needs. It does so before anything begins, since
//! a shortage in the middle may leave no way to report it. If the system does not tell its limits, nothing is refused.

use crate::run::Failure;
use crate::system::{Links, read};
use std::fs;
use std::io::ErrorKind;
use std::path::Path;

/// File handles that must be free. The demo holds at most 23 (sampled on 2026-11-29); a live walk adds the sound server's sockets, not
/// counted.
const HANDLES: u64 = 40;
/// Address space that must be free for a command that hears, in bytes: the demo peaks at 0.84 GB (VmPeak, sampled on 2026-11-29); the rest
/// is margin, chosen without a source. `ADDRESSES` is the same for every other command, also chosen.
const ADDRESSES_TO_HEAR: u64 = 1_600_000_000;
const ADDRESSES: u64 = 100_000_000;
/// The system's error number for "too many open files".
const TOO_MANY_OPEN: i32 = 24;

/// Checks that there is enough of everything; with `hears`, also for the speech model.
///
/// # Errors
/// What is short, and what to do.
pub(super) fn suffices(hears: bool) -> Result<(), Failure> {
    let limits = match told("/proc/self/limits") {
        Ok(limits) => limits,
        Err(error) if error.raw_os_error() == Some(TOO_MANY_OPEN) => return Err(few_handles()),
        Err(_) => String::new(),
    };
    let open = fs::read_dir("/proc/self/fd").map_or(0, |all| all.count() as u64);
    if limit(&limits, "Max open files").is_some_and(|most| most < open + HANDLES) {
        return Err(few_handles());
    }
    let wanted = if hears { ADDRESSES_TO_HEAR } else { ADDRESSES };
    if let Some(most) = limit(&limits, "Max address space").filter(|most| *most < taken() + wanted) {
        return Err(Failure::Lacks(format!(
            "the system lets this program have {} MB of memory, which is too little; raise the limit with: ulimit -v {}",
            most / 1_000_000,
            (taken() + wanted) / 1_000
        )));
    }
    match std::thread::Builder::new().spawn(|| ()).map(std::thread::JoinHandle::join) {
        Err(error) if error.kind() == ErrorKind::WouldBlock => Err(Failure::Lacks(
            "the system gives this program no thread; close other programs, or raise the limit with: ulimit -u 4096"
                .into(),
        )),
        Err(error) => {
            Err(Failure::Lacks(format!("the system gives this program no thread ({error}); close other programs")))
        }
        Ok(_) => Ok(()),
    }
}

/// Reads one of this process's status files.
fn told(file: &str) -> std::io::Result<String> {
    Ok(String::from_utf8_lossy(&read(Path::new(file), 64 << 10, Links::Refuse)?).into_owned())
}

fn few_handles() -> Failure {
    Failure::Lacks(
        "the system lets this program open too few files at once; raise the limit with: ulimit -n 256".to_owned(),
    )
}

/// A limit that the system sets for this process. `None` if it sets none.
fn limit(limits: &str, name: &str) -> Option<u64> {
    limits.lines().find_map(|line| line.strip_prefix(name))?.split_whitespace().next()?.parse().ok()
}

/// Bytes of address space in use.
fn taken() -> u64 {
    let status = told("/proc/self/status").unwrap_or_default();
    limit(&status, "VmSize:").map_or(0, |kilobytes| kilobytes * 1024)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_read_as_the_system_writes_them() {
        let limits = "Limit                     Soft Limit           Hard Limit           Units     \n\
                      Max open files            1024                 1048576              files     \n\
                      Max address space         unlimited            unlimited            bytes     \n";
        assert_eq!(limit(limits, "Max open files"), Some(1024));
        assert_eq!(limit(limits, "Max address space"), None);
        assert_eq!(limit("", "Max open files"), None);
        assert!(!cfg!(target_os = "linux") || taken() > 1_000_000);
    }
}
