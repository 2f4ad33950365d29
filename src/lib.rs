//! probeside: a voice-guided, hands-free procedure assistant.
//!
//! The way of one spoken answer, room by room:
//!
//! 1. [`hear`] turns sound into hypotheses, decoded against the grammar that [`phrase`] made of the step;
//! 2. [`phrase`] weighs the hypotheses and the stakes and accepts, confirms or rejects;
//! 3. [`walk`], which does no I/O and reads no clock, turns the answer into effects;
//! 4. [`session`] writes the record and syncs it to disk;
//! 5. [`speak`] says it back, and the next check.
//!
//! [`system`] reads and writes files and runs programs for all of them. [`procedure`] and [`bike`] are the data being walked,
//! [`check`] says what is wrong with them, [`diagnose`] proves what a procedure finds, [`rehearse`] how well its answers are heard, [`review`] reads what was written, `shop` keeps many sessions
//! (with the feature of that name), [`commands`] wires the rooms together.
//! Whatever is printed leaves through [`terminal`].
//! Imports run in one direction only; `tests/house.rs` checks it.

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
pub mod speak;
pub mod system;
pub mod terminal;
pub mod trade;
pub mod walk;
pub mod written;
