//! The walker: a pure state machine that leads a person through a procedure. No I/O, no clock.
//!
//! **The one invariant:** `Walker::handle(event, now)` changes the walker and returns everything that has to be done, in order;
//! the caller does it all before the next event. Nothing is said back before the event [`Event::Recorded`] has named its
//! record. A session is therefore its list of events: feeding them again gives the same walker.

mod advice;
mod answer;
mod conclude;
mod control;
mod enter;
mod event;
mod grammar;
mod guard;
mod heard;
mod keeping;
mod memory;
mod observation;
mod order;
mod over;
mod parts;
mod phase;
mod phase_kind;
mod readings;
mod reckon;
mod request;
mod silence;
mod table;
mod walker;
mod world;

pub use advice::Advice;
pub use conclude::FINISHED;
pub use event::{Effect, Event, Pedal, SayKind, TimerKind, Tone};
pub use grammar::asked;
pub use observation::{Check, Observation, Saw};
pub use order::Crossing;
pub use phase_kind::PhaseKind;
pub use request::{Answered, Request};
pub use table::{
    Hears, OnClock, OnFailure, OnHeat, OnLoudspeaker, OnMicrophone, OnMiss, OnPedal, OnResumed, OnSilence, OnStop,
    OnStrangers, Row, row,
};
pub use walker::Walker;
pub use world::World;
