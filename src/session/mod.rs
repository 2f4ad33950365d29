//! The journal of a walk: its content, how it survives crashes, and how it is read back.
//!
//! A session is a folder: `journal.jsonl`, one entry a line, chained by hash ([`chain`]); copies of procedure, bike and vocabulary;
//! `clips/` with the audio of answers, or of the whole session in pieces ([`Pieces`]); and `digest.json` once it is finished. [`Journal`]
//! writes it to a [`Storage`]. [`Writer`] runs the journal on its own thread. A record for which [`Journal::record`] returned `Ok` survives
//! a kill and a power cut. The header of [`chain`] says which damage at the end an interruption can explain. The header of
//! `review/verify.rs` says what `verify` proves and what it cannot.

mod backlog;
pub mod chain;
mod clip;
mod clock;
mod digest;
mod error;
mod folder;
mod header;
mod journal;
mod pieces;
mod record;
mod room;
mod storage;
mod torn;
mod watch;
mod writer;

/// A storage double for this crate's unit tests.
#[cfg(test)]
#[path = "../../tests/support/disk.rs"]
pub(crate) mod disk;

pub use chain::{Entry, Kind, sha256_hex};
pub use clip::{CLIP_RATE, CLIPS, clip_file, clip_sound, flac};
#[cfg(test)]
pub(crate) use clock::SetClock;
pub use clock::{Clock, Passing, SessionTime, TimeSource, away_ms, set_back_ms, set_ms, wall_ms};
pub use digest::{DIGEST_FILE, Digest};
pub use error::SessionError;
pub use folder::{Folder, LOCK};
pub use header::{
    Clip, FORMAT, Forgotten, Header, JobDetails, Remark, Repair, Spoken, StoredCopy, folder_name, session_id,
};
pub(crate) use journal::header_of;
pub use journal::{JOURNAL_FILE, Journal, Opened, There, read_journal};
pub use pieces::{PIECE, Piece, Pieces};
pub use record::{Miss, Now, Record};
pub use room::Room;
pub use storage::{PART, Stamp, Storage, plain_name};
pub use torn::SECTOR;
pub use writer::{NotKept, Reply, Writer};

/// Size limits of a session in bytes. Nothing larger is written or read.
pub mod limits {
    /// One line of the journal.
    pub const LINE: u64 = 1 << 20;
    /// The whole journal. A day's work takes about a tenth of it.
    pub const JOURNAL: u64 = 64 << 20;
    /// Remaining room at which the walker warns that the record is nearly full: more than a quarter of a day's work.
    pub const WARNED: u64 = 4 << 20;
    /// Remaining room at which the walk is ended: enough for thousands of lines.
    pub const ENDING: u64 = 1 << 20;
    /// Room reserved for the last line.
    pub(super) const LAST_LINE: u64 = 4 << 10;
    /// Most bytes of a line besides its body.
    pub const AROUND_BODY: u64 = 1 << 10;
    /// Most samples of 16 kHz audio waiting in memory for the disk: 64 MiB, 17 minutes. Chosen, no source.
    pub const WAITING_SOUND: usize = 16 << 20;
    /// One copy of a procedure, a bike or a vocabulary.
    pub const COPY: u64 = 16 << 20;
    /// One clip: about a quarter of an hour.
    pub const CLIP: u64 = 32 << 20;
}
