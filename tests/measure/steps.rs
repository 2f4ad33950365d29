//! Grammars like those of a walk's steps, and utterances outside every grammar, in separate development and test sets.
#![allow(dead_code)]

use probeside::phrase::{Answer, Command, Escape, Grammar, NumberSlot, Phrase};
use probeside::units::{Quantity, Unit};

const COMMANDS: &[(Command, &[&str])] = &[
    (Command::Repeat, &["say again", "repeat that"]),
    (Command::Help, &["help me", "explain that"]),
    (Command::Back, &["go back"]),
    (Command::Skip, &["skip this"]),
    (Command::Pause, &["hold on"]),
    (Command::Resume, &["carry on"]),
    (Command::Correct, &["correct that"]),
    (Command::LastReading, &["last reading"]),
    (Command::Where, &["which step is this"]),
    (Command::Note, &["take a note"]),
    (Command::Shorter, &["less talk"]),
    (Command::Longer, &["more detail"]),
    (Command::Louder, &["speak up"]),
    (Command::Quieter, &["quieter please"]),
    (Command::Stop, &["stop now"]),
];

const ESCAPES: &[(Escape, &[&str])] = &[
    (Escape::Flickers, &["it flickers"]),
    (Escape::Sometimes, &["only sometimes"]),
    (Escape::NotSure, &["not sure"]),
    (Escape::CannotReach, &["cannot reach"]),
    (Escape::HaveNot, &["have not got one"]),
    (Escape::ColoursDiffer, &["colours do not match"]),
    (Escape::Changed, &["i changed something"]),
];

/// Choices of typical steps.
const CHOICES: &[&[(&str, &[&str])]] = &[
    &[("on", &["light on", "lit", "lamp is lit"]), ("off", &["dark", "light off", "no light"])],
    &[
        ("goes", &["on and off", "it blinks"]),
        ("lit", &["stays lit", "always on"]),
        ("dark", &["stays dark", "never lights"]),
    ],
    &[
        ("snap", &["fat spark", "good spark"]),
        ("weak", &["weak spark", "thin spark"]),
        ("none", &["no spark", "nothing"]),
    ],
    &[
        ("left", &["left side", "left cylinder"]),
        ("right", &["right side", "right cylinder"]),
        ("both", &["both sides", "all dead"]),
    ],
    &[("clean", &["clean and grey", "clean"]), ("burnt", &["burnt", "pitted"]), ("oily", &["oily", "greasy"])],
];

/// The grammar of one typical step.
fn step(choices: &[(&str, &[&str])]) -> Grammar {
    let mut phrases = Vec::new();
    let mut add = |words: &[&str], answer: Answer| {
        phrases.extend(words.iter().map(|w| Phrase { words: (*w).to_owned(), answer: answer.clone() }));
    };
    for (id, words) in choices {
        add(words, Answer::Choice((*id).to_owned()));
    }
    for (command, words) in COMMANDS {
        add(words, Answer::Command(*command));
    }
    for (escape, words) in ESCAPES {
        add(words, Answer::Escape(*escape));
    }
    Grammar { phrases, ..Grammar::default() }
}

/// Grammars with choices.
pub fn choice_steps() -> Vec<Grammar> {
    CHOICES.iter().map(|c| step(c)).collect()
}

/// A step that asks for the battery's voltage.
pub fn volts_step() -> Grammar {
    let number = NumberSlot { quantity: Quantity::Voltage, unit: Unit::Volt, low: 0.0, high: 16.0, resolution: 0.01 };
    Grammar { number: Some(number), ..step(&[]) }
}

/// A caution that is acknowledged, with a pending yes or no.
pub fn confirm_step() -> Grammar {
    let mut out = step(&[]);
    out.phrases.push(Phrase { words: "yes".into(), answer: Answer::Yes });
    out.phrases.push(Phrase { words: "that is right".into(), answer: Answer::Yes });
    out.phrases.push(Phrase { words: "no".into(), answer: Answer::No });
    out.phrases.push(Phrase { words: "that is wrong".into(), answer: Answer::No });
    out
}

/// Values spoken at the number step, in words and in volts.
pub const VOLTS: &[(&str, f64)] = &[
    ("twelve point four", 12.4),
    ("twelve point four five", 12.45),
    ("twelve point six volts", 12.6),
    ("eleven point nine", 11.9),
    ("twelve four", 12.4),
    ("thirteen point eight", 13.8),
    ("point two", 0.2),
    ("zero point one five", 0.15),
    ("six point three volts", 6.3),
    ("one two point seven", 12.7),
    ("nine point six", 9.6),
    ("ten point five volts", 10.5),
    ("twelve volts", 12.0),
    ("four point eight", 4.8),
    ("fourteen point two", 14.2),
    ("zero point zero five", 0.05),
    ("eleven point three one", 11.31),
    ("seven point seven", 7.7),
];
