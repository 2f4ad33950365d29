//! What taking things off and putting them back takes, as the procedure's own actions say.

use super::Asked;
use crate::bike::BikeState;
use std::collections::BTreeMap;

/// Minutes to take something off or fit it, and to put it back or take it away again. The procedure says them: an action that unplugs or fits
/// something new shares its minutes among that, and so does one that only puts back. A check that comes without these actions costs them too.
#[derive(Debug, Clone, Default)]
pub(super) struct Handling {
    on: BTreeMap<String, f64>,
    off: BTreeMap<String, f64>,
}

impl Handling {
    /// The minutes for what a question takes off or puts back, coming from another, where no action of its own says them.
    pub fn minutes(&self, from: &Asked, to: &Asked) -> f64 {
        if !to.decides() {
            return 0.0;
        }
        let (from, to) = (&from.state, &to.state);
        let sum = |of: &BTreeMap<String, f64>, items: Vec<String>| -> f64 {
            items.iter().map(|item| of.get(item).copied().unwrap_or_default()).sum()
        };
        sum(&self.on, added(from, to)) + sum(&self.off, added(to, from))
    }

    /// Learns from an action that came after another question.
    pub fn learn(&mut self, from: &BikeState, one: &Asked) {
        let (of, items) = match one.step().puts_back() {
            true => (&mut self.off, added(&one.state, from)),
            false => (&mut self.on, added(from, &one.state)),
        };
        let share = one.step().minutes / items.len().max(1) as f64;
        for item in items {
            let known = of.entry(item).or_insert(share);
            *known = known.min(share);
        }
    }
}

/// What is unplugged or fitted in one state and not in another.
fn added(from: &BikeState, to: &BikeState) -> Vec<String> {
    let fitted = to.fitted.keys().filter(|name| !from.fitted.contains_key(*name));
    to.unplugged.difference(&from.unplugged).chain(fitted).cloned().collect()
}
