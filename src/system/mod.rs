//! The machine underneath: plain files read, files written whole or not at all, what is its owner's alone, programs under supervision.
//!
//! The bottom room, seen by all: it knows nothing of bikes, sessions or sound. Nothing in it waits for a pipe, follows a link that was not
//! asked for, or takes the place of a file that somebody else made. Deliberately absent: the rule which folders are closed to a command's
//! output (`commands/file.rs`), and every name of a file.

mod child;
mod companion;
pub mod private;
mod put;
mod read;
mod run;
mod write;

pub use child::ChildError;
pub use companion::Companion;
pub use put::sync_folder;
pub use read::{Links, open, read};
pub use run::run;
pub use write::{Inputs, Kind, WriteError, create_new, may_write, whole};
