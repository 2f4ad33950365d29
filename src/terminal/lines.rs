//! Standard output as a line writer, for code that takes a writer.

use super::streams::put_words;
use std::io::{self, ErrorKind, Write};

/// Writes to standard output line by line.
#[derive(Debug, Default)]
pub struct Lines {
    begun: Vec<u8>,
    unread: bool,
}

impl Lines {
    /// Fails if standard output does.
    pub fn new() -> Self {
        Self::default()
    }

    /// Does not fail if the reader has gone away.
    pub fn unread() -> Self {
        Self { unread: true, ..Self::default() }
    }
}

impl Write for Lines {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.begun.extend(bytes);
        match bytes.contains(&b'\n') {
            true => self.flush().map(|()| bytes.len()),
            false => Ok(bytes.len()),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.begun.is_empty() {
            return Ok(());
        }
        let begun = std::mem::take(&mut self.begun);
        match put_words(&String::from_utf8_lossy(&begun)) {
            Err(error) if self.unread && error.kind() == ErrorKind::BrokenPipe => Ok(()),
            written => written,
        }
    }
}
