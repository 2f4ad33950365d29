//! Quantities a mechanic reads off an instrument, and the units they are said in.
//!
//! Every [`Unit`] belongs to one [`Quantity`] and converts to that quantity's base unit by a factor and an offset.

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
            /// The member with this name in files, if there is one.
            pub fn named(name: &str) -> Option<Self> { match name { $($name => Some($type::$variant),)* _ => None } }
        }
        impl std::fmt::Display for $type {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.write_str(self.name()) }
        }
    };
}
pub(crate) use names;

names! {
    /// A kind of thing that is measured.
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
    }
}

names! {
    /// A unit in which a quantity is said or shown.
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
    }
}

impl Unit {
    /// The quantity this unit measures.
    pub fn quantity(self) -> Quantity {
        use Unit::*;
        match self {
            Volt | Millivolt => Quantity::Voltage,
            Ampere | Milliampere => Quantity::Current,
            Ohm | Kilohm | Megohm => Quantity::Resistance,
            Microfarad | Nanofarad => Quantity::Capacitance,
            Millimetre | Thou => Quantity::Length,
            Degree => Quantity::Angle,
            Celsius | Fahrenheit => Quantity::Temperature,
            PerMinute => Quantity::Speed,
            Second | Minute | Millisecond => Quantity::Time,
            Percent => Quantity::Share,
            Kilometre | Mile => Quantity::Mileage,
            One => Quantity::Count,
        }
    }

    /// Factor and offset to the quantity's base unit: `base = value * factor + offset`.
    ///
    /// Inch and mile by the international yard and pound agreement of 1959 (25.4 mm, 1.609344 km); Fahrenheit by its
    /// definition, 5/9 (F - 32).
    fn to_base_terms(self) -> (f64, f64) {
        use Unit::*;
        match self {
            Millivolt | Milliampere | Nanofarad | Millisecond => (1e-3, 0.0),
            Kilohm => (1e3, 0.0),
            Megohm => (1e6, 0.0),
            Thou => (0.0254, 0.0),
            Fahrenheit => (5.0 / 9.0, -160.0 / 9.0),
            Minute => (60.0, 0.0),
            Mile => (1.609344, 0.0),
            _ => (1.0, 0.0),
        }
    }

    /// `value` in this unit, converted to `to`. `None` when the two measure different quantities.
    ///
    /// ```
    /// use probeside::trade::Unit;
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
        let (a, b) = self.to_base_terms();
        let (c, d) = to.to_base_terms();
        Some((value * a + b - d) / c)
    }
}
