//! Standing current through a coil's primary, which heats the coil while the engine is still.
//!
//! Unknowns count as the worst case: points in an unknown position may be closed, and a kill switch that nobody set may be in any position.
//! A key that nobody set counts as off: a caller that does not know its position must ask first.

use super::network::Kind;
use super::{CircuitError, Lamp, Model};
use crate::bike::{Bike, BikeState, Engine, InstrumentKind, SwitchAction};

/// Standing current from which a primary counts as heated, ampere (common practice, no source). A 12 V coil of 4 ohm carries 3 A and turns
/// 36 W into heat; a test lamp of 5 W passes 0.4 A, which is less than a watt.
const HEATS_FROM_AMPERE: f64 = 0.5;

impl Model<'_> {
    /// The largest standing current in any primary in this state with the engine still, ampere.
    ///
    /// # Errors
    /// A name in the state that the bike does not have, or a circuit without an operating point.
    pub(super) fn standing_current(&self, state: &BikeState) -> Result<f64, CircuitError> {
        let mut most: f64 = 0.0;
        for state in still(self.bike, state) {
            for closed in self.standings(&state) {
                let mut network = self.wiring(&state, &closed)?.netlist()?;
                if let Some(tool) = &state.instrument {
                    let lets_through = match tool.kind {
                        InstrumentKind::Lamp => {
                            Some(Kind::Lamp(Lamp { volt: self.bike.volt, watt: self.figures.lamp_watt }))
                        }
                        InstrumentKind::Ammeter => Some(Kind::Resistor(self.figures.ammeter_ohm)),
                        _ => None,
                    };
                    let (a, b) = (network.node(&tool.first), network.node(&tool.second));
                    if let Some(kind) = lets_through.filter(|_| a != b) {
                        network.add("instrument", a, b, kind)?;
                    }
                }
                let names: Vec<String> = self.bike.coils.iter().map(|coil| format!("{}.primary", coil.part)).collect();
                let all =
                    network.elements().iter().enumerate().filter(|(_, e)| names.iter().any(|name| e.name == *name));
                let primaries: Vec<usize> = all.map(|(at, _)| at).collect();
                let point = network.operating_point()?;
                most = primaries.into_iter().map(|at| point.current(at).abs()).fold(most, f64::max);
            }
        }
        Ok(most)
    }

    /// Whether a coil gets hot in this state with the engine still.
    ///
    /// # Errors
    /// As `Model::standing_current`.
    ///
    /// ```
    /// # use probeside::{bike, circuit::Model};
    /// # let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes/borage-twin.yaml");
    /// let twin = bike::load(&file).unwrap();
    /// let mut state = bike::BikeState::default();
    /// state.switches.insert("key".into(), "connects".into());
    /// assert!(Model::new(&twin).heats_a_coil(&state).unwrap());
    /// state.unplugged.extend(["left-points".to_owned(), "right-points".to_owned()]);
    /// assert!(!Model::new(&twin).heats_a_coil(&state).unwrap());
    /// ```
    pub fn heats_a_coil(&self, state: &BikeState) -> Result<bool, CircuitError> {
        Ok(self.standing_current(state)? >= HEATS_FROM_AMPERE)
    }

    /// Whether the wiring shows how a primary is fed: one carries current with only the key on.
    pub fn tells_how_coils_are_fed(&self) -> bool {
        let mut on = BikeState::default();
        on.switches.insert("key".to_owned(), "connects".to_owned());
        self.heats_a_coil(&on).unwrap_or(false)
    }
}

/// The state with the engine at rest, once for every position of a kill switch that nobody set. The crank angle is dropped: points that are
/// about to open may be closed.
fn still(bike: &Bike, state: &BikeState) -> Vec<BikeState> {
    let mut states = vec![BikeState { engine: Some(Engine::Still), crank: None, ..state.clone() }];
    let unset = |switch: &&crate::bike::Switch| {
        let set = [&switch.name, &switch.part].iter().any(|name| state.switches.contains_key(*name));
        switch.name != "key" && !switch.cranks && !set && switch.action != SwitchAction::Apart
    };
    for switch in bike.switches.iter().filter(unset) {
        let positions: &[&str] = match switch.action {
            SwitchAction::GroundsPoints => &["connects", "disconnects"],
            _ => &["connects"],
        };
        let at = |state: &BikeState, position: &str| {
            let mut state = state.clone();
            state.switches.insert(switch.name.clone(), position.to_owned());
            state
        };
        states = states
            .iter()
            .flat_map(|state| positions.iter().map(|position| at(state, position)).collect::<Vec<_>>())
            .collect();
    }
    states
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bike::{Instrument, PointsAt, load};
    use std::path::Path;

    fn bike(name: &str) -> Bike {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
        load(&file).expect("the bike loads")
    }

    fn on() -> BikeState {
        let mut state = BikeState::default();
        state.switches.insert("key".to_owned(), "connects".to_owned());
        state
    }

    /// Circuits worked out by hand: voltage over primary, ballast and points, without contacts.
    #[test]
    fn a_coil_heats_where_its_circuit_is_closed() {
        let twin = bike("procedures/bikes/borage-twin.yaml");
        let model = Model::new(&twin);
        let heats = |state: &BikeState| model.heats_a_coil(state).unwrap();
        assert!(!heats(&BikeState::default()), "a key that nobody set is off");
        // 12.6 V over 4.5 ohm is 2.8 A for each coil.
        let current = model.standing_current(&on()).unwrap();
        assert!((2.0..2.9).contains(&current), "{current}");
        let mut off = on();
        off.switches.insert("kill".to_owned(), "off left".to_owned());
        assert!(!heats(&off), "the kill switch opens the feed");
        let mut open = on();
        for set in ["left", "right"] {
            open.points.insert(set.to_owned(), PointsAt::Open);
        }
        assert!(!heats(&open), "both sets are open");
        open.points.insert("right".to_owned(), PointsAt::Turning);
        assert!(heats(&open), "where the right set stands is not known");
        // An ammeter in place of the left points closes the circuit. A lamp does not pass enough current, a voltmeter none.
        let mut held = on();
        held.unplugged.extend(["left-points".to_owned(), "right-points".to_owned()]);
        let mut with = |kind| {
            held.instrument =
                Some(Instrument { kind, first: "left-points.coil-side".to_owned(), second: "frame".to_owned() });
            heats(&held)
        };
        assert!(with(InstrumentKind::Ammeter) && !with(InstrumentKind::Lamp) && !with(InstrumentKind::Voltmeter));
    }

    #[test]
    fn a_jumper_past_the_key_heats_a_coil_with_the_key_off() {
        let twin = bike("procedures/bikes/borage-twin.yaml");
        let mut state = BikeState::default();
        state.switches.insert("key".to_owned(), "disconnects".to_owned());
        assert!(!Model::new(&twin).heats_a_coil(&state).unwrap());
        let ends = ["battery.live".to_owned(), "coil-left.feed".to_owned()];
        state.fitted.insert("jumper".to_owned(), ends);
        assert!(Model::new(&twin).heats_a_coil(&state).unwrap());
    }

    /// The wiring of every shipped bike shows it, the 6 V single's included.
    #[test]
    fn every_bike_tells_how_its_coils_are_fed() {
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR"));
        for folder in ["procedures/bikes", "tests/bikes"] {
            for file in std::fs::read_dir(shipped.join(folder)).unwrap() {
                let file = file.unwrap().path();
                let bike = load(&file).unwrap();
                if bike.battery.is_none() {
                    continue;
                }
                assert!(Model::new(&bike).tells_how_coils_are_fed(), "{}", file.display());
            }
        }
    }
}
