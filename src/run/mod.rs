//! A walk as it runs: sessions begun, taken up again and ended, and the loop between walker, ears, recogniser, mouth and journal.
//!
//! [`Session`] is begun in a folder or replayed from one, and driven to its [`End`] in one loop of one thread (`drive.rs`), which hands the walker
//! one event at a time and does all that it asks for. Beside it stand the recogniser's thread (`recogniser_thread.rs`), the adviser's (which `advise.rs` begins), the
//! journal's (`recorder.rs`) and that of the [`signals`]. [`load`] puts together what is walked in. The tests in `power.rs` and `recorder_tests.rs`
//! drive it over a disk that fails.
//!
//! Deliberately absent: a command's arguments, which device or file stands behind ears and mouth, and every decision what is asked or written down,
//! which is the walker's.

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
