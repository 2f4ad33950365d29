//! How much a walk says: every prompt with its words, and the sums by kind. `cargo run --example words` walks no-spark on the healthy twin,
//! `-- PROCEDURE BIKE [written|best [KIND:PLACE]]` any other, and one under a fault. The real walker speaks; the circuit answers.

#[path = "../support/stage.rs"]
#[allow(dead_code)]
mod stage;

use probeside::circuit::faults::Library;
use probeside::diagnose::Asked;
use probeside::phrase::{Answer, Hypothesis, Verdict};
use probeside::run::demo::FaultyBike;
use probeside::session::Record;
use probeside::walk::{Event, SayKind};
use stage::Stage;

/// More answers than this mean that the walk goes in a circle.
const MOST_ANSWERS: usize = 2_000;
const KINDS: [SayKind; 6] =
    [SayKind::Caution, SayKind::Prompt, SayKind::Echo, SayKind::Question, SayKind::Notice, SayKind::Conclusion];

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let given = |at: usize, usual: &'static str| arguments.get(at).map_or(usual, String::as_str);
    let (procedure, bike, order, fault) =
        (given(0, "no-spark"), given(1, "borage-twin"), given(2, "written"), given(3, ""));
    let world = stage::world(procedure, bike);
    let library = Library::load(&stage::procedures().join("faults/ignition.yaml")).expect("the shipped library");
    let faults: Vec<String> = Some(fault.to_owned()).filter(|fault| !fault.is_empty()).into_iter().collect();
    let mut mechanic = FaultyBike::new(&world, library, &faults).expect("a fault of this bike");
    let mut stage = match order {
        "best" => Stage::in_best_order(world.clone(), Stage::ordering(&world)),
        _ => Stage::new(world.clone()),
    };
    let (mut answers, mut questions) = (0, 0);
    while stage.finished.is_none() {
        answers += 1;
        assert!(answers < MOST_ANSWERS, "the walk goes in a circle at {:?}", stage.walker.place());
        let answer = match Asked::by(&stage.walker, &world).expect("a question") {
            Some(asked) => {
                questions += 1;
                mechanic.answer(&asked).expect("the circuit answers")
            }
            None if stage.walker.is_questioning() => Answer::Yes,
            None if stage.walker.is_guarding() => Answer::PowerOff,
            None => Answer::Done,
        };
        let listen = stage.listen.as_ref().expect("somebody listens").id;
        let heard = Hypothesis { answer, words: String::new(), probability: 1.0 };
        let verdict = Verdict::Accept { heard };
        stage.give(Event::Heard { listen, verdict, begin: 0, end: 0, clip: None });
    }
    for (kind, text) in &stage.said {
        println!("{:>3} {kind:?}: {text}", text.split_whitespace().count());
    }
    let of = |kind: Option<SayKind>| {
        let said = stage.said.iter().filter(|(its, _)| kind.is_none_or(|kind| *its == kind));
        said.fold((0, 0), |(prompts, words), (_, text)| (prompts + 1, words + text.split_whitespace().count()))
    };
    let acknowledged = stage.records.iter().filter(|record| matches!(record, Record::Acknowledged { .. }));
    println!(
        "{procedure} on the {bike}, {}: {:?}",
        if fault.is_empty() { "healthy" } else { fault },
        stage.conclusion()
    );
    println!("{questions} questions, {answers} answers, {} cautions acknowledged", acknowledged.count());
    println!("| kind | prompts | words |\n| --- | --- | --- |");
    for kind in KINDS {
        let (prompts, words) = of(Some(kind));
        println!("| {kind:?} | {prompts} | {words} |");
    }
    let (prompts, words) = of(None);
    println!("| all | {prompts} | {words} |");
}
