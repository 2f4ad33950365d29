//! The choice which sound the record keeps.

/// Which sound the record keeps.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum KeepSound {
    /// Of what was taken as an answer or asked about.
    #[default]
    Answers,
    /// Of what was not understood, too, and of the whole session: all that the microphone hears from the beginning to the end.
    Everything,
    /// None.
    Nothing,
}
