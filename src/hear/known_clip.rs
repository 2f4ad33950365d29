//! A short recording whose words are known, heard once when a network is loaded: one that is damaged (numbers that are no numbers,
//! other weights) is told now, not in the middle of a walk.
//!
//! The recording is espeak-ng's, made by `tests/measure/known-clip.sh`.

use super::decode;
use super::level::levelled;
use super::tokenizer::Tokenizer;
use super::views::Networks;
use super::wav;
use super::{HearError, SAMPLE_RATE};
use std::path::Path;

/// The recording, in the program.
const CLIP: &[u8] = include_bytes!("../../models/known-clip.wav");
/// What is said in it.
const WORDS: &str = "the light is on";
/// Least log probability of its words a token; measured: -0.1.
const LEAST: f32 = -1.0;

/// The recording, 16 kHz.
pub fn sound() -> Vec<f32> {
    wav::decode(CLIP, Path::new("models/known-clip.wav")).map(|(_, sound)| sound).unwrap_or_default()
}

/// Refuses a speech model that does not hear the recording's words; `folder` is what the error names, `pad` the silence around an utterance.
///
/// # Errors
/// It hears something else, or fails.
pub fn check(networks: &mut Networks, tokenizer: &Tokenizer, pad: usize, folder: &Path) -> Result<(), HearError> {
    let sound = sound();
    let mut hear = || {
        let frames = networks.first().encode(&levelled(&sound, pad))?;
        decode::free(networks.first(), &frames, sound.len() as f32 / SAMPLE_RATE as f32)
    };
    let heard = hear().map_err(|e| HearError::damaged(folder, e))?;
    let words = crate::phrase::normalise(&tokenizer.decode(&heard.tokens));
    let surely = heard.plain / heard.tokens.len().max(1) as f32;
    if words == WORDS && surely >= LEAST {
        return Ok(());
    }
    Err(HearError::damaged(folder, "it does not hear the words of a recording that it has to know"))
}
