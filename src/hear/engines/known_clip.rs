//! Self-test of the speech model on a known recording at load time, so that a damaged model (NaN, wrong weights) fails now and not during a
//! walk.

use crate::hear::decode::search;
use crate::hear::decode::tokenizer::Tokenizer;
use crate::hear::decode::views::Networks;
use crate::hear::ears::SAMPLE_RATE;
use crate::hear::hear_error::HearError;
use crate::hear::level::levelled;
use crate::hear::models::known_sound::{WORDS, sound};
use std::path::Path;

/// Lowest accepted mean log probability per token.
const LEAST: f32 = -1.0;

/// Rejects a speech model that does not recognise the recording. The error names `folder`; `pad` is the silence around an utterance.
///
/// # Errors
/// When the model recognises something else, or fails.
pub(in crate::hear) fn check(
    networks: &mut Networks,
    tokenizer: &Tokenizer,
    pad: usize,
    folder: &Path,
) -> Result<(), HearError> {
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
