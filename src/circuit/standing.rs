//! Which points sets are closed: by crank angle, by hand, or because they are stuck.

use super::Model;
use crate::bike::{BikeState, Engine, PointsAt};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Two turns of the crank, degree. In that time every set takes all its positions.
const TWO_TURNS: f64 = 720.0;
/// How far before and after its opening a set is examined, crank degree.
const ABOUT: f64 = 0.5;

impl Model<'_> {
    /// The sets that are closed at a crank angle, degree. A stuck set keeps its position.
    pub fn closed_at(&self, crank: f64) -> BTreeSet<String> {
        let figures = self.timed();
        let is_closed = |id: &str| match self.stuck(id) {
            Some(at) => at == PointsAt::Closed,
            None => figures.timing.get(id).is_some_and(|timing| timing.is_closed(crank)),
        };
        self.bike.points.iter().map(|set| &set.id.value).filter(|id| is_closed(id)).cloned().collect()
    }

    /// The sets that are closed just before, and just after, a set opens.
    pub(super) fn around_opening(&self, set: &str) -> (BTreeSet<String>, BTreeSet<String>) {
        let opens_at = self.timed().timing.get(set).map_or(0.0, |timing| timing.opens_at);
        (self.closed_at(opens_at - ABOUT), self.closed_at(opens_at + ABOUT))
    }

    /// The possible positions of the points in a state: those at every crank angle, or at the state's own angle. What the state says about
    /// a set applies. If no angle gives that combination, the sets are held by hand (dry card between the contacts, a finger on the arm). A
    /// set stuck closed can be opened by hand; a set stuck open cannot be closed.
    pub fn standings(&self, state: &BikeState) -> Vec<BTreeSet<String>> {
        let all: Vec<BTreeSet<String>> = match state.crank {
            Some(crank) => vec![self.closed_at(f64::from(crank))],
            None => self.all_around(),
        };
        let by_hand = !matches!(state.engine, Some(Engine::Turned | Engine::Kicked | Engine::Running));
        if !by_hand && state.points.values().any(|at| *at == PointsAt::Turning) {
            // The engine turns, so earlier positions no longer apply.
            return all;
        }
        let asked = |set: &String| match (state.points.get(set), self.stuck(set)) {
            (Some(PointsAt::Open), Some(PointsAt::Closed)) if !by_hand => None,
            (Some(PointsAt::Closed), Some(PointsAt::Open)) => None,
            (Some(PointsAt::Open), _) => Some(false),
            (Some(PointsAt::Closed), _) => Some(true),
            _ => None,
        };
        let sets: Vec<(&String, bool)> =
            self.bike.points.iter().map(|set| &set.id.value).filter_map(|set| Some((set, asked(set)?))).collect();
        let fits = |closed: &&BTreeSet<String>| sets.iter().all(|(set, is)| closed.contains(*set) == *is);
        let mut found: Vec<BTreeSet<String>> = all.iter().filter(fits).cloned().collect();
        if found.is_empty() {
            for mut closed in all {
                for (set, is) in &sets {
                    if *is {
                        closed.insert((*set).clone());
                    } else {
                        closed.remove(*set);
                    }
                }
                if !found.contains(&closed) {
                    found.push(closed);
                }
            }
        }
        found
    }

    /// Every distinct combination of points positions in two turns of the crank.
    fn all_around(&self) -> Vec<BTreeSet<String>> {
        let figures = self.timed();
        let mut angles = vec![0.0, TWO_TURNS];
        for timing in figures.timing.values() {
            for at in [timing.opens_at, timing.opens_at + timing.every - timing.closed] {
                let first = at.rem_euclid(timing.every);
                let times = (TWO_TURNS / timing.every).ceil() as u32;
                angles
                    .extend((0..times).map(|n| first + f64::from(n) * timing.every).filter(|angle| *angle < TWO_TURNS));
            }
        }
        angles.sort_by(f64::total_cmp);
        let mut found: Vec<BTreeSet<String>> = Vec::new();
        for pair in angles.windows(2) {
            let closed = self.closed_at((pair[0] + pair[1]) / 2.0);
            if !found.contains(&closed) {
                found.push(closed);
            }
        }
        found
    }

    /// The figures with the faults' effects on timing.
    fn timed(&self) -> Arc<super::Figures> {
        let mut figures = self.figures.clone();
        for change in &self.changes {
            if matches!(change, super::Alteration::Dwell { .. } | super::Alteration::PointsGap { .. }) {
                // `Wiring::new` reports a set that the bike does not have.
                let _ = change.on_figures(self.bike, Arc::make_mut(&mut figures));
            }
        }
        figures
    }
}
