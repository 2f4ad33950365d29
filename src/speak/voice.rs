//! The trait of every voice, which turns text into sound. There is one file per engine; the command chooses one.

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

/// Nothing was said.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SpeakError {
    /// The machine lacks the voice's program. Exit code 3.
    #[error("the voice program '{program}' is not on this machine ({why}); run 'models/setup', or use '--say printed'")]
    NoProgram {
        /// Its name or path.
        program: String,
        /// The system's error.
        why: String,
    },
    /// The program ran and failed.
    #[error("the voice program '{program}' failed: {why}")]
    Failed {
        /// Its name or path.
        program: String,
        /// Its error.
        why: String,
    },
    /// The program took too long and was stopped.
    #[error("the voice program '{program}' gave no sound within {seconds} s and was stopped")]
    TooSlow {
        /// Its name or path.
        program: String,
        /// The time limit.
        seconds: u64,
    },
    /// There is no loudspeaker or no system voice. Exit code 3.
    #[error("{0}")]
    NoDevice(String),
    /// The file for prompts cannot be written.
    #[error("{0}")]
    File(String),
}

impl SpeakError {
    /// Whether the machine lacks something (exit code 3), as opposed to a fault of the input (exit code 1).
    pub fn machine_lacks(&self) -> bool {
        matches!(self, Self::NoProgram { .. } | Self::NoDevice(_))
    }
}

/// Turns text into sound.
pub trait Voice: Send {
    /// Synthesises `text` at `speed` times the usual speed (0.5 to 3).
    ///
    /// # Errors
    /// When the engine is missing, fails or takes too long.
    fn synthesise(&mut self, text: &str, speed: f32) -> Result<Pcm, SpeakError>;
}
