//! Traces the main feed through a bike's wiring: the parts that the current passes from the battery to a coil, in order.

use super::{Bike, KillAction};
use std::collections::{BTreeMap, VecDeque};

/// A part in the feed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeedPart {
    /// `fuse`, `key`, `kill`, `ballast`, or a connector's id.
    pub id: String,
    /// The terminal where the feed enters it.
    pub supply: String,
    /// The terminal where the feed leaves it.
    pub load: String,
    /// The start of the wire into it: the exit of the previous part, or `battery.live`.
    pub from: String,
    /// The end of the wire out of it: the entry of the next part, or the coil's feed.
    pub toward: String,
}

impl Bike {
    /// The parts between `battery.live` and `coil-ID.feed`, from the battery on. Empty if the wiring does not show it.
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
        let through = self.through();
        let goal = format!("coil-{coil}.feed");
        let mut came: BTreeMap<String, String> = BTreeMap::new();
        let mut waiting = VecDeque::from(["battery.live".to_owned()]);
        while let Some(at) = waiting.pop_front() {
            let wires = self.wires.iter().filter_map(|wire| match (wire.from.as_str(), wire.to.as_str()) {
                (from, to) if from == at => Some(to),
                (from, to) if to == at => Some(from),
                _ => None,
            });
            let across = through.iter().filter(|(_, supply, _)| *supply == at).map(|(_, _, load)| load.as_str());
            for next in wires.chain(across) {
                if next != "battery.live" && !came.contains_key(next) {
                    came.insert(next.to_owned(), at.clone());
                    waiting.push_back(next.to_owned());
                }
            }
        }
        let mut way = vec![goal];
        while let Some(before) = way.last().and_then(|at| came.get(at)) {
            way.push(before.clone());
        }
        way.reverse();
        if way.first().is_none_or(|first| first != "battery.live") {
            return Vec::new();
        }
        let part_at = |at: usize| {
            let (supply, load) = (&way[at], way.get(at + 1)?);
            let (id, ..) = through.iter().find(|(_, s, l)| s == supply && l == load)?;
            let (from, toward) = (way.get(at.checked_sub(1)?)?, way.get(at + 2)?);
            let (id, supply, load) = (id.clone(), supply.clone(), load.clone());
            Some(FeedPart { id, supply, load, from: from.clone(), toward: toward.clone() })
        };
        (0..way.len()).filter_map(part_at).collect()
    }

    /// Parts that can carry the feed: id, entry, exit.
    fn through(&self) -> Vec<(String, String, String)> {
        let opens = self.kill.as_ref().is_some_and(|kill| kill.action == KillAction::OpensFeed);
        let there =
            [("fuse", self.fuse.is_some()), ("key", true), ("kill", opens), ("ballast", self.ballast_ohm.is_some())];
        let parts = there.into_iter().filter(|(_, there)| *there);
        let parts = parts.map(|(id, _)| (id.to_owned(), format!("{id}.supply"), format!("{id}.load")));
        let halves = |id: &str, half: &str| format!("{id}.{half}");
        let connectors = self.connectors.iter().map(|connector| {
            let [first, second] = &connector.halves;
            (connector.id.value.clone(), halves(&connector.id, first), halves(&connector.id, second))
        });
        parts.chain(connectors).collect()
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
