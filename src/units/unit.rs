//! The quantities that a mechanic reads off an instrument, and their units.
//!
//! Every [`Unit`] belongs to one [`Quantity`] and converts to that quantity's base unit by a factor and an offset. Only wire gauge numbers
//! convert by their own formula.

use super::gauge;

macro_rules! names {
    ($(#[$doc:meta])* $type:ident { $($(#[$vdoc:meta])* $variant:ident = $name:literal),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, ::serde::Serialize, ::serde::Deserialize)]
        pub enum $type { $($(#[$vdoc])* #[serde(rename = $name)] $variant),* }
        impl $type {
            /// Every member, in order of declaration.
            pub const ALL: &'static [$type] = &[$($type::$variant),*];
            /// The name used in files and in JSON.
            pub fn name(self) -> &'static str { match self { $($type::$variant => $name),* } }
            /// The member with this name in files, if any.
            pub fn named(name: &str) -> Option<Self> { match name { $($name => Some($type::$variant),)* _ => None } }
        }
        impl std::fmt::Display for $type {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.write_str(self.name()) }
        }
    };
}
pub(crate) use names;

names! {
    /// A kind of quantity.
    Quantity {
        /// Electric potential difference, base unit volt.
        Voltage = "voltage",
        /// Electric current, base unit ampere.
        Current = "current",
        /// Electric resistance, base unit ohm.
        Resistance = "resistance",
        /// Capacitance, base unit microfarad.
        Capacitance = "capacitance",
        /// A gap or a length on the engine, base unit millimetre.
        Length = "length",
        /// An angle, base unit degree.
        Angle = "angle",
        /// A temperature, base unit degree Celsius.
        Temperature = "temperature",
        /// Revolutions per minute.
        Speed = "speed",
        /// A duration, base unit second.
        Time = "time",
        /// A share, base unit per cent.
        Share = "share",
        /// The odometer's distance, base unit kilometre.
        Mileage = "mileage",
        /// A bare count.
        Count = "count",
        /// A cross-section, base unit square millimetre.
        Section = "section",
        /// Inductance, base unit millihenry.
        Inductance = "inductance",
        /// Energy, base unit millijoule.
        Energy = "energy",
        /// Power, base unit watt.
        Power = "power",
        /// Electric charge, base unit ampere hour.
        Charge = "charge",
        /// The rate of events, base unit hertz.
        Frequency = "frequency",
        /// Pressure (absolute), base unit bar.
        Pressure = "pressure",
    }
}

names! {
    /// A unit in which a quantity is spoken or shown.
    Unit {
        /// volt
        Volt = "V",
        /// millivolt
        Millivolt = "mV",
        /// ampere
        Ampere = "A",
        /// milliampere
        Milliampere = "mA",
        /// ohm
        Ohm = "ohm",
        /// kilohm
        Kilohm = "kohm",
        /// megohm
        Megohm = "Mohm",
        /// microfarad
        Microfarad = "uF",
        /// nanofarad
        Nanofarad = "nF",
        /// millimetre
        Millimetre = "mm",
        /// a thousandth of an inch
        Thou = "thou",
        /// degree of arc
        Degree = "deg",
        /// degree Celsius
        Celsius = "degC",
        /// degree Fahrenheit
        Fahrenheit = "degF",
        /// revolutions per minute
        PerMinute = "rpm",
        /// second
        Second = "s",
        /// minute
        Minute = "min",
        /// millisecond
        Millisecond = "ms",
        /// per cent
        Percent = "%",
        /// kilometre
        Kilometre = "km",
        /// statute mile
        Mile = "mi",
        /// a bare number
        One = "1",
        /// kilovolt
        Kilovolt = "kV",
        /// metre
        Metre = "m",
        /// inch
        Inch = "in",
        /// square millimetre
        SquareMillimetre = "mm2",
        /// American wire gauge number (0 for 1/0, -1 for 2/0)
        Gauge = "AWG",
        /// millihenry
        Millihenry = "mH",
        /// henry
        Henry = "H",
        /// millijoule
        Millijoule = "mJ",
        /// joule
        Joule = "J",
        /// watt
        Watt = "W",
        /// ampere hour
        AmpereHour = "Ah",
        /// hertz
        Hertz = "Hz",
        /// kilohertz
        Kilohertz = "kHz",
        /// once a minute
        EachMinute = "1/min",
        /// hour
        Hour = "h",
        /// bar
        Bar = "bar",
        /// pound-force per square inch
        Psi = "psi",
    }
}

impl Unit {
    /// The quantity this unit measures.
    pub fn quantity(self) -> Quantity {
        use Unit::*;
        match self {
            Volt | Millivolt | Kilovolt => Quantity::Voltage,
            Ampere | Milliampere => Quantity::Current,
            Ohm | Kilohm | Megohm => Quantity::Resistance,
            Microfarad | Nanofarad => Quantity::Capacitance,
            Millimetre | Thou | Metre | Inch => Quantity::Length,
            Degree => Quantity::Angle,
            Celsius | Fahrenheit => Quantity::Temperature,
            PerMinute => Quantity::Speed,
            Second | Minute | Millisecond | Hour => Quantity::Time,
            Percent => Quantity::Share,
            Kilometre | Mile => Quantity::Mileage,
            One => Quantity::Count,
            SquareMillimetre | Gauge => Quantity::Section,
            Millihenry | Henry => Quantity::Inductance,
            Millijoule | Joule => Quantity::Energy,
            Watt => Quantity::Power,
            AmpereHour => Quantity::Charge,
            Hertz | Kilohertz | EachMinute => Quantity::Frequency,
            Bar | Psi => Quantity::Pressure,
        }
    }

    /// Factor and offset to the quantity's base unit: `base = value * factor + offset`.
    ///
    /// Inch, mile and pound by the international yard and pound agreement of 1959 (25.4 mm, 1.609344 km, 0.45359237 kg with
    /// standard gravity); Fahrenheit by its definition, 5/9 (F - 32).
    fn to_base_terms(self) -> (f64, f64) {
        use Unit::*;
        match self {
            Millivolt | Milliampere | Nanofarad | Millisecond => (1e-3, 0.0),
            Kilohm | Kilovolt | Metre | Henry | Joule | Kilohertz => (1e3, 0.0),
            Megohm => (1e6, 0.0),
            Thou => (0.0254, 0.0),
            Fahrenheit => (5.0 / 9.0, -160.0 / 9.0),
            Inch => (25.4, 0.0),
            Minute => (60.0, 0.0),
            Hour => (3600.0, 0.0),
            EachMinute => (1.0 / 60.0, 0.0),
            Psi => (0.068_947_572_931_683_6, 0.0),
            Mile => (1.609344, 0.0),
            _ => (1.0, 0.0),
        }
    }

    /// `value` in this unit, converted to `to`. `None` if the two measure different quantities.
    ///
    /// ```
    /// use probeside::units::Unit;
    /// assert_eq!(Unit::Millivolt.convert(200.0, Unit::Volt), Some(0.2));
    /// assert_eq!(Unit::Volt.convert(1.0, Unit::Ohm), None);
    /// ```
    pub fn convert(self, value: f64, to: Unit) -> Option<f64> {
        if self.quantity() != to.quantity() {
            return None;
        }
        if self == to {
            return Some(value);
        }
        if self == Unit::Gauge {
            return Unit::SquareMillimetre.convert(gauge::awg_mm2(value), to);
        }
        let (a, b) = self.to_base_terms();
        if to == Unit::Gauge {
            return Some(gauge::awg_number(value * a + b));
        }
        let (c, d) = to.to_base_terms();
        Some((value * a + b - d) / c)
    }

    /// The unit as the user types it: its name in files, or a common spelling (`volts`, `Ω`, `µF`, `mm²`, `°C`). `None` for anything else.
    /// Case matters, so that `mV` and `MV` stay distinct.
    ///
    /// ```
    /// use probeside::units::Unit;
    /// assert_eq!(Unit::typed("ohms"), Some(Unit::Ohm));
    /// assert_eq!(Unit::typed("furlong"), None);
    /// ```
    pub fn typed(text: &str) -> Option<Self> {
        use Unit::*;
        Self::named(text).or(match text {
            "v" | "volt" | "volts" => Some(Volt),
            "millivolt" | "millivolts" => Some(Millivolt),
            "kilovolt" | "kilovolts" => Some(Kilovolt),
            "a" | "amp" | "amps" | "ampere" | "amperes" => Some(Ampere),
            "milliamp" | "milliamps" => Some(Milliampere),
            "ohms" | "\u{3a9}" | "\u{2126}" | "Ohm" | "R" => Some(Ohm),
            "kilohm" | "kilohms" | "k" | "k\u{3a9}" | "k\u{2126}" | "kOhm" => Some(Kilohm),
            "megohm" | "megohms" | "M\u{3a9}" | "M\u{2126}" | "MOhm" => Some(Megohm),
            "microfarad" | "microfarads" | "\u{b5}F" | "\u{3bc}F" => Some(Microfarad),
            "nanofarad" | "nanofarads" => Some(Nanofarad),
            "millimetre" | "millimetres" | "millimeter" | "millimeters" => Some(Millimetre),
            "metre" | "metres" | "meter" | "meters" => Some(Metre),
            "inch" | "inches" | "\"" => Some(Inch),
            "degree" | "degrees" | "\u{b0}" => Some(Degree),
            "C" | "\u{b0}C" | "celsius" => Some(Celsius),
            "F" | "\u{b0}F" | "fahrenheit" => Some(Fahrenheit),
            "revs" | "r/min" | "rev/min" | "min-1" => Some(PerMinute),
            "second" | "seconds" | "sec" => Some(Second),
            "minute" | "minutes" => Some(Minute),
            "hour" | "hours" => Some(Hour),
            "percent" => Some(Percent),
            "mm\u{b2}" | "mm^2" | "sqmm" => Some(SquareMillimetre),
            "awg" | "gauge" => Some(Gauge),
            "millihenry" | "millihenries" => Some(Millihenry),
            "watt" | "watts" => Some(Watt),
            "/min" | "per minute" => Some(EachMinute),
            _ => None,
        })
    }
}
