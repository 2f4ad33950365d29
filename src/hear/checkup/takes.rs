//! Decides whether a recorded take of a phrase is good enough to keep: loud enough, not clipped, and of that phrase.

use super::recording;
use crate::hear::engines::Recogniser;
use crate::hear::hear_error::HearError;
use crate::hear::segment::activity::Activity;
use crate::hear::speaker::Take;
use crate::phrase::{Answer, Grammar, Phrase, Stakes, Verdict, decide};

/// Lowest active speech level of a take, in decibels of full scale.
const QUIETEST_DB: f32 = -50.0;
/// Largest share of clipped samples in a take.
const MOST_CLIPPED: f32 = 1e-3;
/// Longest take, in samples at 16 kHz: six seconds.
const LONGEST: usize = 6 * 16_000;
/// A take farther than this from every other take of its phrase is something else. One person's takes of one digit are closer than 0.26 in
/// 99 % of cases, those of two digits farther than 0.27 (three people of the Free Spoken Digit Dataset).
const MOST_APART: f32 = 0.36;

/// Reason for rejecting a take.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TakeFault {
    /// There is no voice in it.
    #[error("nobody speaks in it")]
    Silent,
    /// It is too quiet.
    #[error("it is too quiet ({0:.0} dB of full scale): speak up or come nearer to the microphone")]
    Quiet(f32),
    /// It is clipped.
    #[error("it is clipped ({:.1} % of it): turn the microphone's level down", .0 * 100.0)]
    Clipped(f32),
    /// It is longer than a phrase.
    #[error("it is longer than six seconds: say only the phrase")]
    Long,
    /// It is another phrase.
    #[error("it sounds like \"{0}\"")]
    Other(String),
    /// It is unlike the other takes of the phrase.
    #[error("it is unlike the other takes of this phrase")]
    Unlike,
}

/// A grammar with one answer per phrase, to tell a take from the other phrases.
pub fn grammar_of(phrases: &[String]) -> Grammar {
    let phrase = |words: &String| Phrase { words: words.clone(), answer: Answer::Choice(words.clone()) };
    Grammar { phrases: phrases.iter().map(phrase).collect(), ..Grammar::default() }
}

/// Judges a take of `words`. `activity` cuts the speech out; `others` are the takes of the same words so far; `grammar` holds all phrases to be
/// enrolled.
///
/// # Errors
/// When the recogniser fails or cannot enrol voices.
pub fn examine(
    activity: &mut Activity,
    engine: &mut dyn Recogniser,
    sound: &[f32],
    words: &str,
    others: &[Take],
    grammar: &Grammar,
) -> Result<Result<Take, TakeFault>, HearError> {
    let Some(sound) = activity.speech_in(sound) else { return Ok(Err(TakeFault::Silent)) };
    let speech = recording::speech(sound);
    if speech.level_db < QUIETEST_DB {
        return Ok(Err(TakeFault::Quiet(speech.level_db)));
    }
    if speech.clipped > MOST_CLIPPED {
        return Ok(Err(TakeFault::Clipped(speech.clipped)));
    }
    if sound.len() > LONGEST {
        return Ok(Err(TakeFault::Long));
    }
    let shape = engine.shape(sound)?;
    let nearest = others.iter().map(|o| o.shape.apart(&shape)).fold(f32::INFINITY, f32::min);
    if !others.is_empty() && nearest > MOST_APART {
        return Ok(Err(TakeFault::Unlike));
    }
    let heard = engine.hear(sound, grammar)?;
    // Reject only what would be accepted as another phrase: a strong accent is recognised badly at first.
    if let Verdict::Accept { heard } = decide(&heard, Stakes::High)
        && heard.answer != Answer::Choice(words.to_owned())
    {
        return Ok(Err(TakeFault::Other(heard.words)));
    }
    Ok(Ok(Take { words: words.to_owned(), shape }))
}

/// The phrase in the name of a recording, `PHRASE_TAKE` with `-` for spaces: "stays-dark_2" is "stays dark".
pub fn phrase_of(stem: &str) -> Option<String> {
    let (phrase, take) = stem.rsplit_once('_')?;
    let words = crate::phrase::normalise(&phrase.replace(['-', '_'], " "));
    (!words.is_empty() && !take.is_empty() && take.chars().all(char::is_alphanumeric)).then_some(words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::{HearError, UtteranceShape};
    use crate::phrase::{Hypotheses, Hypothesis};

    /// A recogniser that always hears the same words and gives every sound the same shape.
    struct Scripted(&'static str);

    impl Recogniser for Scripted {
        fn name(&self) -> &str {
            "scripted"
        }
        fn hear(&mut self, _: &[f32], _: &Grammar) -> Result<Hypotheses, HearError> {
            let answer = Answer::Choice(self.0.into());
            let best = vec![Hypothesis { answer, words: self.0.into(), probability: 0.99 }];
            Ok(Hypotheses { best, ..Hypotheses::default() })
        }
        fn transcribe(&mut self, _: &[f32]) -> Result<String, HearError> {
            Ok(self.0.into())
        }
        fn shape(&mut self, _: &[f32]) -> Result<UtteranceShape, HearError> {
            Ok(UtteranceShape::new(&[1.0, 0.0, 0.0, 1.0], 2))
        }
    }

    /// A second of a recorded voice between silences; `loud` is its peak.
    fn voice(loud: f32) -> Vec<f32> {
        let models = crate::hear::models::find().expect("models/setup was run");
        let all = crate::hear::read_wav(&models.folder.join("two_cities.wav")).expect("a recording");
        let said = &all[8_000..24_000];
        let peak = said.iter().fold(0.0f32, |most, x| most.max(x.abs()));
        let mut sound = vec![0.0; 8_000];
        sound.extend(said.iter().map(|x| x * loud / peak));
        sound.resize(32_000, 0.0);
        sound
    }

    fn look(sound: &[f32], heard: &'static str, others: &[Take]) -> Result<Take, TakeFault> {
        let grammar = grammar_of(&["light on".into(), "stays dark".into()]);
        let mut activity = Activity::usual().expect("models/setup was run");
        examine(&mut activity, &mut Scripted(heard), sound, "light on", others, &grammar).expect("it hears")
    }

    #[test]
    fn takes_are_kept_or_refused_with_a_reason() {
        assert_eq!(look(&[0.0; 16_000], "light on", &[]), Err(TakeFault::Silent));
        assert!(look(&voice(0.1), "light on", &[]).is_ok());
        assert_eq!(look(&voice(0.1), "stays dark", &[]), Err(TakeFault::Other("stays dark".into())));
        let cut: Vec<f32> = voice(2.0).iter().map(|x| x.clamp(-1.0, 1.0)).collect();
        assert!(matches!(look(&cut, "light on", &[]), Err(TakeFault::Clipped(_))));
        let unlike = Take { words: "light on".into(), shape: UtteranceShape::new(&[0.0, 1.0, 1.0, 0.0], 2) };
        assert_eq!(look(&voice(0.1), "light on", &[unlike]), Err(TakeFault::Unlike));
    }

    #[test]
    fn file_names_give_the_phrase() {
        assert_eq!(phrase_of("stays-dark_2").as_deref(), Some("stays dark"));
        assert_eq!(phrase_of("o_l_1").as_deref(), Some("o l"));
        for bad in ["ready", "_1", "ready_", "ready_../x"] {
            assert_eq!(phrase_of(bad), None, "{bad}");
        }
    }
}
