//! Lays out the chart. Box sizes follow from the wrapped text, layers run from top to bottom, and within a layer each item stands as close
//! to its linked items as its neighbours allow.

use super::chart::{Chart, Edge, Node, Shape};
use super::layers::{layered, sections};
use super::measure::{width, wrap};
use super::order::{Item, ordered};
use crate::procedure::SignalWord;
use std::collections::BTreeSet;

/// Font size of a box's body, px. The heading has the same size in bold.
pub const SIZE: f64 = 13.0;
/// Font size of words on arrows and in connectors, px.
pub const SMALL: f64 = 12.0;
/// Line height, px.
pub const LINE: f64 = 17.0;
/// Padding between a box's edge and its text, px.
pub const PAD: f64 = 9.0;
/// Width reserved for the mark before a label, px.
pub(super) const MARK: f64 = 16.0;
/// Widest box, px: about 30 characters a line.
const BOX: f64 = 250.0;
/// Widest label, px.
const WORDS: f64 = 170.0;
/// Horizontal gap between items, px.
const BESIDE: f64 = 22.0;
/// Gap between layers, px.
const BETWEEN: f64 = 22.0;
/// Gap between sections, px, in addition to both margins.
const SECTION: f64 = 12.0;
/// Margin of the picture, px.
const MARGIN: f64 = 16.0;
/// Most lines of a body in the picture. The tooltip has the full text.
const MOST_LINES: usize = 24;
/// Most lines of one label.
const MOST_LABEL_LINES: usize = 4;
/// Weight of the longest path relative to the others, so that it runs straight. Chosen by eye.
const HEAVY: f64 = 20.0;
/// Rounds of moving items towards their linked items.
const ROUNDS: usize = 40;

/// A rectangle with its upper left corner.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Area {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
}

/// A box with its wrapped words.
#[derive(Debug, Clone)]
pub struct Placed {
    /// Its area.
    pub area: Area,
    /// The heading's lines.
    pub heading: Vec<String>,
    /// Lines of cautions, with their signal words.
    pub cautions: Vec<(SignalWord, String)>,
    /// The body's lines.
    pub body: Vec<String>,
}

/// The labels of an arrow as lines, and the label that each line belongs to.
#[derive(Debug, Clone)]
pub struct Worded {
    /// Its area.
    pub area: Area,
    /// A line, the index of its label, and whether it is the label's first line.
    pub lines: Vec<(String, usize, bool)>,
}

/// The route of an arrow as points from its upper to its lower end. Each pair of points is joined by a straight line, and pairs are joined
/// by curves.
pub type Way = Vec<(f64, f64)>;

/// A chart with positions.
pub struct Layout {
    /// The chart, with connectors in place of cut arrows.
    pub chart: Chart,
    /// The boxes.
    pub boxes: Vec<Placed>,
    /// The labels of the arrows, if any.
    pub words: Vec<Option<Worded>>,
    /// The routes of the arrows.
    pub ways: Vec<Way>,
    /// Width of the picture.
    pub w: f64,
    /// Height of the picture.
    pub h: f64,
}

fn measured(node: &Node) -> Placed {
    let small = matches!(node.shape, Shape::Jump | Shape::Aside);
    let (size, room) = if small { (SMALL, WORDS) } else { (SIZE, BOX) };
    let heading = wrap(&node.heading, size * 1.06, room - 2.0 * PAD, 3);
    let body = wrap(&node.body, size, room - 2.0 * PAD, MOST_LINES);
    let mut cautions = Vec::new();
    for (signal, id) in &node.cautions {
        let lines = wrap(&format!("{} {id}", signal.name()), SMALL, room - 2.0 * PAD - MARK, 2);
        cautions.extend(lines.into_iter().map(|line| (*signal, line)));
    }
    let bold = heading.iter().map(|line| width(line, size * 1.06));
    let plain = body.iter().map(|line| width(line, size));
    let signal = cautions.iter().map(|(_, line)| width(line, SMALL) + MARK);
    let widest = bold.chain(plain).chain(signal).fold(0.0, f64::max);
    let lines = heading.len() + body.len() + cautions.len();
    let area = Area { w: widest + 2.0 * PAD, h: lines as f64 * LINE + 2.0 * PAD - 3.0, ..Area::default() };
    Placed { area, heading, cautions, body }
}

fn worded(chart: &Chart, edge: usize) -> Option<Worded> {
    let mut lines = Vec::new();
    for (at, label) in chart.edges[edge].labels.iter().enumerate() {
        let wrapped = wrap(&label.text, SMALL, WORDS - MARK, MOST_LABEL_LINES);
        lines.extend(wrapped.into_iter().enumerate().map(|(line, text)| (text, at, line == 0)));
    }
    let widest = lines.iter().map(|(text, _, _)| width(text, SMALL)).fold(0.0, f64::max);
    let area = Area { w: widest + MARK + PAD, h: lines.len() as f64 * LINE + 4.0, ..Area::default() };
    (!lines.is_empty()).then_some(Worded { area, lines })
}

/// The layout in progress: the items, their layers and their sizes.
struct Work {
    items: Vec<Item>,
    layers: Vec<Vec<usize>>,
    links: Vec<(usize, usize)>,
    chains: Vec<Vec<usize>>,
    wide: Vec<f64>,
    high: Vec<f64>,
    x: Vec<f64>,
}

/// Lays out a chart, with its sections one below another.
pub fn place(chart: Chart) -> Layout {
    let (title, description) = (chart.title.clone(), chart.description.clone());
    let chart_alone = Chart { title, description, ..Chart::default() };
    let mut whole = Layout { chart: chart_alone, boxes: vec![], words: vec![], ways: vec![], w: 2.0 * MARGIN, h: 0.0 };
    for part in sections(&chart) {
        let below = if whole.boxes.is_empty() { 0.0 } else { whole.h + SECTION };
        whole.append(section(part), below);
    }
    whole
}

impl Layout {
    /// Places another layout below this one.
    fn append(&mut self, part: Layout, below: f64) {
        let first = self.chart.nodes.len();
        self.chart.nodes.extend(part.chart.nodes);
        let moved = |edge: Edge| Edge { from: edge.from + first, to: edge.to + first, ..edge };
        self.chart.edges.extend(part.chart.edges.into_iter().map(moved));
        self.boxes.extend(part.boxes.into_iter().map(|mut placed| {
            placed.area.y += below;
            placed
        }));
        self.words.extend(part.words.into_iter().map(|mut words| {
            words.iter_mut().for_each(|words| words.area.y += below);
            words
        }));
        let down = |way: Way| way.into_iter().map(|(x, y)| (x, y + below)).collect();
        self.ways.extend(part.ways.into_iter().map(down));
        self.w = self.w.max(part.w);
        self.h = below + part.h;
    }
}

/// Lays out one section.
fn section(chart: Chart) -> Layout {
    let (chart, depth) = layered(chart);
    let mut boxes: Vec<Placed> = chart.nodes.iter().map(measured).collect();
    let mut words: Vec<Option<Worded>> = (0..chart.edges.len()).map(|edge| worded(&chart, edge)).collect();
    let mut work = Work::new(&chart, &depth, &boxes, &words);
    ordered(&mut work.layers, &work.links, work.items.len());
    work.spread();
    work.turn();
    let left = (0..work.items.len()).map(|i| work.x[i] - work.wide[i] / 2.0).fold(f64::INFINITY, f64::min);
    let right = (0..work.items.len()).map(|i| work.x[i] + work.wide[i] / 2.0).fold(0.0, f64::max);
    let shift = if left.is_finite() { MARGIN - left } else { MARGIN };
    let (mut tops, mut y) = (Vec::new(), MARGIN);
    for layer in &work.layers {
        let high = layer.iter().map(|i| work.high[*i]).fold(0.0, f64::max);
        tops.push((y, y + high));
        y += high + if high > 0.0 { BETWEEN } else { 0.0 };
    }
    let mut level = vec![0; work.items.len()];
    for (at, layer) in work.layers.iter().enumerate() {
        for item in layer {
            level[*item] = at;
            let (top, bottom) = tops[at];
            let area =
                |h: f64, y: f64| Area { x: work.x[*item] + shift - work.wide[*item] / 2.0, y, w: work.wide[*item], h };
            match work.items[*item] {
                Item::Box(node) => boxes[node].area = area(work.high[*item], top),
                Item::Words(edge) => {
                    if let Some(words) = &mut words[edge] {
                        words.area = area(work.high[*item], top + (bottom - top - work.high[*item]) / 2.0);
                    }
                }
                Item::Bend(_) => {}
            }
        }
    }
    let ways = work.chains.iter().map(|chain| way(&work, chain, &level, &tops, shift)).collect();
    let w = if left.is_finite() { right - left } else { 0.0 } + 2.0 * MARGIN;
    Layout { chart, boxes, words, ways, w, h: y - BETWEEN + MARGIN }
}

/// The points along an arrow.
fn way(work: &Work, chain: &[usize], level: &[usize], tops: &[(f64, f64)], shift: f64) -> Way {
    let mut points = Vec::new();
    let last = chain.len() - 1;
    let near = |item: usize, towards: usize| {
        let room = (work.wide[item] / 2.0 - 14.0).max(0.0);
        work.x[item] + (work.x[towards] - work.x[item]).clamp(-room, room) + shift
    };
    for (at, item) in chain.iter().enumerate() {
        let (top, bottom) = tops[level[*item]];
        let x = work.x[*item] + shift;
        if at == 0 {
            let x = near(*item, chain[1]);
            points.extend([(x, top + work.high[*item]), (x, bottom)]);
        } else if at == last {
            points.push((near(*item, chain[at - 1]), top));
        } else {
            points.extend([(x, top), (x, bottom)]);
        }
    }
    points
}

impl Work {
    fn new(chart: &Chart, depth: &[usize], boxes: &[Placed], words: &[Option<Worded>]) -> Self {
        let count = depth.iter().max().map_or(0, |deepest| deepest * 2 + 1);
        let mut work = Work {
            items: Vec::new(),
            layers: vec![Vec::new(); count],
            links: Vec::new(),
            chains: Vec::new(),
            wide: Vec::new(),
            high: Vec::new(),
            x: Vec::new(),
        };
        for (node, placed) in boxes.iter().enumerate() {
            work.item(Item::Box(node), 0, placed.area.w, placed.area.h);
        }
        for (at, edge) in chart.edges.iter().enumerate() {
            let mut chain = vec![edge.from];
            for level in depth[edge.from] * 2 + 1..depth[edge.to] * 2 {
                let first = level == depth[edge.from] * 2 + 1;
                let item = match &words[at] {
                    Some(words) if first => work.item(Item::Words(at), level, words.area.w, words.area.h),
                    _ => work.item(Item::Bend(at), level, 2.0, 0.0),
                };
                chain.push(item);
            }
            chain.push(edge.to);
            work.links.extend(chain.windows(2).map(|pair| (pair[0], pair[1])));
            work.chains.push(chain);
        }
        work.fill(depth, boxes.len());
        work
    }

    fn item(&mut self, item: Item, level: usize, wide: f64, high: f64) -> usize {
        self.items.push(item);
        self.wide.push(wide);
        self.high.push(high);
        self.x.push(0.0);
        if !matches!(item, Item::Box(_)) {
            self.layers[level].push(self.items.len() - 1);
        }
        self.items.len() - 1
    }

    /// Assigns boxes to layers, and orders each layer as a walk from the top meets its items.
    fn fill(&mut self, depth: &[usize], boxes: usize) {
        let mut level = vec![0; self.items.len()];
        for (at, layer) in self.layers.iter().enumerate() {
            layer.iter().for_each(|item| level[*item] = at);
        }
        (0..boxes).for_each(|node| level[node] = depth[node] * 2);
        let mut below = vec![Vec::new(); self.items.len()];
        let mut has_above = vec![false; self.items.len()];
        for (upper, lower) in &self.links {
            below[*upper].push(*lower);
            has_above[*lower] = true;
        }
        self.layers.iter_mut().for_each(Vec::clear);
        let mut met = vec![false; self.items.len()];
        let mut stack: Vec<usize> = (0..self.items.len()).rev().filter(|item| !has_above[*item]).collect();
        while let Some(item) = stack.pop() {
            if !std::mem::replace(&mut met[item], true) {
                self.layers[level[item]].push(item);
                stack.extend(below[item].iter().rev());
            }
        }
    }

    /// Moves every item sideways towards its linked items. Keeps order and gaps.
    fn spread(&mut self) {
        for layer in &self.layers {
            let mut x = 0.0;
            for item in layer {
                self.x[*item] = x + self.wide[*item] / 2.0;
                x += self.wide[*item] + BESIDE;
            }
        }
        let mut above = vec![Vec::new(); self.items.len()];
        let mut below = vec![Vec::new(); self.items.len()];
        for (upper, lower) in &self.links {
            above[*lower].push(*upper);
            below[*upper].push(*lower);
        }
        let trunk = self.trunk(&below);
        let mut heavy: BTreeSet<usize> = trunk.iter().map(|(upper, _)| *upper).collect();
        heavy.extend(trunk.iter().map(|(_, lower)| *lower));
        let weight = |item: usize| if heavy.contains(&item) { HEAVY } else { 1.0 };
        for round in 0..ROUNDS {
            let (down, all) = (round % 2 == 0, round + 4 > ROUNDS);
            for at in 0..self.layers.len() {
                let layer = &self.layers[if down { at } else { self.layers.len() - 1 - at }];
                let wished: Vec<f64> = layer
                    .iter()
                    .map(|item| {
                        let (mut sum, mut weights) = (0.0, 0.0);
                        let upper =
                            above[*item].iter().filter(|_| down || all).map(|i| (*i, trunk.contains(&(*i, *item))));
                        let lower =
                            below[*item].iter().filter(|_| !down || all).map(|i| (*i, trunk.contains(&(*item, *i))));
                        for (near, on_trunk) in upper.chain(lower) {
                            let weight = if on_trunk { HEAVY } else { 1.0 };
                            sum += self.x[near] * weight;
                            weights += weight;
                        }
                        if weights > 0.0 { sum / weights } else { self.x[*item] }
                    })
                    .collect();
                let sizes: Vec<(f64, f64)> = layer.iter().map(|item| (self.wide[*item], weight(*item))).collect();
                for (item, x) in layer.iter().zip(apart(&wished, &sizes)) {
                    self.x[*item] = x;
                }
            }
        }
    }

    /// Mirrors a picture that starts in its right half, because a browser shows the left half first.
    fn turn(&mut self) {
        let edges = (0..self.items.len()).map(|i| (self.x[i] - self.wide[i] / 2.0, self.x[i] + self.wide[i] / 2.0));
        let (left, right) = edges.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, r), (a, b)| (l.min(a), r.max(b)));
        if self.x.first().is_some_and(|first| *first > (left + right) / 2.0) {
            self.x.iter_mut().for_each(|x| *x = left + right - *x);
        }
    }

    /// The links of the longest path, which should run straight, as pairs of items.
    fn trunk(&self, below: &[Vec<usize>]) -> BTreeSet<(usize, usize)> {
        let mut height = vec![0usize; self.items.len()];
        for item in self.layers.iter().rev().flatten() {
            height[*item] = below[*item].iter().map(|lower| height[*lower] + 1).max().unwrap_or(0);
        }
        let mut links = BTreeSet::new();
        let mut at = self.layers.first().and_then(|top| top.iter().copied().max_by_key(|item| height[*item]));
        while let Some(item) = at {
            at = below[item].iter().copied().max_by_key(|lower| height[*lower]);
            links.extend(at.map(|lower| (item, lower)));
        }
        links
    }
}

/// Positions closest to the desired ones (weighted least squares) at which the items do not overlap. Items come in order, with width and
/// weight. The method is pooling of adjacent violators.
fn apart(wished: &[f64], things: &[(f64, f64)]) -> Vec<f64> {
    let mut offset = 0.0;
    let mut offsets = Vec::with_capacity(wished.len());
    let mut pools: Vec<(f64, f64, usize)> = Vec::new();
    for (at, (wide, weight)) in things.iter().enumerate() {
        if at > 0 {
            offset += (things[at - 1].0 + wide) / 2.0 + BESIDE;
        }
        offsets.push(offset);
        let (mut sum, mut weights, mut count) = ((wished[at] - offset) * weight, *weight, 1);
        while let Some((before, w, n)) = pools.last().copied()
            && before / w > sum / weights
        {
            pools.pop();
            (sum, weights, count) = (sum + before, weights + w, count + n);
        }
        pools.push((sum, weights, count));
    }
    let means = pools.into_iter().flat_map(|(sum, weights, n)| std::iter::repeat_n(sum / weights, n));
    means.zip(offsets).map(|(mean, offset)| mean + offset).collect()
}
