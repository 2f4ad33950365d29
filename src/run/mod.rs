//! Runs walks: starts, resumes and ends sessions, and has the loop between walker, listening, recogniser, speech output and journal.
//!
//! A [`Session`] begins in a folder or is replayed from one. One single-threaded loop (`drive.rs`) drives it to its [`End`]: it gives the
//! walker one event at a time and carries out all its effects. Other threads are the recogniser's (`recogniser_thread.rs`), the adviser's
//! (started by `advise.rs`), the journal's (`recorder.rs`) and that of the [`signals`]. [`load`] loads the world of a walk. The tests in
//! `power.rs` and `recorder_tests.rs` run all this over a failing disk.
//!
//! Deliberately absent: command-line arguments, the device or file behind listening and speech, and every decision about what is asked or
//! recorded, which is the walker's.

pub mod demo;
pub mod enrolment;
pub mod load;
pub mod signals;
pub mod soundcheck;

mod advise;
mod drive;
mod ending;
mod keep;
mod loudness;
mod mechanic_view;
mod outcome;
#[cfg(test)]
mod power;
#[cfg(test)]
mod power_bench;
mod recogniser_thread;
mod recorder;
#[cfg(test)]
mod recorder_tests;
mod session;
mod sources;

pub use ending::{End, digest_line, say_digest};
pub use keep::KeepSound;
pub use mechanic_view::MechanicView;
pub use outcome::{Failure, Outcome, unheard, unvoiced};
pub use session::{Session, TakenUp, new_folder};
