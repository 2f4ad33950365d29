//! The only way text reaches a terminal: standard output and standard error. Characters that would control the screen are shown instead.
//! Every write is checked, lines are wrapped at words if a terminal reads them, and a reader that has gone away is not an error. Nothing
//! else in the crate writes to either stream; `tests/house.rs` checks this.

mod last;
mod lines;
mod streams;
mod wrap;

pub use last::ends_without_memory;
pub use lines::Lines;
pub use streams::{complain, complaints, ended, is_gone, progress, progress_ends, say, say_document, say_json};

/// Prints a line to standard output. Takes the arguments of [`format!`].
macro_rules! outln {
    ($($what:tt)*) => { $crate::terminal::say(&(::std::format!($($what)*) + "\n")) };
}

/// Prints a line to standard error. Takes the arguments of [`format!`].
macro_rules! errln {
    ($($what:tt)*) => { $crate::terminal::complain(&(::std::format!($($what)*) + "\n")) };
}

pub(crate) use {errln, outln};
