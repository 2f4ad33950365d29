//! The definition of a workshop sum: its name, inputs with unit and range, formula, source and help, and its calculation. The table in
//! `sums` defines each sum once. The command line, JSON, expressions in procedures and speech are derived from it.

use crate::units::{Amount, Behind, NotAnAmount, Quantity, Unit};
use std::fmt;

/// One input of a sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Input {
    /// Its name: `closed_time`. The command line also accepts `-` for `_`.
    pub name: &'static str,
    /// The spoken question.
    pub ask: &'static str,
    /// Its unit. Other units of the same quantity are converted.
    pub unit: Unit,
    /// The part it refers to, if the unit does not tell: "crank", "points cam", "rotor".
    pub of: &'static str,
    /// Lowest accepted value, in `unit`.
    pub low: f64,
    /// Highest accepted value, in `unit`.
    pub high: f64,
    /// The default. Only for the last inputs of a sum.
    pub usual: Option<f64>,
}

impl Input {
    /// The quantity it measures.
    pub fn quantity(&self) -> Quantity {
        self.unit.quantity()
    }

    /// Its displayed name: `closed-time`.
    pub fn shown(&self) -> String {
        self.name.replace('_', "-")
    }

    fn behind(&self) -> Behind {
        Behind { unit: self.unit, of: self.of }
    }
}

/// A workshop sum.
pub struct Sum {
    /// Its name: `coil-current`. In expressions `coil_current`.
    pub name: &'static str,
    /// The result in words, without article: "current of a coil when its points open".
    pub title: &'static str,
    /// Its inputs, in order.
    pub inputs: &'static [Input],
    /// The unit of the result.
    pub unit: Unit,
    /// The part the result refers to, if the unit does not tell.
    pub of: &'static str,
    /// Smallest step worth speaking, in `unit`.
    pub resolution: f64,
    /// The formula in the usual symbols.
    pub formula: &'static str,
    /// The source of the formula and its figures.
    pub source: &'static str,
    /// Its purpose, and what to watch out for.
    pub help: &'static str,
    pub(super) work: fn(&[f64]) -> Result<f64, String>,
}

impl fmt::Debug for Sum {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Sum").field("name", &self.name).finish_non_exhaustive()
    }
}

/// Why a sum was not calculated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// There is no sum with this name.
    #[error("there is no sum `{name}`{}; `probeside reckon` lists them", near.as_ref().map(|n| format!(" (did you mean `{n}`?)")).unwrap_or_default())]
    Unknown {
        /// The requested name.
        name: String,
        /// The most similar name.
        near: Option<&'static str>,
    },
    /// An input is missing.
    #[error("{sum} needs {input} too; its inputs are {inputs}")]
    Missing {
        /// The sum.
        sum: &'static str,
        /// The missing input.
        input: String,
        /// All inputs, in order.
        inputs: String,
    },
    /// More values than inputs.
    #[error("{sum} takes {most} values and got {given}; its inputs are {inputs}")]
    TooMany {
        /// The sum.
        sum: &'static str,
        /// How many inputs it has.
        most: usize,
        /// How many values were given.
        given: usize,
        /// All inputs, in order.
        inputs: String,
    },
    /// `NAME=VALUE` with an unknown name.
    #[error("{sum} has no input `{name}`; its inputs are {inputs}")]
    NoInput {
        /// The sum.
        sum: &'static str,
        /// The name given.
        name: String,
        /// All inputs, in order.
        inputs: String,
    },
    /// An input was given twice.
    #[error("{input} is given twice")]
    Twice {
        /// The input.
        input: String,
    },
    /// A value cannot be parsed.
    #[error("{input}: {why}")]
    Unreadable {
        /// The input.
        input: String,
        /// The reason.
        why: NotAnAmount,
    },
    /// A unit of another quantity.
    #[error("{input} is {}, and {given} measures {}; give it in {wanted}", a(*quantity), a(given.quantity()))]
    WrongUnit {
        /// The input.
        input: String,
        /// The quantity it measures.
        quantity: Quantity,
        /// The unit given.
        given: Unit,
        /// The units it accepts.
        wanted: String,
    },
    /// An angle or speed of another part.
    #[error("{input} is of the {wanted}, and the value given is of the {given}; convert it first")]
    WrongPart {
        /// The input.
        input: String,
        /// The part it refers to.
        wanted: &'static str,
        /// The part given.
        given: &'static str,
    },
    /// A value out of range.
    #[error("{input} is {given}; it has to be from {low} to {high}")]
    OutOfRange {
        /// The input.
        input: String,
        /// The value given, with its unit.
        given: String,
        /// The lowest accepted value.
        low: String,
        /// The highest accepted value.
        high: String,
    },
    /// The values contradict each other.
    #[error("{0}")]
    Together(String),
}

fn a(quantity: Quantity) -> String {
    let name = quantity.name();
    let article = if name.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
    format!("{article} {name}")
}

/// A calculated sum.
#[derive(Debug, Clone)]
pub struct Reckoned {
    /// The sum.
    pub sum: &'static Sum,
    /// Its values, in the inputs' units, defaults included.
    pub given: Vec<f64>,
    /// The result, in the sum's unit.
    pub value: f64,
}

impl Sum {
    /// The result for values in the inputs' own units. Trailing values with a default may be omitted.
    ///
    /// # Errors
    /// A value is missing, is out of range, or contradicts the others.
    ///
    /// ```
    /// use probeside::sums::sum;
    /// assert_eq!(sum("voltage-drop").unwrap().reckon(&[4.0, 0.05]).unwrap(), 0.2);
    /// ```
    pub fn reckon(&'static self, given: &[f64]) -> Result<f64, Refusal> {
        self.with_usual(given.iter().map(|value| Some(*value)).collect()).map(|done| done.value)
    }

    /// The result for values as typed: `4 A`, `0.05` (in the input's own unit), or `resistance=50mohm` in any order.
    ///
    /// # Errors
    /// As [`Sum::reckon`]. Also a unit of another quantity.
    pub fn reckon_typed<S: AsRef<str>>(&'static self, typed: &[S]) -> Result<Reckoned, Refusal> {
        let mut given: Vec<Option<f64>> = vec![None; self.inputs.len()];
        let mut next = 0;
        for text in typed {
            let (at, text) = match text.as_ref().split_once('=') {
                Some((name, text)) => (self.input_named(name)?, text),
                None => {
                    while given.get(next).is_some_and(Option::is_some) {
                        next += 1;
                    }
                    (next, text.as_ref())
                }
            };
            let Some(input) = self.inputs.get(at) else {
                let (most, given) = (self.inputs.len(), typed.len());
                return Err(Refusal::TooMany { sum: self.name, most, given, inputs: self.usage() });
            };
            if given[at].is_some() {
                return Err(Refusal::Twice { input: input.shown() });
            }
            given[at] = Some(input.typed(text)?);
        }
        self.with_usual(given)
    }

    /// The inputs for messages: `current [A], resistance [ohm], temperature [degC, else 20]`.
    pub fn usage(&self) -> String {
        let one = |input: &Input| {
            let of = if input.of.is_empty() { String::new() } else { format!(" of the {}", input.of) };
            let usual = input.usual.map(|value| format!(", else {value}")).unwrap_or_default();
            format!("{} [{}{of}{usual}]", input.shown(), input.unit)
        };
        self.inputs.iter().map(one).collect::<Vec<_>>().join(", ")
    }

    fn input_named(&self, name: &str) -> Result<usize, Refusal> {
        let wanted = name.trim().replace('-', "_");
        self.inputs.iter().position(|input| input.name == wanted).ok_or_else(|| Refusal::NoInput {
            sum: self.name,
            name: name.to_owned(),
            inputs: self.usage(),
        })
    }

    fn with_usual(&'static self, mut given: Vec<Option<f64>>) -> Result<Reckoned, Refusal> {
        if given.len() > self.inputs.len() {
            let (most, given) = (self.inputs.len(), given.len());
            return Err(Refusal::TooMany { sum: self.name, most, given, inputs: self.usage() });
        }
        given.resize(self.inputs.len(), None);
        let mut all = Vec::with_capacity(given.len());
        for (input, value) in self.inputs.iter().zip(given) {
            let value = value.or(input.usual).ok_or_else(|| Refusal::Missing {
                sum: self.name,
                input: input.shown(),
                inputs: self.usage(),
            })?;
            all.push(input.in_range(value)?);
        }
        let value = (self.work)(&all).map_err(Refusal::Together)?;
        if !value.is_finite() {
            let why = format!("{} does not come out with these values", self.name);
            return Err(Refusal::Together(why));
        }
        Ok(Reckoned { sum: self, given: all, value })
    }
}

impl Input {
    /// A typed value in this input's unit.
    fn typed(&self, text: &str) -> Result<f64, Refusal> {
        let input = self.shown();
        let amount = Amount::parse(text).map_err(|why| Refusal::Unreadable { input: input.clone(), why })?;
        if !amount.of.is_empty() && amount.of != self.of {
            return Err(match self.of {
                "" => Refusal::Unreadable {
                    input,
                    why: NotAnAmount::NoUnit { text: text.to_owned(), unit: amount.of.to_owned() },
                },
                wanted => Refusal::WrongPart { input, wanted, given: amount.of },
            });
        }
        let Some(given) = amount.unit else { return Ok(amount.value) };
        given.convert(amount.value, self.unit).ok_or_else(|| Refusal::WrongUnit {
            input,
            quantity: self.quantity(),
            given,
            wanted: {
                let fitting = Unit::ALL.iter().filter(|unit| unit.quantity() == self.quantity());
                let names = fitting.map(|unit| if *unit == Unit::One { "no unit" } else { unit.name() });
                names.collect::<Vec<_>>().join(" or ")
            },
        })
    }

    /// Checks that the value is in range.
    ///
    /// # Errors
    /// It is out of range.
    pub fn in_range(&self, value: f64) -> Result<f64, Refusal> {
        if (self.low..=self.high).contains(&value) {
            return Ok(value);
        }
        let with_unit = |value: f64| format!("{value}{}", self.behind());
        Err(Refusal::OutOfRange {
            input: self.shown(),
            given: with_unit(value),
            low: self.low.to_string(),
            high: with_unit(self.high),
        })
    }
}

impl fmt::Display for Reckoned {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Sum { unit, of, resolution, .. } = *self.sum;
        write!(f, "{}{}", shown(self.value, resolution), Behind { unit, of })
    }
}

/// The value to `resolution`, and to at least three significant figures.
fn shown(value: f64, resolution: f64) -> String {
    /// Most decimals.
    const MOST: i32 = 9;
    let to_resolution = -resolution.log10().floor() as i32;
    let to_three = if value == 0.0 { 0 } else { 2 - value.abs().log10().floor() as i32 };
    let decimals = to_resolution.max(to_three).clamp(0, MOST) as usize;
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Defines one sum. Inputs are written `name: Type [low, high] = default => "question"`.
macro_rules! sum {
    ($name:literal, $title:literal;
     $($input:ident: $type:ident [$low:expr, $high:expr] $(= $usual:literal)? => $ask:literal,)+
     -> $out:ident to $resolution:literal;
     formula $formula:literal; source $source:expr; help $help:literal; $work:block) => {
        $crate::sums::sum::Sum {
            name: $name,
            title: $title,
            inputs: &[$($crate::sums::sum::Input {
                name: stringify!($input),
                ask: $ask,
                unit: <$type as $crate::units::measure::Measure>::UNIT,
                of: <$type as $crate::units::measure::Measure>::OF,
                low: $low,
                high: $high,
                usual: sum!(@usual $($usual)?),
            }),+],
            unit: <$out as $crate::units::measure::Measure>::UNIT,
            of: <$out as $crate::units::measure::Measure>::OF,
            resolution: $resolution,
            formula: $formula,
            source: $source,
            help: $help,
            work: |given| {
                let mut given = given.iter().copied();
                $(let $input = <$type as $crate::units::measure::Measure>::of(given.next().unwrap_or(f64::NAN));)+
                let work = move || -> Result<$out, String> { $work };
                work().map($crate::units::measure::Measure::value)
            },
        }
    };
    (@usual) => { None };
    (@usual $usual:literal) => { Some($usual) };
}
pub(super) use sum;
