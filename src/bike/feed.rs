//! The main feed and the way home, found in the wiring: the parts that the current passes from the battery to a coil, and from the points
//! back to the battery, in order.

use super::net::{Link, Net, Way, is_plain};
use super::{Bike, SwitchAction};
use std::collections::BTreeSet;

/// A part in the feed or on the way home.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeedPart {
    /// The part's id.
    pub id: String,
    /// The terminal where the current enters it.
    pub supply: String,
    /// The terminal where the current leaves it.
    pub load: String,
    /// The start of the wire into it: the exit of the previous part, or the battery.
    pub from: String,
    /// The end of the wire out of it: the entry of the next part, or the coil's feed.
    pub toward: String,
    /// The wire into it, if there is one.
    pub wire_in: Option<String>,
    /// The wire out of it, if there is one.
    pub wire_out: Option<String>,
}

impl Bike {
    /// The parts between the battery's live terminal and a coil's feed, from the battery on. Empty if the wiring does not show it.
    ///
    /// ```
    /// # use probeside::bike;
    /// # let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes/borage-twin.yaml");
    /// let twin = bike::load(&file).unwrap();
    /// let feed = twin.feed("left");
    /// let ids: Vec<&str> = feed.iter().map(|part| part.id.as_str()).collect();
    /// assert_eq!(ids, ["fuse", "main", "key", "kill", "coil-feed"]);
    /// assert_eq!((feed[0].from.as_str(), feed[4].toward.as_str()), ("battery.live", "coil-left.feed"));
    /// ```
    pub fn feed(&self, coil: &str) -> Vec<FeedPart> {
        self.feed_way(coil).map(|way| self.parts_on(&way)).unwrap_or_default()
    }

    /// The parts between the first points set's plate and the battery's grounded terminal, from the points on.
    pub(super) fn way_home(&self) -> Vec<FeedPart> {
        let Some(way) = self.points.first().and_then(|set| self.home_way(&set.ends[1])) else { return Vec::new() };
        self.parts_on(&way)
    }

    /// The wire on the way home that joins the engine to the rest of it.
    pub(super) fn engine_wire(&self) -> Option<String> {
        let way = self.home_way(&self.points.first()?.ends[1])?;
        let wires =
            way.links.iter().filter_map(|link| if let Link::Wire(n) = link { Some(&self.wires[*n]) } else { None });
        wires.into_iter().find(|wire| wire.role == super::WireRole::Ground).map(super::Wire::id)
    }

    /// The terminals that the feed of a coil passes.
    pub(super) fn feed_terminals(&self, coil: &str) -> BTreeSet<String> {
        self.feed_way(coil).map(|way| way.terminals.into_iter().collect()).unwrap_or_default()
    }

    /// The terminals that the way home from a grounded terminal passes.
    pub(super) fn ground_terminals(&self, from: &str) -> BTreeSet<String> {
        self.home_way(from).map(|way| way.terminals.into_iter().collect()).unwrap_or_default()
    }

    /// Whether the feed can reach a coil when all that `apart` names is apart. Switches count as closed, but for one that cranks the engine.
    pub fn is_fed(&self, coil: &str, apart: &dyn Fn(&str) -> bool) -> bool {
        let Some((coil, [live, _])) = self.coils.iter().find(|one| one.id == coil).zip(self.battery.as_ref()) else {
            return false;
        };
        let passes = |link: Link, next: &str| match link {
            _ if self.grounded.contains(next) => false,
            Link::Part(part, _) | Link::Position(part, _) if apart(&self.parts[part].id) => false,
            Link::Position(part, _) => !self.parts[part].kind.cranks,
            link => is_plain(link),
        };
        Net::of(self).way(live, &coil.ends[0], &passes).is_some()
    }

    fn feed_way(&self, coil: &str) -> Option<Way> {
        let coil = self.coils.iter().find(|one| one.id == coil)?;
        let [live, _] = self.battery.as_ref()?;
        let passes = |link: Link, next: &str| match link {
            _ if self.grounded.contains(next) => false,
            Link::Position(part, at) => self.runs_at(&self.parts[part].id) == Some(at),
            link => is_plain(link),
        };
        Net::of(self).way(live, &coil.ends[0], &passes)
    }

    /// The contact of a kill switch that grounds a points set's wire: its terminal toward the wire, and the other one.
    pub(super) fn kill_contact(&self, set: &super::PointsSet) -> Option<[String; 2]> {
        let net = Net::of(self);
        let grounding = self.switches.iter().filter(|switch| switch.action == SwitchAction::GroundsPoints);
        let contacts = grounding.flat_map(|switch| &switch.positions).flat_map(|position| &position.contacts);
        let wired = |end: &str| {
            net.way(&set.ends[0], end, &|link, next| is_plain(link) && !self.grounded.contains(next)).is_some()
        };
        contacts.into_iter().find_map(|[a, b]| match (wired(a), wired(b)) {
            (true, _) => Some([a.clone(), b.clone()]),
            (_, true) => Some([b.clone(), a.clone()]),
            _ => None,
        })
    }

    /// The first position of a switch in which the ignition works.
    fn runs_at(&self, part: &str) -> Option<usize> {
        let switch = self.switches.iter().find(|switch| switch.part == part)?;
        if switch.cranks || switch.action == SwitchAction::GroundsPoints {
            return None;
        }
        switch.positions.iter().position(|position| position.works)
    }

    fn home_way(&self, from: &str) -> Option<Way> {
        let [_, ground] = self.battery.as_ref()?;
        Net::of(self).way(from, ground, &|link, next| is_plain(link) && self.grounded.contains(next))
    }

    fn parts_on(&self, way: &Way) -> Vec<FeedPart> {
        let part_at = |at: usize| {
            let (Link::Part(n, _) | Link::Position(n, _)) = way.links[at] else { return None };
            let end = |at: Option<usize>| at.and_then(|at| way.terminals.get(at)).cloned();
            let (supply, load) = (way.terminals[at].clone(), way.terminals[at + 1].clone());
            let from = end(at.checked_sub(1)).unwrap_or_else(|| supply.clone());
            let toward = end(Some(at + 2)).unwrap_or_else(|| load.clone());
            let wire = |at: Option<usize>| match at.and_then(|at| way.links.get(at)) {
                Some(Link::Wire(n)) => Some(self.wires[*n].id()),
                _ => None,
            };
            let (wire_in, wire_out) = (wire(at.checked_sub(1)), wire(Some(at + 1)));
            Some(FeedPart { id: self.parts[n].id.value.clone(), supply, load, from, toward, wire_in, wire_out })
        };
        (0..way.links.len()).filter_map(part_at).collect()
    }
}

#[cfg(test)]
mod tests {
    use crate::bike::load;
    use std::path::Path;

    #[test]
    fn a_single_without_kill_switch_and_a_coil_that_is_not_there() {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes/fennel-single.yaml");
        let single = load(&file).expect("the shipped bike loads");
        let feed = single.feed("single");
        let ids: Vec<&str> = feed.iter().map(|part| part.id.as_str()).collect();
        assert_eq!(ids, ["fuse", "main", "key", "coil-feed"]);
        assert!(feed.windows(2).all(|pair| pair[0].toward == pair[1].supply && pair[1].from == pair[0].load));
        assert_eq!(single.feed("left"), []);
    }
}
