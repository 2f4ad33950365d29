//! Expected answers: at every step of the shipped procedures that observes something, a healthy bike gives a good answer and well-known
//! faults give theirs.

use probeside::bike::{self, Bike, BikeState, EnglishWords, as_value};
use probeside::circuit::faults::{Fault, Library};
use probeside::circuit::{Expected, Model, Question, Subject};
use probeside::expression::{Scope, evaluate_bool};
use probeside::procedure::{self, Procedure, Step, render_state};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn procedures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures")
}

struct Bench {
    bike: Bike,
    procedure: Procedure,
    library: Library,
    faults: Vec<Fault>,
}

fn bench(bike: &str) -> Bench {
    let bike = bike::load(&procedures().join("bikes").join(bike)).unwrap();
    let procedure = procedure::load(&procedures().join("no-spark.yaml")).unwrap();
    let library = Library::load(&procedures().join("faults/ignition.yaml")).unwrap();
    let faults = library.for_bike(&bike).unwrap();
    Bench { bike, procedure, library, faults }
}

impl Bench {
    /// The answer at a step in the first round of its loop, from a bike in exactly the state that the step asks for.
    fn answer(&self, step: &str, faults: &[&str], before: &[&str]) -> Expected {
        self.answer_with(step, faults, before, 1.0)
    }

    /// The first round of the procedure's loops.
    fn scope(&self) -> Scope {
        let mut scope = Scope::new(as_value(&self.bike, &EnglishWords));
        let set = scope.names().find(|(name, _)| *name == "bike").unwrap().1["cylinders"][0].clone();
        scope.bind("set", set);
        scope.bind(
            "part",
            serde_json::json!({"id": "key", "kind": "key-switch", "words": "key switch", "supply": "key.supply",
            "load": "key.load", "wire_in": "main.load-side to key.supply", "wire_out": "key.load to kill.supply", "toward": "coil-feed.supply-side", "toward_words": "coil feed connector"}),
        );
        scope
    }

    /// The step is left out on this bike, by what its profile says.
    fn leaves_out(&self, step: &Step) -> bool {
        step.when.as_ref().is_some_and(|when| evaluate_bool(when, &self.scope()) == Ok(false))
    }

    /// The same with a lamp of `watt` times the power.
    fn answer_with(&self, step: &str, faults: &[&str], before: &[&str], watt: f64) -> Expected {
        let scope = self.scope();
        let mut state = BikeState::default();
        for step in before.iter().chain([&step]) {
            let need = render_state(&self.procedure.step(step).unwrap().state, &scope, &self.bike).unwrap();
            state = state.after(&need);
        }
        let laid: Vec<&Fault> = faults
            .iter()
            .map(|id| self.faults.iter().find(|fault| fault.id == *id).unwrap_or_else(|| panic!("no fault {id}")))
            .collect();
        let question = Question::new(self.procedure.step(step).unwrap(), &scope).unwrap();
        let mut subject =
            Subject::new(&Model::new(&self.bike), &self.library, &laid, &question.mends.iter().cloned().collect());
        std::sync::Arc::make_mut(&mut subject.model.figures).lamp_watt *= watt;
        subject.answer(&question, &state, 4).unwrap()
    }

    fn says(&self, step: &str, faults: &[&str], before: &[&str], choice: &str) {
        let answer = self.answer(step, faults, before);
        assert_eq!(answer, Expected::Choices(vec![choice.to_owned()]), "{}, {step} under {faults:?}", self.bike.name);
    }

    fn reads(&self, step: &str, faults: &[&str], before: &[&str], band: &str) {
        match self.answer(step, faults, before) {
            Expected::Reading(reading) => assert_eq!(reading.bands[0], band, "{step} under {faults:?}: {reading:?}"),
            other => panic!("{step} under {faults:?}: {other:?}"),
        }
    }
}

#[test]
fn every_step_that_observes_can_be_computed() {
    for bike in ["borage-twin.yaml", "fennel-single.yaml"] {
        let bench = bench(bike);
        for step in &bench.procedure.steps {
            if bench.leaves_out(step) {
                continue;
            }
            let answer = bench.answer(&step.id, &[], &[]);
            assert!(!matches!(answer, Expected::Unknown(_)), "{bike}, {}: {answer:?}", *step.id);
        }
    }
}

#[test]
fn no_lamp_answer_hangs_on_the_lamp_formula() {
    // Published current exponents range from 0.5 to 0.6 and hot over cold from 10 to 14. At any voltage these ranges change a filament's
    // resistance by less than a fifth either way, as do lamps of 0.8 and 1.25 times the rated power.
    for bike in ["borage-twin.yaml", "fennel-single.yaml"] {
        let bench = bench(bike);
        let lamps = bench.procedure.steps.iter().filter(|step| {
            let lamp = matches!(&step.state.instrument, Some((probeside::bike::InstrumentKind::Lamp, ..)));
            lamp && !bench.leaves_out(step)
        });
        let mut count = 0;
        for step in lamps {
            let answers = [0.8, 1.0, 1.25].map(|watt| bench.answer_with(&step.id, &[], &[], watt));
            assert!(answers.iter().all(|answer| *answer == answers[0]), "{bike}, {}: {answers:?}", *step.id);
            count += 1;
        }
        assert!(count > 20, "{count} lamp steps");
    }
}

#[test]
fn faults_answer_as_a_mechanic_knows_them() {
    let twin = bench("borage-twin.yaml");
    twin.says("points-turn", &[], &[], "on-off");
    twin.says("points-turn", &["points-closed-up:points-left"], &[], "lit");
    twin.says("points-turn", &["points-welded:points-left"], &[], "lit");
    twin.says("points-turn", &["condenser-shorted:condenser-left"], &[], "lit");
    twin.says("lit-condenser", &["condenser-shorted:condenser-left"], &[], "on-off");
    twin.says("points-turn", &["points-oily:points-left@1000000"], &[], "dark");
    twin.says("points-clean", &["points-oily:points-left@1000000"], &[], "on-off");
    twin.says("points-clean", &["points-burnt:points-left@1000000"], &[], "dark");
    twin.says("points-turn", &["cam-sheared-open"], &[], "dark");
    twin.says("cam-dark", &["cam-sheared-open"], &[], "still");
    twin.says("lit-pry", &["points-welded:points-left"], &["points-turn"], "welded");
    twin.says("lit-pry", &["points-closed-up:points-left"], &["points-turn"], "dark");
    twin.says(
        "lit-pry",
        &["points-wire-grounded:left-points.points-side to points-left.wire"],
        &["points-turn"],
        "lit",
    );
    twin.says("fuse-look", &["feed-wire-grounded:key.load to kill.supply"], &[], "blown");
    twin.says("short-resting", &["feed-wire-grounded:key.load to kill.supply"], &[], "dark");
    twin.says("short-to-coils", &["feed-wire-grounded:key.load to kill.supply"], &[], "lit");
    twin.says("short-resting", &["feed-wire-grounded:fuse.load to main.supply-side"], &[], "lit");
    twin.says("feed-kill", &[], &[], "run");
    twin.says("feed-kill", &["kill-never-off:kill"], &[], "more");
    twin.says("only-first", &[], &[], "same");
    twin.says("only-first", &["points-wires-swapped"], &[], "other");
    twin.says("one-or-all", &["coil-primary-open:coil-left"], &[], "left");
    twin.says("one-or-all", &["key-open"], &[], "both");
    twin.says("cap-off", &["cap-open:cap-left"], &[], "spark");
    twin.says("cap-off", &["lead-open:lead-left"], &[], "none");
    twin.says("good-plug", &["cap-open:cap-left"], &[], "none");
    twin.says("good-plug", &["plug-fouled:plug-left@1000"], &[], "spark");
    twin.says("old-plug", &["plug-fouled:plug-left@1000"], &[], "none");
    twin.says("whole", &["condenser-open:condenser-left"], &[], "none");
    twin.says("whole-condenser", &["condenser-open:condenser-left"], &["whole", "whole-condenser-fit"], "spark");
    twin.says("trigger", &["coil-secondary-open:coil-left"], &[], "none");
    twin.says("coil-exchange", &["coil-secondary-open:coil-left"], &["trigger", "coil-exchange-fit"], "none");
    twin.says("primary-open", &["coil-primary-open:coil-left"], &[], "open");
    twin.says("advancer", &["advancer-stuck"], &[], "hangs");
    twin.reads("battery-rest", &[], &[], "good");
    twin.reads("battery-load", &["battery-sulphated@2"], &[], "weak");
    twin.reads("drop-points", &["points-burnt:points-left@0.5"], &[], "high");
    twin.reads("points-gap", &["points-closed-up:points-left"], &[], "narrow");
    twin.reads("primary-ohms", &["coil-wrong-voltage:coil-left"], &[], "low");
    let single = bench("fennel-single.yaml");
    single.says("primary-power", &["condenser-shorted:condenser-single"], &[], "dark");
    single.says("primary-condenser", &["condenser-shorted:condenser-single"], &[], "lit");
    single.says("trigger", &["condenser-shorted:condenser-single"], &[], "none");
    single.says("trigger-condenser", &["condenser-leaky:condenser-single@1000"], &[], "spark");
    let mended = BTreeSet::from(["points-oily:points-single".to_owned()]);
    assert!(single.faults.iter().find(|f| f.kind == "points-oily").unwrap().is_mended(&mended));
}

/// The lamp on the points wire, while the key switch and its wires are moved: it changes where what is at fault is moved, and only there. A
/// condenser that touches nothing leaves the lamp as it is, whatever is moved.
#[test]
fn a_moved_place_shows_its_own_fault_only() {
    let bench = bench("borage-twin.yaml");
    let changes =
        |step: &str, faults: &[&str]| bench.answer(step, faults, &[]) == Expected::Choices(vec!["changes".into()]);
    assert!(!changes("move-feed", &[]));
    assert!(changes("move-feed", &["key-open"]));
    assert!(changes("move-feed", &["feed-wire-open:key.load to kill.supply"]));
    assert!(!changes("move-feed", &["kill-open:kill"]), "another place");
    assert!(changes("move-home", &["ground-open:engine to frame"]));
    assert!(!changes("move-set", &["condenser-open:condenser-left"]), "the lamp does not show it");
}
