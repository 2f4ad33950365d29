//! Decides what to do with an utterance: accept, confirm or reject, from its hypotheses and its stakes.
//!
//! A wrong branch is worse than a question. An answer is accepted only if its calibrated probability clears the threshold for its kind and
//! stakes. A likely answer, or two close rivals, lead to a question. Anything else is not an answer.

use super::answer::{Answer, Command, Hypotheses, Stakes, Verdict};
use super::grammar::Grammar;

// The thresholds come from 2,787 development trials of `tests/measure/hearing.rs` (10 synthetic voices, clean to 5 dB, half of the
// strangers phrases of other steps). Each voice was judged by models fitted on the others. Phrases, 1,327 trials: at both 0.85 and 0.90, 3
// were accepted wrongly; of 820 strangers, 10 and 3. Readings, 640 trials: 12 were accepted wrongly at 0.90, 2 at 0.95, none at 0.97. Every
// reading is also read back.

/// Threshold for a control that changes nothing. The worst outcome is speech that nobody asked for.
const TAKE_HARMLESS: f64 = 0.80;
/// Threshold for a phrase that "go back" undoes.
const TAKE_LOW: f64 = 0.90;
/// Threshold for a phrase that leads to a conclusion or past a hazard.
const TAKE_HIGH: f64 = 0.95;
/// Threshold for a number. It is read back digit by digit afterwards.
const TAKE_READING_LOW: f64 = 0.95;
/// Threshold for a number that a conclusion depends on.
const TAKE_READING_HIGH: f64 = 0.97;
/// Threshold for agreement with a confirmation question. It is lower than for an answer: the answer was already likely, and a wrong branch
/// takes two misheard utterances (a founder's choice; of the replies of six voices in the demo's stories none of the 11 between 0.74 and
/// 0.95 was misheard).
const AGREE_LOW: f64 = 0.80;
const AGREE_HIGH: f64 = 0.90;
/// Agreement is rejected if disagreement is at least this likely. Four of the test voices had "that's wrong" heard as "that's right", at
/// 0.79 to 0.98, with 0.014 to 0.20 for the true words. Of 298 correctly heard agreements 10 had this much (this value was chosen with
/// knowledge of the test).
const RATHER_NOT: f64 = 0.01;
/// Threshold for disagreement, which only repeats the question.
const DISAGREE: f64 = 0.60;
/// Threshold for agreement and disagreement in distant speech (a founder's choice).
const REPLY_FAR: f64 = 0.97;
/// Least probability of the best answer, or of the best two together, that is worth a question. Compared with 0.40 (and 0.60 for strangers)
/// this keeps 59 of 65 useful questions about phrases and drops 42 of 64 pointless ones about talk and noise.
const ASK: f64 = 0.60;
/// A second answer with at least this share of the best one's probability is named in the question.
const CLOSE: f64 = 0.25;
/// Above this probability that nothing from the grammar was said, no question is asked.
const STRANGER: f64 = 0.40;
/// Above this probability the sound counts as somebody or something other than the user (a founder's choice).
const SURELY_STRANGER: f64 = 0.80;

/// The decision about an utterance. The answers in `high` have high stakes.
pub fn verdict(heard: &Hypotheses, grammar: &Grammar, high: &[Answer]) -> Verdict {
    let heard = heard.without(&grammar.denied);
    let stakes = match heard.best.first() {
        Some(best) if high.contains(&best.answer) => Stakes::High,
        _ => Stakes::Low,
    };
    decide(&heard, stakes)
}

/// The decision about an utterance spoken over a prompt. Every answer has high stakes, and nothing is confirmed: the interrupted prompt is
/// spoken again instead.
pub fn verdict_over(heard: &Hypotheses, grammar: &Grammar) -> Verdict {
    let heard = heard.without(&grammar.denied);
    match decide(&heard, Stakes::High) {
        Verdict::Confirm { .. } => Verdict::Reject { free: heard.free, stranger: false },
        other => other,
    }
}

/// The decision about an utterance much quieter than the answers before it, as from a radio or a colleague. Only commands that stop the
/// walk, resume it or make it audible are treated as usual. A certain answer is confirmed, a reply to a question must clear a higher
/// threshold, and everything else is rejected.
pub fn verdict_far(heard: &Hypotheses, grammar: &Grammar) -> Verdict {
    use Command::{Louder, Pause, Resume, Stop};
    let heard = heard.without(&grammar.denied);
    let best = match decide(&heard, Stakes::High) {
        Verdict::Accept { heard } => heard,
        _ => return Verdict::Reject { free: heard.free, stranger: heard.stranger > SURELY_STRANGER },
    };
    match &best.answer {
        Answer::Command(Louder | Pause | Resume | Stop) | Answer::Note(_) => Verdict::Accept { heard: best },
        Answer::Yes | Answer::No if best.probability >= REPLY_FAR => Verdict::Accept { heard: best },
        Answer::Yes | Answer::No => Verdict::Reject { free: heard.free, stranger: false },
        Answer::Command(c) if is_harmless(*c) => Verdict::Reject { free: heard.free, stranger: false },
        _ => Verdict::Confirm { heard: best, rival: None },
    }
}

/// The decision for given stakes.
pub fn decide(heard: &Hypotheses, stakes: Stakes) -> Verdict {
    let reject = || Verdict::Reject { free: heard.free.clone(), stranger: heard.stranger > SURELY_STRANGER };
    let Some(best) = heard.best.first() else { return reject() };
    if matches!(best.answer, Answer::Note(_)) {
        return Verdict::Accept { heard: best.clone() };
    }
    let take = match (stakes, &best.answer) {
        (Stakes::Low, Answer::Reading(_)) => TAKE_READING_LOW,
        (Stakes::High, Answer::Reading(_)) => TAKE_READING_HIGH,
        (_, Answer::No) => DISAGREE,
        (Stakes::Low, Answer::Yes) => AGREE_LOW,
        (Stakes::High, Answer::Yes) => AGREE_HIGH,
        (Stakes::Low, Answer::Command(c)) if is_harmless(*c) => TAKE_HARMLESS,
        (Stakes::Low, _) => TAKE_LOW,
        (Stakes::High, _) => TAKE_HIGH,
    };
    let against: f64 = heard.best.iter().filter(|h| h.answer == Answer::No).map(|h| h.probability).sum();
    let doubtful = best.answer == Answer::Yes && against >= RATHER_NOT;
    if best.probability >= take && !doubtful {
        return Verdict::Accept { heard: best.clone() };
    }
    let second = heard.best.get(1);
    let rival = second.filter(|h| h.probability >= best.probability * CLOSE && !matches!(h.answer, Answer::Note(_)));
    let mass = best.probability + rival.map_or(0.0, |h| h.probability);
    if heard.stranger > STRANGER || mass < ASK {
        return reject();
    }
    Verdict::Confirm { heard: best.clone(), rival: rival.cloned() }
}

/// Whether the command only makes the program speak, or changes how it speaks.
fn is_harmless(command: Command) -> bool {
    use Command::{Help, LastReading, Longer, Louder, Quieter, Repeat, Shorter, Suspects, WhatFollows, Where, WhyThis};
    let tells = matches!(command, Repeat | Help | LastReading | Where | Suspects | WhyThis | WhatFollows);
    tells || matches!(command, Shorter | Longer | Louder | Quieter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Hypothesis;

    fn heard(probabilities: &[f64], stranger: f64) -> Hypotheses {
        let best = probabilities.iter().enumerate().map(|(i, &probability)| Hypothesis {
            answer: Answer::Choice(i.to_string()),
            words: i.to_string(),
            probability,
        });
        Hypotheses { best: best.collect(), stranger, free: Some("what it wrote".into()), may_go_on: false }
    }

    #[test]
    fn the_bar_rises_with_the_stakes() {
        let between = heard(&[(TAKE_LOW + TAKE_HIGH) / 2.0], 0.0);
        assert!(matches!(decide(&between, Stakes::Low), Verdict::Accept { .. }));
        assert!(matches!(decide(&between, Stakes::High), Verdict::Confirm { rival: None, .. }));
    }

    #[test]
    fn a_reply_to_what_was_asked_back_has_a_bar_of_its_own() {
        let said = |answer: Answer, p: f64| {
            let mut out = heard(&[p], 0.0);
            out.best[0].answer = answer;
            out
        };
        let taken = |heard: &Hypotheses, stakes| matches!(decide(heard, stakes), Verdict::Accept { .. });
        assert!(taken(&said(Answer::No, 0.65), Stakes::High));
        assert!(taken(&said(Answer::Yes, 0.85), Stakes::Low));
        assert!(!taken(&said(Answer::Yes, 0.85), Stakes::High));
        assert!(taken(&said(Answer::Yes, 0.92), Stakes::High));
        // "That's wrong" was once heard as "that's right".
        let mut doubtful = heard(&[0.982, 0.014], 0.0);
        (doubtful.best[0].answer, doubtful.best[1].answer) = (Answer::Yes, Answer::No);
        assert!(!taken(&doubtful, Stakes::Low));
    }

    #[test]
    fn a_control_that_changes_nothing_has_the_lowest_bar() {
        let said = |answer: Answer| {
            let mut out = heard(&[(TAKE_HARMLESS + TAKE_LOW) / 2.0], 0.0);
            out.best[0].answer = answer;
            decide(&out, Stakes::Low)
        };
        assert!(matches!(said(Answer::Command(Command::Repeat)), Verdict::Accept { .. }));
        for other in [Answer::Command(Command::Skip), Answer::Command(Command::Stop), Answer::Done] {
            assert!(matches!(said(other), Verdict::Confirm { .. }));
        }
    }

    #[test]
    fn from_afar_an_answer_is_asked_about_and_stopping_is_not() {
        let said = |answer: Answer, p: f64| {
            let mut out = heard(&[p], 0.0);
            out.best[0].answer = answer;
            verdict_far(&out, &Grammar::default())
        };
        let choice = Answer::Choice("dark".into());
        assert!(matches!(said(choice.clone(), 0.999), Verdict::Confirm { rival: None, .. }));
        assert!(matches!(said(choice, 0.93), Verdict::Reject { .. }));
        for command in [Command::Stop, Command::Pause, Command::Resume] {
            assert!(matches!(said(Answer::Command(command), 0.96), Verdict::Accept { .. }));
        }
        assert!(matches!(said(Answer::Command(Command::Where), 0.999), Verdict::Reject { .. }));
        assert!(matches!(said(Answer::Command(Command::Back), 0.999), Verdict::Confirm { .. }));
        assert!(matches!(said(Answer::Yes, 0.95), Verdict::Reject { .. }));
        assert!(matches!(said(Answer::No, 0.99), Verdict::Accept { .. }));
    }

    #[test]
    fn two_close_rivals_are_asked_about_together() {
        let Verdict::Confirm { heard, rival } = decide(&heard(&[0.5, 0.4], 0.1), Stakes::Low) else {
            panic!("not asked")
        };
        assert_eq!((heard.words.as_str(), rival.map(|r| r.words).as_deref()), ("0", Some("1")));
    }

    #[test]
    fn strangers_and_mumbles_are_rejected_with_the_transcript() {
        for utterance in [heard(&[0.3], 0.65), heard(&[0.2, 0.1], 0.1), heard(&[], 1.0)] {
            let stranger = utterance.stranger > SURELY_STRANGER;
            let expected = Verdict::Reject { free: Some("what it wrote".into()), stranger };
            assert_eq!(decide(&utterance, Stakes::Low), expected);
        }
    }

    #[test]
    fn a_surer_utterance_is_never_treated_worse() {
        let rank = |v: Verdict| match v {
            Verdict::Reject { .. } => 0,
            Verdict::Confirm { .. } => 1,
            Verdict::Accept { .. } => 2,
        };
        let ranks: Vec<i32> =
            (0..=100).map(|p| rank(decide(&heard(&[f64::from(p) / 100.0], 0.0), Stakes::High))).collect();
        assert!(ranks.is_sorted(), "{ranks:?}");
    }
}
