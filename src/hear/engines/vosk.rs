//! The second recogniser, for languages with a Vosk model. It runs as the separate process `probeside-vosk`, reached over pipes: a missing
//! library, a crash or a hang becomes an error, and the next utterance restarts the process.
//!
//! The library treats a grammar as a word bigram, drops words unknown to the model, and crashes on quotation marks. So every word is looked
//! up first, only letters are sent, and a result counts only if it is a whole phrase.

use super::recogniser::Recogniser;
use crate::hear::ears::RATE;
use crate::hear::hear_error::HearError;
use crate::hear::models;
use crate::hear::wav::to_16_bit;
use crate::phrase::number::{self, NumberWords};
use crate::phrase::{Answer, Grammar, Hypotheses, Hypothesis, Vocabulary, normalise};
use crate::system::Companion;
use serde_json::{Value, json};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// The name by which it is chosen.
pub(in crate::hear) const VOSK: &str = "vosk";
/// Environment variable that names the program, if it is not beside this one.
const PROGRAM_VARIABLE: &str = "PROBESIDE_VOSK";
const PROGRAM: &str = "probeside-vosk";
/// The library's file in the model folder.
const LIBRARY: &str = "vosk/libvosk.so";
/// Prefix of a model's folder; the language follows.
const MODEL: &str = "vosk-model-";
/// Time limits: to load the model, and for one answer in addition to the length of its sound. The Korean model takes 0.03 s a phrase.
const LOADING: Duration = Duration::from_secs(60);
const ANSWERING: Duration = Duration::from_secs(10);
/// Longest utterance sent, in samples, which is also the program's limit: two minutes, longer than any answer. A longer note is whole in its clip.
const MOST_SAMPLES: usize = 2 * 60 * RATE as usize;
/// Longest answer line in bytes: the words of two minutes take some 100 kB.
const LONGEST_LINE: u64 = 4 << 20;
/// Most number phrases in a grammar; less usual phrasings beyond it are left out.
const MOST_NUMBERS: usize = 3_000;
/// The library's symbols for unknown words.
const OTHER: [&str; 2] = ["[unk]", "<unk>"];
/// Highest probability of a whole phrase. The library's confidence is not a probability: utterances outside the grammar score high too. This
/// value is accepted at low stakes, where "go back" undoes it, and confirmed at high stakes. Chosen, not fitted.
const MOST_BELIEVED: f64 = 0.94;
/// Highest probability of a number, so that it is always confirmed: of 19 voltages that a synthetic voice said in Korean, two were heard as
/// another number with full confidence.
const MOST_BELIEVED_NUMBER: f64 = 0.90;
/// Highest probability of an acknowledgement. A walk never confirms one, so with a lower value none could be accepted after a caution.
const MOST_BELIEVED_DONE: f64 = 0.95;

/// Vosk in a separate process.
pub struct Vosk {
    program: PathBuf,
    library: PathBuf,
    model: PathBuf,
    /// Time limit for an answer, in addition to the length of its sound.
    answering: Duration,
    numbers: NumberWords,
    running: Option<Companion>,
    /// The last grammar whose words the model is known to have.
    looked_up: Option<Grammar>,
}

fn lacks(why: impl Into<String>) -> HearError {
    HearError::VoskMissing { why: why.into() }
}

impl Vosk {
    /// Starts the process with the model in `folder`, or with the installed model of `language`.
    ///
    /// # Errors
    /// When the program, the library or the model is missing or does not start.
    pub fn open(folder: Option<&Path>, language: &str) -> Result<Self, HearError> {
        let library = models::member(LIBRARY).ok_or_else(|| lacks(format!("{LIBRARY} is not among the models")))?;
        let model = match folder {
            Some(folder) => folder.to_path_buf(),
            None => models::beginning(&format!("{MODEL}{language}"))
                .ok_or_else(|| lacks(format!("there is no model for \"{language}\"; name one with --model DIR")))?,
        };
        if !model.is_dir() {
            return Err(lacks(format!("there is no model in {}", model.display())));
        }
        Self::of(program()?, library, model, ANSWERING)
    }

    /// Starts `program` with this library and model. `answering` is the time limit for an answer, in addition to the length of its sound.
    ///
    /// # Errors
    /// When the process does not start, or is not ready in time.
    pub fn of(program: PathBuf, library: PathBuf, model: PathBuf, answering: Duration) -> Result<Self, HearError> {
        let numbers = Vocabulary::english().numbers().clone();
        let mut out = Self { program, library, model, answering, numbers, running: None, looked_up: None };
        out.running = Some(out.start()?);
        Ok(out)
    }

    fn start(&self) -> Result<Companion, HearError> {
        let mut command = Command::new(&self.program);
        command.arg(&self.library).arg(&self.model);
        let mut running = Companion::start(command, LONGEST_LINE)
            .map_err(|why| lacks(format!("{} {why}", self.program.display())))?;
        let refuse = |why: String| Err(lacks(format!("{PROGRAM} with the model {}: {why}", self.model.display())));
        let first = match running.line(LOADING) {
            Ok(line) => line,
            Err(why) => return refuse(format!("while it loaded the model it {why}")),
        };
        let first: Value = serde_json::from_str(&first).unwrap_or_default();
        match first["error"].as_str() {
            _ if first["ready"] == true => Ok(running),
            Some(why) => refuse(why.to_owned()),
            None => refuse("what it says is not understood".to_owned()),
        }
    }

    /// Sends a request and returns the list `wanted` from the answer. A process that ended, hangs or answers nonsense is restarted by the next request.
    fn ask(&mut self, request: &Value, sound: &[u8], wanted: &str) -> Result<Vec<Value>, HearError> {
        let mut running = match self.running.take() {
            Some(running) => running,
            None => self.start()?,
        };
        let bytes = [format!("{request}\n").as_bytes(), sound].concat();
        let length = Duration::from_secs_f64(sound.len() as f64 / 2.0 / f64::from(RATE));
        let again = |why: String| lacks(format!("{PROGRAM} {why}; it is started again for the next utterance"));
        let answer = running.ask(bytes, self.answering + length).map_err(|why| again(why.to_string()))?;
        let mut answer: Value = serde_json::from_str(&answer).unwrap_or_default();
        let list = answer.get_mut(wanted).map(Value::take);
        match (list, answer["error"].as_str()) {
            (_, Some(why)) => {
                self.running = Some(running);
                Err(HearError::Failed(why.to_owned()))
            }
            (Some(Value::Array(list)), None) => {
                self.running = Some(running);
                Ok(list)
            }
            _ => Err(again("said what is not understood".to_owned())),
        }
    }

    /// The answers of a grammar by their plain words.
    fn said(&self, grammar: &Grammar) -> HashMap<String, Answer> {
        let mut all: HashMap<String, Answer> = HashMap::new();
        for phrase in &grammar.phrases {
            all.entry(plain(&phrase.words)).or_insert_with(|| phrase.answer.clone());
        }
        if let Some(slot) = &grammar.number {
            for (words, reading) in number::spellings_in(slot, &self.numbers).into_iter().take(MOST_NUMBERS) {
                all.entry(plain(&words)).or_insert(Answer::Reading(reading));
            }
        }
        all.remove("");
        all
    }

    /// Rejects a grammar with a word that the model does not know: the library would drop it silently.
    fn look_up(&mut self, grammar: &Grammar, said: &HashMap<String, Answer>) -> Result<(), HearError> {
        if self.looked_up.as_ref() == Some(grammar) {
            return Ok(());
        }
        let mut words: Vec<&str> = said.keys().flat_map(|p| p.split(' ')).collect();
        words.sort_unstable();
        words.dedup();
        let unknown = self.ask(&json!({ "words": words }), &[], "unknown")?;
        let unknown: Vec<&str> = unknown.iter().filter_map(Value::as_str).collect();
        if !unknown.is_empty() {
            let model = self.model.display().to_string();
            return Err(HearError::UnknownWords { words: unknown.join(", "), model });
        }
        self.looked_up = Some(grammar.clone());
        Ok(())
    }

    fn results(&mut self, phrases: &[&str], sound: &[f32]) -> Result<(String, f64), HearError> {
        let sound = &sound[..sound.len().min(MOST_SAMPLES)];
        let bytes: Vec<u8> = sound.iter().flat_map(|x| to_16_bit(*x).to_le_bytes()).collect();
        Ok(joined(&self.ask(&json!({ "phrases": phrases, "samples": sound.len() }), &bytes, "pieces")?))
    }
}

/// Joins all pieces: the words, and the lowest confidence of any word.
fn joined(pieces: &[Value]) -> (String, f64) {
    let text: Vec<&str> = pieces.iter().filter_map(|p| p["text"].as_str()).filter(|t| !t.is_empty()).collect();
    let sure =
        pieces.iter().flat_map(|p| p["result"].as_array().into_iter().flatten()).filter_map(|w| w["conf"].as_f64());
    (text.join(" "), sure.fold(1.0, f64::min))
}

/// Words as they are sent: letters, digits, apostrophes and single spaces.
fn plain(words: &str) -> String {
    let kept: String = words.chars().map(|c| if c.is_alphanumeric() || c == '\'' { c } else { ' ' }).collect();
    kept.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Matches a result against the phrases: a whole phrase or nothing.
fn matched(text: &str, sure: f64, said: &HashMap<String, Answer>) -> Hypotheses {
    let lower = text.to_lowercase();
    let other = OTHER.iter().any(|o| lower.contains(o));
    let words = normalise(&OTHER.iter().fold(lower, |text, o| text.replace(o, " ")));
    let found = said.get(&plain(&words)).filter(|_| !other);
    let best = found.map(|answer| {
        let most = match answer {
            Answer::Reading(_) => MOST_BELIEVED_NUMBER,
            Answer::Done => MOST_BELIEVED_DONE,
            _ => MOST_BELIEVED,
        };
        let probability = sure.clamp(0.0, 1.0) * most;
        Hypothesis { answer: answer.clone(), words: plain(&words), probability }
    });
    let stranger = 1.0 - best.as_ref().map_or(0.0, |b| b.probability);
    let longer = |heard: &Hypothesis| {
        said.keys().any(|p| p.strip_prefix(&heard.words).is_some_and(|rest| rest.starts_with(' ')))
    };
    let may_go_on = best.as_ref().is_some_and(longer);
    Hypotheses { best: best.into_iter().collect(), stranger, free: Some(words), may_go_on }
}

fn program() -> Result<PathBuf, HearError> {
    if let Some(named) = std::env::var_os(PROGRAM_VARIABLE).filter(|v| !v.is_empty()) {
        return Ok(named.into());
    }
    let own = std::env::current_exe().map_err(|e| lacks(e.to_string()))?;
    let name = format!("{PROGRAM}{}", std::env::consts::EXE_SUFFIX);
    let beside = own.ancestors().skip(1).take(2).map(|folder| folder.join(&name)).find(|p| p.is_file());
    beside.ok_or_else(|| lacks(format!("{PROGRAM} does not lie beside {}", own.display())))
}

impl Recogniser for Vosk {
    fn name(&self) -> &str {
        VOSK
    }

    fn hear(&mut self, sound: &[f32], grammar: &Grammar) -> Result<Hypotheses, HearError> {
        let said = self.said(grammar);
        self.look_up(grammar, &said)?;
        let phrases: Vec<&str> = said.keys().map(String::as_str).collect();
        // Sound longer than any answer is not an answer, whatever it begins with.
        let mut heard = match sound.len() > MOST_SAMPLES {
            true => Hypotheses { stranger: 1.0, ..Hypotheses::default() },
            false => {
                let (text, sure) = self.results(&phrases, sound)?;
                matched(&text, sure, &said)
            }
        };
        if grammar.note && heard.best.is_empty() {
            let words = self.transcribe(sound)?;
            heard.best.push(Hypothesis { answer: Answer::Note(words.clone()), words, probability: heard.stranger });
            heard.stranger = 0.0;
        }
        Ok(heard)
    }

    fn transcribe(&mut self, sound: &[f32]) -> Result<String, HearError> {
        Ok(self.results(&[], sound)?.0)
    }

    fn prepare(&mut self, grammar: &Grammar) -> Result<(), HearError> {
        let said = self.said(grammar);
        self.look_up(grammar, &said)
    }

    fn use_words(&mut self, vocabulary: &Vocabulary, _elsewhere: &[String]) {
        self.numbers = vocabulary.numbers().clone();
        self.looked_up = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::{Stakes, Verdict, decide};

    fn said() -> HashMap<String, Answer> {
        ["light on", "light on left"].map(|w| (w.to_owned(), Answer::Choice(w.into()))).into()
    }

    #[test]
    fn only_a_whole_phrase_counts() {
        let heard = matched("light on", 1.0, &said());
        assert_eq!(heard.best[0].answer, Answer::Choice("light on".into()));
        assert!(heard.may_go_on);
        for text in ["light", "on light", "light on [unk]", "[unk]", "<UNK> light on", ""] {
            let heard = matched(text, 1.0, &said());
            assert!(heard.best.is_empty() && heard.stranger == 1.0, "{text}");
        }
    }

    #[test]
    fn much_is_asked_about_and_an_acknowledgement_is_not() {
        let (quantity, unit) = (crate::units::Quantity::Voltage, crate::units::Unit::Volt);
        let slot = crate::phrase::NumberSlot { quantity, unit, low: 12.0, high: 12.0, resolution: 1.0 };
        let reading = Answer::Reading(number::spellings(&slot).remove(0).1);
        let said = HashMap::from([
            ("light on".to_owned(), Answer::Choice("on".into())),
            ("all done".to_owned(), Answer::Done),
            ("twelve volts".to_owned(), reading),
        ]);
        let taken = |words: &str, stakes| matches!(decide(&matched(words, 1.0, &said), stakes), Verdict::Accept { .. });
        assert!(taken("light on", Stakes::Low) && !taken("light on", Stakes::High));
        assert!(taken("all done", Stakes::High) && !taken("twelve volts", Stakes::Low));
    }

    #[test]
    fn pieces_are_joined_and_the_least_sure_word_counts() {
        let pieces = [
            json!({"text": "light", "result": [{"word": "light", "conf": 0.9}]}),
            json!({"text": ""}),
            json!({"text": "on", "result": [{"word": "on", "conf": 0.6}]}),
        ];
        assert_eq!(joined(&pieces), ("light on".to_owned(), 0.6));
    }

    #[test]
    fn no_quotation_mark_reaches_the_library() {
        assert_eq!(plain("say \"again\" [unk] {x}"), "say again unk x");
    }
}
