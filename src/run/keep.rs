//! The choice of which audio the record keeps.

/// Which audio the record keeps.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum KeepSound {
    /// Audio of accepted answers, and of answers that the user was asked to confirm.
    #[default]
    Answers,
    /// Also audio of utterances that were not understood, and of the whole session: all that the microphone picks up from start to end.
    Everything,
    /// None.
    Nothing,
}
