//! Finds the roles of a bike's parts in its wiring: what is grounded, which coil a points set fires, which plugs a coil fires, what the feed
//! and the way home pass, what each position of a switch does to the ignition. No part has its role by its name.

use super::net::{Link, Net, is_plain};
use super::{
    Bike, Coil, Condenser, Connector, Fuse, Part, Plug, PointsSet, Side, Switch, SwitchAction, SwitchPosition, WireRole,
};
use crate::parts::PrimitiveKind;
use std::collections::{BTreeMap, BTreeSet};

/// What has more ohms than this between ground and something else is a load: a horn, a relay's winding (common practice, no source).
const CONDUCTS_OHM: f64 = 1.0;

/// Fills in all roles.
pub(super) fn find(bike: &mut Bike) {
    let net = Net::of(bike);
    bike.battery = source(bike);
    let conducts: Vec<bool> = bike.parts.iter().map(|part| conducts(bike, part)).collect();
    let lets = |link: Link, _: &str| match link {
        Link::Part(part, PrimitiveKind::Resistance) => conducts[part],
        link => matches!(link, Link::Wire(_)),
    };
    // Without a battery everything hangs on the metal of the engine or the frame.
    let metal = || bike.parts.iter().find(|part| part.terminals() == [part.id.value.clone()]);
    let ground = bike.battery.as_ref().map(|[_, ground]| ground).or_else(|| metal().map(|metal| &metal.id.value));
    bike.grounded = ground.map(|ground| net.reach(ground, &lets)).unwrap_or_default();
    bike.connectors = bike.parts.iter().filter_map(connector).collect();
    let finder = Finder { bike, net };
    let (points, coils, plugs) = (finder.points(), finder.coils(), finder.plugs());
    let mut coils = coils;
    for coil in &mut coils {
        let own: Vec<&Plug> =
            plugs.iter().filter(|plug| plug.tower.as_ref().is_some_and(|tower| coil.towers.contains(tower))).collect();
        let rank = |plug: &&Plug| coil.towers.iter().position(|tower| plug.tower.as_ref() == Some(tower));
        let mut own = own;
        own.sort_by_key(rank);
        coil.plugs = own.into_iter().map(|plug| plug.id.clone()).collect();
    }
    let condensers = finder.condensers(&points);
    let switches = finder.switches(&coils, &points);
    (bike.points, bike.coils, bike.plugs, bike.condensers, bike.switches) =
        (points, coils, plugs, condensers, switches);
    bike.fuse = fuse(bike);
    let roles = wire_roles(bike);
    bike.wires.iter_mut().zip(roles).for_each(|(wire, role)| wire.role = role);
}

/// Whether a part's resistances are those of a conductor, as a fuse's or a connector's.
fn conducts(bike: &Bike, part: &Part) -> bool {
    let Ok(values) = bike.values(part, &BTreeMap::new()) else { return false };
    let resistances = part.kind.model.iter().filter(|primitive| primitive.kind == PrimitiveKind::Resistance);
    resistances.flat_map(|primitive| primitive.figure("ohm", &values)).flatten().all(|ohm| ohm <= CONDUCTS_OHM)
}

/// The two terminals of the first source: live, grounded.
fn source(bike: &Bike) -> Option<[String; 2]> {
    bike.parts.iter().find_map(|part| two_ends(part, PrimitiveKind::Source))
}

/// The two terminals of a part's primitive of this kind.
fn two_ends(part: &Part, kind: PrimitiveKind) -> Option<[String; 2]> {
    let primitive = part.kind.model.iter().find(|primitive| primitive.kind == kind)?;
    let ends = part.ends(&primitive.ends);
    Some([ends.first()?.clone(), ends.get(1)?.clone()])
}

fn connector(part: &Part) -> Option<Connector> {
    let halves = part.halves.clone().filter(|_| part.unplugs())?;
    let words = part.words.clone().unwrap_or_else(|| part.id.replace('-', " "));
    Some(Connector { id: part.id.value.clone(), words, halves, location: part.location.clone() })
}

struct Finder<'b> {
    bike: &'b Bike,
    net: Net,
}

impl Finder<'_> {
    fn grounded(&self, terminal: &str) -> bool {
        self.bike.grounded.contains(terminal)
    }

    /// The terminals between a points set and its coil: through wires and plain parts, not by ground.
    fn low_tension(&self, from: &str) -> BTreeSet<String> {
        self.net.reach(from, &|link, next| is_plain(link) && !self.grounded(next))
    }

    fn breakers(&self) -> impl Iterator<Item = (&Part, [String; 2])> {
        let of = |part| Some((part, two_ends(part, PrimitiveKind::Breaker)?));
        let turned = |(part, [a, b]): (_, [String; 2])| match self.grounded(&a) && !self.grounded(&b) {
            true => (part, [b, a]),
            false => (part, [a, b]),
        };
        self.bike.parts.iter().filter_map(of).map(turned)
    }

    fn points(&self) -> Vec<PointsSet> {
        let set = |(part, ends): (&Part, [String; 2])| {
            let group = self.low_tension(&ends[0]);
            let coil = self.windings().find(|(_, windings)| windings[..2].iter().any(|end| group.contains(end)));
            let connector = coil.as_ref().and_then(|(_, windings)| {
                let end = windings[..2].iter().find(|end| group.contains(*end))?;
                let way = self.net.way(end, &ends[0], &|link, next| is_plain(link) && group.contains(next))?;
                way.links.iter().find_map(|link| self.connector_at(*link))
            });
            PointsSet {
                id: part.short_id().to_owned(),
                part: part.id.value.clone(),
                side: part.side,
                coil: coil.map(|(coil, _)| coil.short_id().to_owned()).unwrap_or_default(),
                connector,
                ends,
            }
        };
        self.breakers().map(set).collect()
    }

    fn connector_at(&self, link: Link) -> Option<String> {
        let Link::Part(n, _) = link else { return None };
        let id = &self.bike.parts[n].id.value;
        self.bike.connectors.iter().any(|connector| connector.id == *id).then(|| id.clone())
    }

    /// Coupled windings, with their four ends.
    fn windings(&self) -> impl Iterator<Item = (&Part, Vec<String>)> {
        self.bike.parts.iter().filter_map(|part| {
            let primitive = part.kind.model.iter().find(|primitive| primitive.kind == PrimitiveKind::Windings)?;
            Some((part, part.ends(&primitive.ends))).filter(|(_, ends)| ends.len() == 4)
        })
    }

    fn coils(&self) -> Vec<Coil> {
        let breakers: Vec<String> = self.breakers().map(|(_, ends)| ends[0].clone()).collect();
        let coil = |(part, ends): (&Part, Vec<String>)| {
            let fires = |end: &String| breakers.iter().any(|breaker| self.low_tension(end).contains(breaker));
            let (feed, points) = if fires(&ends[0]) && !fires(&ends[1]) { (1, 0) } else { (0, 1) };
            let towers = ends[2..].iter().filter(|end| !ends[..2].contains(end)).cloned().collect();
            Coil {
                id: part.short_id().to_owned(),
                part: part.id.value.clone(),
                side: part.side,
                plugs: Vec::new(),
                ends: [ends[feed].clone(), ends[points].clone()],
                towers,
            }
        };
        self.windings().map(coil).collect()
    }

    fn plugs(&self) -> Vec<Plug> {
        let high = |link: Link, next: &str| {
            !self.grounded(next) && (is_plain(link) || matches!(link, Link::Part(_, PrimitiveKind::Selector)))
        };
        let towers: Vec<String> = self.windings().flat_map(|(_, ends)| ends[2..].to_vec()).collect();
        let plug = |part: &Part| {
            let [a, b] = two_ends(part, PrimitiveKind::Gap)?;
            let ends = if self.grounded(&a) { [b, a] } else { [a, b] };
            let ways = towers.iter().filter_map(|tower| self.net.way(&ends[0], tower, &high));
            let way = ways.min_by_key(|way| way.links.len());
            // The lead is the wire that stands last before the plug, its cap and where they touch.
            let lead = way.as_ref().and_then(|way| {
                let wires = way
                    .links
                    .iter()
                    .filter_map(|link| if let Link::Wire(n) = link { Some(&self.bike.wires[*n]) } else { None });
                wires
                    .clone()
                    .find(|wire| wire.colour.is_some())
                    .or_else(|| wires.clone().next_back())
                    .map(super::Wire::id)
            });
            let cap = way.as_ref().and_then(|way| self.cap(way));
            let (cap, cap_ends) = match cap {
                Some((cap, lead_end, top)) => (Some(cap), [lead_end, top]),
                None => (None, [ends[0].clone(), ends[0].clone()]),
            };
            let tower = way.and_then(|way| way.terminals.last().cloned());
            Some(Plug {
                id: part.short_id().to_owned(),
                part: part.id.value.clone(),
                side: part.side,
                cap,
                cap_ends,
                ends,
                lead,
                tower,
            })
        };
        self.bike.parts.iter().filter_map(plug).collect()
    }

    /// The part that is pulled off a plug: its id, its terminal toward the lead, and the one toward the plug.
    fn cap(&self, way: &super::net::Way) -> Option<(String, String, String)> {
        let n = way.links.iter().position(
            |link| matches!(link, Link::Part(n, PrimitiveKind::Resistance) if self.bike.parts[*n].unplugs()),
        )?;
        let Link::Part(part, _) = way.links[n] else { return None };
        Some((self.bike.parts[part].id.value.clone(), way.terminals[n + 1].clone(), way.terminals[n].clone()))
    }

    fn condensers(&self, points: &[PointsSet]) -> Vec<Condenser> {
        let groups: Vec<BTreeSet<String>> = points.iter().map(|set| self.low_tension(&set.ends[0])).collect();
        let condenser = |part: &Part| {
            let [a, b] = two_ends(part, PrimitiveKind::Capacitance)?;
            let ends = if self.grounded(&a) { [b, a] } else { [a, b] };
            let set = groups.iter().position(|group| group.contains(&ends[0])).map(|n| &points[n]);
            let by_wire = self.net.reach(&ends[0], &|link, next| matches!(link, Link::Wire(_)) && !self.grounded(next));
            let halves = set.and_then(|set| {
                let id = set.connector.as_ref()?;
                let halves = &self.bike.connectors.iter().find(|connector| connector.id == *id)?.halves;
                halves.iter().find(|half| by_wire.contains(&format!("{id}.{half}"))).cloned()
            });
            let side = if part.side == Side::Centre { set.map_or(Side::Centre, |set| set.side) } else { part.side };
            Some(Condenser {
                id: part.short_id().to_owned(),
                part: part.id.value.clone(),
                side,
                points: set.map(|set| set.id.clone()).unwrap_or_default(),
                half: halves.unwrap_or_default(),
                ends,
            })
        };
        self.bike.parts.iter().filter_map(condenser).collect()
    }

    fn switches(&self, coils: &[Coil], points: &[PointsSet]) -> Vec<Switch> {
        let parts = self.bike.parts.iter().enumerate().filter(|(_, part)| !part.positions.is_empty());
        parts.map(|(n, part)| self.switch(n, part, coils, points)).collect()
    }

    fn switch(&self, n: usize, part: &Part, coils: &[Coil], points: &[PointsSet]) -> Switch {
        let live = self.bike.battery.as_ref().map(|[live, _]| live);
        // Every other switch counts as closed wherever it can be, but a switch that cranks counts as released.
        let fed = |position: Option<usize>, coil: &Coil| {
            let passes = |link: Link, next: &str| {
                let lets = match link {
                    Link::Position(other, at) if other == n => position == Some(at),
                    Link::Position(other, _) => !self.bike.parts[other].kind.cranks && !self.grounded(next),
                    link => is_plain(link),
                };
                lets && !self.grounded(next)
            };
            live.is_some_and(|live| self.net.way(live, &coil.ends[0], &passes).is_some())
        };
        let grounds = |position: usize| {
            points.iter().any(|set| {
                let passes = |link: Link, _: &str| {
                    matches!(link, Link::Position(other, at) if other == n && at == position) || is_plain(link)
                };
                let here = self.net.reach(&set.ends[0], &passes);
                self.bike.battery.as_ref().is_some_and(|[_, ground]| here.contains(ground))
                    || (self.bike.battery.is_none() && here.iter().any(|terminal| self.grounded(terminal)))
            })
        };
        let positions = part.positions.iter().enumerate();
        let opens = !part.kind.cranks
            && coils.iter().any(|coil| !fed(None, coil) && (0..part.positions.len()).any(|at| fed(Some(at), coil)));
        let action = match positions.clone().any(|(at, _)| grounds(at)) {
            true => SwitchAction::GroundsPoints,
            false if opens => SwitchAction::OpensFeed,
            false => SwitchAction::Apart,
        };
        let works = |at: usize, contacts: &Vec<[String; 2]>| match action {
            SwitchAction::GroundsPoints => !grounds(at),
            SwitchAction::OpensFeed => {
                coils.iter().all(|coil| fed(Some(at), coil) || !(0..part.positions.len()).any(|at| fed(Some(at), coil)))
            }
            SwitchAction::Apart => !contacts.is_empty(),
        };
        let positions = positions.map(|(at, (name, contacts))| SwitchPosition {
            name: name.clone(),
            contacts: contacts.clone(),
            works: works(at, contacts),
        });
        Switch {
            part: part.id.value.clone(),
            name: role_of(&part.kind.id).unwrap_or(&part.id).to_owned(),
            positions: positions.collect(),
            action,
            location: part.location.clone(),
            cranks: part.kind.cranks,
        }
    }
}

/// The name in a step's state of a kind of switch that every procedure knows.
fn role_of(kind: &str) -> Option<&'static str> {
    match kind {
        "key-switch" => Some("key"),
        "kill-switch" => Some("kill"),
        _ => None,
    }
}

/// The first fuse of the feed, else of the way home.
fn fuse(bike: &Bike) -> Option<Fuse> {
    let feed = bike.coils.first().map(|coil| bike.feed(&coil.id)).unwrap_or_default();
    let home = bike.way_home();
    let of = |id: &str| {
        let part = bike.part(id)?;
        let blows =
            part.kind.model.iter().find_map(|primitive| Some((primitive, primitive.figures.get("blows-at")?)))?;
        let values = bike.values(part, &BTreeMap::new()).ok()?;
        let ampere = blows.0.figure("blows-at", &values).ok()?.first().copied()?;
        Some(Fuse { part: id.to_owned(), ampere, location: part.location.clone() })
    };
    feed.iter().chain(&home).find_map(|part| of(&part.id))
}

/// The purpose of every wire.
fn wire_roles(bike: &Bike) -> Vec<WireRole> {
    let finder = Finder { bike, net: Net::of(bike) };
    let low: BTreeSet<String> = bike.points.iter().flat_map(|set| finder.low_tension(&set.ends[0])).collect();
    let towers = bike.coils.iter().flat_map(|coil| &coil.towers);
    let high = |link: Link, next: &str| {
        !bike.grounded.contains(next) && (is_plain(link) || matches!(link, Link::Part(_, PrimitiveKind::Selector)))
    };
    let high: BTreeSet<String> = towers.flat_map(|tower| finder.net.reach(tower, &high)).collect();
    let fed: BTreeSet<String> = bike.coils.iter().flat_map(|coil| bike.feed_terminals(&coil.id)).collect();
    let kills: BTreeSet<&str> =
        bike.switches.iter().filter(|s| s.action == SwitchAction::GroundsPoints).map(|s| s.part.as_str()).collect();
    let home: BTreeSet<String> = bike.points.iter().flat_map(|set| bike.ground_terminals(&set.ends[1])).collect();
    let role = |wire: &super::Wire| {
        let ends = [wire.from.as_str(), wire.to.as_str()];
        let any = |test: &dyn Fn(&str) -> bool| ends.iter().any(|end| test(end));
        let all = |test: &dyn Fn(&str) -> bool| ends.iter().all(|end| test(end));
        let part_of = |end: &str| end.split_once('.').map_or(end, |(part, _)| part).to_owned();
        if all(&|end| high.contains(end)) {
            if wire.colour.is_none() && any(&|end| bike.plugs.iter().any(|plug| plug.ends[0] == end)) {
                WireRole::CapSeat
            } else {
                WireRole::Lead
            }
        } else if any(&|end| bike.plugs.iter().any(|plug| plug.ends[1] == end)) {
            WireRole::Seat
        } else if any(&|end| bike.condensers.iter().any(|condenser| condenser.ends[0] == end)) {
            WireRole::Condenser
        } else if any(&|end| bike.condensers.iter().any(|condenser| condenser.ends[1] == end)) {
            WireRole::CondenserGround
        } else if any(&|end| bike.points.iter().any(|set| set.ends[1] == end)) {
            WireRole::Plate
        } else if any(&|end| kills.contains(part_of(end).as_str())) {
            WireRole::Kill
        } else if all(&|end| low.contains(end)) {
            WireRole::Points
        } else if all(&|end| bike.grounded.contains(end)) {
            if all(&|end| home.contains(end)) { WireRole::Ground } else { WireRole::Other }
        } else if all(&|end| fed.contains(end)) {
            WireRole::Feed
        } else {
            WireRole::Other
        }
    };
    bike.wires.iter().map(role).collect()
}
