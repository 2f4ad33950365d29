//! Sums about the spark: current at the break, energy, kilovolts available and needed, loss at high speed, ringing.

use super::timing::dwell_time;
use crate::sums::coil::{ringing_hertz, rise, stored_energy};
use crate::sums::sum::sum;
use crate::sums::{Sum, gap};
use crate::units::measure::{
    Ampere, Bar, Celsius, Count, CrankSpeed, Kilohertz, Kilovolt, Measure, Microfarad, Millihenry, Millijoule,
    Millimetre, Millisecond, Nanofarad, Ohm, Percent, Volt,
};
use std::f64::consts::TAU;

/// Factor from milli to the base unit.
const MILLI: f64 = 1e-3;
/// Factor from micro to the base unit.
const MICRO: f64 = 1e-6;
/// Factor from nano to the base unit.
const NANO: f64 = 1e-9;
/// Zero degrees Celsius, kelvin (ITS-90).
const ZERO_KELVIN: f64 = 273.15;
const RISE: &str = "rise of current in an inductance (IEC 60050-131; any textbook of circuits)";
const STORED: &str = "energy of an inductance (IEC 60050-131; any textbook of circuits)";
const RINGS: &str = "series resonance (any textbook of circuits)";

pub(super) static SUMS: [Sum; 12] = [
    sum! {"coil-current", "current of a coil when its points open";
        voltage: Volt [0.0, 48.0] => "What is the voltage at the coil?",
        resistance: Ohm [0.01, 100.0] => "What is the resistance of the primary circuit?",
        inductance: Millihenry [0.01, 1000.0] => "What is the primary's inductance?",
        closed_time: Millisecond [0.0, 60_000.0] => "How long are the points closed?",
        -> Ampere to 0.01;
        formula "I = U / R (1 - exp(-t R / L))"; source RISE;
        help "dwell-time tells how long the points are closed.";
        { Ok(Ampere(rise(voltage.value(), resistance.value(), inductance.value() * MILLI, closed_time.value() * MILLI))) }
    },
    sum! {"time-constant", "time constant of a coil's primary circuit";
        inductance: Millihenry [0.01, 1000.0] => "What is the primary's inductance?",
        resistance: Ohm [0.01, 1000.0] => "What is the resistance of the primary circuit?",
        -> Millisecond to 0.01;
        formula "t = L / R"; source RISE;
        help "After one the current has reached 63 per cent, after three 95.";
        { Ok(inductance / resistance) }
    },
    sum! {"stored-energy", "energy that a coil holds when its points open";
        inductance: Millihenry [0.01, 1000.0] => "What is the primary's inductance?",
        current: Ampere [0.0, 100.0] => "How much current flows when the points open?",
        -> Millijoule to 0.1;
        formula "W = L I^2 / 2"; source STORED;
        help "The spark gets a part of it; the rest goes into the condenser, the winding and the core.";
        { Ok(Millijoule(stored_energy(inductance.value() * MILLI, current.value()) / MILLI)) }
    },
    sum! {"available-voltage", "voltage that a coil can offer to the gap";
        current: Ampere [0.0, 100.0] => "How much current flows when the points open?",
        inductance: Millihenry [0.01, 1000.0] => "What is the primary's inductance?",
        condenser: Microfarad [0.001, 10.0] => "How many microfarads has the condenser?",
        ratio: Count [1.0, 1000.0] => "How many secondary turns to one of the primary?",
        secondary: Nanofarad [0.001, 10.0] = 0.06 => "What is the capacitance of the secondary and its lead?",
        passed_on: Percent [1.0, 100.0] = 70.0 => "What share of the energy is passed on?",
        -> Kilovolt to 0.1;
        formula "U2 = N I sqrt(k L / (C1 + N^2 C2))"; source "conservation of energy between primary and both capacitances; 0.06 nF and 70 % are common practice, no source";
        help "Compare it with gap-voltage by spark-reserve.";
        {
            let (n, c2) = (ratio.value(), secondary.value() * NANO);
            let farad = condenser.value() * MICRO + n * n * c2;
            let volt = n * current.value() * (passed_on.share() * inductance.value() * MILLI / farad).sqrt();
            Ok(Kilovolt(volt * MILLI))
        }
    },
    sum! {"gap-voltage", "voltage that a gap needs to spark over";
        gap: Millimetre [0.0, 50.0] => "How wide is the gap?",
        pressure: Bar [0.01, 100.0] = 1.013 => "At what absolute pressure?",
        temperature: Celsius [-60.0, 1000.0] = 20.0 => "How warm is the gas?",
        -> Kilovolt to 0.1;
        formula "U = 6.72 sqrt(p d) + 24.36 p d, in kV and bar cm, p at 20 degrees"; source "Kuffel, Zaengl and Kuffel, High Voltage Engineering; near the minimum Paschen's curve of air (Cobine); from memory";
        help "For rounded electrodes in air. A sharp plug needs less, a fuel mixture about the same.";
        {
            let kelvin = temperature.value() + ZERO_KELVIN;
            Ok(Kilovolt(gap::breakdown_volt(gap.value(), pressure.value(), kelvin) * MILLI))
        }
    },
    sum! {"compression-pressure", "absolute pressure in the cylinder at the end of compression";
        ratio: Count [1.0, 25.0] => "What is the compression ratio?",
        intake: Bar [0.1, 5.0] = 1.013 => "What is the absolute pressure before compression?",
        exponent: Count [1.0, 1.4] = 1.3 => "What is the exponent of compression?",
        -> Bar to 0.1;
        formula "p = p0 ratio^k"; source "polytropic compression (any textbook of engines); 1.3 is common practice, no source";
        help "With the throttle wide open. A closed throttle lowers it.";
        { Ok(intake * ratio.value().powf(exponent.value())) }
    },
    sum! {"spark-reserve", "voltage that a coil offers, as a share of what the gap needs";
        available: Kilovolt [0.0, 100.0] => "How many kilovolts are available?",
        needed: Kilovolt [0.1, 100.0] => "How many does the gap need?",
        -> Percent to 1.0;
        formula "reserve = available / needed"; source "common practice, no source: 150 % or more is sound";
        help "Below a hundred it cannot spark.";
        { Ok(Percent::from_share(available / needed)) }
    },
    sum! {"energy-lost", "spark energy lost at speed against a coil that has filled";
        speed: CrankSpeed [1.0, 30_000.0] => "At what engine speed?",
        dwell: Percent [0.0, 100.0] => "What share of the time are the points closed?",
        lobes: Count [1.0, 12.0] => "How many lobes has the points cam?",
        inductance: Millihenry [0.01, 1000.0] => "What is the primary's inductance?",
        resistance: Ohm [0.01, 100.0] => "What is the resistance of the primary circuit?",
        crank_turns: Count [1.0, 2.0] = 2.0 => "How many turns of the crank to one of the points cam?",
        -> Percent to 0.1;
        formula "lost = 1 - (1 - exp(-t R / L))^2, t the dwell time"; source RISE;
        help "Energy goes with the square of the current.";
        {
            let time = dwell_time(dwell, speed, lobes, crank_turns)?;
            let filled = 1.0 - (-(time / (inductance / resistance))).exp();
            Ok(Percent::from_share(1.0 - filled * filled))
        }
    },
    sum! {"ringing-frequency", "frequency at which a coil rings with its condenser";
        inductance: Millihenry [0.001, 10_000.0] => "What is the primary's inductance?",
        condenser: Microfarad [1e-6, 1000.0] => "How many microfarads has the condenser?",
        resistance: Ohm [0.0, 1e6] = 0.0 => "What is the resistance of the primary circuit?",
        -> Kilohertz to 0.01;
        formula "f = sqrt(1 / (L C) - (R / 2 L)^2) / 2 pi"; source RINGS;
        help "What a scope shows at the points after they open.";
        {
            let hertz = ringing_hertz(inductance.value() * MILLI, condenser.value() * MICRO, resistance.value());
            hertz.map(|f| Kilohertz(f * MILLI)).ok_or_else(|| "with so much resistance it does not ring at all".to_owned())
        }
    },
    sum! {"ringing-capacitance", "capacitance of a condenser from its ringing with a coil";
        frequency: Kilohertz [0.001, 10_000.0] => "At what frequency does it ring?",
        inductance: Millihenry [0.001, 10_000.0] => "What is the coil's inductance?",
        -> Microfarad to 0.001;
        formula "C = 1 / (L (2 pi f)^2)"; source RINGS;
        help "The inverse of ringing-frequency without resistance.";
        {
            let omega = TAU * frequency.value() / MILLI;
            Ok(Microfarad(1.0 / (inductance.value() * MILLI * omega * omega) / MICRO))
        }
    },
    sum! {"points-peak", "highest voltage across the points after they open";
        current: Ampere [0.0, 100.0] => "How much current flows when the points open?",
        inductance: Millihenry [0.01, 1000.0] => "What is the primary's inductance?",
        condenser: Microfarad [0.001, 10.0] => "How many microfarads has the condenser?",
        -> Volt to 1.0;
        formula "U = I sqrt(L / C)"; source STORED;
        help "All energy in the condenser, nothing drawn by the secondary. It is a few hundred volts: do not touch.";
        { Ok(Volt(current.value() * (inductance.value() * MILLI / (condenser.value() * MICRO)).sqrt())) }
    },
    sum! {"condenser-charge-time", "time in which a meter's resistor fills a condenser to 63 per cent";
        condenser: Microfarad [0.001, 10_000.0] => "How many microfarads has the condenser?",
        resistance: Ohm [1.0, 1e9] => "Through what resistance?",
        -> Millisecond to 0.1;
        formula "t = R C"; source "charge of a capacitance through a resistance (any textbook of circuits)";
        help "Why the needle of an ohmmeter kicks and falls back on a good condenser.";
        { Ok(Millisecond(resistance.value() * condenser.value() * MICRO / MILLI)) }
    },
];
