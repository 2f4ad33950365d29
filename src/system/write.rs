//! The only writer of a command's output files: completely or not at all, never through a link, and never replacing a file that the program
//! did not make.
//!
//! The rule: an existing file is replaced only if it is a plain file, is not one of the command's inputs, and is empty or starts like the
//! new one. Until all of the new content is on disk, it lies in a file next to the target with an unguessable name.

use super::put::{Readers, put};
use super::read::name_of_kind;
use std::fs::{self, File};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Bytes of a file that are read to recognise it.
const BEGINNING: u64 = 2_048;

/// A kind of file that a command makes, and how to recognise it.
#[derive(Debug, Clone, Copy)]
pub struct Kind {
    /// What it is called: "page".
    pub name: &'static str,
    /// The first bytes of every such file.
    pub begins: &'static str,
    /// Words of which one must follow soon, unless the file ends there.
    pub goes_on: &'static [&'static str],
}

impl Kind {
    /// Whether a file that starts like this is of this kind.
    pub fn is(&self, beginning: &[u8]) -> bool {
        let Some(rest) = beginning.strip_prefix(self.begins.as_bytes()) else { return beginning.is_empty() };
        let has = |words: &&str| rest.windows(words.len()).any(|part| part == words.as_bytes());
        self.goes_on.is_empty() || rest.is_empty() || self.goes_on.iter().any(has)
    }
}

/// The files that a command reads. They are compared by identity instead of by name, because a file may have many names.
#[derive(Debug, Clone, Default)]
pub struct Inputs(Vec<PathBuf>);

impl Inputs {
    /// Inputs with these paths.
    pub fn of<P: Into<PathBuf>>(paths: impl IntoIterator<Item = P>) -> Self {
        Inputs(paths.into_iter().map(Into::into).collect())
    }

    /// Whether the path leads to one of them.
    pub fn has(&self, path: &Path) -> bool {
        self.0.iter().any(|input| is_same(input, path))
    }
}

#[cfg(unix)]
fn is_same(one: &Path, other: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let number = |path: &Path| fs::metadata(path).map(|about| (about.dev(), about.ino())).ok();
    number(one).is_some_and(|of| Some(of) == number(other))
}

#[cfg(not(unix))]
fn is_same(one: &Path, other: &Path) -> bool {
    one.canonicalize().is_ok_and(|one| other.canonicalize().is_ok_and(|other| one == other))
}

/// Why a file was not written, as a sentence.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The file is one of the command's inputs.
    #[error("{} is what this command reads; give another file", .0.display())]
    Input(PathBuf),
    /// The file is a folder, a link, a pipe ...
    #[error("{} is {what}, not a plain file; give another file", .path.display())]
    NotPlain {
        /// The file.
        path: PathBuf,
        /// What it is.
        what: &'static str,
    },
    /// The existing file is of another kind.
    #[error("{} is there already and is no {kind} that probeside wrote; give another file, or take that one away", .path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// The kind to be written.
        kind: &'static str,
    },
    /// The file exists and is never replaced.
    #[error("{} is there already; give another file", .0.display())]
    There(PathBuf),
    /// The path does not name a file.
    #[error("{} is not the name of a file; give one", .0.display())]
    NoName(PathBuf),
    /// The system's error.
    #[error("{} cannot be written ({why}); give another file", .path.display())]
    System {
        /// The file.
        path: PathBuf,
        /// The system's error.
        why: io::Error,
    },
}

/// The name of a file in its folder, and whether it exists and may be replaced.
fn look(path: &Path, inputs: &Inputs, kind: Option<&Kind>) -> Result<bool, WriteError> {
    let path_buf = || path.to_path_buf();
    let system = |why| WriteError::System { path: path_buf(), why };
    if path.file_name().is_none() {
        return Err(WriteError::NoName(path_buf()));
    }
    let about = match fs::symlink_metadata(path) {
        Ok(about) => about,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(false),
        Err(error) => return Err(system(error)),
    };
    if inputs.has(path) {
        return Err(WriteError::Input(path_buf()));
    }
    if !about.is_file() {
        return Err(WriteError::NotPlain { path: path_buf(), what: name_of_kind(about.file_type()) });
    }
    let Some(kind) = kind else { return Err(WriteError::There(path_buf())) };
    let mut beginning = Vec::new();
    let file = super::open(path, super::Links::Refuse).map_err(system)?;
    io::Read::read_to_end(&mut io::Read::take(file, BEGINNING), &mut beginning).map_err(system)?;
    if kind.is(&beginning) { Ok(true) } else { Err(WriteError::Foreign { path: path_buf(), kind: kind.name }) }
}

/// Writes a file for the user. True if it replaced one.
///
/// # Errors
/// An existing file may not be replaced, or the system refuses. Nothing has changed then.
pub fn whole(path: &Path, content: &[u8], kind: &Kind, inputs: &Inputs) -> Result<bool, WriteError> {
    let there = look(path, inputs, Some(kind))?;
    put(path, content, Readers::AsUsual, there).map_err(|why| match why.kind() {
        ErrorKind::AlreadyExists => WriteError::There(path.to_path_buf()),
        _ => WriteError::System { path: path.to_path_buf(), why },
    })?;
    Ok(there)
}

/// Creates a file for the user that is written bit by bit, such as a recording. An existing file is never replaced.
///
/// # Errors
/// The file exists, or the system refuses.
pub fn create_new(path: &Path, inputs: &Inputs) -> Result<File, WriteError> {
    look(path, inputs, None)?;
    File::options().read(true).write(true).create_new(true).open(path).map_err(|why| match why.kind() {
        ErrorKind::AlreadyExists => WriteError::There(path.to_path_buf()),
        _ => WriteError::System { path: path.to_path_buf(), why },
    })
}

/// Whether [`whole`] (or [`create_new`], without a kind) would be refused. For use before long work.
///
/// # Errors
/// The errors of those functions.
pub fn may_write(path: &Path, kind: Option<&Kind>, inputs: &Inputs) -> Result<(), WriteError> {
    look(path, inputs, kind).map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PAGE: Kind = Kind { name: "page", begins: "<page>", goes_on: &["mark", "sign"] };

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    #[test]
    fn own_files_are_known_by_their_beginning() {
        for own in ["", "<page>", "<page> mark", "<page> x sign x"] {
            assert!(PAGE.is(own.as_bytes()), "{own}");
        }
        for foreign in [" <page>", "<pag", "<page> x", "mark <page>"] {
            assert!(!PAGE.is(foreign.as_bytes()), "{foreign}");
        }
        assert!(Kind { goes_on: &[], ..PAGE }.is(b"<page> x"));
    }

    #[test]
    fn a_file_appears_whole_and_is_replaced_only_by_its_own_kind() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.html");
        let none = Inputs::default();
        assert!(!whole(&path, b"<page> mark 1", &PAGE, &none).unwrap());
        assert!(whole(&path, b"<page> mark 2", &PAGE, &none).unwrap());
        assert_eq!(fs::read(&path).unwrap(), b"<page> mark 2");
        let table = Kind { name: "table", begins: "a,b", goes_on: &[] };
        let said = whole(&path, b"a,b", &table, &none).unwrap_err().to_string();
        assert!(said.contains("is no table that probeside wrote"), "{said}");
        let said = whole(folder.path(), b"a,b", &table, &none).unwrap_err().to_string();
        assert!(said.contains("is a folder, not a plain file"), "{said}");
        assert!(matches!(whole(&folder.path().join("no/x"), b"", &table, &none), Err(WriteError::System { .. })));
        assert!(matches!(whole(Path::new(".."), b"", &table, &none), Err(WriteError::NoName(_))));
        assert_eq!(fs::read(&path).unwrap(), b"<page> mark 2");
        assert_eq!(names(folder.path()), ["a.html"], "nothing is left beside it");
    }

    #[test]
    fn what_is_written_bit_by_bit_replaces_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.wav");
        create_new(&path, &Inputs::default()).unwrap();
        assert!(matches!(create_new(&path, &Inputs::default()), Err(WriteError::There(_))));
        assert!(matches!(create_new(&path, &Inputs::of([&path])), Err(WriteError::Input(_))));
        assert!(matches!(may_write(&path, None, &Inputs::default()), Err(WriteError::There(_))));
        may_write(&folder.path().join("b.wav"), None, &Inputs::default()).unwrap();
    }

    #[cfg(unix)]
    #[test]
    fn inputs_are_known_under_every_name_and_links_are_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        fs::write(path("input"), b"<page> mark").unwrap();
        fs::hard_link(path("input"), path("other name")).unwrap();
        for name in ["input", "other name", "../input"] {
            let path = if name.starts_with("..") {
                fs::create_dir(path("in")).unwrap();
                path("in").join(name)
            } else {
                path(name)
            };
            assert!(matches!(
                whole(&path, b"<page>", &PAGE, &Inputs::of([folder.path().join("input")])),
                Err(WriteError::Input(_))
            ));
        }
        fs::write(path("kept"), b"<page> mark").unwrap();
        std::os::unix::fs::symlink(path("kept"), path("link")).unwrap();
        std::os::unix::fs::symlink(path("nowhere"), path("loose")).unwrap();
        for name in ["link", "loose"] {
            let said = whole(&path(name), b"<page>", &PAGE, &Inputs::default()).unwrap_err().to_string();
            assert!(said.contains("is a link, not a plain file"), "{said}");
        }
        // Links under the name that a temporary file might have do not matter.
        std::os::unix::fs::symlink(path("kept"), path("a.html.part")).unwrap();
        whole(&path("a.html"), b"<page> sign", &PAGE, &Inputs::default()).unwrap();
        assert_eq!(fs::read(path("kept")).unwrap(), b"<page> mark");
        assert!(!path("nowhere").exists());
    }
}
