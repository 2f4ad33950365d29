//! The netlist: named nodes and the elements between them.

use super::{CircuitError, Lamp, Name};
use std::collections::HashMap;

/// A node of one network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Node(pub(super) usize);

/// A junction diode: i = Is (exp(v / (n Vt)) - 1) at 27 degrees Celsius.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diode {
    /// Saturation current Is, ampere.
    pub saturation: f64,
    /// Emission coefficient n.
    pub emission: f64,
}

/// An element's kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// A resistance, ohm. A closed contact is a small resistance; an open contact is no element at all.
    Resistor(f64),
    /// An ideal voltage source, volt, with plus on the first node.
    Voltage(f64),
    /// An ideal current source, ampere. Current flows from the first node through the source to the second.
    Current(f64),
    /// An incandescent lamp.
    Lamp(Lamp),
    /// A diode with its anode on the first node.
    Diode(Diode),
}

/// One element.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// Its name, for messages.
    pub name: Name,
    /// First node.
    pub a: Node,
    /// Second node.
    pub b: Node,
    /// Its kind.
    pub kind: Kind,
}

/// A netlist. The first node is the reference, at 0 V.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    pub(super) names: Vec<Name>,
    index: HashMap<Name, Node>,
    pub(super) elements: Vec<Element>,
}

impl Network {
    /// The reference node, at 0 V.
    pub const REFERENCE: Node = Node(0);

    /// An empty network whose reference node has this name.
    pub fn new(reference: &str) -> Self {
        Self::sized(reference, 0)
    }

    /// An empty network with room for this many elements.
    pub(super) fn sized(reference: &str, elements: usize) -> Self {
        let (names, index) = (Vec::with_capacity(elements), HashMap::with_capacity(elements));
        let mut network = Self { names, index, elements: Vec::with_capacity(elements) };
        network.node(reference);
        network
    }

    /// The node with this name. Created if it is new.
    pub fn node(&mut self, name: &str) -> Node {
        match self.index.get(name) {
            Some(node) => *node,
            None => self.node_named(&Name::from(name)),
        }
    }

    /// The same by a shared name.
    pub(super) fn node_named(&mut self, name: &Name) -> Node {
        if let Some(node) = self.index.get(name) {
            return *node;
        }
        let node = Node(self.names.len());
        self.names.push(name.clone());
        self.index.insert(name.clone(), node);
        node
    }

    /// The node with this name, if any.
    pub fn find(&self, name: &str) -> Option<Node> {
        self.index.get(name).copied()
    }

    /// The nodes' names, reference first.
    pub fn names(&self) -> &[Name] {
        &self.names
    }

    /// The number of nodes, reference included.
    pub fn nodes(&self) -> usize {
        self.names.len()
    }

    /// The elements in the order of insertion.
    pub fn elements(&self) -> &[Element] {
        &self.elements
    }

    /// Adds an element and returns its index.
    ///
    /// # Errors
    /// [`CircuitError::Value`] if a resistance or rating is not finite and positive, or a source is not finite.
    pub fn add(&mut self, name: &str, a: Node, b: Node, kind: Kind) -> Result<usize, CircuitError> {
        self.add_named(Name::from(name), a, b, kind)
    }

    /// The same by a shared name.
    pub(super) fn add_named(&mut self, name: Name, a: Node, b: Node, kind: Kind) -> Result<usize, CircuitError> {
        let above_zero = |value: f64| value.is_finite() && value > 0.0;
        let refused = match kind {
            Kind::Resistor(ohm) => (!above_zero(ohm)).then_some(ohm),
            Kind::Voltage(value) | Kind::Current(value) => (!value.is_finite()).then_some(value),
            Kind::Lamp(lamp) => [lamp.volt, lamp.watt].into_iter().find(|v| !above_zero(*v)),
            Kind::Diode(d) => [d.saturation, d.emission].into_iter().find(|v| !above_zero(*v)),
        };
        if let Some(value) = refused {
            return Err(CircuitError::Value { element: name.to_string(), value });
        }
        self.elements.push(Element { name, a, b, kind });
        Ok(self.elements.len() - 1)
    }
}
