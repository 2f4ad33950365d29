//! What is said in a trial: phrases of the step, numbers as mechanics say them, and talk that answers nothing, in two separate sets.
#![allow(dead_code)]

use crate::noises::Random;
use probeside::phrase::{
    Answer, Grammar, NumberSlot, Reading, ReadingKind, Stakes, Verdict, Vocabulary, decide, number, understand,
};
use std::collections::HashMap;

/// Everything that can be said for one number slot.
pub struct Numbers {
    /// By value, common forms first.
    by_value: Vec<Vec<(String, Reading)>>,
}

impl Numbers {
    /// Excludes strings with two different readings ("twelve forty" of 12.4 and 1240): nobody could tell them apart.
    pub fn of(slot: &NumberSlot) -> Self {
        let all = number::spellings(slot);
        let mut meanings: HashMap<&str, usize> = HashMap::new();
        for (words, _) in &all {
            *meanings.entry(words).or_default() += 1;
        }
        let mut by_value: Vec<Vec<(String, Reading)>> = Vec::new();
        let mut places: HashMap<(u8, i64), usize> = HashMap::new();
        for (words, reading) in all.iter().filter(|(w, _)| meanings[w.as_str()] == 1) {
            let key = (reading.kind as u8, (reading.value * 1e6).round() as i64);
            let at = *places.entry(key).or_insert_with(|| {
                by_value.push(Vec::new());
                by_value.len() - 1
            });
            by_value[at].push((words.clone(), reading.clone()));
        }
        Numbers { by_value }
    }

    /// A random number to say. Half of the time it has one decimal less than the step's resolution. It usually has the common form.
    pub fn pick(&self, slot: &NumberSlot, random: &mut Random) -> (String, Reading) {
        let round = |r: &Reading| {
            let coarse = r.value / (slot.resolution * 10.0);
            (coarse - coarse.round()).abs() < 1e-6
        };
        let want_round = random.below(2) == 0;
        loop {
            let forms = &self.by_value[random.below(self.by_value.len())];
            let special = matches!(forms[0].1.kind, ReadingKind::OverRange | ReadingKind::NoReading);
            if !special && want_round && !round(&forms[0].1) {
                continue;
            }
            let at = match random.below(10) {
                0..5 => 0,
                5..7 => 1,
                _ => random.below(forms.len()),
            };
            return forms[at.min(forms.len() - 1)].clone();
        }
    }
}

/// Whether the step would understand the words if they were typed. They are then not strangers to it.
pub fn belongs(words: &str, grammar: &Grammar) -> bool {
    let heard = understand(words, grammar, Vocabulary::english());
    !matches!(decide(&heard, Stakes::Low), Verdict::Reject { .. }) || grammar.phrases.iter().any(|p| p.words == words)
}

/// Whether both mean the same.
pub fn same(said: &Answer, heard: &Answer) -> bool {
    match (said, heard) {
        (Answer::Reading(a), Answer::Reading(b)) => {
            let special = |k| matches!(k, ReadingKind::OverRange | ReadingKind::NoReading);
            (a.kind == b.kind || (!special(a.kind) && !special(b.kind))) && (a.value - b.value).abs() < 1e-6
        }
        _ => said == heard,
    }
}
