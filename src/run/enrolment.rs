//! Enrols one person's voice, from the microphone or from WAV files.

use super::outcome::{Failure, Outcome, unheard, unvoiced};
use crate::hear::takes::{TakeFault, examine, grammar_of, phrase_of};
use crate::hear::{self, Activity, EarEvent, Ears, Mic, PersonalVoice, Recogniser, Take};
use crate::phrase::Grammar;
use crate::terminal::say;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

/// How long the user may take to begin to speak.
const PATIENCE: Duration = Duration::from_secs(10);
/// Tries at one take before the phrase is skipped.
const MOST_TRIES: usize = 3;
/// Number of consecutive silences after which nobody seems to be there.
const MOST_SILENCES: usize = 3;

/// An enrolment in progress.
pub struct Learning {
    activity: Activity,
    engine: Box<dyn Recogniser>,
    voice: PersonalVoice,
    file: PathBuf,
    kept: usize,
    phrases: usize,
}

impl Learning {
    /// Enrols `voice`, which is stored in `file`.
    pub fn new(activity: Activity, engine: Box<dyn Recogniser>, voice: PersonalVoice, file: PathBuf) -> Self {
        Self { activity, engine, voice, file, kept: 0, phrases: 0 }
    }

    /// Number of takes kept.
    pub fn kept(&self) -> usize {
        self.kept
    }

    /// Number of phrases with at least one take.
    pub fn phrases(&self) -> usize {
        self.phrases
    }

    /// The file that stores the voice.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Replaces the older takes of a phrase and writes the voice to disk at once.
    fn keep(&mut self, words: &str, takes: Vec<Take>) -> Result<(), Failure> {
        if takes.is_empty() {
            return Ok(());
        }
        self.kept += takes.len();
        self.phrases += 1;
        self.voice.forget(words);
        takes.into_iter().for_each(|take| self.voice.add(take));
        self.voice.keep(&self.file).map_err(unvoiced)
    }

    fn look(
        &mut self,
        sound: &[f32],
        words: &str,
        others: &[Take],
        grammar: &Grammar,
    ) -> Result<Result<Take, TakeFault>, Failure> {
        examine(&mut self.activity, self.engine.as_mut(), sound, words, others, grammar)
            .map_err(|e| Failure::Input(format!("\"{words}\": {e}")))
    }

    /// Enrols from files. Returns 1 if one of them was unusable.
    ///
    /// # Errors
    /// A folder that cannot be read or holds no recording, or a voice that cannot be stored.
    pub fn files(&mut self, folder: &Path) -> Outcome {
        let entries = std::fs::read_dir(folder)
            .map_err(|e| Failure::Input(format!("{}: this folder cannot be read: {e}", folder.display())))?;
        let mut files: Vec<PathBuf> = entries.filter_map(|e| Some(e.ok()?.path())).collect();
        files.retain(|f| f.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav")));
        files.sort();
        let mut by: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
        let mut code = 0;
        for file in files {
            match phrase_of(&file.file_stem().unwrap_or_default().to_string_lossy()) {
                Some(words) => by.entry(words).or_default().push(file),
                None => {
                    crate::terminal::errln!("{}: name it PHRASE_TAKE.wav, such as stays-dark_1.wav", file.display());
                    code = 1;
                }
            }
        }
        if by.is_empty() {
            return Err(Failure::Input(format!(
                "{}: there is no recording in it; name them PHRASE_TAKE.wav, such as stays-dark_1.wav",
                folder.display()
            )));
        }
        let grammar = grammar_of(&by.keys().cloned().collect::<Vec<_>>());
        for (words, files) in by {
            let mut takes = Vec::new();
            for file in files {
                let sound = match hear::read_wav(&file) {
                    Ok(sound) => sound,
                    Err(why) => {
                        crate::terminal::errln!("{why}");
                        code = 1;
                        continue;
                    }
                };
                match self.look(&sound, &words, &takes, &grammar)? {
                    Ok(take) => takes.push(take),
                    Err(fault) => {
                        crate::terminal::errln!("{}: this take of \"{words}\" is not kept: {fault}.", file.display());
                        code = 1;
                    }
                }
            }
            self.keep(&words, takes)?;
        }
        Ok(code)
    }

    /// Asks for every phrase at the microphone. Returns 1 if one could not be learned.
    ///
    /// # Errors
    /// No microphone, nobody there, or a voice that cannot be stored.
    pub fn live(&mut self, phrases: &[String], takes: usize) -> Outcome {
        let (to, mut from) = unbounded_channel();
        let mut mic = Mic::start(to, Activity::usual().map_err(unheard)?).map_err(|e| Failure::Lacks(e.to_string()))?;
        let grammar = grammar_of(phrases);
        say(&format!(
            "{} phrases, {takes} takes of each. Speak as you would at the bike, after each line. Ctrl-C ends it; what was learnt is kept.\n",
            phrases.len()
        ));
        let (mut code, mut silences) = (0, 0);
        for (at, words) in phrases.iter().enumerate() {
            let mut kept: Vec<Take> = Vec::new();
            let mut tries = 0;
            while kept.len() < takes && tries < MOST_TRIES {
                say(&format!("{:>3} of {}  {words}  ({} of {takes})\n", at + 1, phrases.len(), kept.len() + 1));
                let Some(sound) = next(&mut mic, &mut from) else {
                    silences += 1;
                    tries += 1;
                    if silences >= MOST_SILENCES {
                        self.keep(words, kept)?;
                        return Err(Failure::Input(
                            "nobody was heard three times; 'probeside soundcheck' says how the microphone stands"
                                .into(),
                        ));
                    }
                    continue;
                };
                silences = 0;
                match self.look(&sound, words, &kept, &grammar)? {
                    Ok(take) => {
                        kept.push(take);
                        tries = 0;
                    }
                    Err(fault) => {
                        tries += 1;
                        say(&format!("          not kept: {fault}. Once more:\n"));
                    }
                }
            }
            if kept.is_empty() {
                say(&format!("          \"{words}\" is left as it is.\n"));
                code = 1;
            }
            self.keep(words, kept)?;
        }
        Ok(code)
    }
}

/// The next utterance from the microphone.
fn next(mic: &mut Mic, from: &mut UnboundedReceiver<EarEvent>) -> Option<Vec<f32>> {
    while from.try_recv().is_ok() {}
    mic.open();
    let until = Instant::now() + PATIENCE;
    let mut heard = None;
    let mut speaking = false;
    while heard.is_none() && (Instant::now() < until || speaking) {
        match from.try_recv() {
            Ok(EarEvent::Began { .. }) => speaking = true,
            Ok(EarEvent::Utterance(utterance)) if utterance.last => heard = Some(utterance.sound.to_vec()),
            Ok(EarEvent::Lost(why)) => {
                crate::terminal::errln!("{why}");
                speaking = false;
            }
            Ok(_) => {}
            Err(_) => std::thread::sleep(Duration::from_millis(5)),
        }
    }
    mic.close();
    heard
}
