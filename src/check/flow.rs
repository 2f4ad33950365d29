//! A data-flow analysis over the walks: at every node, which states the bike can be in, which hazards were cautioned on every way there, and
//! what has surely been seen. It checks nothing itself; it runs forward over the edges until nothing changes.

use super::walks::{Frame, Node, To, Via, Walks};
use crate::bike::{BikeState, Engine, PointsAt, StateNeed};
use crate::procedure::{Ask, Hazard};
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// A part of the bike's state.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Fact {
    /// A switch's position.
    Switch(String),
    /// Whether something is plugged in: [`IN`] or [`OUT`].
    Plug(String),
    /// Where a points set stands.
    Points(String),
    /// What is fitted under this name: the two terminals, or [`OUT`].
    Fitted(String),
    /// The instrument and its leads, or [`OUT`].
    Instrument,
    /// What the engine does.
    Engine,
}

/// Plugged in.
pub(super) const IN: &str = "in";
/// Unplugged, not fitted, laid down.
pub(super) const OUT: &str = "out";
/// Nobody has said.
const UNKNOWN: &str = "?";

/// What holds on arrival at a node.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Facts {
    /// The possible values of each part of the state. A part that is absent is as at the start.
    may: BTreeMap<Fact, BTreeSet<String>>,
    /// Hazards that were cautioned on every way.
    pub cautioned: BTreeSet<Hazard>,
    /// Names that were seen on every way.
    pub seen: BTreeSet<String>,
}

/// The value at the start: everything is plugged in, nothing is fitted, the rest is unknown.
fn at_start(fact: &Fact) -> &'static str {
    match fact {
        Fact::Plug(_) => IN,
        Fact::Fitted(_) | Fact::Instrument => OUT,
        Fact::Switch(_) | Fact::Points(_) | Fact::Engine => UNKNOWN,
    }
}

impl Facts {
    /// Whether `fact` can be `value` on some way.
    pub fn may_be(&self, fact: &Fact, value: &str) -> bool {
        match self.may.get(fact) {
            Some(values) => values.contains(value),
            None => at_start(fact) == value,
        }
    }

    /// Whether `fact` is `value` on every way.
    pub fn is(&self, fact: &Fact, value: &str) -> bool {
        match self.may.get(fact) {
            Some(values) => values.len() == 1 && values.contains(value),
            None => at_start(fact) == value,
        }
    }

    /// The bike's state as far as it is known. `apart` decides about what some ways leave apart or fitted and others do not.
    pub fn known(&self, apart: bool) -> BikeState {
        let mut state = BikeState::default();
        for (fact, values) in &self.may {
            let chosen = values.iter().find(|value| *value != OUT).filter(|_| apart || values.len() == 1);
            match (fact, chosen) {
                (Fact::Switch(name), Some(to)) if to != UNKNOWN => {
                    state.switches.insert(name.clone(), to.clone());
                }
                (Fact::Plug(id), _) if values.contains(OUT) && (apart || values.len() == 1) => {
                    state.unplugged.insert(id.clone());
                }
                (Fact::Points(set), Some(at)) => state.points.extend(PointsAt::named(at).map(|at| (set.clone(), at))),
                (Fact::Fitted(name), Some(between)) => {
                    let ends = between.split_once(" and ").map(|(a, b)| [a.to_owned(), b.to_owned()]);
                    state.fitted.extend(ends.map(|ends| (name.clone(), ends)));
                }
                (Fact::Engine, Some(engine)) => state.engine = Engine::named(engine),
                _ => {}
            }
        }
        state
    }

    /// Names of things that may be fitted.
    pub(super) fn may_be_fitted(&self) -> impl Iterator<Item = &str> {
        self.may.iter().filter_map(|(fact, values)| match fact {
            Fact::Fitted(name) if values.iter().any(|value| value != OUT) => Some(name.as_str()),
            _ => None,
        })
    }

    /// The facts once `need` holds.
    pub fn after(&self, need: &StateNeed) -> Facts {
        let mut next = self.clone();
        if matches!(need.engine, Some(Engine::Turned | Engine::Kicked | Engine::Running)) && need.points.is_empty() {
            for (fact, values) in &mut next.may {
                if matches!(fact, Fact::Points(_)) {
                    *values = [UNKNOWN.to_owned()].into();
                }
            }
        }
        for (fact, value) in asked_for(need) {
            next.may.insert(fact, [value].into());
        }
        next
    }

    /// What holds on both ways. Returns whether that is less than before.
    fn join(&mut self, other: &Facts) -> bool {
        self.narrow(other, &other.cautioned, |name| other.seen.contains(name))
    }

    /// Keeps what also holds on another way: `other`'s state, these cautions, and the names that `saw` accepts. Returns whether anything was lost.
    fn narrow(&mut self, other: &Facts, cautioned: &BTreeSet<Hazard>, saw: impl Fn(&String) -> bool) -> bool {
        let mut changed = false;
        for (fact, values) in &other.may {
            let known = match self.may.get_mut(fact) {
                Some(known) => known,
                None => {
                    changed = true;
                    self.may.entry(fact.clone()).or_insert_with(|| [at_start(fact).to_owned()].into())
                }
            };
            for value in values {
                changed |= !known.contains(value) && known.insert(value.clone());
            }
        }
        for (fact, known) in self.may.iter_mut().filter(|(fact, _)| !other.may.contains_key(*fact)) {
            let value = at_start(fact);
            changed |= !known.contains(value) && known.insert(value.to_owned());
        }
        let before = (self.cautioned.len(), self.seen.len());
        self.cautioned.retain(|hazard| cautioned.contains(hazard));
        self.seen.retain(saw);
        changed || before != (self.cautioned.len(), self.seen.len())
    }
}

/// The facts that `need` asks for.
pub(super) fn asked_for(need: &StateNeed) -> Vec<(Fact, String)> {
    let mut all: Vec<(Fact, String)> = Vec::new();
    all.extend(need.switches.iter().map(|(name, to)| (Fact::Switch(name.clone()), to.clone())));
    all.extend(need.unplugged.iter().map(|id| (Fact::Plug(id.clone()), OUT.to_owned())));
    all.extend(need.plugged.iter().map(|id| (Fact::Plug(id.clone()), IN.to_owned())));
    all.extend(need.points.iter().map(|(set, at)| (Fact::Points(set.clone()), at.name().to_owned())));
    all.extend(need.fitted.iter().map(|(name, between)| (Fact::Fitted(name.clone()), between.join(" and "))));
    all.extend(need.removed.iter().map(|name| (Fact::Fitted(name.clone()), OUT.to_owned())));
    if let Some(tool) = &need.instrument {
        all.push((Fact::Instrument, format!("{} at {} and {}", tool.kind, tool.first, tool.second)));
    } else if need.lay_down {
        all.push((Fact::Instrument, OUT.to_owned()));
    }
    all.extend(need.engine.map(|engine| (Fact::Engine, engine.name().to_owned())));
    all
}

/// What holds on arrival at each node of `walks`.
///
/// Where the checks may come in any order, nothing holds at one of them but what held where they begin, and the state that the written way
/// left, which the walker brings about: so a check's own cautions and those before all checks have to do.
pub(super) fn follow(walks: &Walks<'_>) -> Vec<Facts> {
    let mut arriving: Vec<Option<Facts>> = vec![None; walks.nodes.len()];
    let mut waiting = VecDeque::new();
    if let Some(first) = arriving.first_mut() {
        *first = Some(Facts::default());
        waiting.push_back(0);
    }
    let free = free(walks);
    let mut queued = vec![false; walks.nodes.len()];
    while let Some(number) = waiting.pop_front() {
        queued[number] = false;
        let node = &walks.nodes[number];
        let Some(before) = arriving[number].clone() else { continue };
        let mut after = before.after(&node.need);
        after.cautioned.extend(node.cautioned.iter().copied());
        // Whoever leaves a check untested may or may not have set the bike up as the step asked.
        let mut perhaps = before.clone();
        perhaps.join(&after);
        perhaps.cautioned.clone_from(&after.cautioned);
        for edge in &node.edges {
            let To::Node(to) = edge.to else { continue };
            let (leaving, answered): (&Facts, &[String]) = match &edge.via {
                Via::LeftOut => (&before, &[]),
                Via::Answer(names) => (&after, names),
                Via::Doubted => (&after, &[]),
                Via::Untested => (&perhaps, &[]),
            };
            let mut cautioned = leaving.cautioned.clone();
            let mut seen: Option<BTreeSet<String>> = None;
            if let Some(free) = &free
                && let (Some(own), Some(begin)) = (free.checks.get(&to), &arriving[free.begin])
            {
                cautioned.retain(|hazard| begin.cautioned.contains(hazard));
                cautioned.extend(own.iter().copied());
                seen = Some(begin.seen.clone());
            }
            let saw = |name: &String| {
                (leaving.seen.contains(name) || answered.contains(name))
                    && seen.as_ref().is_none_or(|seen| seen.contains(name))
            };
            let changed = match &mut arriving[to] {
                Some(known) => known.narrow(leaving, &cautioned, saw),
                unknown => {
                    let seen = leaving.seen.iter().chain(answered).filter(|name| saw(name)).cloned().collect();
                    *unknown = Some(Facts { may: leaving.may.clone(), cautioned, seen });
                    true
                }
            };
            if changed && !std::mem::replace(&mut queued[to], true) {
                waiting.push_back(to);
            }
        }
    }
    arriving.into_iter().map(Option::unwrap_or_default).collect()
}

/// The nodes that may come next in any order.
struct Free {
    /// The first of them.
    begin: usize,
    /// All the others, each with the hazards that are cautioned of before its instrument's first reading.
    checks: BTreeMap<usize, BTreeSet<Hazard>>,
}

/// What is cautioned of before the first reading of a node's instrument.
fn before_reading(walks: &Walks<'_>, node: &Node<'_>) -> BTreeSet<Hazard> {
    let kind = node.need.instrument.as_ref().map(|tool| tool.kind);
    let all = walks.procedure().checks.iter().flat_map(|checks| &checks.before);
    let step = all.filter(|one| kind.is_some_and(|kind| one.instruments.contains(&kind))).map(|one| &one.step);
    let nodes = step.flat_map(|step| walks.nodes.iter().filter(|node| node.step.id.value == step.value));
    nodes.flat_map(|node| node.cautioned.iter().copied()).collect()
}

/// Every question of the main procedure that stands neither in a called procedure nor in a doubt, and every action that begins what prepares
/// one.
fn free(walks: &Walks<'_>) -> Option<Free> {
    let from = &walks.procedure().checks.as_ref()?.from;
    let plain = |node: &Node<'_>| {
        node.at.procedure == 0 && node.at.frames.iter().all(|frame| matches!(frame, Frame::Loop { .. }))
    };
    let begin = walks.nodes.iter().position(|node| plain(node) && node.step.id.value == from.value)?;
    let asks = |node: &Node<'_>| !matches!(node.step.ask, Ask::Done(_) | Ask::Note(_));
    let mut to: Vec<Vec<&Node<'_>>> = vec![Vec::new(); walks.nodes.len()];
    for node in &walks.nodes {
        for edge in &node.edges {
            if let To::Node(number) = edge.to {
                to[number].push(node);
            }
        }
    }
    let mut checks: BTreeMap<usize, BTreeSet<Hazard>> = BTreeMap::new();
    for (number, node) in walks.nodes.iter().enumerate().filter(|(_, node)| plain(node) && !node.left_out) {
        let doubted = |node: &Node<'_>| node.at.frames.iter().any(|frame| matches!(frame, Frame::Doubt { .. }));
        let before = || to[number].iter().copied().filter(|other| !doubted(other));
        let prepared = |other: &Node<'_>| {
            plain(other) && !asks(other) && !other.step.puts_back() && other.at.frames == node.at.frames
        };
        // What an action prepares comes after it in every order.
        let begins = before().any(|other| !prepared(other));
        if begins && !node.step.puts_back() {
            checks.insert(number, before_reading(walks, node));
        }
    }
    // What stands before the first of them is walked as it is written.
    let mut early: BTreeSet<usize> = [0].into();
    let mut waiting = vec![0];
    while let Some(number) = waiting.pop() {
        for edge in walks.nodes[number].edges.iter().filter(|_| number != begin) {
            if let To::Node(to) = edge.to
                && early.insert(to)
            {
                waiting.push(to);
            }
        }
    }
    checks.retain(|number, _| !early.contains(number));
    Some(Free { begin, checks })
}
