//! A folder of sound files with a table of their content, so that any recordings can be measured.
//!
//! `answers.csv` in the folder starts with a line of column names. Each further line describes a file: `file`, `expect` (the grammar, as in
//! `probeside hear --expect`), `answer` (the words spoken; empty for talk or noise that answers nothing), and, if known, `voice`, `noise`,
//! `snr`, `level` (decibels). Fields that contain a comma are enclosed in double quotes.

use crate::shipped::Listening;
use crate::trials::{Again, Kind, Trial, hear};
use probeside::hear::Moonshine;
use probeside::phrase::{Answer, Stakes, Verdict, Vocabulary, decide, normalise, understand};
use std::path::Path;
use std::sync::Arc;

/// The fields of one line.
fn fields(line: &str) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => out.push(String::new()),
            c => out.last_mut().expect("never empty").push(c),
        }
    }
    out.iter().map(|f| f.trim().to_owned()).collect()
}

/// Recognises every file in the table. A faulty line is reported and skipped.
pub fn run(folder: &Path) -> Vec<Trial> {
    let table = folder.join("answers.csv");
    let text = match std::fs::read_to_string(&table) {
        Ok(text) => text,
        Err(why) => {
            eprintln!("{}: the table of answers cannot be read: {why}", table.display());
            return Vec::new();
        }
    };
    let mut lines = text.lines();
    let names = fields(lines.next().unwrap_or_default());
    let mut engine = Moonshine::open().expect("the model");
    let mut out = Vec::new();
    for (number, line) in lines.enumerate().filter(|(_, l)| !l.trim().is_empty()) {
        let all = fields(line);
        let field = |name: &str| {
            let at = names.iter().position(|n| n == name)?;
            all.get(at).filter(|f| !f.is_empty()).cloned()
        };
        let place = format!("{}:{}", table.display(), number + 2);
        match one(folder, &place, &field, &mut engine) {
            Ok(trial) => out.push(trial),
            Err(why) => eprintln!("{place}: {why}"),
        }
    }
    out
}

fn one(
    folder: &Path,
    place: &str,
    field: &dyn Fn(&str) -> Option<String>,
    engine: &mut Moonshine,
) -> Result<Trial, String> {
    let vocabulary = Vocabulary::english();
    let expect = field("expect").ok_or("no `expect`: write what may be said, such as lit|dark|NUMBER volt")?;
    let grammar = probeside::commands::expected(&expect, vocabulary).map_err(|e| e.to_string())?;
    let path = folder.join(field("file").ok_or("no `file`")?);
    probeside::hear::read_wav(&path).map_err(|e| e.to_string())?;
    let words = normalise(&field("answer").unwrap_or_default());
    let kind = match words.as_str() {
        "" => Kind::Talk,
        _ => Kind::Said(meaning(&words, &grammar).ok_or(format!("`expect` does not allow \"{words}\""))?),
    };
    let listening = Listening { place: place.to_owned(), grammar: Arc::new(grammar), high: Vec::new() };
    let decibels = |name: &str| field(name).and_then(|f| f.parse().ok());
    let named = |name: &str| field(name).unwrap_or_else(|| "not said".into());
    let trial = hear(engine, &listening, kind, words, Again::File(path));
    Ok(trial.in_scene(named("voice"), named("noise"), decibels("snr"), decibels("level")))
}

fn meaning(words: &str, grammar: &probeside::phrase::Grammar) -> Option<Answer> {
    match decide(&understand(words, grammar, Vocabulary::english()), Stakes::Low) {
        Verdict::Accept { heard } => Some(heard.answer),
        _ => grammar.phrases.iter().find(|p| p.words == words).map(|p| p.answer.clone()),
    }
}
