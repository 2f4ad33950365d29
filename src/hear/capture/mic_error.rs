//! The error of a missing microphone.

use thiserror::Error;

/// The microphone cannot be used. Exit code 3: the machine lacks something.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum MicError {
    /// There is no input device, or none that opens.
    #[error(
        "there is no microphone that opens ({why}); plug one in and see that the sound server runs ('probeside soundcheck' \
         shows what is heard), or use '--hear typed'"
    )]
    NoMicrophone {
        /// What the sound system said.
        why: String,
    },
    /// This program was built without sound.
    #[error("this build has no microphone; build with 'cargo build --release --features sound', or use '--hear typed'")]
    NotBuilt,
}
