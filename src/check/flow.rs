//! A data-flow analysis over the walks: at every node, which states the bike can be in, which hazards were cautioned on every way there, and
//! what has surely been seen. It checks nothing itself; it runs forward over the edges until nothing changes.

use super::walks::{To, Via, Walks};
use crate::bike::{BikeState, Engine, PointsAt, StateNeed};
use crate::procedure::Hazard;
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

    fn join(&mut self, other: &Facts) -> bool {
        let before = self.clone();
        let facts: BTreeSet<Fact> = self.may.keys().chain(other.may.keys()).cloned().collect();
        for fact in facts {
            let of = |facts: &Facts| match facts.may.get(&fact) {
                Some(values) => values.clone(),
                None => [at_start(&fact).to_owned()].into(),
            };
            let both = of(self).union(&of(other)).cloned().collect();
            self.may.insert(fact, both);
        }
        self.cautioned = self.cautioned.intersection(&other.cautioned).copied().collect();
        self.seen = self.seen.intersection(&other.seen).cloned().collect();
        *self != before
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

/// What holds once a part is over. Cautions given and things seen stay so, whatever comes in between.
#[derive(Clone, PartialEq, Eq)]
struct Over {
    cautioned: BTreeSet<Hazard>,
    seen: BTreeSet<String>,
}

/// What holds on arrival at each node of `walks`.
///
/// A part that begins out of the written order finds the bike in any state that an earlier part may have left. The parts that it needs are over
/// in every order, so their cautions and observations hold. One pass over the ways therefore covers every order.
pub(super) fn follow(walks: &Walks<'_>) -> Vec<Facts> {
    let main = walks.procedure();
    let needs: Vec<BTreeSet<usize>> = (0..main.parts.len()).map(|part| main.needed_before(part)).collect();
    let mut over: Vec<Option<Over>> = vec![None; needs.len()];
    let crossings = |walks: &Walks<'_>| -> Vec<usize> {
        let crosses = |number: &usize| walks.nodes[*number].edges.iter().any(|edge| edge.begins.is_some());
        (0..walks.nodes.len()).filter(crosses).collect()
    };
    let mut arriving: Vec<Option<Facts>> = vec![None; walks.nodes.len()];
    let mut waiting = VecDeque::new();
    if let Some(first) = arriving.first_mut() {
        *first = Some(Facts::default());
        waiting.push_back(0);
    }
    loop {
        while let Some(number) = waiting.pop_front() {
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
                let mut leaving = match &edge.via {
                    Via::LeftOut => before.clone(),
                    Via::Answer(_) | Via::Doubted => after.clone(),
                    Via::Untested => perhaps.clone(),
                };
                if let Via::Answer(names) = &edge.via {
                    leaving.seen.extend(names.iter().cloned());
                }
                if let Some(begins) = edge.begins {
                    if let Some(left) = node.at.part
                        && narrow(&mut over[left], &leaving)
                    {
                        waiting.extend(crossings(walks).into_iter().filter(|n| arriving[*n].is_some()));
                    }
                    let Some(needed) = needs[begins].iter().map(|n| over[*n].as_ref()).collect::<Option<Vec<_>>>()
                    else {
                        continue;
                    };
                    for part in needed {
                        leaving.cautioned.extend(part.cautioned.iter().copied());
                        leaving.seen.extend(part.seen.iter().cloned());
                    }
                }
                let changed = match &mut arriving[to] {
                    Some(known) => known.join(&leaving),
                    unknown => {
                        *unknown = Some(leaving);
                        true
                    }
                };
                if changed {
                    waiting.push_back(to);
                }
            }
        }
        // A part that no way leaves, or that this bike lacks, contributes nothing, and the parts that need it come all the same.
        if over.iter().all(Option::is_some) {
            return arriving.into_iter().map(Option::unwrap_or_default).collect();
        }
        let nothing = || Some(Over { cautioned: BTreeSet::new(), seen: BTreeSet::new() });
        over.iter_mut().filter(|part| part.is_none()).for_each(|part| *part = nothing());
        waiting.extend(crossings(walks).into_iter().filter(|n| arriving[*n].is_some()));
    }
}

/// Intersects what holds when a part is over with what holds on leaving it here. Returns whether that changed it.
fn narrow(over: &mut Option<Over>, leaving: &Facts) -> bool {
    match over {
        None => {
            *over = Some(Over { cautioned: leaving.cautioned.clone(), seen: leaving.seen.clone() });
            true
        }
        Some(known) => {
            let before = (known.cautioned.len(), known.seen.len());
            known.cautioned.retain(|hazard| leaving.cautioned.contains(hazard));
            known.seen.retain(|name| leaving.seen.contains(name));
            before != (known.cautioned.len(), known.seen.len())
        }
    }
}
