//! probeside: a voice-guided, hands-free procedure assistant.
//!
//! The way of one spoken answer, for whoever reads the code for the first time; each room is entered once:
//!
//! 1. [`hear`] cuts utterances out of sound ([`hear::Activity::push`]) and turns each into hypotheses ([`hear::Recogniser::hear`]), decoded
//!    against the grammar of the step;
//! 2. [`phrase`] weighs the hypotheses and the stakes, and accepts, confirms or rejects ([`phrase::verdict`]);
//! 3. [`walk`], which does no I/O and reads no clock, turns the answer into effects ([`walk::Walker::handle`]);
//! 4. [`session`] writes the record and syncs it to disk ([`session::Writer::append`]);
//! 5. [`speak`] says it back, and the next check ([`speak::Mouth::say`]).
//!
//! [`run`](mod@run) carries it from one to the next ([`run::Session::drive`]).
//!
//! ```
//! use probeside::{hear, phrase, run, session, speak, walk};
//! // All that the way is made of.
//! let _ = hear::Activity::push;
//! let _ = <dyn hear::Recogniser>::hear;
//! let _ = phrase::verdict;
//! let _ = walk::Walker::handle;
//! let _ = |to: &session::Writer, now: &session::Now| to.append(0, session::Kind::Record, &"read", now);
//! let _ = <dyn speak::Mouth>::say;
//! let _ = run::Session::drive;
//! ```
//!
//! What each room owns, and what it must not know, in the order in which they may see each other:
//!
//! | room | owns | must not know |
//! | --- | --- | --- |
//! | [`system`] | plain files, programs under supervision | what is in a file, what a program is for |
//! | [`source`] | text files with places, findings, templates | what a file describes |
//! | [`terminal`] | everything that is printed | what is printed, and why |
//! | [`units`] | quantities, units, how they convert | any formula |
//! | [`sums`] | formulas and tables with their sources | any bike, any procedure |
//! | [`bike`] | what a bike has, and the state it is in during a walk | what a fault does, which step asks |
//! | [`phrase`] | grammars, words to answers and back, the verdict | sound, the step that is asked |
//! | [`procedure`] | the tree of steps as data, expressions, drawing | who walks it, and how its words are heard |
//! | [`circuit`] | what an instrument shows, healthy or under a fault | a walk, what was answered |
//! | [`advice`] | what the adviser answers: suspects and their weights, the next part | how weights are worked out, who asked |
//! | [`session`] | the record: written, kept whole, read again | the walker, what an entry leads to |
//! | [`walk`] | what is said, asked and written down next | clocks, files, threads, sound |
//! | [`diagnose`] | which faults fit, and what a procedure finds | voices, a session's folder |
//! | [`check`] | what is wrong with a procedure or a bike that can be read | sound, sessions |
//! | [`hear`] | sound or a typed line to hypotheses | steps, bikes, what an answer leads to |
//! | [`speak`] | words to sound, print or a file | why something is said |
//! | [`rehearse`] | how well a procedure's answers are told apart by ear | sessions, faults |
//! | [`review`] | what a record says, for who reads it later, and whether it is whole | the walker: it reads what is there and continues nothing |
//! | `shop` | many sessions in one place (with the feature of that name) | sound, and how a walk is led |
//! | [`run`](mod@run) | a walk as it runs: begun, resumed, ended; its loop and threads | a command's arguments; the devices behind ears and mouth; what to ask |
//! | [`commands`] | the arguments, what is opened for them, what is printed of the result | the loop, the threads and the decisions of a walk |
//!
//! Imports run in one direction only; `tests/house.rs` checks it.

// Unit tests and integration tests share files of `tests/support`, which name the crate from outside.
#[cfg(test)]
extern crate self as probeside;

pub mod advice;
pub mod bike;
pub mod check;
pub mod circuit;
pub mod commands;
pub mod diagnose;
pub mod hear;
pub mod phrase;
pub mod procedure;
pub mod rehearse;
pub mod review;
pub mod run;
pub mod session;
#[cfg(feature = "shop")]
pub mod shop;
pub mod source;
pub mod speak;
pub mod sums;
pub mod system;
pub mod terminal;
pub mod units;
pub mod walk;
