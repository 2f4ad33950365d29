//! Loading, expressions, templates and states, tested on the sound files in `tests/sound`.

use super::*;
use crate::bike::{self, Bike, Engine, EnglishWords, as_value};
use crate::expression::{self, Scope, evaluate_bool, evaluate_list, evaluate_number, render};
use crate::source::{Written, whole_file};
use proptest::prelude::*;
use serde_json::json;
use std::path::Path;

fn sound(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sound").join(name)
}

fn twin() -> Bike {
    bike::load(&sound("twin.yaml")).unwrap()
}

fn text(value: &str) -> Written<String> {
    Written { value: value.to_owned(), place: whole_file("f") }
}

fn scope() -> Scope {
    let mut scope = Scope::new(as_value(&twin(), &EnglishWords));
    let set = scope.names().find(|(name, _)| *name == "bike").unwrap().1["points"][0].clone();
    scope.bind("set", set);
    scope
}

#[test]
fn loads_with_places() {
    let small = load(&sound("small.yaml")).unwrap();
    assert_eq!(small.steps.len(), 7);
    let battery = small.step("battery").unwrap();
    assert_eq!((battery.id.place.line, battery.id.place.column), (25, 3));
    let Ask::Reading(reading) = &battery.ask else { panic!("a reading") };
    assert_eq!((reading.low.as_str(), reading.bands.len()), ("0", 2));
    assert_eq!(reading.bands[1].from.as_ref().unwrap().place.line, 40);
    let Ask::Choice(choices) = &small.step("turn-points").unwrap().ask else { panic!("a choice") };
    assert!(matches!(&choices[1].doubt, Some(Target::Step(id)) if **id == "prove"));
    assert!(matches!(&choices[1].go.0[0].to, Target::Conclude(id) if **id == "points-open"));
    assert_eq!(small.conclusion("dead").unwrap().rules_out[0].as_str(), "battery");
}

#[test]
fn expressions_take_whole_numbers_and_doubles_alike() {
    let mut scope = scope();
    scope.see("rest-voltage", json!(12.4));
    let truth = |e: &str| evaluate_bool(&text(e), &scope).map_err(|d| d.message);
    assert_eq!(truth("size(bike.points) >= 1 && size(bike.points) == 2.0"), Ok(true));
    assert_eq!(truth("seen.rest_voltage > 12"), Ok(true));
    assert_eq!(truth("has(seen.other)"), Ok(false));
    assert_eq!(truth("bike.points[1].side_words == 'right'"), Ok(true));
    assert_eq!(truth("bike.points.exists(p, p.id == 'left')"), Ok(true));
    assert_eq!(evaluate_number(&text("(bike.volt + 1) / 2 - -3"), &scope), Ok(9.5));
    assert_eq!(evaluate_list(&text("bike.points.map(p, p.side)"), &scope), Ok(vec![json!("left"), json!("right")]));
    assert!(truth("seen.other == 'x'").is_err());
    assert!(truth("bike.volt").unwrap_err().contains("true or false"));
    assert!(evaluate_number(&text("1 / 0"), &scope).is_err());
    assert!(truth("1 +").is_err());
    assert!(evaluate_number(&text(&format!("1{}", "+1".repeat(980))), &scope).is_err());
    assert_eq!(evaluate_number(&text(&format!("1{}", "+1".repeat(400))), &scope), Ok(401.0));
    assert!(check_limits(&"(".repeat(1_500)));
    assert!(check_limits(&"1+".repeat(4_000)));
    let _ = check_limits(&format!("a{}", "[0]".repeat(600)));
    let _ = check_limits(&format!("{}1", "-".repeat(1_900)));
}

fn check_limits(expression: &str) -> bool {
    expression::check_syntax(&text(expression)).is_err()
}

#[test]
fn names_of_an_expression() {
    let names = expression::names(&text(
        "has(seen.a) && seen.a > bike.volt && bike.points.all(p, p.id != set.id) && has(seen.b)",
    ));
    let told: Vec<_> = names.iter().map(|n| (n.path.as_str(), n.only_asked_for)).collect();
    assert_eq!(
        told,
        [("bike.points", false), ("bike.volt", false), ("seen.a", true), ("set.id", false), ("seen.b", true)]
    );
}

#[test]
fn states_resolve_for_the_bike() {
    let small = load(&sound("small.yaml")).unwrap();
    let state =
        |step: &str, scope: &Scope, bike: &Bike| render_state(&small.step(step).unwrap().state, scope, bike).unwrap();
    let twin = twin();
    let need = state("fuel-off", &scope(), &twin);
    assert_eq!(need.switches["kill"], "run");
    let need = state("turn-points", &scope(), &twin);
    assert!(need.unplugged.contains("left-points"));
    assert_eq!(need.engine, Some(Engine::Turned));
    assert_eq!(need.instrument.unwrap().second, "left-points.points-side");
    let single = bike::load(&sound("single.yaml")).unwrap();
    let need = state("fuel-off", &Scope::new(as_value(&single, &EnglishWords)), &single);
    assert!(!need.switches.contains_key("kill"));
    let wrong = StateTemplate { unplug: vec![text("left-point")], ..StateTemplate::default() };
    let error = render_state(&wrong, &scope(), &twin).unwrap_err();
    assert_eq!(error.help.as_deref(), Some("Did you mean `left-points`?"));
}

#[test]
fn routes_lead_somewhere() {
    let small = load(&sound("small.yaml")).unwrap();
    let Ask::Note(route) = &small.step("note").unwrap().ask else { panic!("a note") };
    let mut scope = scope();
    let leads = |scope: &Scope| match choose(route, scope).unwrap() {
        Target::Conclude(id) => id.value.clone(),
        other => panic!("{other:?}"),
    };
    assert_eq!(leads(&scope), "dead");
    scope.see("rest_voltage", json!(12.6));
    assert_eq!(leads(&scope), "healthy");
    assert_eq!(render(&small.title, &scope).unwrap(), "A small procedure for the Comfrey Twin");
}

#[test]
fn a_profile_of_the_old_form_is_told_what_to_change() {
    let old = "bike: \"Old Twin\"\nmaker: \"Nobody (invented)\"\nignition: battery-and-coil-points\nvolt: 12\nground: negative\nstarter: kick\n\
               fuse: {ampere: 10, where: \"by the battery\"}\n";
    let wrong = bike::parse(old, "f").unwrap_err();
    assert_eq!(wrong.len(), 1);
    assert_eq!((wrong[0].check.as_str(), wrong[0].place.line), ("old-profile", 3));
    assert!(wrong[0].help.as_ref().unwrap().contains("`parts:`"), "{}", wrong[0]);
}

/// Cuts, duplicates, swaps or corrupts part of the text.
fn mutated(text: &str, at: usize, kind: u8, with: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let at = at % chars.len();
    let (before, after): (String, String) = (chars[..at].iter().collect(), chars[at..].iter().collect());
    let rest: String = after.chars().skip(with.chars().count().max(1) * usize::from(kind % 40)).collect();
    match kind % 4 {
        0 => before,
        1 => format!("{before}{with}{after}"),
        2 => format!("{before}{rest}"),
        _ => format!("{before}{with}{rest}"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    #[test]
    fn spoilt_files_never_panic(at in 0usize..10_000, kind: u8, with in "[-a-z:\\[\\]{}&*!|>'\"\n #,0-9?%@`<~.]{0,12}") {
        for name in ["small.yaml", "twin.yaml"] {
            let text = mutated(&std::fs::read_to_string(sound(name)).unwrap(), at, kind, &with);
            if let Err(findings) = parse(&text, "f") {
                prop_assert!(!findings.is_empty());
            }
            if let Ok(bike) = bike::parse(&text, "f") {
                let _ = as_value(&bike, &EnglishWords);
            }
        }
    }

    #[test]
    fn any_expression_is_a_value_or_a_sentence(e in "[-a-c0-9.()\\[\\]{}+*/%&|<>=!?:'\" ,]{0,60}") {
        let _ = evaluate_bool(&text(&e), &scope());
        let _ = expression::names(&text(&e));
    }

    #[test]
    fn any_template_is_a_text_or_a_sentence(t in "[-a-c0-9.(){}%+*|='\" ,#]{0,60}") {
        let _ = render(&text(&t), &scope());
    }
}

#[test]
fn checks_say_where_they_begin_and_what_they_need() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/order/three-looks.yaml");
    let checks = load(&file).unwrap().checks.expect("it has checks");
    assert_eq!((checks.from.as_str(), checks.conclude.as_str()), ("fuse-look", "nothing-found"));
    assert_eq!(checks.needs.iter().map(|need| need.as_str()).collect::<Vec<_>>(), ["lead-look"]);
    assert!(checks.before.is_empty() && checks.beside.is_empty());
    let beside = file.with_file_name("one-beside.yaml");
    let checks = load(&beside).unwrap().checks.expect("it has checks");
    assert!(matches!(&checks.beside[..], [Target::Step(id)] if id.value == "lead-look"), "{:?}", checks.beside);
}
