//! Expressions and templates over the names of one point of a walk: Common Expression Language, Jinja templates, and the scope of names that
//! both read. Catalogue, fault library and procedures are written in them.

mod budget;
mod evaluate;
mod scope;
mod sums;
mod syntax;

pub use budget::MOST_STEPS;
pub use evaluate::{Name, check_syntax, evaluate_bool, evaluate_list, evaluate_number, names, steps};
pub use scope::{Scope, Seen, render, render_names};

/// A text that may be a Jinja template.
pub type Template = crate::source::Written<String>;
/// A Common Expression Language expression.
pub type Expression = crate::source::Written<String>;
