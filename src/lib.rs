//! probeside: a voice-guided, hands-free procedure assistant.
//!
//! The path of one spoken answer, for new readers of the code. It enters each room once:
//!
//! 1. [`hear`] cuts utterances out of sound ([`hear::Activity::push`]) and turns each into hypotheses ([`hear::Recogniser::hear`]), decoded
//!    against the grammar of the step;
//! 2. [`phrase`] weighs the hypotheses and the stakes, and accepts, confirms or rejects ([`phrase::verdict`]);
//! 3. [`walk`], which does no I/O and reads no clock, turns the answer into effects ([`walk::Walker::handle`]);
//! 4. [`session`] writes the record and syncs it to disk ([`session::Writer::append`]);
//! 5. [`speak`] says it back, and the next check ([`speak::Mouth::say`]).
//!
//! [`run`](mod@run) passes it from one room to the next ([`run::Session::drive`]).
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
//! What each room owns and what it must not know, in the order of imports:
//!
//! | room | owns | must not know |
//! | --- | --- | --- |
//! | [`system`] | plain files, supervised programs | what a file contains, what a program is for |
//! | [`source`] | text files with places, findings, templates | what a file describes |
//! | [`terminal`] | all printed output | what is printed, and why |
//! | [`units`] | quantities, units, conversion | any formula |
//! | [`sums`] | formulas and tables with their sources | any bike, any procedure |
//! | [`expression`] | CEL, templates, the names that they see | what the names stand for |
//! | [`parts`] | the catalogue of part kinds: terminals, values, primitives | any motorcycle, any wiring |
//! | [`bike`] | a bike's parts and wires, the roles found in them, its state during a walk | what a fault does, which step asks |
//! | [`phrase`] | grammars, words to answers and back, the verdict | sound, the current step |
//! | [`procedure`] | the tree of steps as data, drawing | who walks it, how its words are recognised |
//! | [`circuit`] | what an instrument reads, without or with a fault | a walk, its answers |
//! | [`advice`] | the adviser's answers: suspects and their weights, what comes next | how weights are computed, who asked |
//! | [`session`] | the record: writing, integrity, reading | the walker, what an entry leads to |
//! | [`walk`] | what is said, asked and recorded next | clocks, files, threads, sound |
//! | [`diagnose`] | which faults fit the answers, which faults a procedure finds | voices, a session's folder |
//! | [`check`] | semantic checks on procedures and bikes that parse | sound, sessions |
//! | [`hear`] | sound or a typed line to hypotheses | steps, bikes, where an answer leads |
//! | [`speak`] | words to sound, print or a file | why something is said |
//! | [`rehearse`] | how well a procedure's answers can be told apart by ear | sessions, faults |
//! | [`review`] | a record for its later readers, and its verification | the walker: it reads the record and continues nothing |
//! | `shop` | an archive of many sessions (with the feature of that name) | sound, how a walk is led |
//! | [`run`](mod@run) | running walks: begin, resume, end; the loop and its threads | a command's arguments; the devices behind ears and mouth; what to ask |
//! | [`commands`] | the arguments, opening devices, printing results | the loop, the threads and the decisions of a walk |
//!
//! Imports run in one direction only; `tests/house.rs` checks it.

// Unit tests and integration tests share files in `tests/support`. Those files name the crate as outsiders do.
#[cfg(test)]
extern crate self as probeside;

pub mod advice;
pub mod bike;
pub mod check;
pub mod circuit;
pub mod commands;
pub mod diagnose;
pub mod expression;
pub mod hear;
pub mod parts;
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
