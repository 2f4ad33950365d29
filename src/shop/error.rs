//! What can go wrong with the archive, each as a sentence that says what to do.

use crate::session::SessionError;

/// Why the archive could not do something.
#[derive(Debug, thiserror::Error)]
pub enum ShopError {
    /// The folder is no session, or cannot be read.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The session's record is not as it was written.
    #[error(
        "{place} is not taken: FAULT {at}: {what} ({faults} found; `probeside verify {place}` lists them). To keep it all the same, marked as not verified, add --unverified"
    )]
    Unverified {
        /// The session's folder.
        place: String,
        /// Where the first fault is.
        at: String,
        /// What it is.
        what: String,
        /// How many there are.
        faults: usize,
    },
    /// It is more than the archive takes, or has something in it that cannot be kept.
    #[error("{place} is not taken: {why}")]
    NotTaken {
        /// The session's folder.
        place: String,
        /// Why, and what to do.
        why: String,
    },
    /// The archive holds another record of the same session.
    #[error(
        "{place} is not taken: the archive holds another record of this session, digest {short}, and neither of the two goes on from the other: one was altered or rebuilt; compare both with the digest on the job sheet. Nothing was changed"
    )]
    Differs {
        /// The session's folder.
        place: String,
        /// Short digest of the record in the archive.
        short: String,
    },
    /// The search cannot be understood.
    #[error("{0}")]
    Query(String),
    /// There is no archive there.
    #[error("{place} holds no archive yet: `probeside shop add SESSION` begins one, or name another with --archive")]
    NoArchive {
        /// The archive.
        place: String,
    },
    /// What is there is something else.
    #[error("{place} is no archive of probeside: {why}; name another with --archive")]
    Foreign {
        /// The archive.
        place: String,
        /// What it is.
        why: String,
    },
    /// A newer program wrote it.
    #[error("{place} was written by a newer probeside: use that one")]
    Newer {
        /// The archive.
        place: String,
    },
    /// An older program wrote it, and it was opened for reading only.
    #[error("{place} was written by an older probeside: `probeside shop add` with any session brings it up to date")]
    Older {
        /// The archive.
        place: String,
    },
    /// The name of the archive cannot be used.
    #[error("{place} cannot be the archive: {why}")]
    Place {
        /// What was given.
        place: String,
        /// Why not, and what to do.
        why: String,
    },
    /// No such session is in it.
    #[error("the archive holds no session {0}: `probeside shop find` lists what it holds")]
    NoSuchSession(String),
    /// What is kept of a session cannot be read any more.
    #[error("what the archive keeps of {session} is damaged ({why}): add the session's folder again")]
    Damaged {
        /// The session's id.
        session: String,
        /// What is wrong.
        why: String,
    },
    /// The database refused or failed.
    #[error("{place}: {doing} did not work ({why}): see that the archive can be reached and written, then try again")]
    Database {
        /// The archive.
        place: String,
        /// What was tried.
        doing: &'static str,
        /// What the database said.
        why: String,
    },
}

impl ShopError {
    /// The exit code a command ends with: 2 for a search that cannot be understood, 3 where the machine lacks something, else 1.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Session(error) => error.exit_code(),
            Self::Query(_) => 2,
            Self::Place { .. } | Self::Database { .. } => 3,
            _ => 1,
        }
    }
}
