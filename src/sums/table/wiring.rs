//! Sums about wires and windings: voltage drops, permissible drops, resistance by length, section and temperature.

use crate::sums::Sum;
use crate::sums::conductor::{self, COPPER_OHM_MM2_PER_METRE, COPPER_PER_KELVIN, REFERENCE_CELSIUS};
use crate::sums::sum::sum;
use crate::units::measure::{Ampere, Celsius, Measure, Metre, Ohm, Percent, SquareMillimetre, Volt, Watt};

/// Source of both Ohm's law and the definition of power.
const OHM: &str = "Ohm's law (IEC 60050-131)";
const COPPER: &str = "IEC 60028: copper gains 0.393 % per kelvin from 20 degrees Celsius";
const WIRE: &str = "IEC 60228 class 5 for a nominal size, else IEC 60028 (1/58 ohm mm2 per metre); AWG by ASTM B258";

/// The factor by which copper's resistance changes from 20 degrees to `at`.
fn factor(at: Celsius) -> f64 {
    1.0 + COPPER_PER_KELVIN * (at.value() - REFERENCE_CELSIUS)
}

pub(super) static SUMS: [Sum; 15] = [
    sum! {"voltage-drop", "voltage that is lost in a wire, a contact or a part";
        current: Ampere [0.0, 1000.0] => "How much current flows?",
        resistance: Ohm [0.0, 1e8] => "What is the resistance?",
        -> Volt to 0.001;
        formula "U = I R"; source OHM;
        help "A drop is measured with the current flowing; without current there is none.";
        { Ok(current * resistance) }
    },
    sum! {"current", "current that a voltage drives through a resistance";
        voltage: Volt [0.0, 1000.0] => "What is the voltage?",
        resistance: Ohm [1e-6, 1e9] => "What is the resistance?",
        -> Ampere to 0.01;
        formula "I = U / R"; source OHM;
        help "For a coil with its points closed: battery voltage over the resistance of the whole primary circuit.";
        { Ok(voltage / resistance) }
    },
    sum! {"joint-resistance", "resistance of a joint or a wire from its drop";
        drop: Volt [0.0, 1000.0] => "How much voltage is lost?",
        current: Ampere [0.001, 1000.0] => "How much current flows?",
        -> Ohm to 0.001;
        formula "R = U / I"; source OHM;
        help "The way to measure a small resistance that an ohmmeter cannot: with the working current and a voltmeter.";
        { Ok(drop / current) }
    },
    sum! {"power", "power of a load";
        voltage: Volt [0.0, 1000.0] => "What is the voltage?",
        current: Ampere [0.0, 1000.0] => "How much current flows?",
        -> Watt to 0.1;
        formula "P = U I"; source OHM;
        help "What a lamp, a coil or the generator takes or gives.";
        { Ok(voltage * current) }
    },
    sum! {"load-current", "current that a load of known power takes";
        power: Watt [0.0, 10_000.0] => "How many watts?",
        voltage: Volt [1.0, 1000.0] => "At what voltage?",
        -> Ampere to 0.1;
        formula "I = P / U"; source OHM;
        help "A bulb takes its rated current only at its rated voltage.";
        { Ok(power / voltage) }
    },
    sum! {"allowed-drop", "voltage that may be lost along a feed";
        system: Volt [1.0, 48.0] => "What is the system's voltage?",
        share: Percent [0.0, 50.0] = 4.0 => "What share may be lost?",
        -> Volt to 0.01;
        formula "U = share of the system's voltage"; source "4 % along the whole ignition feed: common practice, no source; the bike's own manual decides";
        help "Half a volt of twelve, a quarter of six, from the battery's live terminal to the coil, with the points closed.";
        { Ok(system * share.share()) }
    },
    sum! {"wire-drop", "voltage that is lost along a copper wire";
        current: Ampere [0.0, 1000.0] => "How much current flows?",
        length: Metre [0.0, 1000.0] => "How long is the wire, there and back?",
        section: SquareMillimetre [0.01, 500.0] => "What is its cross-section?",
        temperature: Celsius [-60.0, 200.0] = 20.0 => "How warm is it?",
        -> Volt to 0.001;
        formula "U = I R(length, section, temperature)"; source WIRE;
        help "Where the return runs through the frame, only the wire counts.";
        { Ok(current * Ohm(conductor::wire_ohm(length.value(), section.value(), temperature.value()))) }
    },
    sum! {"wire-resistance", "resistance of a copper wire";
        length: Metre [0.0, 1000.0] => "How long is the wire?",
        section: SquareMillimetre [0.01, 500.0] => "What is its cross-section?",
        temperature: Celsius [-60.0, 200.0] = 20.0 => "How warm is it?",
        -> Ohm to 0.0001;
        formula "R = length r(section) (1 + 0.00393 (t - 20))"; source WIRE;
        help "Nominal sizes take the greatest resistance that the standard allows a flexible conductor; other sections and gauge numbers are solid copper.";
        { Ok(Ohm(conductor::wire_ohm(length.value(), section.value(), temperature.value()))) }
    },
    sum! {"least-section", "smallest section of copper that keeps within a drop";
        current: Ampere [0.0, 1000.0] => "How much current flows?",
        length: Metre [0.0, 1000.0] => "How long is the wire, there and back?",
        drop: Volt [0.001, 100.0] => "How much voltage may be lost?",
        -> SquareMillimetre to 0.01;
        formula "A = I length / (58 U)"; source "IEC 60028: copper has 1/58 ohm mm2 per metre at 20 degrees Celsius";
        help "Take the next larger size, and mind that a wire may need a larger one to stay cool.";
        {
            let one_mm2 = Ohm(COPPER_OHM_MM2_PER_METRE * length.value());
            Ok(SquareMillimetre(current * one_mm2 / drop))
        }
    },
    sum! {"cross-section", "section of a wire in square millimetres";
        section: SquareMillimetre [0.001, 500.0] => "What is its gauge number?",
        -> SquareMillimetre to 0.001;
        formula "A = pi/4 (0.127 mm 92^((36 - n) / 39))^2"; source "ASTM B258";
        help "Type a gauge number as 16 AWG, a large one as 2/0 AWG.";
        { Ok(section) }
    },
    sum! {"resistance-at-20", "resistance that a copper winding has at 20 degrees Celsius";
        resistance: Ohm [0.0, 1e6] => "What did it read?",
        temperature: Celsius [-60.0, 200.0] => "How warm was it?",
        -> Ohm to 0.01;
        formula "R20 = R / (1 + 0.00393 (t - 20))"; source COPPER;
        help "Take it to compare a reading with the manual. Not for a lead or cap of carbon.";
        { Ok(resistance / factor(temperature)) }
    },
    sum! {"resistance-at", "resistance that a copper winding has when warm or cold";
        resistance_at_20: Ohm [0.0, 1e6] => "What is it at twenty degrees?",
        temperature: Celsius [-60.0, 200.0] => "How warm is it?",
        -> Ohm to 0.01;
        formula "R = R20 (1 + 0.00393 (t - 20))"; source COPPER;
        help "A coil at eighty degrees reads about a quarter more than cold.";
        { Ok(resistance_at_20 * factor(temperature)) }
    },
    sum! {"winding-temperature", "temperature of a copper winding from its resistance";
        cold: Ohm [0.001, 1e6] => "What did it read when cold?",
        cold_temperature: Celsius [-60.0, 100.0] => "How warm was it then?",
        hot: Ohm [0.001, 1e6] => "What does it read now?",
        -> Celsius to 0.1;
        formula "t2 = (R2 / R1) (234.5 + t1) - 234.5"; source "IEEE 112 and IEC 60034-1, resistance method, with copper's 234.5 (from memory)";
        help "How hot a coil is inside. A coil too hot to touch is above about sixty degrees.";
        {
            /// Extrapolated zero of copper's resistance, degrees below zero Celsius.
            const COPPER_ZERO: f64 = 234.5;
            let hot = Celsius(hot / cold * (COPPER_ZERO + cold_temperature.value()) - COPPER_ZERO);
            /// No winding's insulation survives this temperature, degree Celsius.
            const BEYOND: f64 = 300.0;
            match hot.value() {
                t if t > BEYOND => Err(format!("these readings would mean {t:.0} degC inside, which no winding survives: measure again")),
                _ => Ok(hot),
            }
        }
    },
    sum! {"parallel", "resistance of two parts side by side";
        first: Ohm [0.0, 1e9] => "What is the first resistance?",
        second: Ohm [0.0, 1e9] => "What is the second?",
        -> Ohm to 0.01;
        formula "R = R1 R2 / (R1 + R2)"; source OHM;
        help "Two coils on one feed, or a bridge beside a winding.";
        {
            let sum = (first + second).value();
            Ok(Ohm(if sum == 0.0 { 0.0 } else { first.value() * (second.value() / sum) }))
        }
    },
    sum! {"ballast", "ballast resistor that keeps a coil's current down";
        voltage: Volt [1.0, 48.0] => "What is the voltage with the engine running?",
        current: Ampere [0.1, 50.0] => "How much current may flow?",
        coil: Ohm [0.0, 100.0] => "What is the coil's primary resistance?",
        -> Ohm to 0.01;
        formula "R = U / I - R(coil)"; source OHM;
        help "With the points closed and the engine stopped the current is greatest.";
        {
            let needed = voltage / current - coil;
            match needed.value() {
                ohm if ohm < 0.0 => Err(format!("the coil alone lets only {:.2} A through; no ballast is needed", (voltage / coil).value())),
                _ => Ok(needed),
            }
        }
    },
];
