//! Assigns each box to a layer below everything that leads to it. An arrow that would run upwards, or across more than a few layers, is
//! cut. It ends in a connector that names its target, so that long trees stay legible.

use super::chart::{Chart, Edge, Node, Shape};
use std::collections::BTreeMap;

/// Most layers that an arrow may cross. A longer one becomes a connector. Chosen by eye.
const LONGEST: usize = 5;

/// The chart without cycles and long arrows, and the layer of each box.
pub(super) fn layered(mut chart: Chart) -> (Chart, Vec<usize>) {
    let upward = upward(&chart);
    let mut kept = Vec::new();
    let mut cut = Vec::new();
    for (at, edge) in std::mem::take(&mut chart.edges).into_iter().enumerate() {
        if upward[at] { cut.push(edge) } else { kept.push(edge) }
    }
    let mut layers = depths(chart.nodes.len(), &kept);
    let (short, long): (Vec<Edge>, Vec<Edge>) =
        kept.into_iter().partition(|edge| layers[edge.to] - layers[edge.from] <= LONGEST);
    cut.extend(long);
    chart.edges = short;
    cut.sort_by_key(|edge| edge.from);
    for edge in cut {
        let jump = connector(&chart.nodes[edge.to]);
        layers.push(layers[edge.from] + 1);
        let to = chart.add(jump);
        chart.edges.push(Edge { to, ..edge });
    }
    (chart, layers)
}

/// The connector to a box elsewhere in the picture.
fn connector(target: &Node) -> Node {
    let mut jump = Node::new(Shape::Jump, format!("to {}", target.heading), "");
    jump.link.clone_from(&target.anchor);
    jump.hover = format!("It goes on at {}.", target.heading);
    jump
}

/// The sections, each as a chart.
pub(super) fn sections(chart: &Chart) -> Vec<Chart> {
    let mut numbers: Vec<usize> = chart.nodes.iter().map(|node| node.section).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let mut place = vec![0; chart.nodes.len()];
    let mut parts: BTreeMap<usize, Chart> = numbers.into_iter().map(|number| (number, Chart::default())).collect();
    for (at, node) in chart.nodes.iter().enumerate() {
        if let Some(part) = parts.get_mut(&node.section) {
            place[at] = part.add(node.clone());
        }
    }
    for edge in &chart.edges {
        let (from, to) = (&chart.nodes[edge.from], &chart.nodes[edge.to]);
        if let Some(part) = parts.get_mut(&from.section) {
            let to = if from.section == to.section { place[edge.to] } else { part.add(connector(to)) };
            part.edges.push(Edge { from: place[edge.from], to, labels: edge.labels.clone() });
        }
    }
    parts.into_values().collect()
}

/// For each arrow, whether it closes a cycle in a depth-first walk from the first box.
fn upward(chart: &Chart) -> Vec<bool> {
    let mut out: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, edge) in chart.edges.iter().enumerate() {
        out.entry(edge.from).or_default().push(at);
    }
    let mut upward = vec![false; chart.edges.len()];
    let mut state = vec![0u8; chart.nodes.len()]; // 0 not met, 1 on the way down, 2 done
    for root in 0..chart.nodes.len() {
        let mut stack = vec![(root, 0)];
        while let Some((node, next)) = stack.pop() {
            if next == 0 {
                if state[node] != 0 {
                    continue;
                }
                state[node] = 1;
            }
            match out.get(&node).and_then(|edges| edges.get(next)) {
                None => state[node] = 2,
                Some(edge) => {
                    stack.push((node, next + 1));
                    let to = chart.edges[*edge].to;
                    match state[to] {
                        1 => upward[*edge] = true,
                        0 => stack.push((to, 0)),
                        _ => {}
                    }
                }
            }
        }
    }
    upward
}

/// The longest path to each box, in arrows. The chart has no cycles here.
fn depths(nodes: usize, edges: &[Edge]) -> Vec<usize> {
    let mut depth = vec![0; nodes];
    let mut into = vec![0usize; nodes];
    let mut out: Vec<Vec<usize>> = vec![Vec::new(); nodes];
    for edge in edges {
        into[edge.to] += 1;
        out[edge.from].push(edge.to);
    }
    let mut ready: Vec<usize> = (0..nodes).filter(|node| into[*node] == 0).collect();
    while let Some(node) = ready.pop() {
        for to in &out[node] {
            depth[*to] = depth[*to].max(depth[node] + 1);
            into[*to] -= 1;
            if into[*to] == 0 {
                ready.push(*to);
            }
        }
    }
    depth
}
