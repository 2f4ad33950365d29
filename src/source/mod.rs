//! Text files written by people: trees with places, diagnostics, and templates.
//!
//! The bottom room. All YAML is read through it, with bounded memory. It reports every error in a file with file, line and column.

mod decode;
mod diagnostic;
pub mod schema;
pub mod shape;
pub mod template;
mod text;
pub mod tree;
mod visible;

pub use diagnostic::{Diagnostic, Place, Severity, Written};
pub use text::{decode_text, read_bytes, read_text, whole_file};
pub use visible::{is_hidden, visible, visible_json};
