//! The shop's archive: many sessions in one place, for searching, and for comparing the visits of one bike.
//!
//! [`Archive::open`] opens it, embedded (SQLite) or shared (PostgreSQL), with the same queries and migrations for both. [`PreparedSession::from`]
//! extracts the archived data from a session's folder, which must pass verification; the data comes from [`crate::review`].
//! [`Archive::put`] adds it, only once however often it is called. [`Query`] describes a search, [`Archive::find`] runs it, [`compare`]
//! compares visits, and [`serve`](fn@serve) shows everything as read-only web pages.
//!
//! Journal and copies are kept, so that everything can be shown and checked again. Audio is not.

mod archive;
mod chart;
mod error;
mod find;
mod guard;
mod packed;
mod pages;
mod prepared;
mod put;
mod query;
mod serve;
mod shelf;
mod visits;

pub use archive::{Archive, Mode, open_to_others};
pub use error::ShopError;
pub use find::{Kept, SearchResult};
pub use guard::Guard;
pub use pages::day;
pub use prepared::{Archived, PreparedSession, mark_name};
pub use put::Put;
pub use query::Query;
pub use serve::{Serving, serve};
pub use shelf::Shelf;
pub use visits::{Comparison, Point, Read, Series, Trend, Visit, Way, compare};

/// Name of the JSON schema of `shop find` and `shop show`.
pub const SCHEMA: &str = "probeside-shop";
/// Version of the JSON schema. Incremented when a key is renamed, removed or changes its meaning, but not when one is added.
pub const SCHEMA_VERSION: u32 = 1;

/// Limits of the archive. Anything larger is refused.
pub mod limits {
    /// Bytes in a journal. A day's work takes less than half.
    pub const JOURNAL: usize = 16 << 20;
    /// Bytes in all copies of one session.
    pub(super) const COPIES: usize = 32 << 20;
    /// Readings in one session, and checks. 2,000 is a very long day.
    pub const READINGS: usize = 5_000;
    /// Bytes in a text that is searched or listed. The journal has the full text.
    pub const TEXT: usize = 800;
    /// Bytes in a bike's or a person's name.
    pub const NAME: usize = 160;
}
