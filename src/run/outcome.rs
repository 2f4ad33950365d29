//! How a command ends: with an exit code, or with a failure that has a sentence and an exit code.

use crate::hear::{HearError, VoiceError};
use crate::session::SessionError;
use crate::source::Diagnostic;
use std::fmt;

/// The result of a command.
pub type Outcome = Result<u8, Failure>;

/// Why a command failed.
#[derive(Debug)]
pub enum Failure {
    /// The input or the result is at fault: exit 1.
    Input(String),
    /// Findings in files: exit 1.
    Diagnostics(Vec<Diagnostic>),
    /// Wrong usage: exit 2.
    Usage(String),
    /// The machine lacks something: exit 3.
    Lacks(String),
}

impl Failure {
    /// The exit code.
    pub fn code(&self) -> u8 {
        match self {
            Self::Input(_) | Self::Diagnostics(_) => 1,
            Self::Usage(_) => 2,
            Self::Lacks(_) => 3,
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(why) | Self::Usage(why) | Self::Lacks(why) => f.write_str(why),
            Self::Diagnostics(all) => {
                for (at, finding) in all.iter().enumerate() {
                    let end = if at + 1 == all.len() { "" } else { "\n" };
                    write!(f, "{finding}{end}")?;
                }
                Ok(())
            }
        }
    }
}

impl From<Vec<Diagnostic>> for Failure {
    fn from(all: Vec<Diagnostic>) -> Self {
        Self::Diagnostics(all)
    }
}

impl From<SessionError> for Failure {
    fn from(why: SessionError) -> Self {
        match why.exit_code() {
            3 => Self::Lacks(why.to_string()),
            _ => Self::Input(why.to_string()),
        }
    }
}

/// The failure for a recogniser that does not open: the machine lacks something, or the name is wrong.
pub fn unheard(why: HearError) -> Failure {
    match why {
        HearError::Voice(why) => unvoiced(why),
        why if why.is_machine() => Failure::Lacks(why.to_string()),
        HearError::Failed(_) | HearError::OtherVoice { .. } | HearError::UnknownWords { .. } => {
            Failure::Input(why.to_string())
        }
        _ => Failure::Usage(why.to_string()),
    }
}

/// The failure for a voice that cannot be used.
pub fn unvoiced(why: VoiceError) -> Failure {
    match why {
        VoiceError::BadName(_) => Failure::Usage(why.to_string()),
        VoiceError::NoFolder => Failure::Lacks(why.to_string()),
        _ => Failure::Input(why.to_string()),
    }
}
