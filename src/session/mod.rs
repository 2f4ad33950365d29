//! The journal of a walk: what is written, how it is kept safe, and how it is read again.

mod record;

pub use record::{Now, Record};
