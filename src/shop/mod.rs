//! The shop's archive: many sessions in one place, to be searched, and one bike's visits to be compared.
//!
//! [`Archive::open`] opens it, embedded (SQLite) or shared (PostgreSQL), with the same queries and migrations for both. [`Taken::from`] makes of a
//! session's folder what is kept: it has to verify, and what is kept of it comes from [`crate::review`]. [`Archive::put`] puts it in:
//! once, however often it is given. [`Query`] says what is looked for, [`Archive::find`] finds it, [`compare`] sets visits side by side,
//! [`serve`](fn@serve) shows it all as web pages that write nothing.
//!
//! Journal and copies are kept, so that everything can be shown and checked again; sound is not.

mod archive;
mod chart;
mod error;
mod find;
mod guard;
mod packed;
mod pages;
mod put;
mod query;
mod serve;
mod shelf;
mod taken;
mod visits;

pub use archive::{Archive, Mode, open_to_others};
pub use error::ShopError;
pub use find::{Found, Kept};
pub use guard::Guard;
pub use pages::day;
pub use put::Put;
pub use query::Query;
pub use serve::{Serving, serve};
pub use shelf::Shelf;
pub use taken::{Archived, Taken, mark_name};
pub use visits::{Comparison, Point, Read, Series, Trend, Visit, Way, compare};

/// Name of the JSON schema of `shop find` and `shop show`.
pub const SCHEMA: &str = "probeside-shop";
/// Version of the JSON schema: counted up when a key is renamed, removed or changes its meaning, not when one is added.
pub const SCHEMA_VERSION: u32 = 1;

/// What may come into the archive at most; more is refused.
pub mod limits {
    /// Bytes of a journal; a day's work is less than half.
    pub const JOURNAL: usize = 16 << 20;
    /// Bytes of all copies of one session.
    pub(super) const COPIES: usize = 32 << 20;
    /// Readings of one session, and checks: 2,000 is a very long day.
    pub const READINGS: usize = 5_000;
    /// Bytes of one text that is searched or listed; the journal keeps the whole.
    pub const TEXT: usize = 800;
    /// Bytes of a bike's or a person's name.
    pub const NAME: usize = 160;
}
