//! Files that a command writes beside its output; each is announced on standard error. `system/write.rs` decides which files may be
//! replaced. This file adds one rule: nothing else goes into a session's folder, which holds only its record.

use crate::run::Failure;
use crate::session::JOURNAL_FILE;
use crate::system::{self, Inputs, Kind, WriteError};
use std::path::Path;

/// Levels between a session's folder and the deepest of its files.
const DEEPEST: usize = 4;

impl From<WriteError> for Failure {
    fn from(why: WriteError) -> Self {
        match why {
            WriteError::Input(_) | WriteError::NoName(_) => Self::Usage(why.to_string()),
            _ => Self::Input(why.to_string()),
        }
    }
}

/// Writes the file and announces it.
///
/// # Errors
/// A sentence: the file may not be replaced, lies in a session's folder, or cannot be written.
pub fn write(path: &Path, content: &[u8], kind: &Kind, inputs: &Inputs) -> Result<(), Failure> {
    spare_records(path)?;
    let replaced = system::whole(path, content, kind, inputs)?;
    crate::terminal::errln!("{} {}", if replaced { "replaced" } else { "wrote" }, path.display());
    Ok(())
}

/// Checks before long work whether [`write`] would be refused.
///
/// # Errors
/// Like [`write`].
pub fn may_write(path: &Path, kind: &Kind, inputs: &Inputs) -> Result<(), Failure> {
    spare_records(path)?;
    Ok(system::may_write(path, Some(kind), inputs)?)
}

/// Checks whether a recording can start here: the path is free and lies neither in the folder `into` nor in another session's.
///
/// # Errors
/// A sentence.
pub(super) fn is_free(path: &Path, inputs: &Inputs, into: &Path) -> Result<(), Failure> {
    let real = |path: &Path| std::path::absolute(path.canonicalize().as_deref().unwrap_or(path)).ok();
    if let (Some(session), Some(folder)) = (real(into), path.parent().and_then(real))
        && folder.starts_with(session)
    {
        return Err(in_record(path, into));
    }
    spare_records(path)?;
    Ok(system::may_write(path, None, inputs)?)
}

fn spare_records(path: &Path) -> Result<(), Failure> {
    let above = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // A missing folder is reported when the file is written.
    let Ok(above) = above.canonicalize() else { return Ok(()) };
    let holds_journal = |folder: &&Path| std::fs::symlink_metadata(folder.join(JOURNAL_FILE)).is_ok();
    match above.ancestors().take(DEEPEST).find(holds_journal) {
        Some(session) => Err(in_record(path, session)),
        None => Ok(()),
    }
}

fn in_record(path: &Path, session: &Path) -> Failure {
    Failure::Input(format!(
        "{} would lie in the session {}, where nothing but its record is kept; give another file",
        path.display(),
        session.display()
    ))
}
