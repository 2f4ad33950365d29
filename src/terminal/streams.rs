//! Standard output and standard error. What became of standard output is remembered, so that every write is checked in one place:
//! [`ended`] turns it into the exit code.

use super::wrap::wrapped;
use crate::source::{visible, visible_json};
use std::io::{self, ErrorKind, Write};
use std::sync::{Mutex, MutexGuard, PoisonError};
use terminal_size::{Width, terminal_size_of};

/// How standard output stands.
#[derive(Debug)]
enum Standing {
    Open,
    /// Its reader has gone away.
    Gone,
    /// A write failed, with why. `told`: that has been said.
    Failed {
        why: String,
        told: bool,
    },
}

static STANDING: Mutex<Standing> = Mutex::new(Standing::Open);

fn standing() -> MutexGuard<'static, Standing> {
    STANDING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Writes `text` as it is. After the first failure nothing more is written.
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

/// Prints words to standard output, at once.
pub(super) fn put_words(text: &str) -> io::Result<()> {
    let shown = visible(text);
    match terminal_size_of(io::stdout()) {
        Some((Width(columns), _)) => put(&wrapped(&shown, columns.into())),
        None => put(&shown),
    }
}

/// Prints words to standard output. Whether they could be written shows in [`ended`].
pub fn say(text: &str) {
    let _ = put_words(text);
}

/// As [`say`], for JSON: its value stays the same, and it is not wrapped.
pub fn say_json(json: &str) {
    let _ = put(&visible_json(json));
}

/// As [`say`], for a document that a program reads: it is not wrapped.
pub fn say_document(text: &str) {
    let _ = put(&visible(text));
}

/// Whether the reader of standard output has gone away, so that nobody waits for more.
pub fn is_gone() -> bool {
    matches!(*standing(), Standing::Gone)
}

/// Prints words to standard error. Nothing can be done where it cannot be written.
pub fn complain(text: &str) {
    let shown = visible(text);
    let mut out = io::stderr().lock();
    let _ = match terminal_size_of(io::stderr()) {
        Some((Width(columns), _)) => out.write_all(wrapped(&shown, columns.into()).as_bytes()),
        None => out.write_all(shown.as_bytes()),
    };
}

/// Standard error for a program's log: it never fails.
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

/// Shows how far a long work is, in place of what was shown before, where standard error is a terminal.
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

/// The exit code of a command that gave `code`: where its words could not be written, that is said, and is a failure. A reader
/// that has gone away has read what it wanted.
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
