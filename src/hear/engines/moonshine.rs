//! The default recogniser: a grammar search over the Moonshine tiny English model.

use super::known_clip;
use super::recogniser::Recogniser;
use crate::hear::decode::expand::{self, Expanded, GrammarPart};
use crate::hear::decode::network::{DECODER, Frames};
use crate::hear::decode::noise_prior_cache::NoisePriorCache;
use crate::hear::decode::prior::Prior;
use crate::hear::decode::rescore;
use crate::hear::decode::score::{self, DecodingEvidence, ScoredAnswers, Spelled};
use crate::hear::decode::search::{self, Candidate, SearchResult};
use crate::hear::decode::tokenizer::Tokenizer;
use crate::hear::decode::views::Networks;
use crate::hear::ears::SAMPLE_RATE;
use crate::hear::hear_error::HearError;
use crate::hear::level;
use crate::hear::models;
use crate::hear::models::pinned;
use crate::hear::shape::UtteranceShape;
use crate::hear::speaker::PersonalVoice;
use crate::hear::speaker::speaker_bias;
use crate::phrase::number::NumberWords;
use crate::phrase::{Answer, Grammar, Hypotheses, Hypothesis, NumberSlot, Phrase, Vocabulary};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// The name by which it is chosen.
pub(in crate::hear) const MOONSHINE: &str = "moonshine";
/// Number of phrase tries and of number tries (some megabytes each) kept; a walk returns to the same few.
const KEPT_PHRASES: usize = 24;
const KEPT_NUMBERS: usize = 2;
/// Prefixes whose noise prior is measured in advance while a prompt plays; about 5 ms each.
const PREPARED: usize = 96;
/// Candidates reported for measurements.
const KEPT_SPELLINGS: usize = 150;
/// Silence added before and after the sound, in samples.
const PAD: usize = SAMPLE_RATE / 5;
/// Longest answer in samples; the rest is cut off.
const LONGEST_ANSWER: usize = 15 * SAMPLE_RATE;
/// Root mean square below which nothing was said (-80 dB of full scale, the limit of 16 bits): the model hears words even in silence.
const SILENT: f32 = 1e-4;
/// Longest piece transcribed at once, in samples; longer sound is cut at quiet places.
const LONGEST_PIECE: usize = 14 * SAMPLE_RATE;

/// Name of the model, as enrolled voices store it.
const MODEL: &str = "moonshine-tiny-en";
/// The loaded model with its noise prior and its expanded grammars.
pub struct Moonshine {
    tokenizer: Tokenizer,
    networks: Networks,
    prior: Mutex<Prior>,
    words: NumberWords,
    /// Fillers: phrases that compete with the grammar where it does not allow them.
    fillers: Vec<String>,
    phrases: Shelf<Vec<Phrase>>,
    numbers: Shelf<NumberSlot>,
    voice: Option<PersonalVoice>,
}

/// Expanded parts by their source, most recently used first.
type Shelf<K> = Vec<(K, Arc<GrammarPart>)>;

/// The part for `key`: from the shelf if it is there, else made and put there.
fn shelved<K: PartialEq + Clone>(
    shelf: &mut Shelf<K>,
    key: &K,
    most: usize,
    make: impl FnOnce() -> GrammarPart,
) -> Arc<GrammarPart> {
    let entry = match shelf.iter().position(|(known, _)| known == key) {
        Some(at) => shelf.remove(at),
        None => (key.clone(), Arc::new(make())),
    };
    let out = entry.1.clone();
    shelf.insert(0, entry);
    shelf.truncate(most);
    out
}

impl Moonshine {
    /// Finds and loads the model, in about half a second. Numbers are English until [`Recogniser::use_words`].
    pub fn open() -> Result<Self, HearError> {
        Self::open_with(None)
    }

    /// As [`Moonshine::open`] with another letters network, for fitting on voices that it was not trained with.
    pub fn open_with(letters: Option<&Path>) -> Result<Self, HearError> {
        let models = models::find()?;
        let tokens = models.folder.join("tokenizer.bin");
        pinned::check(&tokens)?;
        let tokenizer = Tokenizer::load(&tokens)?;
        let mut networks = Networks::load(&models, letters)?;
        known_clip::check(&mut networks, &tokenizer, PAD, &models.folder)?;
        let prior = Mutex::new(Prior::new(networks.first(), NoisePriorCache::of(&models.folder.join(DECODER)))?);
        let english = Vocabulary::english();
        let words = english.numbers().clone();
        let (phrases, numbers) = (Vec::new(), Vec::new());
        let fillers = Vec::new();
        let mut out = Moonshine { tokenizer, networks, prior, words, fillers, phrases, numbers, voice: None };
        out.use_words(english, &[]);
        Ok(out)
    }

    /// Expands the grammar.
    fn expand(&mut self, grammar: &Grammar) -> Expanded {
        let (words, fillers, tokenizer) = (&self.words, &self.fillers, &self.tokenizer);
        let mut parts = vec![shelved(&mut self.phrases, &grammar.phrases, KEPT_PHRASES, || {
            GrammarPart::of_phrases(&grammar.phrases, fillers, words, tokenizer)
        })];
        if let Some(slot) = &grammar.number {
            let make = || GrammarPart::of_number(slot, words, tokenizer);
            parts.push(shelved(&mut self.numbers, slot, KEPT_NUMBERS, make));
        }
        Expanded { parts }
    }

    /// Decodes an utterance up to calibration: scored answers, expanded grammar, free transcript and the search's result.
    fn score(
        &mut self,
        sound: &[f32],
        grammar: &Grammar,
    ) -> Result<(Option<ScoredAnswers>, Expanded, String, SearchResult), HearError> {
        let expanded = self.expand(grammar);
        let sound = &sound[..sound.len().min(LONGEST_ANSWER)];
        let seconds = sound.len() as f32 / SAMPLE_RATE as f32;
        let snr = level::signal_to_noise(sound);
        let (frames, letters, mut found) = self.networks.search(&self.prior, sound, PAD, &expanded)?;
        rescore::rescore_with_letters(&mut found, &letters, &expanded);
        let apart = self.distances(&frames, &mut found, grammar, &expanded);
        speaker_bias::add_bias(&mut found, &apart, &expanded);
        let free = self.tokenizer.decode(&found.free.tokens);
        let is_speech = level::active_level(sound) > SILENT;
        let scored = score::score_answers(&found, &expanded, &free, seconds, snr).filter(|_| is_speech);
        Ok((scored, expanded, free, found))
    }
}

impl Moonshine {
    /// Distances from the enrolled voice in use; reinstates pruned phrases that are close.
    fn distances(
        &self,
        frames: &Frames,
        found: &mut SearchResult,
        grammar: &Grammar,
        expanded: &Expanded,
    ) -> Vec<(String, f32)> {
        let Some(voice) = &self.voice else { return Vec::new() };
        let apart = speaker_bias::distances(voice, &frames.shape(), found, grammar, expanded);
        speaker_bias::reinstate(found, &apart, expanded);
        apart
    }

    /// The likely words of an utterance with their score before speaker bias and their distance from the enrolled voice, for fitting.
    ///
    /// # Errors
    /// As [`Recogniser::hear`].
    pub fn compare(&mut self, sound: &[f32], grammar: &Grammar) -> Result<Vec<(String, f32, Option<f32>)>, HearError> {
        let expanded = self.expand(grammar);
        let (frames, letters, mut found) = self.networks.search(&self.prior, sound, PAD, &expanded)?;
        rescore::rescore_with_letters(&mut found, &letters, &expanded);
        let apart = self.distances(&frames, &mut found, grammar, &expanded);
        let mut out: Vec<(String, f32, Option<f32>)> = Vec::new();
        for candidate in found.candidates.iter().filter(|e| expanded.meaning(e.spelling).1.is_some()) {
            let words = expanded.meaning(candidate.spelling).0;
            match out.iter_mut().find(|(known, ..)| known == words) {
                Some((_, score, _)) => {
                    *score = score.max(candidate.score) + (-(*score - candidate.score).abs()).exp().ln_1p()
                }
                None => {
                    let apart = apart.iter().find(|(known, _)| known == words).map(|(_, apart)| *apart);
                    out.push((words.to_owned(), candidate.score, apart));
                }
            }
        }
        Ok(out)
    }

    /// As [`Recogniser::hear`], with the evidence, for measurements and fitting.
    pub fn measure(&mut self, sound: &[f32], grammar: &Grammar) -> Result<(Hypotheses, DecodingEvidence), HearError> {
        let (scored, expanded, free, mut found) = self.score(sound, grammar)?;
        found.candidates.sort_by(|a, b| b.score.total_cmp(&a.score));
        let spelled = |e: &Candidate| Spelled {
            owner: expanded.owner(e.spelling),
            text: expanded.meaning(e.spelling).0.to_owned(),
            plain: e.plain,
            search: e.score - rescore::WEIGHT * e.letters,
            tokens: e.tokens,
            letters: e.letters,
            is_reinstated: e.is_reinstated,
        };
        let evidence = DecodingEvidence {
            features: scored.as_ref().map(|w| w.features),
            free_plain: found.free.plain,
            candidates: found.candidates.iter().take(KEPT_SPELLINGS).map(spelled).collect(),
        };
        Ok((calibrated(scored, &expanded, free, grammar), evidence))
    }
}

/// Calibrates, and adds the free transcript as a note if the grammar asks for one.
fn calibrated(scored: Option<ScoredAnswers>, expanded: &Expanded, free: String, grammar: &Grammar) -> Hypotheses {
    let mut out = match &scored {
        Some(scored) => score::calibrate(scored, expanded, free.clone()),
        None => Hypotheses { stranger: 1.0, free: Some(free.clone()), ..Hypotheses::default() },
    };
    if grammar.note && !free.is_empty() {
        let probability = out.stranger;
        let note = Hypothesis { answer: Answer::Note(free.clone()), words: free, probability };
        let at = out.best.iter().position(|h| h.probability < probability).unwrap_or(out.best.len());
        out.best.insert(at, note);
        out.stranger = 0.0;
    }
    out
}

impl Recogniser for Moonshine {
    fn name(&self) -> &str {
        MOONSHINE
    }

    fn hear(&mut self, sound: &[f32], grammar: &Grammar) -> Result<Hypotheses, HearError> {
        let (scored, expanded, free, _) = self.score(sound, grammar)?;
        Ok(calibrated(scored, &expanded, free, grammar))
    }

    fn transcribe(&mut self, sound: &[f32]) -> Result<String, HearError> {
        let mut words = Vec::new();
        for piece in level::pieces(sound, LONGEST_PIECE) {
            let frames = self.networks.first().encode(&level::levelled(piece, PAD))?;
            let seconds = piece.len() as f32 / SAMPLE_RATE as f32;
            let free = search::free(self.networks.first(), &frames, seconds)?;
            words.push(self.tokenizer.decode(&free.tokens));
        }
        words.retain(|w| !w.is_empty());
        Ok(words.join(" "))
    }

    fn model(&self) -> &str {
        MODEL
    }

    fn shape(&mut self, sound: &[f32]) -> Result<UtteranceShape, HearError> {
        Ok(self.networks.first().encode(&level::levelled(sound, PAD))?.shape())
    }

    fn use_voice(&mut self, voice: PersonalVoice) -> Result<(), HearError> {
        if voice.model() != MODEL {
            let (name, theirs) = (voice.name.clone(), voice.model().to_owned());
            return Err(HearError::OtherVoice { name, theirs, ours: MODEL.to_owned() });
        }
        self.voice = Some(voice);
        Ok(())
    }

    fn prepare(&mut self, grammar: &Grammar) -> Result<(), HearError> {
        for part in self.expand(grammar).parts {
            let prior = self.prior.get_mut().unwrap_or_else(PoisonError::into_inner);
            search::prepare(self.networks.first(), prior, &part, PREPARED)?;
        }
        Ok(())
    }

    fn use_words(&mut self, vocabulary: &Vocabulary, elsewhere: &[String]) {
        self.words = vocabulary.numbers().clone();
        let all = [
            vocabulary.command_phrases(),
            vocabulary.escape_phrases(),
            vocabulary.yes_no_phrases(),
            vocabulary.done_phrases(),
        ];
        let controls = all.concat().into_iter().map(|p| p.words);
        self.fillers = expand::FILLERS.iter().map(|f| (*f).to_owned()).chain(controls).collect();
        self.fillers.extend_from_slice(elsewhere);
        self.fillers.sort_unstable();
        self.fillers.dedup();
        self.phrases.clear();
        self.numbers.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Greedy output uses the ids that the model was trained to emit, so encoding its text must give the same ids. This catches a tokenizer
    /// that picks the wrong one of two equal pieces.
    #[test]
    fn encoding_a_free_transcript_gives_its_ids() {
        let folder = match models::find() {
            Ok(models) => models.folder,
            Err(missing) => return eprintln!("skipped: {missing}"),
        };
        let mut engine = Moonshine::open().expect("the model loads");
        let mut tokens = 0;
        for file in ["two_cities.wav", "beckett.wav"] {
            let Ok(mut reader) = hound::WavReader::open(folder.join(file)) else {
                eprintln!("skipped: {file} is not beside the model");
                continue;
            };
            let step = reader.spec().sample_rate as usize / SAMPLE_RATE;
            let sound: Vec<f32> =
                reader.samples::<i16>().step_by(step).map(|s| f32::from(s.expect("16 bits")) / 32_768.0).collect();
            for piece in level::pieces(&sound, LONGEST_PIECE) {
                let frames = engine.networks.first().encode(&level::levelled(piece, PAD)).expect("it encodes");
                let free = search::free(engine.networks.first(), &frames, 14.0).expect("it decodes");
                let text = engine.tokenizer.decode(&free.tokens);
                assert!(text.len() > 20, "{file}: {text:?}");
                assert_eq!(engine.tokenizer.encode(&text), free.tokens, "{text}");
                tokens += free.tokens.len();
            }
        }
        println!("{tokens} tokens came back the same");
    }
}
