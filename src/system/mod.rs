//! The operating system: reading plain files, writing files completely or not at all, private files, and supervised programs.
//!
//! The bottom room, visible to all others. It knows nothing of bikes, sessions or sound. Nothing in it waits for a pipe, follows an
//! unwanted link, or replaces a file that somebody else made. Deliberately absent: the rule which folders are closed to a command's output
//! (`commands/file.rs`), and every file name.

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
