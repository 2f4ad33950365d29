//! The grammars of the shipped procedures, as the walker requests them. The stories in `tests/scenarios` are walked with an occasional
//! command, escape or doubtful answer, and every distinct listen is kept.
#![allow(dead_code)]

use crate::noises::Random;
use crate::stage::{self, Stage};
use probeside::hear::{Moonshine, Recogniser};
use probeside::phrase::{Answer, Command, Grammar, Hypothesis, Stakes, Verdict, Vocabulary, decide, understand};
use probeside::walk::Event;
use std::collections::{BTreeMap, HashSet};
use std::path::Path;
use std::sync::Arc;

/// A listen: its grammar, and the answers with high stakes.
#[derive(Debug, Clone)]
pub struct Listening {
    pub place: String,
    pub grammar: Arc<Grammar>,
    pub high: Vec<Answer>,
}

impl Listening {
    pub fn stakes(&self, answer: &Answer) -> Stakes {
        if self.high.contains(answer) { Stakes::High } else { Stakes::Low }
    }
    pub fn is_number(&self) -> bool {
        self.grammar.number.is_some()
    }
}

/// The shipped recogniser as in a walk, or with another spelling network. `elsewhere` comes from [`elsewhere`].
pub fn engine(letters: Option<&Path>, elsewhere: &[String]) -> Moonshine {
    let mut engine = Moonshine::open_with(letters).expect("the model");
    engine.use_words(Vocabulary::english(), elsewhere);
    engine
}

const MOST_ANSWERS: usize = 300;

/// A story: the procedure, the bike, and the answers by step.
struct Story {
    procedure: String,
    bike: String,
    answers: BTreeMap<String, Vec<String>>,
}

fn stories() -> Vec<Story> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenarios");
    let mut files: Vec<_> = std::fs::read_dir(folder).expect("the scenarios").flatten().map(|e| e.path()).collect();
    files.sort();
    let read = |file: &Path| {
        let text = std::fs::read_to_string(file).ok()?;
        let value = |key: &str| Some(text.lines().find_map(|l| l.trim().strip_prefix(key))?.trim().to_owned());
        let mut answers: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for (place, said) in text.lines().filter_map(|l| l.trim().strip_prefix("at ")?.split_once(':')) {
            answers.entry(place.trim().to_owned()).or_default().push(said.trim().to_owned());
        }
        Some(Story { procedure: value("procedure:")?, bike: value("bike:")?, answers })
    };
    files.iter().filter_map(|f| read(f)).collect()
}

/// Every distinct listen in the stories. The list is the same in every run.
pub fn listens() -> Vec<Listening> {
    let mut out = Vec::new();
    let mut known = HashSet::new();
    for (seed, story) in stories().iter().enumerate() {
        let mut random = Random::new(seed as u64 + 1);
        let mut stage = Stage::new(stage::world(&story.procedure, &story.bike));
        let mut asked: BTreeMap<String, usize> = BTreeMap::new();
        for _ in 0..MOST_ANSWERS {
            let Some(listen) = stage.listen.take().filter(|_| stage.finished.is_none()) else { break };
            let (step, round) = stage.walker.place();
            let place = round.map_or(step.to_owned(), |r| format!("{step} {r}"));
            if known.insert(format!("{:?}", listen.grammar)) {
                let place = format!("{}: {place}", story.bike);
                out.push(Listening { place, grammar: Arc::new(listen.grammar.clone()), high: listen.high.clone() });
            }
            let told = story.answers.get(&place).or_else(|| story.answers.get(step)).map(|all| {
                let n = asked.entry(place).or_default();
                *n += 1;
                all[(*n - 1).min(all.len() - 1)].as_str()
            });
            let (id, verdict) = (listen.id, answer(&listen.grammar, told, &stage, &mut random));
            stage.listen = Some(listen);
            stage.now_ms += 1500;
            stage.give(Event::Heard { listen: id, verdict, begin: 0, end: 0, clip: None });
        }
    }
    out
}

/// The phrases of all shipped procedures in the stories, as a walk passes them to the recogniser.
pub fn elsewhere() -> Vec<String> {
    let mut out: Vec<String> = stories().iter().flat_map(|s| stage::world(&s.procedure, &s.bike).phrases()).collect();
    out.sort_unstable();
    out.dedup();
    out
}

/// Usually the story's answer; occasionally a command, an escape, or something to be confirmed.
fn answer(grammar: &Grammar, told: Option<&str>, stage: &Stage, random: &mut Random) -> Verdict {
    let luck = random.below(20);
    let heard = |answer: Answer, words: &str| Hypothesis { answer, words: words.to_owned(), probability: 0.99 };
    if let Some(agrees) = grammar.phrases.iter().find(|p| p.answer == Answer::Yes) {
        return Verdict::Accept { heard: heard(Answer::Yes, &agrees.words) };
    }
    if let Some(words) = told.filter(|_| luck < 18) {
        let verdict = decide(&understand(words, grammar, &stage.world.vocabulary), Stakes::Low);
        match verdict {
            Verdict::Accept { heard } if luck == 17 => return Verdict::Confirm { heard, rival: None },
            Verdict::Accept { .. } => return verdict,
            _ => {}
        }
    }
    if grammar.note {
        return Verdict::Accept { heard: heard(Answer::Note("it stopped in the rain".into()), "") };
    }
    let ends = Answer::Command(Command::Stop);
    let shared = |a: &Answer| matches!(a, Answer::Command(_) | Answer::Escape(_));
    let wanted = |a: &Answer| *a != ends && (luck > 17 || !shared(a));
    let mut some: Vec<_> = grammar.phrases.iter().filter(|p| wanted(&p.answer)).collect();
    if some.is_empty() {
        some = grammar.phrases.iter().filter(|p| p.answer != ends).collect();
    }
    match some.get(random.below(some.len().max(1))) {
        Some(phrase) => Verdict::Accept { heard: heard(phrase.answer.clone(), &phrase.words) },
        None => Verdict::Reject { free: None, stranger: true },
    }
}
