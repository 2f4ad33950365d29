//! Removes dead ends and chains of resistors from a network before its equations are written. A dead end has the voltage of its one
//! neighbour. A chain becomes one resistor, and its inner node divides the voltage between its ends. A bike's wiring is little more than
//! that, so a few of fifty nodes remain.

use super::network::{Kind, Network};
use nalgebra::DVector;

/// A node's row in the equations. `None` for the reference and for folded nodes.
pub(super) type Row = Option<usize>;

/// A resistor between two nodes, or a folded chain of them.
pub(super) struct Link {
    pub a: usize,
    pub b: usize,
    pub siemens: f64,
    /// False once it is folded into another.
    pub there: bool,
}

/// A removed node, and the nodes and shares that make up its voltage.
struct Taken {
    node: usize,
    by: [(usize, f64); 2],
}

/// A network with its dead ends and chains folded.
pub(super) struct Folded {
    pub row: Vec<Row>,
    /// The number of rows.
    pub rows: usize,
    pub links: Vec<Link>,
    taken: Vec<Taken>,
}

impl Folded {
    /// Folds `network`. Each floating part is tied at the node that names it in `islands`.
    pub fn new(network: &Network, islands: &[usize]) -> Self {
        let nodes = network.nodes();
        // Nodes of other elements stay, and so do the tied nodes.
        let mut stays: Vec<bool> = (0..nodes).map(|node| islands[node] == node).collect();
        let mut links = Vec::with_capacity(2 * network.elements.len());
        let mut at: Vec<Vec<usize>> = vec![Vec::new(); nodes];
        for e in &network.elements {
            match e.kind {
                Kind::Resistor(_) if e.a == e.b => {}
                Kind::Resistor(ohm) => {
                    at[e.a.0].push(links.len());
                    at[e.b.0].push(links.len());
                    links.push(Link { a: e.a.0, b: e.b.0, siemens: 1.0 / ohm, there: true });
                }
                _ => (stays[e.a.0], stays[e.b.0]) = (true, true),
            }
        }
        let mut taken = Vec::new();
        let mut next: Vec<usize> = (0..nodes).collect();
        while let Some(node) = next.pop() {
            if stays[node] {
                continue;
            }
            at[node].retain(|link| links[*link].there);
            let far = |link: usize| {
                let link: &Link = &links[link];
                (if link.a == node { link.b } else { link.a }, link.siemens)
            };
            match at[node][..] {
                [only] => {
                    let (end, _) = far(only);
                    taken.push(Taken { node, by: [(end, 1.0), (end, 0.0)] });
                    links[only].there = false;
                    next.push(end);
                }
                [one, other] => {
                    let ((a, to_a), (b, to_b)) = (far(one), far(other));
                    let both = to_a + to_b;
                    taken.push(Taken { node, by: [(a, to_a / both), (b, to_b / both)] });
                    links[one].there = false;
                    links[other].there = false;
                    if a != b {
                        at[a].push(links.len());
                        at[b].push(links.len());
                        links.push(Link { a, b, siemens: to_a * (to_b / both), there: true });
                    }
                    next.extend([a, b]);
                }
                _ => continue,
            }
            stays[node] = true;
        }
        let mut row: Vec<Row> = vec![None; nodes];
        let mut rows = 0;
        let mut gone = vec![false; nodes];
        taken.iter().for_each(|one: &Taken| gone[one.node] = true);
        for node in (1..nodes).filter(|node| !gone[*node]) {
            row[node] = Some(rows);
            rows += 1;
        }
        Self { row, rows, links, taken }
    }

    /// The voltage of every node, volt, folded nodes included.
    pub(super) fn unfold(&self, solution: &DVector<f64>) -> Vec<f64> {
        let mut volts: Vec<f64> = self.row.iter().map(|row| row.map_or(0.0, |row| solution[row])).collect();
        for one in self.taken.iter().rev() {
            volts[one.node] = one.by.iter().map(|(node, share)| volts[*node] * share).sum();
        }
        volts
    }
}

#[cfg(test)]
mod tests {
    use super::super::network::Node;
    use super::*;

    /// A ladder with the voltages of a divider: 10 V over 2, 3 and 5 ohm, and a dead end at the second node.
    #[test]
    fn chains_divide_and_dead_ends_hang() {
        let mut n = Network::new("0");
        let [a, b, c, d] = ["a", "b", "c", "d"].map(|name| n.node(name));
        n.add("V", a, Network::REFERENCE, Kind::Voltage(10.0)).unwrap();
        n.add("R1", a, b, Kind::Resistor(2.0)).unwrap();
        n.add("R2", b, c, Kind::Resistor(3.0)).unwrap();
        n.add("R3", c, Network::REFERENCE, Kind::Resistor(5.0)).unwrap();
        n.add("R4", b, d, Kind::Resistor(7.0)).unwrap();
        let point = n.operating_point().unwrap();
        let volt = |node: Node| point.voltage(node, Network::REFERENCE).unwrap();
        for (node, right) in [(a, 10.0), (b, 8.0), (c, 5.0), (d, 8.0)] {
            assert!((volt(node) - right).abs() < 1e-12, "{}", volt(node));
        }
        assert!((point.current(0) + 1.0).abs() < 1e-12 && (point.current(3) - 1.0).abs() < 1e-12);
        assert_eq!(Folded::new(&n, &[0, 0, 0, 0, 0]).rows, 1);
    }
}
