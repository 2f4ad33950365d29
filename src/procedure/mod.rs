//! Procedures: the tree of steps as data, loading with places, expressions and templates, drawing.
//!
//! `procedures/FORMAT.md` documents the YAML spelling of every type here.

mod types;

pub use types::{
    Ask, Band, Caution, Choice, Conclusion, Condition, Expression, Hazard, Loop, Meaning, Procedure, ReadingAsk, Route,
    SignalWord, StateTemplate, Step, Target, Template,
};
