//! What is drawn: boxes of a few kinds, arrows between them, and the words on both.

use crate::procedure::{Meaning, SignalWord};

/// What a box stands for; each kind looks different without its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shape {
    /// Where it begins, and what holds at any step.
    Start,
    /// A step.
    Step,
    /// A loop: what follows is repeated.
    Loop,
    /// Another procedure.
    Call,
    /// A conclusion.
    Conclusion,
    /// A connector: it goes on at another box of the picture, or by a word such as "next round".
    Jump,
    /// What was not taken.
    Aside,
}

/// What an answer says about the part under test, shown by a mark and a colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// As on a healthy bike.
    Good,
    /// Not as on a healthy bike.
    Bad,
    /// Neither.
    Plain,
    /// A way around a check: not tested, left out.
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
    /// A name that links can lead to; unique in a chart, or none.
    pub anchor: Option<String>,
    /// The anchor that a connector leads to.
    pub link: Option<String>,
    /// First line, set off.
    pub heading: String,
    /// Cautions, each on a line of its own.
    pub cautions: Vec<(SignalWord, String)>,
    /// What it says; wrapped.
    pub body: String,
    /// What a pointer held over it shows, and what a screen reader says.
    pub hover: String,
    /// Sections stand below one another, each a tree of its own; arrows from one to another end in connectors.
    pub section: usize,
}

impl Node {
    /// A box with a heading and a body and nothing else.
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
    /// What a pointer held over it shows.
    pub hover: String,
}

impl Label {
    /// A label whose words say all.
    pub fn new(text: impl Into<String>, tone: Tone) -> Self {
        Label { text: text.into(), tone, hover: String::new() }
    }
}

/// An arrow between two boxes, by their places in [`Chart::nodes`].
#[derive(Debug, Clone, PartialEq)]
pub struct Edge {
    /// From this box.
    pub from: usize,
    /// To that one.
    pub to: usize,
    /// Its words.
    pub labels: Vec<Label>,
}

/// A picture.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Chart {
    /// Its title.
    pub title: String,
    /// What it shows, a sentence or two, for those who do not see it.
    pub description: String,
    /// The boxes. The first of them begins the chart.
    pub nodes: Vec<Node>,
    /// The arrows. Several between the same two boxes are drawn as one with all the words.
    pub edges: Vec<Edge>,
}

impl Chart {
    /// Adds a box.
    pub fn add(&mut self, node: Node) -> usize {
        self.nodes.push(node);
        self.nodes.len() - 1
    }

    /// Adds an arrow, or its words to the one that is there.
    pub fn join(&mut self, from: usize, to: usize, label: Option<Label>) {
        match self.edges.iter_mut().find(|e| e.from == from && e.to == to) {
            Some(edge) => edge.labels.extend(label),
            None => self.edges.push(Edge { from, to, labels: label.into_iter().collect() }),
        }
    }
}
