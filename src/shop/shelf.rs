//! Read-only access to a session's files. From a folder, every file except the clips is read only once, so that the stored bytes are the
//! verified ones. From the archive, without the clips.

use crate::session::{CLIPS, Folder, Stamp, Storage, plain_name};
use std::collections::BTreeMap;
use std::io::{self, ErrorKind};
use std::path::Path;

/// Most bytes held in memory. Further files are read again.
const HELD_MOST: usize = 160 << 20;

/// Files of one session. Every write is refused.
#[derive(Debug)]
pub struct Shelf {
    place: String,
    files: BTreeMap<String, Vec<u8>>,
    held: usize,
    folder: Option<Folder>,
}

impl Shelf {
    /// The session in this folder.
    pub fn in_folder(path: &Path) -> Self {
        let folder = Folder::at(path);
        Shelf { place: folder.place(), files: BTreeMap::new(), held: 0, folder: Some(folder) }
    }

    /// Only these files.
    pub fn of(place: impl Into<String>, files: BTreeMap<String, Vec<u8>>) -> Self {
        let held = files.values().map(Vec::len).sum();
        Shelf { place: place.into(), files, held, folder: None }
    }
}

fn refused<T>() -> io::Result<T> {
    Err(io::Error::new(ErrorKind::ReadOnlyFilesystem, "the archive only reads"))
}

impl Storage for Shelf {
    fn place(&self) -> String {
        self.place.clone()
    }

    fn lock(&mut self) -> io::Result<()> {
        refused()
    }

    fn list(&mut self) -> io::Result<Vec<String>> {
        match &mut self.folder {
            Some(folder) => folder.list(),
            None => Ok(self.files.keys().cloned().collect()),
        }
    }

    fn read(&mut self, name: &str, limit: u64) -> io::Result<Vec<u8>> {
        if !plain_name(name) {
            return Err(io::Error::new(ErrorKind::InvalidFilename, format!("{name:?}")));
        }
        if let Some(bytes) = self.files.get(name) {
            let fits = bytes.len() as u64 <= limit;
            return if fits { Ok(bytes.clone()) } else { Err(ErrorKind::FileTooLarge.into()) };
        }
        let Some(folder) = &mut self.folder else { return Err(ErrorKind::NotFound.into()) };
        let bytes = folder.read(name, limit)?;
        if !name.starts_with(CLIPS) && self.held + bytes.len() <= HELD_MOST {
            self.held += bytes.len();
            self.files.insert(name.to_owned(), bytes.clone());
        }
        Ok(bytes)
    }

    fn stamp(&mut self, _: &str) -> io::Result<Stamp> {
        refused()
    }

    fn create(&mut self, _: &str) -> io::Result<()> {
        refused()
    }

    fn append(&mut self, _: &str, _: &[u8]) -> io::Result<()> {
        refused()
    }

    fn truncate(&mut self, _: &str, _: u64) -> io::Result<()> {
        refused()
    }

    fn sync(&mut self, _: &str) -> io::Result<()> {
        refused()
    }

    fn rename(&mut self, _: &str, _: &str) -> io::Result<()> {
        refused()
    }

    fn unlink(&mut self, _: &str) -> io::Result<()> {
        refused()
    }

    fn sync_names(&mut self, _: &str) -> io::Result<()> {
        refused()
    }
}
