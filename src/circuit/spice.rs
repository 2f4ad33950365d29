//! Writes the netlist in SPICE syntax, for comparison with a reference program.

use super::Lamp;
use super::lamp::CURRENT_EXPONENT;
use super::network::{Kind, Network, Node};
use std::fmt::Write;

impl Network {
    /// The elements as SPICE cards. The reference node is `0`; the others are `PREFIX` followed by the node's number. Element names are
    /// numbered with the same prefix.
    pub fn spice(&self, prefix: &str) -> String {
        let node = |n: Node| if n.0 == 0 { "0".to_owned() } else { format!("{prefix}{}", n.0) };
        let mut text = String::new();
        for (i, e) in self.elements.iter().enumerate() {
            let (a, b) = (node(e.a), node(e.b));
            let line = match e.kind {
                Kind::Resistor(ohm) => format!("R{prefix}{i} {a} {b} {ohm:e}"),
                Kind::Voltage(volt) => format!("V{prefix}{i} {a} {b} DC {volt:e}"),
                Kind::Current(ampere) => format!("I{prefix}{i} {a} {b} DC {ampere:e}"),
                Kind::Lamp(lamp) => {
                    let (e, exponent) = (Lamp::cold_square(), (1.0 - CURRENT_EXPONENT) / 2.0);
                    let (volt, hot) = (lamp.volt, lamp.hot_ohm());
                    let x = format!("(V({a},{b})/{volt:e})");
                    format!(
                        "B{prefix}{i} {a} {b} I=V({a},{b})/({hot:e}*pow(({x}*{x}+{e:e})/{:e},{exponent:e}))",
                        1.0 + e
                    )
                }
                Kind::Diode(d) => format!(
                    "D{prefix}{i} {a} {b} M{prefix}{i}\n.model M{prefix}{i} D(IS={:e} N={:e})",
                    d.saturation, d.emission
                ),
            };
            let _ = writeln!(text, "{line}");
        }
        text
    }

    /// The name of a node in the output of [`Network::spice`] with the same prefix.
    pub fn spice_node(&self, prefix: &str, node: Node) -> String {
        if node.0 == 0 { "0".to_owned() } else { format!("{prefix}{}", node.0) }
    }
}
