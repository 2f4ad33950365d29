//! The shape of a voice: text to sound. One file per engine; which one is used is chosen by the command.

use std::sync::Arc;
use thiserror::Error;

/// Mono sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Pcm {
    /// Samples per second.
    pub rate: u32,
    /// -1 to 1.
    pub samples: Arc<[f32]>,
}

/// Why nothing was said.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SpeakError {
    /// The machine lacks the program that makes the voice. Exit 3.
    #[error(
        "The voice program '{program}' is not on this machine ({why}). Run 'models/setup', or use '--say printed'."
    )]
    NoProgram {
        /// Its name or path.
        program: String,
        /// What the system said.
        why: String,
    },
    /// The program ran and failed.
    #[error("The voice program '{program}' failed: {why}.")]
    Failed {
        /// Its name or path.
        program: String,
        /// What it said.
        why: String,
    },
    /// It took too long and was ended.
    #[error("The voice program '{program}' gave no sound within {seconds} s and was stopped.")]
    TooSlow {
        /// Its name or path.
        program: String,
        /// The time it was given.
        seconds: u64,
    },
    /// No loudspeaker, or no system voice. Exit 3.
    #[error("{0}")]
    NoDevice(String),
    /// A file that prompts were to be written to.
    #[error("{0}")]
    File(String),
}

impl SpeakError {
    /// Whether the machine lacks something (exit 3), rather than the input being at fault (exit 1).
    pub fn machine_lacks(&self) -> bool {
        matches!(self, Self::NoProgram { .. } | Self::NoDevice(_))
    }
}

/// Something that turns text into sound.
pub trait Voice: Send {
    /// The sound of `text`, said `speed` times as fast as usual (0.5 to 3).
    ///
    /// # Errors
    /// When the engine is missing, fails or takes too long.
    fn synthesise(&mut self, text: &str, speed: f32) -> Result<Pcm, SpeakError>;
}
