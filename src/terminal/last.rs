//! The last words of a program that has no memory left.

use std::io::Write;

/// Exit code: the machine lacks something.
#[cfg(unix)]
const LACKS: i32 = 3;
const SENTENCE: &[u8] =
    b"There is no memory left. Close other programs, or raise the limit (ulimit -v); what was said back is on disk.\n";

/// Says that there is no memory left and ends the program at once. Takes no memory itself, and so runs nothing that would.
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
