//! Draws a procedure's tree, or any other chart of boxes and arrows, as an SVG picture.
//!
//! [`tree`](fn@tree) turns a procedure into a [`Chart`]. [`svg`](fn@svg) lays the chart out in layers and writes it. Everything in a chart
//! is plain text: it is wrapped and escaped, never interpreted.

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
