//! The table of how each phase handles everything that is not an answer. It is printed into DEVELOPERS.md (`PROBESIDE_BLESS=1 cargo test
//! --test phases` after a change), and every cell is tried on walkers that random walks brought into that phase. The expectations are the
//! program's own contract: the table states it, and this test checks it from outside.

mod support;

use probeside::phrase::{Answer, Command, Verdict};
use probeside::session::{Now, Record};
use probeside::walk::{
    Effect, Event, Hears, OnClock, OnFailure, OnHeat, OnMicrophone, OnMiss, OnPedal, OnResumed, OnSilence, OnStop,
    Pedal, PhaseKind, SayKind, TimerKind, Walker, row,
};
use std::collections::BTreeMap;
use support::machine::{Machine, STORIES, Story};

const BEGIN: &str = "<!-- phases: written by tests/phases.rs -->\n";
const END: &str = "<!-- end of phases -->";
/// Number of walkers examined in each phase with the power on, and with it off.
const EACH: usize = 20;

/// `StaysBusy` as words.
fn words(name: impl std::fmt::Debug) -> String {
    let mut all = String::new();
    for c in format!("{name:?}").chars() {
        if c.is_uppercase() && !all.is_empty() {
            all.push(' ');
        }
        all.extend(c.to_lowercase());
    }
    all
}

fn table() -> String {
    let list = |all: Vec<String>| if all.is_empty() { "nothing".to_owned() } else { all.join(", ") };
    let mut text = String::from("| phase | hears | controls | silence | not understood | strangers | pedal |\n");
    text.push_str("| --- | --- | --- | --- | --- | --- | --- |\n");
    for row in PhaseKind::ALL.map(row) {
        let controls = match row.controls.len() {
            0..=5 => list(row.controls.iter().map(|c| c.name().replace('-', " ")).collect()),
            n => format!("{n} of {}", Command::ALL.len()),
        };
        let cells = [
            words(row.phase),
            list(row.hears.iter().map(words).collect()),
            controls,
            words(row.silence),
            words(row.miss),
            words(row.strangers),
            words(row.pedal),
        ];
        text.push_str(&format!("| {} |\n", cells.join(" | ")));
    }
    text.push_str("\n| phase | clock set back | microphone back | loudspeaker back | signal | record failed | hot coils | resumed |\n");
    text.push_str("| --- | --- | --- | --- | --- | --- | --- | --- |\n");
    for row in PhaseKind::ALL.map(row) {
        let cells = [
            words(row.phase),
            words(row.clock),
            words(row.microphone),
            words(row.loudspeaker),
            words(row.stop),
            words(row.failure),
            words(row.heat),
            words(row.resumed),
        ];
        text.push_str(&format!("| {} |\n", cells.join(" | ")));
    }
    text
}

#[test]
fn developers_see_the_table() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md");
    let text = std::fs::read_to_string(file).expect("DEVELOPERS.md");
    let (before, rest) = text.split_once(BEGIN).expect("the table's place");
    let (now, after) = rest.split_once(END).expect("the table's end");
    let wanted = table();
    if std::env::var_os("PROBESIDE_BLESS").is_some() {
        std::fs::write(file, format!("{before}{BEGIN}{wanted}{END}{after}")).expect("DEVELOPERS.md");
    } else {
        assert_eq!(now, wanted, "PROBESIDE_BLESS=1 cargo test --test phases");
    }
}

/// A walker in a phase, and the prompts that were playing.
struct In {
    walker: Walker,
    now: Now,
    cautioning: bool,
}

/// Walkers in every phase, brought there by random walks.
fn walkers() -> BTreeMap<PhaseKind, Vec<In>> {
    let mut all: BTreeMap<PhaseKind, Vec<In>> = BTreeMap::new();
    let mut random = fastrand::Rng::with_seed(29);
    for turn in 0..STORIES.len() * 40 {
        let story = Story::of(STORIES[turn % STORIES.len()]);
        let idle =
            In { walker: Walker::new(story.world.clone()), now: Machine::new(&story).snapshot().1, cautioning: false };
        all.entry(PhaseKind::Idle).or_default().push(idle);
        let mut machine = if turn % 2 == 0 { Machine::advised(&story) } else { Machine::new(&story) };
        for _ in 0..600 {
            if machine.is_over() {
                break;
            }
            machine.act(random.u8(..), random.u8(..));
            let found = all.entry(machine.phase()).or_default();
            if found.len() == 2 * EACH || (found.len() > 8 && random.u8(..) > 48) {
                continue;
            }
            let (mut walker, now, cautioning) = machine.snapshot();
            let hot = walker.is_power_on();
            let alike = found.iter().filter(|one| one.walker.clone().is_power_on() == hot).count();
            // All of the first few, because some phases are rare; later only a sample.
            if alike < EACH {
                found.push(In { walker, now, cautioning });
            }
        }
    }
    all
}

impl In {
    fn after(&self, events: impl IntoIterator<Item = Event>) -> (Walker, Vec<Effect>) {
        let mut walker = self.walker.clone();
        let mut effects = Vec::new();
        for event in events {
            effects = walker.handle(event, &self.now);
        }
        (walker, effects)
    }
}

fn said(effects: &[Effect]) -> Vec<(SayKind, &str)> {
    let texts = effects.iter().filter_map(|e| match e {
        Effect::Say { text, kind, .. } => Some((*kind, text.as_str())),
        _ => None,
    });
    texts.collect()
}

fn guards(effects: &[Effect]) -> bool {
    said(effects).iter().any(|(kind, text)| *kind == SayKind::Caution && text.contains("Say power is off"))
}

fn stops(effects: &[Effect]) -> bool {
    let stopped = |r: &Record| matches!(r, Record::Interrupted { what, .. } if what == "stopped");
    effects.iter().any(|e| matches!(e, Effect::Record { record, .. } if stopped(record)))
}

#[test]
fn every_cell_is_what_the_walker_does() {
    let all = walkers();
    let mut cells: BTreeMap<(PhaseKind, &str), usize> = BTreeMap::new();
    for (phase, found) in &all {
        for one in found {
            for cell in cells_of(*phase, one) {
                *cells.entry((*phase, cell)).or_default() += 1;
            }
        }
    }
    for phase in PhaseKind::ALL {
        let tried: Vec<String> =
            cells.iter().filter(|((p, _), _)| *p == phase).map(|((_, c), n)| format!("{c} {n}")).collect();
        println!("{phase:?}: {}", tried.join(", "));
        assert!(!tried.is_empty(), "no walk was ever in {phase:?}");
    }
    for cell in ["clock", "microphone", "failure", "stop", "again", "pedal", "watch"] {
        for phase in PhaseKind::ALL.into_iter().filter(|phase| *phase != PhaseKind::Over) {
            assert!(cells.contains_key(&(phase, cell)), "{cell} was never tried in {phase:?}");
        }
    }
}

/// Checks a phase's row and returns the cells it tried.
fn cells_of(phase: PhaseKind, one: &In) -> Vec<&'static str> {
    let row = row(phase);
    let mut tried = Vec::new();
    assert_eq!(one.walker.phase(), phase);
    if phase == PhaseKind::Over {
        let (walker, effects) = one.after([Event::Stop { why: "again".into() }]);
        assert!(walker.is_over() && effects.is_empty());
        return vec!["stop"];
    }

    let (walker, effects) = one.after([Event::ClockSetBack { by_ms: 3_600_000 }]);
    let told = said(&effects).iter().any(|(_, text)| text.starts_with("The clock was set back"));
    match row.clock {
        OnClock::Told | OnClock::ToldAndListens => assert!(told && walker.phase() == phase, "{phase:?}"),
        OnClock::Waits => assert!(told && walker.phase() == PhaseKind::Waiting, "{phase:?}"),
    }
    tried.push("clock");

    let lost = Event::MicrophoneLost { why: "it is gone".into() };
    let (walker, effects) = one.after([lost.clone()]);
    assert!(walker.phase() == phase && !said(&effects).is_empty(), "{phase:?}");
    let (walker, effects) = one.after([lost, Event::MicrophoneBack]);
    assert_eq!(walker.phase(), phase);
    match row.microphone {
        OnMicrophone::Told => assert_eq!(said(&effects).len(), 1, "{phase:?} {effects:?}"),
        OnMicrophone::PowerOff => assert!(guards(&effects), "{phase:?}"),
        OnMicrophone::Repeats => assert!(!said(&effects).is_empty(), "{phase:?}"),
    }
    tried.push("microphone");

    let failed = Event::RecordFailed { id: u64::MAX, why: "The disk is full".into(), never: false };
    let (walker, effects) = one.after([failed]);
    assert!(said(&effects).iter().any(|(_, text)| text.contains("could not write")), "{phase:?}");
    let wanted = if row.failure == OnFailure::Waits { PhaseKind::Waiting } else { phase };
    assert_eq!(walker.phase(), wanted, "{phase:?}");
    tried.push("failure");

    let stop = || Event::Stop { why: "the interrupt key was pressed".into() };
    let (walker, effects) = one.after([stop()]);
    match row.stop {
        // The walker may already have been asked to stop.
        _ if walker.is_over() => {}
        OnStop::Ends => assert!(stops(&effects) && walker.phase() == PhaseKind::Writing, "{phase:?}"),
        OnStop::AfterTheRecord => {
            assert!(!stops(&effects) && walker.phase() == phase, "{phase:?}");
            let id = walker.waits_for_record().expect("it is being written");
            let (walker, effects) = one.after([stop(), Event::Recorded { id }]);
            assert!(stops(&effects) || walker.phase() == PhaseKind::Closing, "{phase:?} {effects:?}");
        }
        OnStop::Nothing => assert!(effects.is_empty() && walker.phase() == phase, "{phase:?}"),
        OnStop::AtOnce => panic!("{phase:?}: it does not end at once"),
    }
    tried.push("stop");
    let (walker, effects) = one.after([stop(), stop()]);
    let finished = effects.iter().any(|e| matches!(e, Effect::Finish { .. }));
    assert!(walker.is_over() && (finished || one.after([stop()]).0.is_over()), "{phase:?}");
    tried.push("again");

    let pressed = |pedal| one.after([Event::Pressed { pedal }]);
    let (walker, effects) = pressed(Pedal::Listen);
    match row.pedal {
        OnPedal::Nothing => {
            assert!(effects.is_empty() && pressed(Pedal::Repeat).1.is_empty(), "{phase:?}");
        }
        OnPedal::Listens if one.cautioning => assert!(effects.is_empty(), "{phase:?}: a caution is heard to its end"),
        OnPedal::Listens => assert!(effects.contains(&Effect::Cut) && walker.phase() == phase, "{phase:?}"),
        OnPedal::CarriesOn => assert_eq!(walker.phase(), PhaseKind::Writing),
        OnPedal::PowerOff => {
            let asks = one.walker.clone().is_power_on();
            let by = |r: &Record| matches!(r, Record::PowerOff { by, .. } if by == "pedal");
            let confirmed = effects.iter().any(|e| matches!(e, Effect::Record { record, .. } if by(record)));
            let sounds = effects.is_empty();
            assert!(!asks || confirmed || guards(&effects) || sounds, "{phase:?} {effects:?}");
            assert!(asks || walker.phase() != phase, "{phase:?}");
        }
    }
    tried.push("pedal");

    // Due actions come on time: nobody is speaking any more.
    let later = |timer| {
        let mut walker = one.walker.clone();
        let now = Now { mono_ms: one.now.mono_ms + 40_000, ..one.now.clone() };
        let effects = walker.handle(Event::Timer { timer }, &now);
        (walker, effects)
    };
    let (walker, effects) = later(TimerKind::Watch);
    let asked = said(&effects).iter().any(|(kind, _)| *kind == SayKind::Question);
    assert!(asked == row.watch && walker.phase() == phase, "{phase:?}");
    tried.push("watch");

    if row.silence == OnSilence::Patient {
        let (walker, effects) = later(TimerKind::Silence);
        assert!(said(&effects).is_empty() && walker.phase() == phase, "{phase:?}");
        tried.push("silence");
    }

    if one.walker.clone().is_power_on() {
        let (walker, effects) = later(TimerKind::CoilHeat);
        let again = effects.iter().any(|e| matches!(e, Effect::StartTimer { timer: TimerKind::CoilHeat, .. }));
        match row.heat {
            OnHeat::Nothing => assert!(said(&effects).is_empty()),
            // A running engine heats no coil, and a prompt that is playing is not spoken twice.
            OnHeat::Shortly | OnHeat::Speaks => {
                assert!(walker.phase() == phase && (again || said(&effects).is_empty()), "{phase:?}");
            }
            OnHeat::SpeaksOrWaits => {
                assert!([phase, PhaseKind::Waiting].contains(&walker.phase()), "{phase:?}");
                assert!(guards(&effects) || walker.phase() == phase, "{phase:?}");
            }
        }
        tried.push("heat");
    }

    let (walker, _) = one.after([Event::Resumed { gap_ms: 60_000, repaired: false }]);
    let stops_with = |id| one.after([Event::Recorded { id }]).0.is_stopped();
    let is_stopped = one.walker.is_stopped() || one.walker.waits_for_record().is_some_and(stops_with);
    match row.resumed {
        OnResumed::StaysBusy | OnResumed::Closes | OnResumed::Guards if !is_stopped => {
            assert_eq!(walker.phase(), phase);
        }
        OnResumed::AsksForStorage => assert_eq!(walker.phase(), PhaseKind::Stuck),
        _ => assert!(!matches!(walker.phase(), PhaseKind::Idle | PhaseKind::Over), "{phase:?}"),
    }
    tried.push("resumed");

    heard(phase, one, &mut tried);
    tried
}

/// Checks that the row describes the grammar, and the consequence of a rejected utterance.
fn heard(phase: PhaseKind, one: &In, tried: &mut Vec<&'static str>) {
    let row = row(phase);
    let quiet = one.after([Event::Pressed { pedal: Pedal::Listen }]).1;
    let Some((id, grammar)) = quiet.iter().find_map(|e| match e {
        Effect::Listen { id, grammar, .. } => Some((*id, grammar)),
        _ => None,
    }) else {
        return;
    };
    if row.pedal != OnPedal::Listens {
        return;
    }
    let heard = |what| row.hears.contains(&what);
    let is = |wanted: fn(&Answer) -> bool| grammar.phrases.iter().any(|p| wanted(&p.answer));
    for command in Command::ALL.iter().copied() {
        let counts = heard(Hears::Controls) && row.controls.contains(&command);
        assert_eq!(
            grammar.phrases.iter().any(|p| p.answer == Answer::Command(command)),
            counts,
            "{phase:?} {command:?}"
        );
    }
    assert_eq!(is(|a| matches!(a, Answer::Yes)), heard(Hears::YesNo), "{phase:?}");
    assert_eq!(is(|a| matches!(a, Answer::Sum(_))), heard(Hears::Sums), "{phase:?}");
    assert_eq!(is(|a| matches!(a, Answer::Escape(_))), heard(Hears::Escapes) || heard(Hears::Reasons), "{phase:?}");
    assert!(!grammar.note || heard(Hears::Note) || heard(Hears::Answers), "{phase:?}");
    tried.push("hears");

    let miss = |stranger| Event::Heard {
        listen: id,
        verdict: Verdict::Reject { free: None, stranger },
        begin: 0,
        end: 16_000,
        clip: None,
    };
    let (walker, effects) = one.after([Event::Pressed { pedal: Pedal::Listen }, miss(false)]);
    match row.miss {
        OnMiss::Silent => assert!(said(&effects).is_empty(), "{phase:?}"),
        OnMiss::Explains | OnMiss::Repeats => {
            assert!(!said(&effects).is_empty() && walker.phase() == phase, "{phase:?}");
        }
        OnMiss::AsksBack => {
            assert!(
                [phase, PhaseKind::Asking, PhaseKind::Telling].contains(&walker.phase()) && !said(&effects).is_empty(),
                "{phase:?}"
            );
        }
    }
    tried.push("miss");
}
