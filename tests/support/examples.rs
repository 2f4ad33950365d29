//! Worked examples of the workshop sums from external sources. Each names its source; all figures are quoted from memory of it.

/// A worked example.
pub struct Example {
    /// The sum.
    pub sum: &'static str,
    /// Its values as typed.
    pub given: &'static [&'static str],
    /// The source's result, in the sum's unit.
    pub gives: f64,
    /// The source's rounding error, as a share.
    pub within: f64,
    /// The source.
    pub source: &'static str,
}

const fn of(
    sum: &'static str,
    given: &'static [&'static str],
    gives: f64,
    within: f64,
    source: &'static str,
) -> Example {
    Example { sum, given, gives, within, source }
}

const NBS: &str = "Copper Wire Tables, NBS Handbook 100: ohm per 1000 ft at 20 degrees Celsius, annealed copper";
const NEC: &str = "NEC chapter 9 table 8: ohm per 1000 ft at 75 degrees Celsius, uncoated copper, solid";
const AREA: &str = "ASTM B258 table: nominal area of gauge numbers";
const FACTORS: &str = "Copper Wire Tables, NBS Handbook 100: resistance against that at 20 degrees";
const IEC_FACTORS: &str = "IEC 60228 annex: factors to convert to 20 degrees Celsius (rounded with 0.004 per kelvin)";
const CIRCUITS: &str = "Lessons in Electric Circuits, volume I (open textbook)";
const COLLEGE: &str = "OpenStax College Physics, worked examples of chapters 20, 21 and 23";
const SPHERES: &str = "IEC 60052: spark-over of a sphere gap, kV peak at 20 degrees and 1013 mbar";
const DWELL: &str = "handbooks of automotive service: dwell meters' scales";
const ENGINES: &str = "textbooks of engines, air-standard cycle with k = 1.4";
const GEOMETRY: &str = "crank at a right angle to its rod: the theorem of Pythagoras";
const BOATS: &str = "ABYC E-11: 3 % for critical circuits, 10 % for others; conductor size by K = 10.75";
const HALF: &str = "textbooks of engines: with a rod of four throws the piston is 56.4 % down at a quarter turn";
const SI: &str = "NIST SP 811, conversion factors";

/// All examples.
pub const EXAMPLES: &[Example] = &[
    of("wire-resistance", &["304.8 m", "10 AWG"], 0.9989, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "12 AWG"], 1.588, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "14 AWG"], 2.525, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "16 AWG"], 4.016, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "18 AWG"], 6.385, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "20 AWG"], 10.15, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "24 AWG"], 25.67, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "1/0 AWG"], 0.09827, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "4/0 AWG"], 0.04901, 0.001, NBS),
    of("wire-resistance", &["304.8 m", "18 AWG", "75 degC"], 7.77, 0.003, NEC),
    of("wire-resistance", &["304.8 m", "16 AWG", "75 degC"], 4.89, 0.003, NEC),
    of("wire-resistance", &["304.8 m", "14 AWG", "75 degC"], 3.07, 0.003, NEC),
    of("wire-resistance", &["304.8 m", "12 AWG", "75 degC"], 1.93, 0.003, NEC),
    of("wire-resistance", &["304.8 m", "10 AWG", "75 degC"], 1.21, 0.005, NEC),
    of(
        "wire-resistance",
        &["5 m", "12 AWG"],
        0.0254,
        0.03,
        "OpenStax University Physics, chapter 9: 5 m of 12 gauge, with 1.68e-8 ohm m",
    ),
    of("wire-drop", &["15 A", "304.8 m", "14 AWG", "75 degC"], 46.05, 0.003, NEC),
    of("cross-section", &["18 AWG"], 0.823, 0.002, AREA),
    of("cross-section", &["16 AWG"], 1.31, 0.002, AREA),
    of("cross-section", &["14 AWG"], 2.08, 0.002, AREA),
    of("cross-section", &["10 AWG"], 5.26, 0.002, AREA),
    of("cross-section", &["4/0 AWG"], 107.2, 0.002, AREA),
    of(
        "cross-section",
        &["12 AWG"],
        3.31,
        0.002,
        "OpenStax College Physics, chapter 20: 12 gauge has a diameter of 2.053 mm",
    ),
    of("resistance-at", &["1 ohm", "0 degC"], 0.9214, 0.0002, FACTORS),
    of("resistance-at", &["1 ohm", "50 degC"], 1.1179, 0.0002, FACTORS),
    of("resistance-at", &["1 ohm", "75 degC"], 1.2161, 0.0002, FACTORS),
    of("resistance-at", &["1 ohm", "212 degF"], 1.3144, 0.0002, FACTORS),
    of("resistance-at", &["15 ohm", "35 degC"], 15.909, 0.003, CIRCUITS),
    of("resistance-at-20", &["1 ohm", "0 degC"], 1.087, 0.003, IEC_FACTORS),
    of("resistance-at-20", &["1 ohm", "10 degC"], 1.042, 0.003, IEC_FACTORS),
    of("resistance-at-20", &["1 ohm", "30 degC"], 0.962, 0.003, IEC_FACTORS),
    of("resistance-at-20", &["1 ohm", "40 degC"], 0.926, 0.003, IEC_FACTORS),
    of("winding-temperature", &["1 ohm", "20 degC", "1.2161 ohm"], 75.0, 0.002, FACTORS),
    of("current", &["12 V", "3 ohm"], 4.0, 1e-9, CIRCUITS),
    of("joint-resistance", &["36 V", "4 A"], 9.0, 1e-9, CIRCUITS),
    of("voltage-drop", &["2 A", "7 ohm"], 14.0, 1e-9, CIRCUITS),
    of("power", &["18 V", "6 A"], 108.0, 1e-9, CIRCUITS),
    of("parallel", &["100 ohm", "250 ohm"], 71.429, 1e-4, CIRCUITS),
    of("parallel", &["350 ohm", "200 ohm"], 127.27, 1e-4, CIRCUITS),
    of("coil-current", &["15 V", "1 ohm", "1 H", "3.5 s"], 14.547, 1e-4, CIRCUITS),
    of("condenser-charge-time", &["100 uF", "10 kohm"], 1000.0, 1e-9, CIRCUITS),
    of("ringing-frequency", &["100 mH", "10 uF"], 0.159155, 1e-5, CIRCUITS),
    of("joint-resistance", &["12 V", "2.5 A"], 4.80, 0.001, COLLEGE),
    of("power", &["12 V", "2.5 A"], 30.0, 1e-9, COLLEGE),
    of("current", &["12 V", "0.35 ohm"], 34.3, 0.001, COLLEGE),
    of("voltage-drop", &["0.6 A", "13 ohm"], 7.80, 1e-9, COLLEGE),
    of("parallel", &["0.857 ohm", "13 ohm"], 0.804, 0.001, COLLEGE),
    of("stored-energy", &["0.632 mH", "30 A"], 284.0, 0.002, COLLEGE),
    of("time-constant", &["7.5 mH", "3 ohm"], 2.5, 1e-9, COLLEGE),
    of("coil-current", &["30 V", "3 ohm", "7.5 mH", "5 ms"], 8.65, 0.001, COLLEGE),
    of("ringing-frequency", &["3 mH", "5 uF"], 1.30, 0.002, COLLEGE),
    of(
        "ringing-frequency",
        &["20 mH", "8 uF"],
        0.39789,
        0.0001,
        "OpenStax University Physics, chapter 14: 2500 radian a second",
    ),
    of("gap-voltage", &["0.5 mm"], 2.8, 0.05, SPHERES),
    of("gap-voltage", &["1 mm"], 4.7, 0.05, SPHERES),
    of("gap-voltage", &["2 mm"], 8.0, 0.05, SPHERES),
    of("gap-voltage", &["3 mm"], 11.2, 0.05, SPHERES),
    of("gap-voltage", &["5 mm"], 17.4, 0.05, SPHERES),
    of("gap-voltage", &["6 mm"], 20.4, 0.05, SPHERES),
    of("gap-voltage", &["10 mm"], 31.7, 0.05, SPHERES),
    of("dwell", &["45 deg", "4"], 50.0, 1e-9, DWELL),
    of("dwell", &["54 deg", "4"], 60.0, 1e-9, DWELL),
    of("dwell", &["40 deg cam", "6"], 66.7, 0.001, DWELL),
    of("dwell", &["30 deg", "8"], 66.7, 0.001, DWELL),
    of("dwell-angle", &["50 %", "6"], 30.0, 1e-9, DWELL),
    of("dwell-angle", &["50 %", "8"], 22.5, 1e-9, DWELL),
    of(
        "sparks-per-minute",
        &["5000 rpm", "8"],
        20_000.0,
        1e-9,
        "handbooks of automotive service: eight cylinders at 5000 revs",
    ),
    of(
        "sparks-per-minute",
        &["3000 rpm", "4"],
        6_000.0,
        1e-9,
        "handbooks of automotive service: four cylinders at 3000 revs",
    ),
    of(
        "dwell-time",
        &["67 %", "6000 rpm", "8"],
        1.67,
        0.005,
        "textbooks of engines: eight cylinders at 6000 revs, 2.5 ms from spark to spark",
    ),
    of(
        "strobe-advance",
        &["1 ms", "1000 rpm"],
        6.0,
        1e-9,
        "textbooks of engines: 6 degrees a millisecond at 1000 revs",
    ),
    of(
        "strobe-advance",
        &["1 ms", "6000 rpm"],
        36.0,
        1e-9,
        "textbooks of engines: 36 degrees a millisecond at 6000 revs",
    ),
    of("turn-time", &["1200 rpm"], 50.0, 1e-9, "20 turns a second"),
    of("strobe-speed", &["600 1/min"], 1200.0, 1e-9, "definition: one flash in two turns"),
    of("strobe-speed", &["10 Hz", "1"], 600.0, 1e-9, SI),
    of("rotor-distance", &["10 deg", "8 in"], 17.73, 0.001, "timing tapes: 0.698 inch for 10 degrees on 8 inches"),
    of("rotor-angle", &["0.698 in", "8 in"], 10.0, 0.001, "timing tapes: 0.698 inch for 10 degrees on 8 inches"),
    of("piston-travel", &["90 deg", "2 in", "4 in"], 28.63, 0.001, HALF),
    of("piston-travel", &["71.565 deg", "4 in", "6 in"], 42.555, 0.001, GEOMETRY),
    of("piston-angle", &["1.6754 in", "4 in", "6 in"], 71.565, 0.001, GEOMETRY),
    of("compression-pressure", &["8", "1 bar", "1.4"], 18.379, 0.0005, ENGINES),
    of("compression-pressure", &["10", "1 bar", "1.4"], 25.12, 0.0005, ENGINES),
    of("compression-pressure", &["1", "14.6959 psi"], 1.01325, 1e-5, SI),
    of("allowed-drop", &["12 V", "3 %"], 0.36, 1e-9, BOATS),
    of("allowed-drop", &["12 V", "10 %"], 1.2, 1e-9, BOATS),
    of("least-section", &["10 A", "9.144 m", "0.36 V"], 4.539, 0.04, BOATS),
    of("load-current", &["55 W", "12 V"], 4.58, 0.002, "lamp makers' tables: a 55 W bulb"),
    of("load-current", &["21 W", "12 V"], 1.75, 1e-9, "lamp makers' tables: a 21 W bulb"),
    of(
        "ballast",
        &["12 V", "4 A", "1.5 ohm"],
        1.5,
        1e-9,
        "common practice, no source: a 1.5 ohm coil with 1.5 ohm of ballast at 4 A",
    ),
    of("battery-time", &["14 Ah", "1.4 A", "100 %"], 10.0, 1e-9, "definition of the ten-hour rate (JIS D 5302)"),
    of("state-of-charge", &["12.24 V", "80 degF"], 50.0, 1e-6, "battery makers' tables, 80 degrees Fahrenheit"),
    of("state-of-charge", &["6.225 V", "80 degF", "6 V"], 75.0, 1e-6, "half of battery makers' 12 volt table"),
    // The open-circuit voltage of a cell is the acid's density plus 0.845 (Linden's Handbook of Batteries): 1.265 full, 1.225 three
    // quarters, 1.190 half.
    of("state-of-charge", &["12.66 V", "80 degF"], 100.0, 0.1, "Linden's Handbook of Batteries, density 1.265"),
    of("state-of-charge", &["12.42 V", "80 degF"], 75.0, 0.1, "Linden's Handbook of Batteries, density 1.225"),
    of("state-of-charge", &["12.21 V", "80 degF"], 50.0, 0.1, "Linden's Handbook of Batteries, density 1.190"),
];
