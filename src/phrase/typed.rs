//! Turns typed text into hypotheses. Case, punctuation and spaces are ignored. A single typing slip is confirmed, never accepted.

use super::answer::{Answer, Hypotheses, Hypothesis};
use super::grammar::Grammar;
use super::number::readings;
use super::vocabulary::Vocabulary;
use super::words::{normalise, one_slip, without_apostrophes};

/// Probability shared by the phrases one slip away from the typed text: enough to ask about, never enough to accept.
const AFTER_A_SLIP: f64 = 0.6;
/// With more phrases than this one slip away, nothing is asked.
const MOST_RIVALS: usize = 3;

/// What a typed line can mean: a phrase of the grammar, otherwise a number if one is asked for, otherwise a note if notes are taken.
///
/// An exact match has probability 1. A number with several readings divides it among them, so the user is asked which one is meant.
///
/// ```
/// use probeside::phrase::{Answer, Command, Grammar, Vocabulary, understand};
/// let words = Vocabulary::english();
/// let grammar = Grammar { phrases: words.command_phrases(), ..Grammar::default() };
/// let heard = understand("  Say AGAIN!", &grammar, words);
/// assert_eq!(heard.best[0].answer, Answer::Command(Command::Repeat));
/// assert_eq!(heard.best[0].probability, 1.0);
/// assert!(understand("what a day", &grammar, words).best.is_empty());
/// ```
pub fn understand(text: &str, grammar: &Grammar, vocabulary: &Vocabulary) -> Hypotheses {
    let words = normalise(text);
    let free = Some(text.trim().to_owned()).filter(|t| !t.is_empty());
    let stranger = Hypotheses { stranger: 1.0, free: free.clone(), ..Hypotheses::default() };
    if words.is_empty() {
        return stranger;
    }
    let plain = without_apostrophes(&words);
    let exact = matching(grammar, |phrase| phrase == words || without_apostrophes(phrase) == plain);
    if !exact.is_empty() {
        return shared(exact, 1.0, free);
    }
    if let Some(slot) = &grammar.number {
        let all = readings(&words, slot, vocabulary.numbers());
        if !all.is_empty() {
            let answers = all.into_iter().map(|reading| (Answer::Reading(reading), words.clone())).collect();
            return shared(answers, 1.0, free);
        }
    }
    if grammar.note {
        let answer = Answer::Note(text.trim().to_owned());
        return Hypotheses {
            best: vec![Hypothesis { answer, words, probability: 1.0 }],
            free,
            ..Hypotheses::default()
        };
    }
    let near = matching(grammar, |phrase| one_slip(phrase, &words));
    if near.is_empty() || near.len() > MOST_RIVALS { stranger } else { shared(near, AFTER_A_SLIP, free) }
}

/// The distinct answers of the matching phrases, each with its first matching phrase.
fn matching(grammar: &Grammar, fits: impl Fn(&str) -> bool) -> Vec<(Answer, String)> {
    let mut found: Vec<(Answer, String)> = Vec::new();
    for phrase in grammar.phrases.iter().filter(|p| fits(&p.words)) {
        if found.iter().all(|(answer, _)| *answer != phrase.answer) {
            found.push((phrase.answer.clone(), phrase.words.clone()));
        }
    }
    found
}

fn shared(answers: Vec<(Answer, String)>, mass: f64, free: Option<String>) -> Hypotheses {
    let probability = mass / answers.len() as f64;
    let best = answers.into_iter().map(|(answer, words)| Hypothesis { answer, words, probability }).collect();
    Hypotheses { best, stranger: 1.0 - mass, free, may_go_on: false }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::{NumberSlot, Phrase};
    use crate::units::{Quantity, Unit};
    use proptest::prelude::*;

    fn grammar() -> Grammar {
        let words = Vocabulary::english();
        let choice = |w: &str, id: &str| Phrase { words: w.into(), answer: Answer::Choice(id.into()) };
        let mut phrases =
            vec![choice("stays lit", "lit"), choice("stays dark", "dark"), choice("goes on and off", "on-off")];
        phrases.extend(words.command_phrases());
        phrases.extend(words.escape_phrases());
        Grammar { phrases, ..Grammar::default() }
    }

    fn volts() -> Grammar {
        let slot = NumberSlot { quantity: Quantity::Voltage, unit: Unit::Volt, low: 0.0, high: 18.0, resolution: 0.01 };
        Grammar { number: Some(slot), ..grammar() }
    }

    fn hear(text: &str, grammar: &Grammar) -> Hypotheses {
        understand(text, grammar, Vocabulary::english())
    }

    #[test]
    fn forgiving_of_case_spaces_and_punctuation_only() {
        for text in ["stays dark", "STAYS   DARK.", " stays-dark "] {
            assert_eq!(hear(text, &grammar()).best[0].answer, Answer::Choice("dark".into()), "{text}");
        }
        assert_eq!(hear("cant tell", &grammar()).best[0].answer, hear("can't tell", &grammar()).best[0].answer);
        for text in ["dark", "it stays dark", "stays", "", "?!", "yes"] {
            let heard = hear(text, &grammar());
            assert!(heard.best.is_empty() && heard.stranger == 1.0, "{text}: {heard:?}");
        }
    }

    #[test]
    fn a_slip_is_asked_about_and_never_taken() {
        let heard = hear("stays drak", &grammar());
        assert_eq!(heard.best[0].answer, Answer::Choice("dark".into()));
        assert!(heard.best[0].probability <= AFTER_A_SLIP);
        assert!(hear("stays lark", &grammar()).best[0].probability <= AFTER_A_SLIP);
    }

    #[test]
    fn ambiguous_numbers_share_the_mass() {
        let heard = hear("one two", &volts());
        assert_eq!(heard.best.len(), 2);
        assert_eq!(heard.best[0].probability, 0.5);
        assert_eq!(hear("12.45 V", &volts()).best.len(), 1);
        assert_eq!(hear("last reading", &volts()).best.len(), 1);
    }

    #[test]
    fn a_note_takes_anything_but_a_whole_phrase() {
        let open = Grammar { note: true, ..grammar() };
        assert_eq!(
            hear("Plug was wet, both sides", &open).best[0].answer,
            Answer::Note("Plug was wet, both sides".into())
        );
        assert!(matches!(hear("stop now", &open).best[0].answer, Answer::Command(_)));
    }

    proptest! {
        #[test]
        fn nothing_typed_breaks_it(text in any::<String>()) {
            let heard = hear(&text, &volts());
            let mass: f64 = heard.best.iter().map(|h| h.probability).sum();
            prop_assert!(mass + heard.stranger < 1.0 + 1e-9);
        }
    }
}
