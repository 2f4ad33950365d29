//! Diagnostics: what is wrong with a file, and at which place.

use super::visible::visible_line;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::sync::Arc;

/// A place in a file. Lines and columns count from 1; 0 means "the file as a whole".
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Place {
    /// The file as the user named it.
    pub file: Arc<str>,
    /// Line, from 1.
    pub line: u32,
    /// Column in characters, from 1.
    pub column: u32,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => f.write_str(&visible_line(&self.file)),
            line => write!(f, "{}:{}:{}", visible_line(&self.file), line, self.column),
        }
    }
}

/// The severity of a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth a look. Does not fail a check.
    Warning,
    /// The file cannot be used.
    Error,
}

/// One finding: what is wrong, where, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Diagnostic {
    /// Where.
    pub place: Place,
    /// How bad.
    pub severity: Severity,
    /// Short stable name of the check, such as `unknown-field`.
    pub check: String,
    /// What is wrong, as a sentence.
    pub message: String,
    /// What to do, as a sentence.
    pub help: Option<String>,
}

impl Diagnostic {
    /// An error.
    pub fn error(place: &Place, check: &str, message: impl Into<String>) -> Self {
        let severity = Severity::Error;
        Self { place: place.clone(), severity, check: check.to_owned(), message: message.into(), help: None }
    }
    /// A warning.
    pub fn warning(place: &Place, check: &str, message: impl Into<String>) -> Self {
        Self { severity: Severity::Warning, ..Self::error(place, check, message) }
    }
    /// The same diagnostic with advice.
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let severity = match self.severity {
            Severity::Warning => "warning",
            Severity::Error => "error",
        };
        write!(f, "{}: {severity} [{}] {}", self.place, self.check, self.message)?;
        match &self.help {
            Some(help) => write!(f, "\n    {help}"),
            None => Ok(()),
        }
    }
}

/// A value with its place in the file. Equality compares only the value.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Written<T> {
    /// The value.
    pub value: T,
    /// Its place in the file.
    pub place: Place,
}

impl<T> std::ops::Deref for Written<T> {
    type Target = T;
    fn deref(&self) -> &T {
        &self.value
    }
}

impl<T: PartialEq> PartialEq for Written<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}
