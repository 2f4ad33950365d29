//! Errors of the archive, each a sentence that says what to do.

use crate::session::SessionError;

/// Why an archive operation failed.
#[derive(Debug, thiserror::Error)]
pub enum ShopError {
    /// The folder is not a session, or cannot be read.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The session's record was altered.
    #[error(
        "{place} is not added: FAULT {at}: {what} ({faults} found, which `probeside verify {place}` lists); to keep it all the same, marked as not verified, add --unverified"
    )]
    Unverified {
        /// The session's folder.
        place: String,
        /// The place of the first fault.
        at: String,
        /// The fault.
        what: String,
        /// Number of faults.
        faults: usize,
    },
    /// The session exceeds the archive's limits, or contains something that cannot be stored.
    #[error("{place} is not added: {why}")]
    NotAdded {
        /// The session's folder.
        place: String,
        /// The reason, and what to do.
        why: String,
    },
    /// The archive holds a different record of the same session.
    #[error(
        "{place} is not added and nothing was changed: the archive holds another record of this session, digest {short}, and neither of the two goes on from the other, so one was altered or rebuilt; compare both with the digest on the job sheet"
    )]
    Differs {
        /// The session's folder.
        place: String,
        /// Short digest of the archived record.
        short: String,
    },
    /// The search is invalid.
    #[error("{0}")]
    Query(String),
    /// There is no archive at this location.
    #[error("{place} holds no archive yet; `probeside shop add SESSION` begins one, or name another with --archive")]
    NoArchive {
        /// The archive.
        place: String,
    },
    /// The location holds something other than an archive.
    #[error("{place} is no archive of probeside: {why}; name another with --archive")]
    Foreign {
        /// The archive.
        place: String,
        /// What it holds.
        why: String,
    },
    /// The archive was written by a newer program.
    #[error("{place} was written by a newer probeside; use that one")]
    Newer {
        /// The archive.
        place: String,
    },
    /// The archive was written by an older program, and was opened for reading only.
    #[error("{place} was written by an older probeside; `probeside shop add` with any session brings it up to date")]
    Older {
        /// The archive.
        place: String,
    },
    /// The location cannot be an archive.
    #[error("{place} cannot be the archive: {why}")]
    Place {
        /// The location as given.
        place: String,
        /// The reason, and what to do.
        why: String,
    },
    /// The archive has no such session.
    #[error("the archive holds no session {0}; `probeside shop find` lists what it holds")]
    NoSuchSession(String),
    /// The archived data of a session is unreadable.
    #[error("what the archive keeps of {session} is damaged ({why}); add the session's folder again")]
    Damaged {
        /// The session's id.
        session: String,
        /// The defect.
        why: String,
    },
    /// The database failed.
    #[error("{place}: {doing} did not work ({why}); see that the archive can be reached and written, then try again")]
    Database {
        /// The archive.
        place: String,
        /// The failed action.
        doing: &'static str,
        /// The database's message.
        why: String,
    },
}

impl ShopError {
    /// The command's exit code: 2 for an invalid search, 3 if the machine lacks something, otherwise 1.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Session(error) => error.exit_code(),
            Self::Query(_) => 2,
            Self::Place { .. } | Self::Database { .. } => 3,
            _ => 1,
        }
    }
}
