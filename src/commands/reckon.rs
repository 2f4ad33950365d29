//! `probeside reckon`: lists, explains and computes the trade's sums.

use crate::run::{Failure, Outcome};
use crate::sums::{Input, Reckoned, Refusal, Sum, sum, sums};
use crate::terminal::{say, say_json};
use serde_json::{Map, Value, json};
use std::fmt::Write;

/// Version of the JSON that is printed.
const SCHEMA: u32 = 1;
/// Width of the column of names in the list.
const NAME_WIDTH: usize = 22;

/// Does one of the trade's sums; without a name it lists them.
///
/// Values come in the order that the sum states, or as INPUT=VALUE in any order; with a unit ("4.5 ohm", 12V, "16 AWG"), or
/// without in the unit that the sum states. Without values the sum is explained. A value
/// below zero that has a unit is written INPUT=VALUE: temperature="-10 degC".
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name the sum; without a name, list them all
    pub name: Option<String>,
    /// Give its values, with units: "4 A"
    #[arg(allow_negative_numbers = true)]
    pub values: Vec<String>,
    /// Print JSON instead of text
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
/// Wrong usage: an unknown sum, an unknown input, too few or too many values. Input at fault: whatever the sum refuses.
pub fn run(args: &Args) -> Outcome {
    let Some(name) = &args.name else {
        if args.json {
            say_json(&lines(sums().map(described)))
        } else {
            say(&list())
        }
        return Ok(0);
    };
    let sum = sum(name).map_err(failed)?;
    if args.values.is_empty() {
        if args.json {
            say_json(&lines([described(sum)]))
        } else {
            say(&explained(sum))
        }
        return Ok(0);
    }
    let done = sum.reckon_typed(&args.values).map_err(failed)?;
    if args.json {
        say_json(&lines([done_as_json(&done)]))
    } else {
        say(&format!("{done}\n"))
    }
    Ok(0)
}

fn failed(why: Refusal) -> Failure {
    let said = format!("reckon: {why}");
    match why {
        Refusal::Unknown { .. } | Refusal::Missing { .. } | Refusal::TooMany { .. } => Failure::Usage(said),
        Refusal::NoInput { .. } | Refusal::Twice { .. } => Failure::Usage(said),
        _ => Failure::Input(said),
    }
}

fn lines(all: impl IntoIterator<Item = Value>) -> String {
    all.into_iter().map(|one| format!("{one}\n")).collect()
}

fn list() -> String {
    let mut text = String::new();
    for sum in sums() {
        let unit = if sum.unit == crate::units::Unit::One { String::new() } else { format!(", {}", sum.unit) };
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{:NAME_WIDTH$} {}{unit}", sum.name, sum.title);
    }
    text + "\n`probeside reckon NAME` explains one, `probeside reckon NAME VALUES` does it.\n"
}

fn explained(sum: &Sum) -> String {
    let mut text = format!("{}: {}\n\n", sum.name, sum.title);
    for input in sum.inputs {
        let _ = writeln!(text, "  {:NAME_WIDTH$} {}", input.shown(), stated(input));
    }
    let of = if sum.of.is_empty() { String::new() } else { format!(" of the {}", sum.of) };
    let _ = write!(text, "\n  gives    {}{of}\n  formula  {}\n  source   {}\n\n", sum.unit, sum.formula, sum.source);
    text + sum.help + "\n"
}

fn stated(input: &Input) -> String {
    let of = if input.of.is_empty() { String::new() } else { format!(" of the {}", input.of) };
    let usual = input.usual.map(|value| format!("; {value} if not given")).unwrap_or_default();
    format!("{}{of}, {} to {}{usual}", input.unit, input.low, input.high)
}

fn done_as_json(done: &Reckoned) -> Value {
    let inputs: Map<String, Value> = done
        .sum
        .inputs
        .iter()
        .zip(&done.given)
        .map(|(input, value)| (input.shown(), json!({"value": value, "unit": input.unit.name(), "of": of(input.of)})))
        .collect();
    let sum = done.sum;
    json!({"schema": SCHEMA, "name": sum.name, "inputs": inputs, "value": done.value, "unit": sum.unit.name(),
        "of": of(sum.of), "source": sum.source})
}

/// A sum without values: its inputs and its result.
fn described(sum: &Sum) -> Value {
    let input = |input: &Input| {
        json!({"name": input.shown(), "quantity": input.quantity().name(), "unit": input.unit.name(), "of": of(input.of),
            "low": input.low, "high": input.high, "usual": input.usual, "ask": input.ask})
    };
    json!({"schema": SCHEMA, "name": sum.name, "title": sum.title, "inputs": sum.inputs.iter().map(input).collect::<Vec<_>>(),
        "unit": sum.unit.name(), "of": of(sum.of), "formula": sum.formula, "source": sum.source, "help": sum.help})
}

fn of(part: &str) -> Option<&str> {
    Some(part).filter(|part| !part.is_empty())
}
