//! Text files as people write them: located trees, diagnostics with places, and templates.
//!
//! The bottom room: everything that reads YAML reads it through here, with bounded memory, and reports every fault it finds
//! with file, line and column.

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
