//! The walker: a pure state machine that leads a user through a procedure. No I/O, no clock.
//!
//! **The one invariant:** `Walker::handle(event, now)` changes the walker and returns everything that has to be done, in order. The caller
//! does it all before the next event. Nothing is said back before the event [`Event::Recorded`] has named its record. A session is
//! therefore its list of events: replaying them gives the same walker.
//!
//! The walker consists of parts that own their fields (`parts`) and a phase (`phase`), which says what it waits for. One [table](row)
//! defines what each phase does with every event that is not an answer. An answer passes through `answer`, then `advise` if there is an
//! adviser, then `enter`, which leads to the next step.

mod advise;
mod answer;
mod conclude;
mod enter;
mod event;
mod guard;
mod keeping;
mod memory;
mod parts;
mod phase;
mod phase_kind;
mod readings;
mod reckon;
mod resume;
mod table;
mod talk;
mod unmade;
mod walker;
mod world;

pub use advise::{Advice, Answered, Check, Crossing, Observation, Request, Saw};
pub use answer::FOR_PARTS;
pub use conclude::FINISHED;
pub use event::{Effect, Event, Pedal, SayKind, TimerKind, Tone};
pub use phase_kind::PhaseKind;
pub use table::{
    Hears, OnClock, OnFailure, OnHeat, OnLoudspeaker, OnMicrophone, OnMiss, OnPedal, OnResumed, OnSilence, OnStop,
    OnStrangers, Row, row,
};
pub use talk::asked;
pub use walker::Walker;
pub use world::World;
