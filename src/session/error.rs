//! Errors of a session's folder, each a sentence that says what to do.

use std::io;

/// Why a write to, or a read from, a session's folder failed.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// No space or quota is left.
    #[error("the disk under {place} is full; make room on it, then try again: nothing already written is lost")]
    Full {
        /// The session's folder.
        place: String,
    },
    /// The folder is readable but not writable.
    #[error(
        "{place} cannot be written: it is read-only or belongs to somebody else; make it writable, or start with --into another folder"
    )]
    ReadOnly {
        /// The session's folder.
        place: String,
    },
    /// The folder, or a file in it, has disappeared.
    #[error("{place} has vanished ({what}); put the disk or the folder back, then try again")]
    Vanished {
        /// The session's folder.
        place: String,
        /// The missing file or folder.
        what: String,
    },
    /// Another process is writing this session.
    #[error("{place} is in use by another probeside; end that one, or wait until it has ended")]
    Locked {
        /// The session's folder.
        place: String,
    },
    /// The folder already holds a session.
    #[error("{place} already holds a session; go on with it by --resume {place}, or give another folder")]
    AlreadyThere {
        /// The session's folder.
        place: String,
    },
    /// The folder holds no readable session.
    #[error("{place} is not a session: {why}; give the folder that holds a journal.jsonl")]
    NotASession {
        /// The session's folder.
        place: String,
        /// What is missing or wrong.
        why: String,
    },
    /// A complete line does not fit the chain.
    #[error(
        "{place}/journal.jsonl, line {line}: {why}; the journal was altered or damaged and cannot be gone on with (nothing was changed); keep it as it is, read it with `probeside review`, and start a new session"
    )]
    Broken {
        /// The session's folder.
        place: String,
        /// Line of the journal, from 1.
        line: u64,
        /// The mismatch.
        why: String,
    },
    /// The file beside the journal is not a valid digest.
    #[error(
        "{place}/digest.json: {why} (nothing was changed); put back a copy of it, or take it away, and the session can be ended anew by `probeside walk --resume {place}`"
    )]
    Digest {
        /// The session's folder.
        place: String,
        /// The defect.
        why: String,
    },
    /// A copy or a clip differs from its entry in the journal.
    #[error("{place}/{file} is not the file this session began with; put the original back, or start a new session")]
    Altered {
        /// The session's folder.
        place: String,
        /// The file.
        file: String,
    },
    /// A size limit is exceeded, see [`crate::session::limits`].
    #[error("{what} is larger than {limit} bytes and is not kept; start a new session, or make it smaller")]
    TooLarge {
        /// The item that is too large.
        what: String,
        /// The limit in bytes.
        limit: u64,
    },
    /// The session's journal has reached its limit.
    #[error("the record in {place} has reached its limit; end this walk, and go on in a new session")]
    JournalFull {
        /// The session's folder.
        place: String,
    },
    /// The system does not let this process's files grow further.
    #[error(
        "the system lets no file under {place} grow any further; raise its limit on file sizes (ulimit -f), then try again"
    )]
    Limited {
        /// The session's folder.
        place: String,
    },
    /// The journal differs from what was written.
    #[error(
        "{place}/journal.jsonl was {what} by something else during this walk; keep it as it is, put back what was there and try again, or end the walk"
    )]
    Meddled {
        /// The session's folder.
        place: String,
        /// What happened to it: `cut`, `altered`, `replaced`.
        what: &'static str,
    },
    /// More audio is waiting to be written than memory may hold.
    #[error("the disk has taken no sound for too long; until it does, sound is not kept")]
    SoundDropped,
    /// A file name that could lead out of the folder, or a link instead of a file.
    #[error(
        "{name}: inside a session only plain files with plain names are read and written; take this one away, or give another folder"
    )]
    Name {
        /// The name, and what it is if it is not a plain file.
        name: String,
    },
    /// A clip's id was already used for other audio.
    #[error("a clip named {id} is already in the journal with other sound; give this one a name of its own")]
    ClipTwice {
        /// The clip's id.
        id: String,
    },
    /// A remark names a line that the journal does not have.
    #[error("the journal has no line {line}; give the number that `probeside review --json` shows as `seq`")]
    NoSuchLine {
        /// The line's number.
        line: u64,
    },
    /// The entry cannot be serialised to JSON.
    #[error(
        "an entry of kind {kind} cannot be written as JSON ({why}), which is a fault in probeside; please report it"
    )]
    Unwritable {
        /// Kind of the entry.
        kind: String,
        /// The serialiser's message.
        why: String,
    },
    /// The journal's thread has ended.
    #[error("the journal is closed and nothing more can be recorded in this session; resume it with --resume")]
    Closed,
    /// Any other system error.
    #[error("{place}: {doing} did not work ({source}); see to the disk, then try again")]
    Io {
        /// The session's folder.
        place: String,
        /// The failed action.
        doing: String,
        /// The system's error.
        source: io::Error,
    },
}

impl SessionError {
    /// Sorts a system error that occurred while `doing` something at `place` into the cases that the user can act on.
    pub fn from_io(place: &str, doing: &str, error: io::Error) -> Self {
        let place = place.to_owned();
        match error.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Self::Full { place },
            io::ErrorKind::ReadOnlyFilesystem | io::ErrorKind::PermissionDenied => Self::ReadOnly { place },
            io::ErrorKind::NotFound | io::ErrorKind::StaleNetworkFileHandle | io::ErrorKind::NotADirectory => {
                Self::Vanished { place, what: doing.to_owned() }
            }
            io::ErrorKind::WouldBlock => Self::Locked { place },
            io::ErrorKind::FileTooLarge => Self::Limited { place },
            io::ErrorKind::InvalidFilename => Self::Name { name: format!("{place}: {error}") },
            _ => Self::Io { place, doing: doing.to_owned(), source: error },
        }
    }

    /// Whether a retry can never succeed.
    pub(super) fn is_for_good(&self) -> bool {
        matches!(
            self,
            Self::TooLarge { .. }
                | Self::JournalFull { .. }
                | Self::Name { .. }
                | Self::ClipTwice { .. }
                | Self::NoSuchLine { .. }
                | Self::Unwritable { .. }
        )
    }

    /// The command's exit code: 3 if the machine lacks something, otherwise 1.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Full { .. } | Self::Limited { .. } | Self::ReadOnly { .. } => 3,
            _ => 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Error numbers from Linux' `errno-base.h`: ENOENT 2, EIO 5, EACCES 13, ENOSPC 28, EROFS 30; EDQUOT 122 from `errno.h`.
    #[cfg(target_os = "linux")]
    #[test]
    fn what_linux_says_is_sorted() {
        let sorted = |number| SessionError::from_io("there", "append", io::Error::from_raw_os_error(number));
        assert!(matches!(sorted(28), SessionError::Full { .. }));
        assert!(matches!(sorted(122), SessionError::Full { .. }));
        assert!(matches!(sorted(30), SessionError::ReadOnly { .. }));
        assert!(matches!(sorted(13), SessionError::ReadOnly { .. }));
        assert!(matches!(sorted(2), SessionError::Vanished { .. }));
        assert!(matches!(sorted(5), SessionError::Io { .. }));
    }
}
