//! The error of a missing microphone.

use thiserror::Error;

/// The microphone cannot be used. Exit code 3: the machine lacks something.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum MicError {
    /// There is no input device, or none that opens.
    #[error(
        "There is no microphone that opens ({why}). Plug one in and see that the sound server runs ('probeside soundcheck' \
         shows what is heard), or use '--hear typed'."
    )]
    NoMicrophone {
        /// What the sound system said.
        why: String,
    },
    /// This program was built without sound.
    #[error(
        "This build has no microphone. Build with 'cargo build --release --features sound', or use '--hear typed'."
    )]
    NotBuilt,
}
