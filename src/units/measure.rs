//! Newtypes for the workshop's quantities, each in one unit, with the meaningful products and quotients between them: volts over ohms are
//! amperes, and degrees of the points cam do not mix with degrees of the crank.

use super::Unit;

/// A quantity in a fixed unit.
pub trait Measure: Copy {
    /// The unit of the number inside.
    const UNIT: Unit;
    /// The part it refers to, if the unit does not tell: "crank", "points cam".
    const OF: &'static str;
    /// Wraps a number in [`Measure::UNIT`].
    fn of(value: f64) -> Self;
    /// The number in [`Measure::UNIT`].
    fn value(self) -> f64;
}

macro_rules! measures {
    ($($(#[$doc:meta])* $type:ident is $unit:ident $($of:literal)?;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $type(pub f64);
        impl Measure for $type {
            const UNIT: Unit = Unit::$unit;
            const OF: &'static str = concat!($($of)?);
            fn of(value: f64) -> Self { Self(value) }
            fn value(self) -> f64 { self.0 }
        }
        impl std::ops::Add for $type { type Output = Self; fn add(self, other: Self) -> Self { Self(self.0 + other.0) } }
        impl std::ops::Sub for $type { type Output = Self; fn sub(self, other: Self) -> Self { Self(self.0 - other.0) } }
        impl std::ops::Mul<f64> for $type { type Output = Self; fn mul(self, times: f64) -> Self { Self(self.0 * times) } }
        impl std::ops::Div<f64> for $type { type Output = Self; fn div(self, by: f64) -> Self { Self(self.0 / by) } }
        impl std::ops::Div for $type { type Output = f64; fn div(self, by: Self) -> f64 { self.0 / by.0 } }
    )*};
}

measures! {
    /// Electric potential difference, volt.
    Volt is Volt;
    /// Ignition voltage, kilovolt.
    Kilovolt is Kilovolt;
    /// Current, ampere.
    Ampere is Ampere;
    /// Resistance, ohm.
    Ohm is Ohm;
    /// Power, watt.
    Watt is Watt;
    /// Capacitance, microfarad.
    Microfarad is Microfarad;
    /// Capacitance of a winding and its lead, nanofarad.
    Nanofarad is Nanofarad;
    /// Inductance, millihenry.
    Millihenry is Millihenry;
    /// Energy, millijoule.
    Millijoule is Millijoule;
    /// Frequency, kilohertz.
    Kilohertz is Kilohertz;
    /// A length on the engine, millimetre.
    Millimetre is Millimetre;
    /// Length of a wire, metre.
    Metre is Metre;
    /// Cross-section of a conductor, square millimetre.
    SquareMillimetre is SquareMillimetre;
    /// Temperature, degree Celsius.
    Celsius is Celsius;
    /// An angle on the points cam, degree.
    CamDegree is Degree "points cam";
    /// An angle on the crank, degree.
    CrankDegree is Degree "crank";
    /// An angle on the rotor, degree. The rotor sits on the crank unless the bike's manual says otherwise.
    RotorDegree is Degree "rotor";
    /// Speed of the crank, per minute.
    CrankSpeed is PerMinute "crank";
    /// A rate of events, per minute.
    EachMinute is EachMinute;
    /// A short time, millisecond.
    Millisecond is Millisecond;
    /// A long time, hour.
    Hour is Hour;
    /// Charge, ampere hour.
    AmpereHour is AmpereHour;
    /// Absolute pressure, bar.
    Bar is Bar;
    /// A share, per cent.
    Percent is Percent;
    /// A bare number.
    Count is One;
}

macro_rules! relate {
    ($($a:ident * $b:ident = $product:ident, $scale:literal;)*) => {$(
        impl std::ops::Mul<$b> for $a { type Output = $product; fn mul(self, by: $b) -> $product { $product(self.0 * by.0 * $scale) } }
        impl std::ops::Mul<$a> for $b { type Output = $product; fn mul(self, by: $a) -> $product { by * self } }
        impl std::ops::Div<$a> for $product { type Output = $b; fn div(self, by: $a) -> $b { $b(self.0 / by.0 / $scale) } }
        impl std::ops::Div<$b> for $product { type Output = $a; fn div(self, by: $b) -> $a { $a(self.0 / by.0 / $scale) } }
    )*};
}

relate! {
    Ohm * Ampere = Volt, 1.0;
    Volt * Ampere = Watt, 1.0;
    Ampere * Hour = AmpereHour, 1.0;
    Ohm * Millisecond = Millihenry, 1.0;
}

impl Percent {
    /// The share as a factor: 25 % is 0.25.
    pub fn share(self) -> f64 {
        self.0 / 100.0
    }

    /// The share for a factor.
    pub fn from_share(share: f64) -> Self {
        Self(share * 100.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn products_and_quotients_carry_their_units() {
        assert_eq!(Ohm(4.0) * Ampere(3.0), Volt(12.0));
        assert_eq!(Volt(12.0) / Ohm(4.0), Ampere(3.0));
        assert_eq!(Watt(60.0) / Volt(12.0), Ampere(5.0));
        assert_eq!(AmpereHour(10.0) / Ampere(5.0), Hour(2.0));
        assert_eq!(Millihenry(10.0) / Ohm(4.0), Millisecond(2.5));
        assert_eq!((CamDegree::OF, CrankDegree::OF, Volt::OF), ("points cam", "crank", ""));
    }
}
