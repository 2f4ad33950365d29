//! Text files as people write them: located trees, diagnostics with places, and templates.
//!
//! The bottom room: everything that reads YAML reads it through here, with bounded memory, and reports every fault it finds
//! with file, line and column.

mod diagnostic;

pub use diagnostic::{Diagnostic, Place, Severity, Written};
