//! Procedures: the tree of steps as data, loading with source places, expressions and templates, drawing.
//!
//! `procedures/FORMAT.md` documents the YAML spelling of every type here.

mod budget;
mod decode;
pub mod draw;
pub mod expression;
mod load;
mod render;
mod route;
mod scope;
mod shape;
mod sums;
mod syntax;
mod types;

pub use budget::MOST_STEPS;
pub use expression::{evaluate_bool, evaluate_list, evaluate_number};
pub use load::{from_tree, load, parse, parse_named};
pub use render::{render_names, render_state};
pub use route::{choose, place as target_place};
pub use scope::{Scope, Seen, render};
pub use shape::PROCEDURE;
pub use types::{
    Ask, Band, Caution, Choice, Conclusion, Condition, Expression, Hazard, Loop, Meaning, Observe, Part, Procedure,
    ReadingAsk, Route, SignalWord, StateTemplate, Step, Target, Template,
};

#[cfg(test)]
mod tests;
