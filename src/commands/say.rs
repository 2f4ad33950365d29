//! What a command prints.

use std::io::Write;

/// Prints to standard output; a reader that has gone away is no fault.
pub fn say(text: &str) {
    let mut out = std::io::stdout().lock();
    // Nothing can be done for a reader that went away.
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}
