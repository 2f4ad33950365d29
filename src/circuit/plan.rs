//! What is laid for a bike in any state: the branches of its parts' primitives and of its wires, by name, and the figures of each.
//! The plan is made once for a bike; figures differ from fault to fault, and branches from state to state.

use super::{CircuitError, Name};
use crate::bike::Bike;
use crate::parts::PrimitiveKind;
use std::collections::BTreeMap;

/// One branch to be laid.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Planned {
    pub id: Name,
    pub part: Name,
    pub a: Name,
    pub b: Name,
    pub what: What,
}

/// What is laid.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum What {
    /// A wire, or parts that touch: the wire with this number.
    Wire(usize),
    /// The voltage behind a source's internal resistance.
    Emf(usize),
    /// The voltage of a generator while the engine runs.
    Generated(usize),
    /// The first winding of two coupled ones.
    Primary(usize),
    /// The second.
    Secondary(usize),
    /// A contact of a switch, by the switch's number in the bike: closed in these positions.
    Contact { figures: usize, switch: usize, positions: Vec<usize> },
    /// A breaker: the points set with this short name.
    Breaker { figures: usize, set: String },
    /// Any other primitive.
    Plain(usize, PrimitiveKind),
}

/// The plan of a bike.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Plan {
    pub branches: Vec<Planned>,
    /// The reference terminal.
    pub ground: Name,
    /// The part and the primitive that each set of figures belongs to, by their numbers.
    pub primitives: Vec<(usize, usize)>,
}

impl Plan {
    pub fn of(bike: &Bike) -> Self {
        let ground = bike.battery.as_ref().map(|[_, ground]| ground.as_str());
        let any =
            || bike.grounded.first().map(String::as_str).or_else(|| bike.wires.first().map(|wire| wire.to.as_str()));
        let ground = Name::from(ground.or_else(any).unwrap_or_default());
        let mut plan = Plan { branches: Vec::new(), ground, primitives: Vec::new() };
        for (p, part) in bike.parts.iter().enumerate() {
            for (n, primitive) in part.kind.model.iter().enumerate() {
                let figures = plan.primitives.len();
                plan.primitives.push((p, n));
                let id = match &primitive.name {
                    Some(name) => format!("{}.{name}", *part.id),
                    None => part.id.value.clone(),
                };
                let ends = part.ends(&primitive.ends);
                let mut lay = |id: &str, a: &str, b: &str, what: What| {
                    let [id, part, a, b] = [id, &part.id.value, a, b].map(Name::from);
                    plan.branches.push(Planned { id, part, a, b, what });
                };
                match (primitive.kind, ends.as_slice()) {
                    (PrimitiveKind::Source, [live, ground]) => {
                        let inside = format!("{id} (inside)");
                        lay(&format!("{id}.emf"), &inside, ground, What::Emf(figures));
                        lay(&id, &inside, live, What::Plain(figures, PrimitiveKind::Source));
                    }
                    (PrimitiveKind::Generator, [live, case]) => {
                        let inside = format!("{id} (inside)");
                        lay(&format!("{id}.emf"), &inside, case, What::Generated(figures));
                        lay(&id, &inside, live, What::Plain(figures, PrimitiveKind::Generator));
                    }
                    (PrimitiveKind::Windings, [a, b, c, d]) => {
                        lay(&format!("{id}.primary"), a, b, What::Primary(figures));
                        lay(&format!("{id}.secondary"), c, d, What::Secondary(figures));
                    }
                    (PrimitiveKind::Switch, _) => {
                        let Some(switch) = bike.switches.iter().position(|switch| switch.part == *part.id) else {
                            continue;
                        };
                        for ([a, b], positions) in contacts(&part.positions) {
                            let id = contact_id(bike, switch, &id, [a, b]);
                            lay(&id, a, b, What::Contact { figures, switch, positions });
                        }
                    }
                    (PrimitiveKind::Breaker, [a, b]) => {
                        let set = bike.points.iter().find(|set| set.part == *part.id);
                        let set = set.map_or_else(|| part.id.value.clone(), |set| set.id.clone());
                        lay(&id, a, b, What::Breaker { figures, set });
                    }
                    (kind @ PrimitiveKind::Selector, [arm, outer @ ..]) => {
                        for (n, end) in outer.iter().enumerate() {
                            lay(&format!("{id}.{}", n + 1), arm, end, What::Plain(figures, kind));
                        }
                    }
                    (kind, [a, b]) => lay(&id, a, b, What::Plain(figures, kind)),
                    _ => {}
                }
            }
        }
        for (n, wire) in bike.wires.iter().enumerate() {
            let [id, a, b] = [wire.id().as_str(), wire.from.as_str(), wire.to.as_str()].map(Name::from);
            plan.branches.push(Planned { part: id.clone(), id, a, b, what: What::Wire(n) });
        }
        plan
    }
}

/// The contacts of a switch, each with the positions in which it is closed.
fn contacts<N>(positions: &[(N, Vec<[String; 2]>)]) -> Vec<([&str; 2], Vec<usize>)> {
    let mut all: Vec<([&str; 2], Vec<usize>)> = Vec::new();
    for (at, (_, contacts)) in positions.iter().enumerate() {
        for [a, b] in contacts {
            match all.iter_mut().find(|(ends, _)| *ends == [a.as_str(), b.as_str()]) {
                Some((_, closed)) => closed.push(at),
                None => all.push(([a, b], vec![at])),
            }
        }
    }
    all
}

/// A switch with one contact is one branch of its own name. With several, each is named after the terminal that is its own.
fn contact_id(bike: &Bike, switch: usize, id: &str, ends: [&str; 2]) -> String {
    let all = contacts(
        &bike
            .parts
            .iter()
            .find(|part| *part.id == bike.switches[switch].part)
            .map(|part| part.positions.clone())
            .unwrap_or_default(),
    )
    .len();
    if all < 2 {
        return id.to_owned();
    }
    let end = |n: usize| ends[n].split_once('.').map_or(ends[n], |(_, end)| end).to_owned();
    let shared = bike.part(id).is_some_and(|part| {
        let uses = part.positions.iter().flat_map(|(_, contacts)| contacts).filter(|[a, _]| a == ends[0]);
        uses.map(|[_, b]| b).collect::<std::collections::BTreeSet<_>>().len() > 1
    });
    format!("{id} {}", if shared { end(1) } else { end(0) })
}

/// The figures of every primitive of a plan, by name.
pub(super) type Numbers = Vec<BTreeMap<String, Vec<f64>>>;

/// A figure of a primitive that has just one.
pub(super) fn one(numbers: &Numbers, at: usize, name: &str) -> Result<f64, CircuitError> {
    let found = numbers[at].get(name).and_then(|all| all.first().copied());
    found.ok_or_else(|| CircuitError::Unknown { what: "figure", name: name.to_owned() })
}

/// A figure of a source at its charge, interpolated between the values from empty to full.
pub(super) fn by_charge(numbers: &BTreeMap<String, Vec<f64>>, name: &str) -> f64 {
    let charge = numbers.get("charge").and_then(|all| all.first()).copied().unwrap_or(1.0).clamp(0.0, 1.0);
    let all = numbers.get(name).map_or(&[][..], Vec::as_slice);
    let steps = all.len().saturating_sub(1);
    let at = charge * steps as f64;
    let low = (at.floor() as usize).min(steps.saturating_sub(1));
    match (all.get(low), all.get(low + 1)) {
        (Some(a), Some(b)) => a + (at - low as f64) * (b - a),
        (Some(a), None) => *a,
        _ => 0.0,
    }
}
