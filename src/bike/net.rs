//! The wiring as a net of terminals: which hang together, through which parts, and by which way.

use super::{Bike, Part};
use crate::parts::PrimitiveKind;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// What joins two terminals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Link {
    /// The wire with this number.
    Wire(usize),
    /// The part with this number, by a primitive of this kind.
    Part(usize, PrimitiveKind),
    /// The part with this number, in the switch position with this number.
    Position(usize, usize),
}

/// The net.
pub(super) struct Net {
    links: BTreeMap<String, Vec<(String, Link)>>,
}

/// A way from one terminal to another: the terminals on it, and what joins each to the next.
pub(super) struct Way {
    pub terminals: Vec<String>,
    pub links: Vec<Link>,
}

impl Net {
    pub(super) fn of(bike: &Bike) -> Self {
        let mut net = Net { links: BTreeMap::new() };
        for (n, wire) in bike.wires.iter().enumerate() {
            net.join(&wire.from, &wire.to, Link::Wire(n));
        }
        for (n, part) in bike.parts.iter().enumerate() {
            net.part(n, part);
        }
        net
    }

    fn part(&mut self, n: usize, part: &Part) {
        for primitive in &part.kind.model {
            let ends = part.ends(&primitive.ends);
            let link = Link::Part(n, primitive.kind);
            match (primitive.kind, ends.as_slice()) {
                (PrimitiveKind::Windings, [a, b, c, d]) => {
                    self.join(a, b, link);
                    self.join(c, d, link);
                }
                (PrimitiveKind::Selector, [arm, outer @ ..]) => {
                    outer.iter().for_each(|end| self.join(arm, end, link));
                }
                (_, [a, b]) => self.join(a, b, link),
                _ => {}
            }
        }
        for (position, (_, contacts)) in part.positions.iter().enumerate() {
            for [a, b] in contacts {
                self.join(a, b, Link::Position(n, position));
            }
        }
    }

    fn join(&mut self, a: &str, b: &str, link: Link) {
        self.links.entry(a.to_owned()).or_default().push((b.to_owned(), link));
        self.links.entry(b.to_owned()).or_default().push((a.to_owned(), link));
    }

    /// The terminals that hang together with `from` through links that `passes` lets through, and how each was come to.
    fn search(&self, from: &str, passes: &dyn Fn(Link, &str) -> bool) -> BTreeMap<String, Option<(String, Link)>> {
        let mut came = BTreeMap::from([(from.to_owned(), None)]);
        let mut waiting = VecDeque::from([from.to_owned()]);
        while let Some(at) = waiting.pop_front() {
            for (next, link) in self.links.get(&at).into_iter().flatten() {
                if !came.contains_key(next) && passes(*link, next) {
                    came.insert(next.clone(), Some((at.clone(), *link)));
                    waiting.push_back(next.clone());
                }
            }
        }
        came
    }

    /// The terminals that hang together with `from`. `passes` is given what would be passed and the terminal beyond it.
    pub(super) fn reach(&self, from: &str, passes: &dyn Fn(Link, &str) -> bool) -> BTreeSet<String> {
        self.search(from, passes).into_keys().collect()
    }

    /// The way with the fewest links from one terminal to another.
    pub(super) fn way(&self, from: &str, to: &str, passes: &dyn Fn(Link, &str) -> bool) -> Option<Way> {
        let came = self.search(from, passes);
        let mut way = Way { terminals: vec![to.to_owned()], links: Vec::new() };
        let mut at = to.to_owned();
        while let Some((before, link)) = came.get(&at)? {
            way.terminals.push(before.clone());
            way.links.push(*link);
            at.clone_from(before);
        }
        way.terminals.reverse();
        way.links.reverse();
        Some(way)
    }
}

/// Wires, and parts that are a plain resistance: fuse, connector, ammeter, cap.
pub(super) fn is_plain(link: Link) -> bool {
    matches!(link, Link::Wire(_) | Link::Part(_, PrimitiveKind::Resistance | PrimitiveKind::Inductance))
}
