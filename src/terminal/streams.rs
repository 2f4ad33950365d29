//! Standard output and standard error. The state of standard output is remembered, so every write is checked in one place and [`ended`]
//! turns the result into the exit code.

use super::wrap::wrapped;
use crate::source::{visible, visible_json};
use std::io::{self, ErrorKind, Write};
use std::sync::{Mutex, MutexGuard, PoisonError};
use terminal_size::{Width, terminal_size_of};

/// The state of standard output.
#[derive(Debug)]
enum Standing {
    Open,
    /// Its reader has gone away.
    Gone,
    /// A write failed, with the reason. `told`: the user has been informed.
    Failed {
        why: String,
        told: bool,
    },
}

static STANDING: Mutex<Standing> = Mutex::new(Standing::Open);

fn standing() -> MutexGuard<'static, Standing> {
    STANDING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Writes `text` unchanged. Writes nothing after the first failure.
fn put(text: &str) -> io::Result<()> {
    let mut standing = standing();
    match &*standing {
        Standing::Open => {}
        Standing::Gone => return Err(ErrorKind::BrokenPipe.into()),
        Standing::Failed { why, .. } => return Err(io::Error::other(why.clone())),
    }
    let mut out = io::stdout().lock();
    let written = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    if let Err(error) = &written {
        *standing = match error.kind() {
            ErrorKind::BrokenPipe => Standing::Gone,
            _ => Standing::Failed { why: error.to_string(), told: false },
        };
    }
    written
}

/// Prints text to standard output, flushed at once.
pub(super) fn put_words(text: &str) -> io::Result<()> {
    let shown = visible(text);
    match terminal_size_of(io::stdout()) {
        Some((Width(columns), _)) => put(&wrapped(&shown, columns.into())),
        None => put(&shown),
    }
}

/// Prints text to standard output. [`ended`] reports whether it could be written.
pub fn say(text: &str) {
    let _ = put_words(text);
}

/// As [`say`], for JSON: not wrapped, and its value unchanged.
pub fn say_json(json: &str) {
    let _ = put(&visible_json(json));
}

/// As [`say`], for a document that a program reads: not wrapped.
pub fn say_document(text: &str) {
    let _ = put(&visible(text));
}

/// Whether the reader of standard output has gone away, so that further output is pointless.
pub fn is_gone() -> bool {
    matches!(*standing(), Standing::Gone)
}

/// Prints text to standard error. A failure is ignored.
pub fn complain(text: &str) {
    let shown = visible(text);
    let mut out = io::stderr().lock();
    let _ = match terminal_size_of(io::stderr()) {
        Some((Width(columns), _)) => out.write_all(wrapped(&shown, columns.into()).as_bytes()),
        None => out.write_all(shown.as_bytes()),
    };
}

/// Standard error as a log writer. It never fails.
pub fn complaints() -> impl Write {
    struct Complaints;
    impl Write for Complaints {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            complain(&String::from_utf8_lossy(bytes));
            Ok(bytes.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }
    Complaints
}

/// Shows the progress of long work if standard error is a terminal. Replaces the previous progress line.
pub fn progress(text: &str) {
    if terminal_size_of(io::stderr()).is_some() {
        let _ = write!(io::stderr().lock(), "\r{}   ", visible(text));
    }
}

/// Ends the line of [`progress`].
pub fn progress_ends() {
    if terminal_size_of(io::stderr()).is_some() {
        complain("\n");
    }
}

/// The exit code of a command that returned `code`. If its output could not be written, this says so and fails. A reader that has gone away
/// is not a failure: it has read what it wanted.
pub fn ended(code: u8) -> u8 {
    let why = match &mut *standing() {
        Standing::Open | Standing::Gone => return code,
        Standing::Failed { why, told } => (!std::mem::replace(told, true)).then(|| why.clone()),
    };
    if let Some(why) = why {
        complain(&format!(
            "The output is not whole, it cannot be written further ({why}). Send it elsewhere and run the command again.\n"
        ));
    }
    code.max(1)
}
