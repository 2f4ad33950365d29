//! The last words of a program that has run out of memory.

use std::io::Write;

/// Exit code: the machine lacks something.
#[cfg(unix)]
const LACKS: i32 = 3;
const SENTENCE: &[u8] =
    b"There is no memory left. Close other programs, or raise the limit (ulimit -v); what was said back is on disk.\n";

/// Reports that memory has run out and ends the program at once. Allocates no memory, and so runs nothing that might.
pub fn ends_without_memory() -> ! {
    let _ = std::io::stderr().write_all(SENTENCE);
    #[cfg(unix)]
    // SAFETY: it ends the process, whatever state that is in.
    unsafe {
        libc::_exit(LACKS)
    }
    #[cfg(not(unix))]
    std::process::abort()
}
