//! Whether the battery's feed can reach a coil over the bike's wires, with some connectors and the fuse apart.

use crate::bike::Bike;
use std::collections::BTreeSet;

/// Whether `coil-ID.feed` hangs together with `battery.live` when all that `apart` names is apart. Switches count as closed.
pub(super) fn reaches(bike: &Bike, coil: &str, apart: &dyn Fn(&str) -> bool) -> bool {
    let mut links: Vec<[String; 2]> =
        bike.wires.iter().map(|wire| [wire.from.value.clone(), wire.to.value.clone()]).collect();
    for part in ["fuse", "key", "kill", "ballast"] {
        if !apart(part) {
            links.push([format!("{part}.supply"), format!("{part}.load")]);
        }
    }
    for connector in bike.connectors.iter().filter(|connector| !apart(&connector.id)) {
        links.push(connector.halves.clone().map(|half| format!("{}.{half}", *connector.id)));
    }
    let goal = format!("coil-{coil}.feed");
    let mut reached: BTreeSet<&str> = ["battery.live"].into();
    loop {
        let further: Vec<&str> = links
            .iter()
            .flat_map(|[a, b]| [(a, b), (b, a)])
            .filter(|(from, to)| reached.contains(from.as_str()) && !reached.contains(to.as_str()))
            .map(|(_, to)| to.as_str())
            .collect();
        if further.is_empty() {
            return reached.contains(goal.as_str());
        }
        reached.extend(further);
    }
}
