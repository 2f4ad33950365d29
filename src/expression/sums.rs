//! The workshop sums as functions in expressions: `resistance_at_20(seen.primary_ohms, seen.air)`. Names have `_` for `-`. Arguments follow
//! the sum's order and units. Trailing arguments with a default may be omitted.

use crate::sums::{Sum, sum};
use cel::extractors::Arguments;
use cel::{Context, ExecutionError, Value};

/// The sum that an expression calls by this name, if any.
fn named(function: &str) -> Option<&'static Sum> {
    sum(function).ok().filter(|sum| sum.name.replace('-', "_") == function)
}

/// Which of the functions that an expression calls are sums. Called once for each expression, because a name that is no sum is compared with all.
pub(super) fn among(called: &[String]) -> Vec<&'static Sum> {
    called.iter().filter_map(|function| named(function)).collect()
}

/// Makes sums available to an expression.
pub(super) fn add_to(context: &mut Context, sums: &[&'static Sum]) {
    for &sum in sums {
        let work = move |Arguments(given): Arguments| -> Result<Value, ExecutionError> {
            let refused = |why: String| ExecutionError::function_error(&sum.name.replace('-', "_"), why);
            let numbers: Option<Vec<f64>> = given.iter().map(number).collect();
            let numbers = numbers.ok_or_else(|| refused(format!("it takes numbers: {}", sum.usage())))?;
            sum.reckon(&numbers).map(Value::Float).map_err(|why| refused(why.to_string()))
        };
        // A name that the language already uses keeps its meaning. A test ensures that no sum has such a name.
        let _ = context.add_function(&sum.name.replace('-', "_"), work);
    }
}

fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Float(number) => Some(*number),
        Value::Int(number) => Some(*number as f64),
        Value::UInt(number) => Some(*number as f64),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Scope, evaluate_bool, evaluate_number};
    use super::*;
    use crate::source::{Place, Written};
    use serde_json::json;

    fn expression(text: &str) -> Written<String> {
        Written { value: text.to_owned(), place: Place { file: "x.yaml".into(), line: 1, column: 1 } }
    }

    fn value(text: &str) -> Result<f64, String> {
        let mut scope = Scope::new(json!({"volt": 12.0}));
        scope.see("primary-ohms", json!(5.0));
        evaluate_number(&expression(text), &scope).map_err(|finding| finding.to_string())
    }

    #[test]
    fn expressions_call_sums() {
        assert_eq!(value("voltage_drop(4, 0.05)"), Ok(0.2));
        assert_eq!(value("allowed_drop(bike.volt)"), Ok(0.48));
        // 5 ohm at 40 degrees is 5 / 1.0786 at 20.
        assert!((value("resistance_at_20(seen.primary_ohms, 40)").unwrap() - 5.0 / 1.0786).abs() < 1e-12);
        assert_eq!(value("dwell(voltage_drop(4, 15), 3 + 1)").map(f64::round), Ok(67.0));
        let scope = Scope::new(json!({}));
        assert!(evaluate_bool(&expression("[1, 2].all(lobes, dwell(60, lobes) < 34)"), &scope).unwrap());
    }

    #[test]
    fn what_a_sum_refuses_is_said_with_its_place() {
        let why = value("dwell_time(60, 0, 1)").unwrap_err();
        assert!(why.contains("x.yaml:1:1") && why.contains("speed is 0 rpm (crank); it has to be from 1 to"), "{why}");
        assert!(value("voltage_drop(4)").unwrap_err().contains("needs resistance too"));
        assert!(value("voltage_drop(4, 'x')").unwrap_err().contains("takes numbers"));
        assert!(value("voltage_dropp(4, 1)").is_err());
    }

    #[test]
    fn no_sum_has_the_name_of_a_function_of_the_language() {
        for sum in crate::sums::sums() {
            let name = sum.name.replace('-', "_");
            assert!(named(&name).is_some());
            assert_eq!(Context::default().add_function(&name, |Arguments(_): Arguments| Value::Null), Ok(()), "{name}");
        }
    }
}
