//! Files that a command writes beside its output, which is said on standard error. What may be replaced is the rule of `system/write.rs`;
//! here is one more: a session's folder holds its record and nothing else.

use crate::run::Failure;
use crate::session::JOURNAL_FILE;
use crate::system::{self, Inputs, Kind, WriteError};
use std::path::Path;

/// Folders between a session's and the deepest of its files.
const DEEPEST: usize = 4;

impl From<WriteError> for Failure {
    fn from(why: WriteError) -> Self {
        match why {
            WriteError::Input(_) | WriteError::NoName(_) => Self::Usage(why.to_string()),
            _ => Self::Input(why.to_string()),
        }
    }
}

/// Writes the file and says so.
///
/// # Errors
/// A sentence: it may not be replaced, lies in a session's folder, or cannot be written.
pub fn write(path: &Path, content: &[u8], kind: &Kind, inputs: &Inputs) -> Result<(), Failure> {
    spare_records(path)?;
    let replaced = system::whole(path, content, kind, inputs)?;
    crate::terminal::errln!("{} {}", if replaced { "replaced" } else { "wrote" }, path.display());
    Ok(())
}

/// Whether [`write`] would be refused, asked before long work.
///
/// # Errors
/// As [`write`].
pub fn may_write(path: &Path, kind: &Kind, inputs: &Inputs) -> Result<(), Failure> {
    spare_records(path)?;
    Ok(system::may_write(path, Some(kind), inputs)?)
}

/// Whether a recording can be begun here: nothing is in its place, and it does not lie in the folder `into` or in another session's.
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
    // A folder that is not there is said when the file is written.
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
