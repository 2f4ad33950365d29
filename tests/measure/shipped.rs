//! The grammars of the shipped procedures, as the walker asks for them: walks with random answers, over every bike, collect each
//! listen that differs from those before.

use crate::noises::Random;
use crate::stage::{self, Stage};
use probeside::phrase::{Answer, Command, Grammar, Hypothesis, Reading, Stakes, Verdict, number};
use probeside::walk::Event;
use std::collections::{HashMap, HashSet};

/// A listen: what may be said, and the answers on which much hangs.
#[derive(Debug, Clone)]
pub struct Listening {
    pub place: String,
    pub grammar: Grammar,
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

const WALKS: u64 = 60;
const LISTENS_A_WALK: usize = 250;

/// Every different listen that the walks met; the same list in every run.
pub fn listens() -> Vec<Listening> {
    let mut out = Vec::new();
    let mut known = HashSet::new();
    let mut numbers = HashMap::new();
    let mut given: HashMap<(String, String), usize> = HashMap::new();
    for (procedure, bike) in [("no-spark", "heron-twin"), ("no-spark", "wren-single"), ("prove-lamp", "heron-twin")] {
        let world = stage::world(procedure, bike);
        for seed in 0..WALKS {
            let mut random = Random::new(seed + 1);
            let mut stage = Stage::new(world.clone());
            for _ in 0..LISTENS_A_WALK {
                let Some(listen) = stage.listen.take().filter(|_| stage.finished.is_none()) else { break };
                let key = format!("{:?}", listen.grammar);
                if known.insert(key.clone()) {
                    let place = format!("{bike}: {}", stage.walker.place().0);
                    out.push(Listening { place, grammar: listen.grammar.clone(), high: listen.high.clone() });
                }
                let (id, grammar) = (listen.id, listen.grammar.clone());
                let mut times = |words: &str, more: usize| {
                    let count = given.entry((key.clone(), words.to_owned())).or_default();
                    *count += more;
                    *count
                };
                let verdict = answer(&grammar, &mut numbers, &mut times, &mut random);
                stage.listen = Some(listen);
                stage.now_ms += 1500;
                stage.give(Event::Heard { listen: id, verdict, begin: 0, end: 0, clip: None });
            }
        }
    }
    out
}

/// What may be said for a number, by its slot.
type Numbers = HashMap<String, Vec<(String, Reading)>>;

/// Mostly the step's own answers, those first that were given least; now and then a control, an escape, or something to be confirmed.
fn answer(
    grammar: &Grammar,
    numbers: &mut Numbers,
    given: &mut dyn FnMut(&str, usize) -> usize,
    random: &mut Random,
) -> Verdict {
    let is_own = |a: &Answer| !matches!(a, Answer::Command(_) | Answer::Escape(_));
    let luck = random.below(20);
    let heard = |answer: Answer, words: &str| Hypothesis { answer, words: words.to_owned(), probability: 0.99 };
    let said = match &grammar.number {
        Some(slot) if luck < 17 => {
            let all = numbers.entry(format!("{slot:?}")).or_insert_with(|| number::spellings(slot));
            all.get(random.below(all.len().max(1))).map(|(w, r)| heard(Answer::Reading(r.clone()), w))
        }
        _ if grammar.note && luck < 17 => Some(heard(Answer::Note("it stopped in the rain".into()), "")),
        _ => {
            let stops = Answer::Command(Command::Stop);
            let mut from: Vec<_> =
                grammar.phrases.iter().filter(|p| p.answer != stops && (luck >= 17 || is_own(&p.answer))).collect();
            if from.is_empty() {
                from = grammar.phrases.iter().filter(|p| p.answer != stops).collect();
            }
            let least = from.iter().map(|p| given(&p.words, 0)).min().unwrap_or(0);
            from.retain(|p| given(&p.words, 0) == least);
            from.get(random.below(from.len().max(1))).map(|p| {
                given(&p.words, 1);
                heard(p.answer.clone(), &p.words)
            })
        }
    };
    match said {
        None => Verdict::Reject { free: None },
        Some(heard) if luck == 16 => Verdict::Confirm { heard, rival: None },
        Some(heard) => Verdict::Accept { heard },
    }
}
