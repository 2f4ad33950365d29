//! Procedures: the tree of steps as data, loading with source places, expressions and templates, drawing.
//!
//! `procedures/FORMAT.md` documents the YAML spelling of every type here.

mod decode;
pub mod draw;
mod load;
mod render;
mod requirement;
mod route;
mod shape;
mod types;

pub use load::{from_tree, load, parse, parse_named};
pub use render::render_state;
pub use requirement::{Requirement, Works, WorksAs};
pub use route::{choose, place as target_place};
pub use shape::PROCEDURE;
pub use types::{
    Ask, Band, Before, COMES_AND_GOES, Caution, Checks, Choice, Conclusion, Condition, Hazard, Loop, Meaning, Observe,
    Procedure, ReadingAsk, Route, SignalWord, StateTemplate, Step, Target,
};

#[cfg(test)]
mod tests;
