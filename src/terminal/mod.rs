//! The one way by which words leave for a terminal: standard output and standard error. What a screen would obey is shown
//! instead, every write is checked, lines are wrapped at words where a terminal reads them, and a reader that has gone away
//! is no fault. Nothing else in the crate writes to either; `tests/house.rs` looks.

mod last;
mod lines;
mod streams;
mod wrap;

pub use last::ends_without_memory;
pub use lines::Lines;
pub use streams::{complain, complaints, ended, is_gone, progress, progress_ends, say, say_document, say_json};

/// Prints a line to standard output; the arguments are those of [`format!`].
macro_rules! outln {
    ($($what:tt)*) => { $crate::terminal::say(&(::std::format!($($what)*) + "\n")) };
}

/// Prints a line to standard error; the arguments are those of [`format!`].
macro_rules! errln {
    ($($what:tt)*) => { $crate::terminal::complain(&(::std::format!($($what)*) + "\n")) };
}

pub(crate) use {errln, outln};
