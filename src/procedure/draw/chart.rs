//! The content of a drawing: a few kinds of box, the arrows between them, and the words on both.

use crate::procedure::{Meaning, SignalWord};

/// What a box stands for. Each kind can be told apart without its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shape {
    /// The start, and what applies at every step.
    Start,
    /// A step.
    Step,
    /// A loop over the steps below it.
    Loop,
    /// Another procedure.
    Call,
    /// A conclusion.
    Conclusion,
    /// A connector. The chart continues at another box, or as the words say, such as "next round".
    Jump,
    /// A path that was not taken.
    Aside,
}

/// What an answer says about the part under test. Shown by a mark and a colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// As on a healthy bike.
    Good,
    /// Not as on a healthy bike.
    Bad,
    /// Neither.
    Plain,
    /// A path around a check: not tested, or skipped.
    Around,
}

impl From<Meaning> for Tone {
    fn from(meaning: Meaning) -> Self {
        match meaning {
            Meaning::Good => Self::Good,
            Meaning::Bad => Self::Bad,
            Meaning::Neither => Self::Plain,
        }
    }
}

/// A box.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// Its kind.
    pub shape: Shape,
    /// The name that links lead to, if any. Unique in a chart.
    pub anchor: Option<String>,
    /// The anchor that a connector leads to.
    pub link: Option<String>,
    /// First line, emphasised.
    pub heading: String,
    /// Cautions, each on its own line.
    pub cautions: Vec<(SignalWord, String)>,
    /// The text, wrapped.
    pub body: String,
    /// Shown as a tooltip and read by screen readers.
    pub hover: String,
    /// The section of the chart. Sections are separate trees, one below another. An arrow between sections ends in a connector.
    pub section: usize,
}

impl Node {
    /// A box with only a heading and a body.
    pub fn new(shape: Shape, heading: impl Into<String>, body: impl Into<String>) -> Self {
        let (heading, body) = (heading.into(), body.into());
        Node { shape, anchor: None, link: None, heading, cautions: Vec::new(), body, hover: String::new(), section: 0 }
    }
}

/// One line of words on an arrow.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// The words.
    pub text: String,
    /// What the answer means.
    pub tone: Tone,
    /// Shown as a tooltip.
    pub hover: String,
}

impl Label {
    /// A label without a tooltip of its own.
    pub fn new(text: impl Into<String>, tone: Tone) -> Self {
        Label { text: text.into(), tone, hover: String::new() }
    }
}

/// An arrow between two boxes, as indices into [`Chart::nodes`].
#[derive(Debug, Clone, PartialEq)]
pub struct Edge {
    /// The box it starts from.
    pub from: usize,
    /// The box it leads to.
    pub to: usize,
    /// Its words.
    pub labels: Vec<Label>,
}

/// A chart.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Chart {
    /// Its title.
    pub title: String,
    /// A sentence or two for users who cannot see the picture.
    pub description: String,
    /// The boxes. The chart starts with the first.
    pub nodes: Vec<Node>,
    /// The arrows. Several between the same two boxes become one arrow with all their labels.
    pub edges: Vec<Edge>,
}

impl Chart {
    /// Adds a box.
    pub fn add(&mut self, node: Node) -> usize {
        self.nodes.push(node);
        self.nodes.len() - 1
    }

    /// Adds an arrow, or adds the label to an existing one.
    pub fn join(&mut self, from: usize, to: usize, label: Option<Label>) {
        match self.edges.iter_mut().find(|e| e.from == from && e.to == to) {
            Some(edge) => edge.labels.extend(label),
            None => self.edges.push(Edge { from, to, labels: label.into_iter().collect() }),
        }
    }
}
