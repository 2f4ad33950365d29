//! The journal of a walk: what is written, how it is kept safe, and how it is read again.
//!
//! A session is a folder: `journal.jsonl`, one entry a line, chained by hash ([`chain`]); copies of procedure, bike and vocabulary;
//! `clips/` with the sound of answers, or of the whole session in pieces ([`Pieces`]); `digest.json` once it is finished. [`Journal`] writes it over a [`Storage`], [`Writer`] gives it
//! a thread of its own. What [`Journal::append_synced`] returned `Ok` for survives a kill and a power cut. What a damaged end is taken for stands
//! at the head of [`chain`]; what `verify` proves and what it cannot, at the head of `review/verify.rs`.

pub mod chain;
mod clip;
mod clock;
mod digest;
mod error;
mod folder;
mod header;
mod journal;
mod memory;
mod pieces;
mod record;
mod storage;
mod suspects;
mod torn;
mod writer;

pub use chain::{Entry, Kind, sha256_hex};
pub use clip::{CLIP_RATE, CLIPS, clip_file, clip_sound, flac};
pub use clock::{Clock, away_ms, set_back_ms, set_ms};
pub use digest::{DIGEST_FILE, Digest};
pub use error::SessionError;
pub use folder::{Folder, LOCK};
pub use header::{Clip, FORMAT, Forgotten, Header, Job, Remark, Repair, Spoken, StoredCopy, session_id};
pub(crate) use journal::header_of;
pub use journal::{JOURNAL_FILE, Journal, Opened, read_journal};
pub use memory::{Disk, Fault, Keep, Memory};
pub use pieces::{PIECE, Piece, Pieces};
pub use record::{Now, Record};
pub use storage::{PART, Storage, plain_name};
pub use suspects::{Because, Chosen, Doubtful, Suspect, Weighed};
pub use writer::{Reply, Writer};

/// What a session may hold at most, in bytes; more is neither written nor read.
pub mod limits {
    /// One line of the journal.
    pub const LINE: u64 = 1 << 20;
    /// The whole journal; a day's work is about a tenth.
    pub const JOURNAL: u64 = 64 << 20;
    /// One copy of a procedure, a bike or a vocabulary.
    pub const COPY: u64 = 16 << 20;
    /// One clip: about a quarter of an hour.
    pub const CLIP: u64 = 32 << 20;
}
