//! The catalogue of part kinds: what a battery, a coil or a connector is, as data. Each file in `procedures/parts` describes one kind: its
//! spoken name, its terminals, what unplugs, the values that it has, and an electrical model of primitives.
//!
//! The primitives are all that this program knows of parts; it knows no motorcycle. `procedures/FORMAT.md` documents the format.

mod catalogue;
mod kind;
mod load;
mod shape;
mod specimen;

pub use catalogue::Catalogue;
pub use kind::{Ends, PartKind, Primitive, PrimitiveKind, Terminals, Unplugs, Value};
pub use shape::PART;
