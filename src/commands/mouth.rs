//! Opens the speech output.

use super::file;
use crate::hear::PlayedTo;
use crate::run::Failure;
use crate::speak::{self, Mouth};
use crate::system::Inputs;
use std::path::Path;

/// The espeak-ng voice of prompts.
pub(super) const PROMPT_VOICE: &str = "en-gb";

/// The voice that synthesises prompts.
fn voice() -> Box<dyn speak::Voice> {
    Box::new(speak::Cached::new(speak::Espeak::new(PROMPT_VOICE)))
}

#[cfg(feature = "system-voice")]
fn system_voice(to: speak::MouthSender) -> Result<Box<dyn Mouth>, Failure> {
    Ok(Box::new(speak::SystemVoice::start(to).map_err(|e| Failure::Lacks(e.to_string()))?))
}

#[cfg(not(feature = "system-voice"))]
fn system_voice(_to: speak::MouthSender) -> Result<Box<dyn Mouth>, Failure> {
    let why = "this probeside was built without the system's own voice; build it with: cargo build --release --features system-voice";
    Err(Failure::Lacks(why.into()))
}

/// Checks, before anything begins, whether prompts can go where `--say` says: a file for them must not exist yet, nor lie in the session's
/// folder `into`.
///
/// # Errors
/// A sentence.
pub(super) fn may_speak(say: &str, inputs: &Inputs, into: &Path) -> Result<(), Failure> {
    match say {
        "printed" | "aloud" | "system" => Ok(()),
        path => file::is_free(Path::new(path), inputs, into),
    }
}

/// Opens the speech output that `--say` names. A loudspeaker passes what it plays to `heard`.
pub(super) fn open_mouth(
    say: &str,
    to: speak::MouthSender,
    heard: Option<PlayedTo>,
) -> Result<Box<dyn Mouth>, Failure> {
    let fail = |e: speak::SpeakError| {
        if e.machine_lacks() { Failure::Lacks(e.to_string()) } else { Failure::Input(e.to_string()) }
    };
    Ok(match say {
        "printed" => Box::new(speak::Printed::to_stdout(to)),
        "aloud" => {
            let aloud = match heard {
                Some(heard) => speak::Aloud::start_heard(to, voice(), heard),
                None => speak::Aloud::start(to, voice()),
            };
            Box::new(aloud.map_err(fail)?)
        }
        "system" => system_voice(to)?,
        file => Box::new(speak::Tape::create(to, voice(), Path::new(file)).map_err(fail)?),
    })
}
