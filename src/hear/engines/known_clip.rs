//! The known recording heard once when the speech model is loaded: one that is damaged (numbers that are no numbers, other weights) is told
//! now, not in the middle of a walk.

use crate::hear::decode::search;
use crate::hear::decode::tokenizer::Tokenizer;
use crate::hear::decode::views::Networks;
use crate::hear::ears::SAMPLE_RATE;
use crate::hear::hear_error::HearError;
use crate::hear::level::levelled;
use crate::hear::models::known_sound::{WORDS, sound};
use std::path::Path;

/// Least log probability of its words, a token.
const LEAST: f32 = -1.0;

/// Refuses a speech model that does not hear the recording's words; `folder` is what the error names, `pad` the silence around an utterance.
///
/// # Errors
/// It hears something else, or fails.
pub fn check(networks: &mut Networks, tokenizer: &Tokenizer, pad: usize, folder: &Path) -> Result<(), HearError> {
    let sound = sound();
    let mut hear = || {
        let frames = networks.first().encode(&levelled(&sound, pad))?;
        search::free(networks.first(), &frames, sound.len() as f32 / SAMPLE_RATE as f32)
    };
    let heard = hear().map_err(|e| HearError::damaged(folder, e))?;
    let words = crate::phrase::normalise(&tokenizer.decode(&heard.tokens));
    let surely = heard.plain / heard.tokens.len().max(1) as f32;
    if words.starts_with(WORDS) && surely >= LEAST {
        return Ok(());
    }
    Err(HearError::damaged(folder, format!("it hears \"{words}\" ({surely:.1}) where a recording says \"{WORDS}\"")))
}
