//! Drawing: a procedure's tree, or any other chart of boxes and arrows, as an SVG picture.
//!
//! [`tree`](fn@tree) makes a [`Chart`] of a procedure; [`svg`](fn@svg) lays a chart out in layers and writes it. Whatever stands in a
//! chart is text: it is wrapped, escaped and never obeyed.

mod chart;
mod layers;
mod measure;
mod order;
mod place;
mod svg;
mod tree;
mod words;

pub use chart::{Chart, Edge, Label, Node, Shape, Tone};
pub use svg::{PALETTE, PICTURE, STYLE, escaped, inline, svg};
pub use tree::{target_name, tree};

#[cfg(test)]
mod tests;
