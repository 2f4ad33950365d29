//! Which points sets are closed: by the crank angle, by hand, and by what is stuck.

use super::Model;
use crate::bike::{BikeState, Engine, PointsAt};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Two turns of the crank, degree: after them every set has been everywhere.
const TWO_TURNS: f64 = 720.0;
/// How far before and after its opening a set is looked at, crank degree.
const ABOUT: f64 = 0.5;

impl Model<'_> {
    /// The sets that are closed at a crank angle, degree; a set that is stuck stays as it is.
    pub fn closed_at(&self, crank: f64) -> BTreeSet<String> {
        let figures = self.timed();
        let is_closed = |id: &str| match self.stuck(id) {
            Some(at) => at == PointsAt::Closed,
            None => figures.timing.get(id).is_some_and(|timing| timing.is_closed(crank)),
        };
        self.bike.points.iter().map(|set| &set.id.value).filter(|id| is_closed(id)).cloned().collect()
    }

    /// The sets that are closed just before a set opens, and just after.
    pub(super) fn around_opening(&self, set: &str) -> (BTreeSet<String>, BTreeSet<String>) {
        let opens_at = self.timed().timing.get(set).map_or(0.0, |timing| timing.opens_at);
        (self.closed_at(opens_at - ABOUT), self.closed_at(opens_at + ABOUT))
    }

    /// The ways the points can stand in a state: at every crank angle, or at the state's own. What the state says of a set holds; where
    /// no angle has the sets so, they are held so by hand (dry card between the contacts, a finger on the arm). What is stuck closed
    /// can be parted by hand, what is stuck open cannot be closed.
    pub fn standings(&self, state: &BikeState) -> Vec<BTreeSet<String>> {
        let all: Vec<BTreeSet<String>> = match state.crank {
            Some(crank) => vec![self.closed_at(f64::from(crank))],
            None => self.all_around(),
        };
        let by_hand = !matches!(state.engine, Some(Engine::Turned | Engine::Kicked | Engine::Running));
        if !by_hand && state.points.values().any(|at| *at == PointsAt::Turning) {
            // The engine turns: where a set stood before holds no more.
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

    /// Every different way that the points stand in two turns of the crank.
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

    /// The figures with what faults do to the timing.
    fn timed(&self) -> Arc<super::Figures> {
        let mut figures = self.figures.clone();
        for change in &self.changes {
            if matches!(change, super::Alteration::Dwell { .. }) {
                // A set that the bike has not is told where the wiring is made.
                let _ = change.on_figures(self.bike, Arc::make_mut(&mut figures));
            }
        }
        figures
    }
}
