//! Modified nodal analysis: finds the operating point of a network, by Newton's iteration if it contains lamps or diodes.
//!
//! Causes of singular equations are found first and named: loops of voltage sources, and current without a return path. A part of the
//! network that floats free of the reference gets its first node tied to 0 V. No current can flow there, so the voltages within the part
//! are right. Voltages between two floating parts are undefined and not returned. Dead ends and chains of resistors are folded first, which
//! keeps the matrix small.

use super::fold::{Folded, Row};
use super::network::{Element, Kind, Network, Node};
use super::{CircuitError, Diode};
use nalgebra::{DMatrix, DVector};

/// Thermal voltage at 27 degrees Celsius, volt: k T / q with the SI's exact constants.
const THERMAL_VOLT: f64 = 1.380_649e-23 * 300.15 / 1.602_176_634e-19;
/// Above this source resistance, ohm, the voltage at a lamp is a matter of rounding. The circuit is then solved with the lamp in it.
const MOST_THEVENIN_OHM: f64 = 1e9;
/// Most iterations.
const MOST_ITERATIONS: usize = 300;
/// From this iteration on only half of each step is taken, to damp oscillation.
const HALF_STEPS_FROM: usize = 40;
/// From this iteration on rounding between milliohms and megohms may be all that is left, and these many times more is let pass.
const LOOSE_FROM: usize = 100;
const LOOSER: f64 = 1e3;
/// Converged when no voltage across a lamp or diode changes by more than this share of itself ...
const SETTLED_SHARE: f64 = 1e-11;
/// ... plus this, volt: a nanovolt, below which rounding between milliohms and megohms dominates.
const SETTLED_VOLT: f64 = 1e-9;

/// The node voltages and element currents of a network.
#[derive(Debug, Clone, PartialEq)]
pub struct OperatingPoint {
    volts: Vec<f64>,
    islands: Vec<usize>,
    currents: Vec<f64>,
}

impl OperatingPoint {
    /// Voltage of `a` relative to `b`, volt. `None` if nothing conducts between their parts of the network.
    pub fn voltage(&self, a: Node, b: Node) -> Option<f64> {
        (self.islands[a.0] == self.islands[b.0]).then(|| self.volts[a.0] - self.volts[b.0])
    }

    /// Current through an element from its first to its second node, ampere.
    pub fn current(&self, element: usize) -> f64 {
        self.currents[element]
    }
}

/// Union-find over nodes.
struct Joined(Vec<usize>);

impl Joined {
    fn root(&mut self, mut n: usize) -> usize {
        while self.0[n] != n {
            self.0[n] = self.0[self.0[n]];
            n = self.0[n];
        }
        n
    }
    /// False if they were joined already.
    fn join(&mut self, a: usize, b: usize) -> bool {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b)] = a.min(b);
        a != b
    }
}

impl Network {
    /// The part of the network each node belongs to, identified by its lowest node.
    fn islands(&self) -> Result<Vec<usize>, CircuitError> {
        let mut sources = Joined((0..self.nodes()).collect());
        let mut all = Joined((0..self.nodes()).collect());
        for e in &self.elements {
            if matches!(e.kind, Kind::Voltage(_)) && !sources.join(e.a.0, e.b.0) {
                return Err(CircuitError::SourceLoop { element: e.name.to_string() });
            }
            if !matches!(e.kind, Kind::Current(_)) {
                all.join(e.a.0, e.b.0);
            }
        }
        for e in self.elements.iter().filter(|e| matches!(e.kind, Kind::Current(_))) {
            if all.root(e.a.0) != all.root(e.b.0) {
                return Err(CircuitError::NoReturn { element: e.name.to_string() });
            }
        }
        Ok((0..self.nodes()).map(|n| all.root(n)).collect())
    }

    /// The operating point.
    ///
    /// # Errors
    /// [`CircuitError::SourceLoop`], [`CircuitError::NoReturn`], [`CircuitError::Singular`], [`CircuitError::NotSettled`].
    pub fn operating_point(&self) -> Result<OperatingPoint, CircuitError> {
        let islands = self.islands()?;
        let folded = Folded::new(self, &islands);
        let of = |node: Node| folded.row[node.0];
        let sources = self.elements.iter().filter(|e| matches!(e.kind, Kind::Voltage(_))).count();
        let nodes = folded.rows;
        let size = nodes + sources;
        let mut matrix = DMatrix::<f64>::zeros(size, size);
        let mut right = DVector::<f64>::zeros(size);
        for pinned in (1..self.nodes()).filter(|n| islands[*n] == *n).filter_map(|n| folded.row[n]) {
            matrix[(pinned, pinned)] += 1.0;
        }
        for link in folded.links.iter().filter(|link| link.there) {
            stamp(&mut matrix, folded.row[link.a], folded.row[link.b], link.siemens);
        }
        let mut source = nodes;
        for e in &self.elements {
            match e.kind {
                Kind::Current(ampere) => inject(&mut right, of(e.a), of(e.b), ampere),
                Kind::Voltage(volt) => {
                    for (row, sign) in [(of(e.a), 1.0), (of(e.b), -1.0)] {
                        if let Some(row) = row {
                            matrix[(row, source)] += sign;
                            matrix[(source, row)] += sign;
                        }
                    }
                    right[source] = volt;
                    source += 1;
                }
                Kind::Resistor(_) | Kind::Lamp(_) | Kind::Diode(_) => {}
            }
        }
        let solution = self.settle(matrix, &right, &folded)?;
        let volts = folded.unfold(&solution);
        let mut source = nodes;
        let currents = self.elements.iter().map(|e| {
            let across = volts[e.a.0] - volts[e.b.0];
            match e.kind {
                Kind::Resistor(ohm) => across / ohm,
                Kind::Current(ampere) => ampere,
                Kind::Lamp(lamp) => lamp.current(across).0,
                Kind::Diode(diode) => diode.current(across).0,
                Kind::Voltage(_) => {
                    source += 1;
                    solution[source - 1]
                }
            }
        });
        let currents = currents.collect();
        Ok(OperatingPoint { volts, islands, currents })
    }

    /// Newton's iteration on the voltages across lamps and diodes.
    fn settle(
        &self,
        matrix: DMatrix<f64>,
        right: &DVector<f64>,
        folded: &Folded,
    ) -> Result<DVector<f64>, CircuitError> {
        let bent: Vec<_> = self.elements.iter().filter(|e| matches!(e.kind, Kind::Lamp(_) | Kind::Diode(_))).collect();
        if bent.is_empty() {
            return solve(matrix, right);
        }
        let rows = |e: &Element| (folded.row[e.a.0], folded.row[e.b.0]);
        if let [one] = bent[..]
            && let Some(x) = settle_one(&matrix, right, one, rows(one))
        {
            return Ok(x);
        }
        // Lamps start at their rating, diodes at zero bias.
        let mut at: Vec<f64> = bent.iter().map(|e| if let Kind::Lamp(l) = e.kind { l.volt } else { 0.0 }).collect();
        for iteration in 0..MOST_ITERATIONS {
            let (mut matrix, mut right) = (matrix.clone(), right.clone());
            for (e, volt) in bent.iter().zip(&at) {
                let (ampere, siemens) = match e.kind {
                    Kind::Lamp(lamp) if iteration == 0 => (volt / lamp.hot_ohm(), 1.0 / lamp.hot_ohm()),
                    Kind::Lamp(lamp) => lamp.current(*volt),
                    Kind::Diode(diode) => diode.current(*volt),
                    _ => continue,
                };
                let (a, b) = rows(e);
                stamp(&mut matrix, a, b, siemens);
                inject(&mut right, a, b, ampere - siemens * volt);
            }
            let x = solve(matrix, &right)?;
            let mut settled = iteration > 0;
            for (e, old) in bent.iter().zip(&mut at) {
                let mut new = across(&x, rows(e));
                if let Kind::Diode(diode) = e.kind {
                    new = diode.limit(new, *old);
                }
                let loose = if iteration < LOOSE_FROM { 1.0 } else { LOOSER };
                settled &= (new - *old).abs() <= loose * (SETTLED_SHARE * new.abs() + SETTLED_VOLT);
                *old = if iteration < HALF_STEPS_FROM { new } else { (new + *old) / 2.0 };
            }
            if settled {
                return Ok(x);
            }
        }
        Err(CircuitError::NotSettled(MOST_ITERATIONS))
    }
}

/// A single lamp or diode. To it, the rest of the circuit is a voltage source with a resistance (Thevenin). Only the voltage across it is
/// unknown, and it lies between zero and the open-circuit voltage. `None` if the rest has no solution without it.
fn settle_one(matrix: &DMatrix<f64>, right: &DVector<f64>, one: &Element, rows: (Row, Row)) -> Option<DVector<f64>> {
    let lu = matrix.clone().lu();
    let without = lu.solve(right)?;
    let mut ampere = DVector::zeros(right.len());
    inject(&mut ampere, rows.0, rows.1, 1.0);
    let by_ampere = lu.solve(&ampere)?;
    let (source, ohm) = (across(&without, rows), -across(&by_ampere, rows));
    if !(source.is_finite() && ohm.is_finite() && (0.0..MOST_THEVENIN_OHM).contains(&ohm)) {
        return None;
    }
    let current = |volt: f64| match one.kind {
        Kind::Lamp(lamp) => lamp.current(volt),
        Kind::Diode(diode) => diode.current(volt),
        _ => (0.0, 0.0),
    };
    let (mut low, mut high) = (source.min(0.0), source.max(0.0));
    let mut volt = source / 2.0;
    for _ in 0..MOST_ITERATIONS {
        let (ampere, siemens) = current(volt);
        let off = volt - source + ohm * ampere;
        if off > 0.0 {
            high = volt
        } else {
            low = volt
        }
        let newton = volt - off / (1.0 + ohm * siemens);
        let next = if newton > low && newton < high { newton } else { (low + high) / 2.0 };
        let settled = (next - volt).abs() <= SETTLED_SHARE * next.abs() + SETTLED_VOLT * 1e-3;
        volt = next;
        if settled {
            return Some(without + by_ampere * current(volt).0);
        }
    }
    None
}

/// Voltage from one row's node to another's.
fn across(x: &DVector<f64>, (a, b): (Row, Row)) -> f64 {
    let volt = |row: Row| row.map_or(0.0, |row| x[row]);
    volt(a) - volt(b)
}

fn stamp(matrix: &mut DMatrix<f64>, a: Row, b: Row, siemens: f64) {
    for (row, column, sign) in [(a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)] {
        if let (Some(row), Some(column)) = (row, column) {
            matrix[(row, column)] += sign * siemens;
        }
    }
}

fn inject(right: &mut DVector<f64>, a: Row, b: Row, ampere: f64) {
    if let Some(a) = a {
        right[a] -= ampere;
    }
    if let Some(b) = b {
        right[b] += ampere;
    }
}

fn solve(matrix: DMatrix<f64>, right: &DVector<f64>) -> Result<DVector<f64>, CircuitError> {
    if right.is_empty() {
        return Ok(right.clone());
    }
    let x = matrix.lu().solve(right).ok_or(CircuitError::Singular)?;
    if x.iter().all(|v| v.is_finite()) { Ok(x) } else { Err(CircuitError::Singular) }
}

impl Diode {
    /// Current at `volt`, ampere, and its derivative, siemens.
    pub fn current(self, volt: f64) -> (f64, f64) {
        let scale = self.emission * THERMAL_VOLT;
        let rise = (volt / scale).min(300.0).exp();
        // A leak, as reference programs use it, ties the nodes of a blocking diode together.
        let leak = 1e-12;
        (self.saturation * (rise - 1.0) + leak * volt, self.saturation * rise / scale + leak)
    }

    /// Keeps a step from running up the exponential: above the knee the step is taken in current instead of voltage.
    fn limit(self, new: f64, old: f64) -> f64 {
        let scale = self.emission * THERMAL_VOLT;
        let knee = scale * (scale / (std::f64::consts::SQRT_2 * self.saturation)).ln();
        if new <= knee || (new - old).abs() <= 2.0 * scale {
            return new;
        }
        if old > 0.0 {
            let step = 1.0 + (new - old) / scale;
            if step > 0.0 { old + scale * step.ln() } else { knee }
        } else {
            scale * (new / scale).max(1.0).ln()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Lamp;
    use super::*;

    #[test]
    fn divider_and_wheatstone_bridge() {
        // Horowitz and Hill, The Art of Electronics, 1.2: Vout = Vin R2 / (R1 + R2).
        let mut n = Network::new("0");
        let (top, mid, other) = (n.node("top"), n.node("mid"), n.node("other"));
        let ground = Network::REFERENCE;
        let source = n.add("V", top, ground, Kind::Voltage(12.0)).unwrap();
        n.add("R1", top, mid, Kind::Resistor(1000.0)).unwrap();
        n.add("R2", mid, ground, Kind::Resistor(2000.0)).unwrap();
        assert!((n.operating_point().unwrap().voltage(mid, ground).unwrap() - 8.0).abs() < 1e-12);
        // Wheatstone: no voltage across the bridge if R1/R2 = R3/R4, whatever the detector's resistance.
        n.add("R3", top, other, Kind::Resistor(50.0)).unwrap();
        n.add("R4", other, ground, Kind::Resistor(100.0)).unwrap();
        let detector = n.add("G", mid, other, Kind::Resistor(10.0)).unwrap();
        let point = n.operating_point().unwrap();
        assert!(point.current(detector).abs() < 1e-12);
        assert!((point.current(source) + 12.0 / 3000.0 + 12.0 / 150.0).abs() < 1e-12);
    }

    #[test]
    fn free_parts_are_solved_and_not_compared() {
        let mut n = Network::new("0");
        let (a, b) = (n.node("a"), n.node("b"));
        n.add("V", a, b, Kind::Voltage(6.0)).unwrap();
        n.add("R", a, b, Kind::Resistor(3.0)).unwrap();
        let point = n.operating_point().unwrap();
        assert_eq!(point.voltage(a, b), Some(6.0));
        assert_eq!(point.voltage(a, Network::REFERENCE), None);
        assert_eq!(point.current(1), 2.0);
    }

    #[test]
    fn impossible_circuits_are_named() {
        let mut n = Network::new("0");
        let a = n.node("a");
        n.add("V1", a, Network::REFERENCE, Kind::Voltage(6.0)).unwrap();
        n.add("V2", a, Network::REFERENCE, Kind::Voltage(6.0)).unwrap();
        assert_eq!(n.operating_point(), Err(CircuitError::SourceLoop { element: "V2".into() }));
        let mut n = Network::new("0");
        let a = n.node("a");
        n.add("I", a, Network::REFERENCE, Kind::Current(1.0)).unwrap();
        assert_eq!(n.operating_point(), Err(CircuitError::NoReturn { element: "I".into() }));
        for ohm in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(n.add("R", a, Network::REFERENCE, Kind::Resistor(ohm)).is_err());
        }
        assert!(Network::new("0").operating_point().is_ok());
    }

    #[test]
    fn lamp_and_diode_satisfy_their_own_curves() {
        let mut n = Network::new("0");
        let (a, b, c) = (n.node("a"), n.node("b"), n.node("c"));
        let lamp = Lamp { volt: 12.0, watt: 5.0 };
        let diode = Diode { saturation: 1e-12, emission: 1.0 };
        n.add("V", a, Network::REFERENCE, Kind::Voltage(12.6)).unwrap();
        n.add("lamp", a, b, Kind::Lamp(lamp)).unwrap();
        n.add("D", b, c, Kind::Diode(diode)).unwrap();
        n.add("R", c, Network::REFERENCE, Kind::Resistor(4.5)).unwrap();
        let point = n.operating_point().unwrap();
        let ampere = point.current(3);
        assert!((lamp.current(point.voltage(a, b).unwrap()).0 / ampere - 1.0).abs() < 1e-9);
        assert!((diode.current(point.voltage(b, c).unwrap()).0 / ampere - 1.0).abs() < 1e-6);
        assert!(ampere > 0.3 && ampere < 0.42, "{ampere}");
    }
}
