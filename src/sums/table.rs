//! The table of sums, grouped by subject. Each is defined once. All calls, lists and searches of sums go through this file.

mod spark;
mod supply;
mod timing;
mod wiring;

use super::{Refusal, Sum};

static TABLES: [&[Sum]; 4] = [&wiring::SUMS, &timing::SUMS, &spark::SUMS, &supply::SUMS];

/// Every sum, grouped by subject.
pub fn sums() -> impl Iterator<Item = &'static Sum> {
    TABLES.iter().copied().flatten()
}

/// The sum with this name. Accepts `_` for `-`.
///
/// # Errors
/// There is none. The message contains the most similar name.
///
/// ```
/// use probeside::sums::sum;
/// assert_eq!(sum("dwell").unwrap().reckon(&[60.0, 4.0]).unwrap().round(), 67.0);
/// assert!(sum("dwel").unwrap_err().to_string().contains("did you mean `dwell`?"));
/// ```
pub fn sum(name: &str) -> Result<&'static Sum, Refusal> {
    /// Most wrong letters in a name for which a similar one is suggested.
    const NEAR: usize = 4;
    let wanted = name.trim().to_lowercase().replace([' ', '_'], "-");
    sums().find(|sum| sum.name == wanted).ok_or_else(|| {
        let near = sums().map(|sum| (strsim::osa_distance(sum.name, &wanted), sum.name)).min();
        let near = near.filter(|(distance, _)| *distance <= NEAR).map(|(_, name)| name);
        Refusal::Unknown { name: name.to_owned(), near }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Unit;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    #[test]
    fn the_table_is_in_order() {
        let mut names = BTreeSet::new();
        for sum in sums() {
            assert!(names.insert(sum.name), "{} is there twice", sum.name);
            assert!(sum.name.chars().all(|c| c.is_ascii_lowercase() || c == '-' || c.is_ascii_digit()), "{}", sum.name);
            for text in [sum.title, sum.formula, sum.source, sum.help] {
                assert!(!text.trim().is_empty(), "{}", sum.name);
            }
            assert!(sum.help.ends_with('.') && sum.resolution > 0.0, "{}", sum.name);
            let mut usual = false;
            for input in sum.inputs {
                assert!(input.low < input.high && input.ask.ends_with('?'), "{} {}", sum.name, input.name);
                assert!(!usual || input.usual.is_some(), "{}: {} stands behind a usual value", sum.name, input.name);
                usual = input.usual.is_some();
                assert!(input.usual.is_none_or(|value| input.in_range(value).is_ok()), "{} {}", sum.name, input.name);
            }
        }
        assert!(names.len() > 40);
    }

    proptest! {
        #[test]
        fn every_sum_gives_a_number_or_a_sentence(which in 0usize..200, shares in prop::array::uniform7(0.0f64..=1.0)) {
            let all: Vec<_> = sums().collect();
            let sum = all[which % all.len()];
            let between = |(input, share): (&crate::sums::Input, &f64)| input.low + (input.high - input.low) * share;
            let given: Vec<f64> = sum.inputs.iter().zip(&shares).map(between).collect();
            match sum.reckon(&given) {
                Ok(value) => prop_assert!(value.is_finite()),
                Err(why) => prop_assert!(!why.to_string().is_empty()),
            }
        }

        #[test]
        fn nothing_typed_makes_a_sum_fall_over(which in 0usize..200, typed in prop::collection::vec("\\PC{0,12}", 0..8)) {
            let all: Vec<_> = sums().collect();
            if let Err(why) = all[which % all.len()].reckon_typed(&typed) {
                prop_assert!(!why.to_string().is_empty());
            }
        }
    }

    #[test]
    fn values_come_in_order_or_by_name_with_or_without_unit() {
        let drop = sum("voltage-drop").unwrap();
        let value = |typed: &[&str]| drop.reckon_typed(typed).map(|done| done.value).map_err(|why| why.to_string());
        assert_eq!(value(&["4 A", "0.05 ohm"]), Ok(0.2));
        assert_eq!(value(&["resistance=0.05", "4"]), Ok(0.2));
        assert_eq!(value(&["4000 mA", "0.05"]), Ok(0.2));
        assert_eq!(
            value(&["4 A"]).unwrap_err(),
            "voltage-drop needs resistance too; its inputs are current [A], resistance [ohm]"
        );
        assert!(value(&["4 A", "1", "2"]).unwrap_err().contains("takes 2 values and got 3"));
        assert!(value(&["4 A", "current=2 A"]).unwrap_err().contains("given twice"));
        assert!(value(&["amps=2"]).unwrap_err().contains("has no input `amps`"));
        assert_eq!(
            value(&["4 ohm", "1"]).unwrap_err(),
            "current is a current, and ohm measures a resistance; give it in A or mA"
        );
        assert!(value(&["4 rubbish", "1"]).unwrap_err().contains("is no unit"));
        assert!(value(&["-1 A", "1"]).unwrap_err().contains("has to be from 0 to"));
    }

    #[test]
    fn an_angle_of_the_wrong_part_is_refused() {
        let dwell = sum("dwell").unwrap();
        let why = dwell.reckon_typed(&["119 deg crank", "2"]).unwrap_err().to_string();
        assert_eq!(why, "closed-angle is of the points cam, and the value given is of the crank; convert it first");
        assert!(dwell.reckon_typed(&["119 deg cam", "2"]).is_ok());
    }

    #[test]
    fn results_are_shown_with_the_figures_worth_showing() {
        let show = |name: &str, typed: &[&str]| sum(name).unwrap().reckon_typed(typed).unwrap().to_string();
        assert_eq!(show("voltage-drop", &["4 A", "50 ohm"]), "200 V");
        assert_eq!(show("dwell-angle", &["50 %", "1"]), "180 deg (points cam)");
        assert_eq!(show("wire-resistance", &["0.1 m", "2.5 mm2"]), "0.000798 ohm");
    }

    #[test]
    fn gauge_and_square_millimetres_are_one_input() {
        let wire = sum("wire-resistance").unwrap();
        let by_gauge = wire.reckon_typed(&["10 m", "16 AWG"]).unwrap().value;
        let by_section = wire.reckon(&[10.0, Unit::Gauge.convert(16.0, Unit::SquareMillimetre).unwrap()]).unwrap();
        assert_eq!(by_gauge, by_section);
    }
}
