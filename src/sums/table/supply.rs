//! Sums about battery and generator: state of charge, the ignition's current draw, and the charge balance.

use super::timing::dwell_time;
use crate::sums::sum::sum;
use crate::sums::{Sum, battery};
use crate::units::measure::{
    Ampere, AmpereHour, Celsius, Count, CrankSpeed, Hour, Measure, Millihenry, Ohm, Percent, Volt,
};

/// A higher resting voltage is surface charge left by the charger, volt per cell (common practice, no source).
const SURFACE_CHARGE_CELL_VOLT: f64 = 2.2;

pub(super) static SUMS: [Sum; 5] = [
    sum! {"state-of-charge", "state of charge of a lead-acid battery at rest";
        voltage: Volt [0.0, 60.0] => "What is the rest voltage?",
        temperature: Celsius [-40.0, 60.0] = 25.0 => "How warm is the battery?",
        system: Volt [2.0, 48.0] = 12.0 => "What is the battery's voltage by name?",
        -> Percent to 1.0;
        formula "table of open-circuit voltage by cell, 0.2 mV per kelvin and cell"; source "battery makers' table for a flooded battery at 80 degrees Fahrenheit; temperature by Linden's Handbook of Batteries (from memory)";
        help "At rest: nothing switched on and no charger for some hours. Sealed batteries read one or two tenths more.";
        {
            let cells = system.value() / battery::NOMINAL_CELL_VOLT;
            if voltage.value() > SURFACE_CHARGE_CELL_VOLT * cells {
                return Err(format!("{} V is more than a resting {} V battery shows: let it stand, or name the right system voltage", voltage.value(), system.value()));
            }
            Ok(Percent::from_share(battery::charge(voltage.value(), system.value(), temperature.value())))
        }
    },
    sum! {"coil-draw", "mean current that an ignition coil draws while the engine runs";
        voltage: Volt [0.0, 48.0] => "What is the voltage at the coil?",
        resistance: Ohm [0.01, 100.0] => "What is the resistance of the primary circuit?",
        inductance: Millihenry [0.01, 1000.0] => "What is the primary's inductance?",
        dwell: Percent [0.0, 100.0] => "What share of the time are the points closed?",
        speed: CrankSpeed [1.0, 30_000.0] => "At what engine speed?",
        lobes: Count [1.0, 12.0] => "How many lobes has the points cam?",
        crank_turns: Count [1.0, 2.0] = 2.0 => "How many turns of the crank to one of the points cam?",
        -> Ampere to 0.01;
        formula "I = dwell U / R (1 - (T / t) (1 - exp(-t / T))), T = L / R, t the dwell time"; source "mean of the rise of current (any textbook of circuits)";
        help "For one coil on its own points. Add them up for charge-balance.";
        {
            let time = dwell_time(dwell, speed, lobes, crank_turns)?;
            let filled = time / (inductance / resistance);
            let mean = if filled < 1e-6 { filled / 2.0 } else { 1.0 - (1.0 - (-filled).exp()) / filled };
            Ok(voltage / resistance * (dwell.share() * mean))
        }
    },
    sum! {"charge-balance", "current left over for the battery";
        generator: Ampere [0.0, 200.0] => "How much current does the generator give?",
        ignition: Ampere [0.0, 100.0] => "How much does the ignition draw?",
        lamps: Ampere [0.0, 100.0] => "How much do the lamps draw?",
        other: Ampere [0.0, 100.0] = 0.0 => "How much does everything else draw?",
        -> Ampere to 0.1;
        formula "I = generator - ignition - lamps - other"; source "Kirchhoff's current law (IEC 60050-131)";
        help "Below zero the battery is being emptied: battery-time tells how long it lasts.";
        { Ok(generator - ignition - lamps - other) }
    },
    sum! {"battery-time", "time that a battery carries a load";
        capacity: AmpereHour [0.1, 500.0] => "How many ampere hours has the battery?",
        current: Ampere [0.01, 200.0] => "How much current is drawn?",
        usable: Percent [1.0, 100.0] = 50.0 => "What share of it may be used?",
        -> Hour to 0.1;
        formula "t = usable capacity / current"; source "definition of capacity; half of it usable is common practice, no source";
        help "At more than a twentieth of its capacity a battery gives less than its name says.";
        { Ok(capacity * usable.share() / current) }
    },
    sum! {"charge-time", "time that a charger needs to fill a battery";
        capacity: AmpereHour [0.1, 500.0] => "How many ampere hours has the battery?",
        missing: Percent [0.0, 100.0] => "What share is missing?",
        current: Ampere [0.01, 100.0] => "At what current?",
        efficiency: Percent [50.0, 100.0] = 85.0 => "What share of the charge is kept?",
        -> Hour to 0.1;
        formula "t = missing capacity / (current efficiency)"; source "85 % kept by lead-acid batteries: common practice, no source";
        help "A tenth of the ampere hours is a gentle current. The last fifth goes more slowly.";
        { Ok(capacity * (missing.share() / efficiency.share()) / current) }
    },
];
