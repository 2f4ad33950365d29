//! A storage double: an in-memory disk that loses power, fills up or fails on demand. Unit tests and integration tests share it. It is not
//! part of the library.
//!
//! The disk has two states: what programs see, and what would survive a power cut. It applies POSIX strictly. Contents survive once `sync`
//! has returned; names and folders survive once `sync_names` of their folder has returned. A failed `sync` loses the data it should have
//! written, even if the next `sync` succeeds (Linux does this). A failed `append` may have written a part. Unsynced data survives in whole
//! sectors, in any order, and the file's length survives independently of its contents.

#![allow(dead_code)]

use probeside::session::{SECTOR, Stamp, Storage, plain_name};
use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::ops::Range;
use std::sync::{Arc, Mutex, MutexGuard};

/// How an operation fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// No space left (ENOSPC). An append writes half of its bytes first.
    Full,
    /// Read-only file system (EROFS).
    ReadOnly,
    /// The device fails (EIO). An append writes half of its bytes first.
    Device,
    /// The folder has disappeared (ENOENT).
    Gone,
}

impl Fault {
    /// All faults.
    pub const ALL: [Fault; 4] = [Fault::Full, Fault::ReadOnly, Fault::Device, Fault::Gone];

    fn error(self) -> io::Error {
        match self {
            Fault::Full => io::ErrorKind::StorageFull.into(),
            Fault::ReadOnly => io::ErrorKind::ReadOnlyFilesystem.into(),
            Fault::Device => io::Error::other("input/output error"),
            Fault::Gone => io::ErrorKind::NotFound.into(),
        }
    }
}

/// What a power cut leaves of unsynced data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// Nothing.
    Nothing,
    /// Any part, chosen by the seed: some names, some sectors in one of their earlier states, zeros for sectors not written yet.
    Some(u64),
}

#[derive(Debug, Default, Clone)]
struct Inode {
    seen: Vec<u8>,
    durable: Vec<u8>,
    dirty: Vec<Range<usize>>,
    /// Number of writes so far.
    changes: i64,
}

#[derive(Debug, Default)]
struct State {
    inodes: Vec<Inode>,
    names: BTreeMap<String, usize>,
    durable_names: BTreeMap<String, usize>,
    folders: BTreeSet<String>,
    durable_folders: BTreeSet<String>,
    operations: u64,
    faults: Vec<(Range<u64>, Fault)>,
    cut: Option<(u64, Keep)>,
    dark: bool,
    locked: bool,
}

/// An in-memory disk. Clones share it.
#[derive(Debug, Default, Clone)]
pub struct Disk(Arc<Mutex<State>>);

/// A session's folder on a [`Disk`].
#[derive(Debug)]
pub struct Memory {
    disk: Disk,
    holds_lock: bool,
}

/// A small random number generator that chooses what survives (SplitMix64 by Steele, Lea and Flood, 2014).
fn next_number(seed: &mut u64) -> u64 {
    *seed = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *seed;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// The real folder rejects such names too.
fn refuse_name(name: &str) -> io::Result<()> {
    if plain_name(name) { Ok(()) } else { Err(io::ErrorKind::InvalidFilename.into()) }
}

fn folder_of(name: &str) -> &str {
    name.rsplit_once('/').map_or("", |(folder, _)| folder)
}

/// The folders that contain a file of this name, innermost first.
fn folders_of(name: &str) -> impl Iterator<Item = &str> {
    std::iter::successors(Some(folder_of(name)), |folder| Some(folder_of(folder)))
        .take_while(|folder| !folder.is_empty())
}

impl Inode {
    fn sync(&mut self) {
        self.durable.resize(self.seen.len(), 0);
        for range in std::mem::take(&mut self.dirty) {
            let range = range.start.min(self.seen.len())..range.end.min(self.seen.len());
            self.durable[range.clone()].copy_from_slice(&self.seen[range]);
        }
    }

    /// Keeps every sector as it was before one of the appends that reached it, or after the last. Then chooses a length.
    fn keep_some(&mut self, seed: &mut u64) {
        let mut sectors: BTreeMap<usize, Vec<Range<usize>>> = BTreeMap::new();
        for range in std::mem::take(&mut self.dirty) {
            let mut from = range.start;
            let end = range.end.min(self.seen.len());
            while from < end {
                let to = (from / SECTOR + 1).saturating_mul(SECTOR).min(end);
                sectors.entry(from / SECTOR).or_default().push(from..to);
                from = to;
            }
        }
        let (safe, full) = (self.durable.len(), self.seen.len());
        for ranges in sectors.into_values() {
            let kept = next_number(seed) as usize % (ranges.len() + 1);
            for range in ranges.into_iter().take(kept) {
                if self.durable.len() < range.end {
                    self.durable.resize(range.end, 0);
                }
                self.durable[range.clone()].copy_from_slice(&self.seen[range]);
            }
        }
        if full > safe {
            match next_number(seed) % 3 {
                0 => {}
                1 => self.durable.resize(full, 0),
                _ => self.durable.resize(safe + next_number(seed) as usize % (full - safe + 1), 0),
            }
        }
    }
}

impl State {
    fn power_cut(&mut self, keep: Keep) {
        if let Keep::Some(mut seed) = keep {
            let changed: Vec<String> = self.names.keys().chain(self.durable_names.keys()).cloned().collect();
            for name in changed {
                if next_number(&mut seed).is_multiple_of(2) {
                    match self.names.get(&name) {
                        Some(inode) => self.durable_names.insert(name, *inode),
                        None => self.durable_names.remove(&name),
                    };
                }
            }
            let folders: Vec<String> = self.folders.iter().cloned().collect();
            self.durable_folders.extend(folders.into_iter().filter(|_| next_number(&mut seed).is_multiple_of(2)));
            self.inodes.iter_mut().for_each(|inode| inode.keep_some(&mut seed));
        }
        // A file in a folder without a durable name cannot be found.
        let folders = &self.durable_folders;
        self.durable_names.retain(|name, _| folders_of(name).all(|folder| folders.contains(folder)));
        self.names = self.durable_names.clone();
        self.folders = self.durable_folders.clone();
        for inode in &mut self.inodes {
            inode.dirty.clear();
            inode.seen.clone_from(&inode.durable);
        }
        self.dark = true;
    }

    /// Counts an operation. `Some` if it must fail.
    fn begin(&mut self) -> io::Result<Option<Fault>> {
        let number = self.operations;
        self.operations += 1;
        if let Some((at, keep)) = self.cut
            && number >= at
        {
            self.cut = None;
            self.power_cut(keep);
        }
        if self.dark {
            return Err(io::Error::other("the power is off"));
        }
        Ok(self.faults.iter().find(|(when, _)| when.contains(&number)).map(|(_, fault)| *fault))
    }

    fn inode(&mut self, name: &str) -> io::Result<&mut Inode> {
        let at = *self.names.get(name).ok_or(io::ErrorKind::NotFound)?;
        Ok(&mut self.inodes[at])
    }
}

impl Disk {
    /// An empty disk.
    pub fn new() -> Self {
        Self::default()
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// The session's folder on this disk, as a process sees it.
    pub fn folder(&self) -> Memory {
        Memory { disk: self.clone(), holds_lock: false }
    }

    /// Number of operations tried so far.
    pub fn operations(&self) -> u64 {
        self.state().operations
    }

    /// Makes the operations with these numbers fail. The first operation is 0.
    pub fn fail(&self, operations: Range<u64>, fault: Fault) {
        self.state().faults.push((operations, fault));
    }

    /// Cuts the power just before the operation with this number. From then on everything fails.
    pub fn cut_before(&self, operation: u64, keep: Keep) {
        self.state().cut = Some((operation, keep));
    }

    /// Cuts the power now.
    pub fn cut_now(&self, keep: Keep) {
        self.state().power_cut(keep);
    }

    /// Restores the power, clears faults and releases locks. What survived is there.
    pub fn restart(&self) {
        let mut state = self.state();
        if !state.dark {
            state.power_cut(Keep::Nothing);
        }
        (state.dark, state.locked, state.cut) = (false, false, None);
        state.faults.clear();
    }

    /// Clears faults. The process lives on.
    pub fn mend(&self) {
        self.state().faults.clear();
    }

    /// What programs see of a file.
    pub fn contents(&self, name: &str) -> Option<Vec<u8>> {
        self.state().inode(name).ok().map(|inode| inode.seen.clone())
    }

    /// Another program writes into an existing file.
    pub fn meddle(&self, name: &str, how: impl FnOnce(&mut Vec<u8>)) {
        if let Ok(inode) = self.state().inode(name) {
            how(&mut inode.seen);
            inode.durable.clone_from(&inode.seen);
            inode.dirty.clear();
            inode.changes += 1;
        }
    }

    /// Adds a file as if it had always been there.
    pub fn put(&self, name: &str, bytes: &[u8]) {
        let mut state = self.state();
        state.inodes.push(Inode { seen: bytes.to_vec(), durable: bytes.to_vec(), ..Inode::default() });
        let at = state.inodes.len() - 1;
        state.names.insert(name.to_owned(), at);
        state.durable_names.insert(name.to_owned(), at);
        let folders: Vec<String> = folders_of(name).map(str::to_owned).collect();
        state.folders.extend(folders.iter().cloned());
        state.durable_folders.extend(folders);
    }
}

impl Memory {
    fn whole(&self, name: &str) -> io::Result<MutexGuard<'_, State>> {
        refuse_name(name)?;
        let mut state = self.disk.state();
        match state.begin()? {
            Some(fault) => Err(fault.error()),
            None => Ok(state),
        }
    }
}

impl Drop for Memory {
    fn drop(&mut self) {
        if self.holds_lock {
            self.disk.state().locked = false;
        }
    }
}

impl Storage for Memory {
    fn place(&self) -> String {
        "memory".to_owned()
    }

    fn lock(&mut self) -> io::Result<()> {
        if self.holds_lock {
            return Ok(());
        }
        let mut state = self.whole("lock")?;
        if state.locked {
            return Err(io::ErrorKind::WouldBlock.into());
        }
        state.locked = true;
        drop(state);
        self.holds_lock = true;
        Ok(())
    }

    fn list(&mut self) -> io::Result<Vec<String>> {
        Ok(self.whole("list")?.names.keys().cloned().collect())
    }

    fn read(&mut self, name: &str, limit: u64) -> io::Result<Vec<u8>> {
        let mut state = self.whole(name)?;
        let inode = state.inode(name)?;
        if inode.seen.len() as u64 > limit { Err(io::ErrorKind::FileTooLarge.into()) } else { Ok(inode.seen.clone()) }
    }

    /// Not counted as an operation: reading a stamp loses nothing.
    fn stamp(&mut self, name: &str) -> io::Result<Stamp> {
        refuse_name(name)?;
        let mut state = self.disk.state();
        if state.dark {
            return Err(io::Error::other("the power is off"));
        }
        let at = *state.names.get(name).ok_or(io::ErrorKind::NotFound)?;
        let inode = state.inode(name)?;
        let length = inode.seen.len() as u64;
        Ok(Stamp { file: (0, at as u64), length, changed: [inode.changes, 0, 0, 0] })
    }

    fn create(&mut self, name: &str) -> io::Result<()> {
        let mut state = self.whole(name)?;
        match state.inode(name) {
            Ok(inode) => {
                inode.changes += 1;
                inode.seen.clear();
                inode.dirty.clear();
            }
            Err(_) => {
                state.inodes.push(Inode::default());
                let at = state.inodes.len() - 1;
                state.names.insert(name.to_owned(), at);
                state.folders.extend(folders_of(name).map(str::to_owned));
            }
        }
        Ok(())
    }

    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        refuse_name(name)?;
        let mut state = self.disk.state();
        let fault = state.begin()?;
        let written = match fault {
            None => bytes,
            Some(Fault::Full | Fault::Device) => &bytes[..bytes.len() / 2],
            Some(fault) => return Err(fault.error()),
        };
        let inode = state.inode(name)?;
        let start = inode.seen.len();
        inode.changes += 1;
        inode.seen.extend_from_slice(written);
        inode.dirty.push(start..start + written.len());
        fault.map_or(Ok(()), |fault| Err(fault.error()))
    }

    fn truncate(&mut self, name: &str, length: u64) -> io::Result<()> {
        let length = usize::try_from(length).map_err(|_| io::ErrorKind::FileTooLarge)?;
        let mut state = self.whole(name)?;
        let inode = state.inode(name)?;
        inode.changes += 1;
        inode.seen.resize(length, 0);
        for range in &mut inode.dirty {
            *range = range.start.min(length)..range.end.min(length);
        }
        Ok(())
    }

    fn sync(&mut self, name: &str) -> io::Result<()> {
        refuse_name(name)?;
        let mut state = self.disk.state();
        let fault = state.begin()?;
        let inode = state.inode(name)?;
        match fault {
            None => {
                inode.sync();
                Ok(())
            }
            Some(fault) => {
                inode.dirty.clear();
                Err(fault.error())
            }
        }
    }

    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        refuse_name(to)?;
        let mut state = self.whole(from)?;
        let at = state.names.remove(from).ok_or(io::ErrorKind::NotFound)?;
        state.names.insert(to.to_owned(), at);
        Ok(())
    }

    fn unlink(&mut self, name: &str) -> io::Result<()> {
        self.whole(name)?.names.remove(name).map(|_| ()).ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn sync_names(&mut self, folder: &str) -> io::Result<()> {
        let mut state = self.whole(if folder.is_empty() { "folder" } else { folder })?;
        let mut durable = std::mem::take(&mut state.durable_names);
        durable.retain(|name, _| folder_of(name) != folder);
        durable
            .extend(state.names.iter().filter(|(name, _)| folder_of(name) == folder).map(|(n, at)| (n.clone(), *at)));
        state.durable_names = durable;
        let folders: Vec<String> = state.folders.iter().filter(|name| folder_of(name) == folder).cloned().collect();
        state.durable_folders.extend(folders);
        Ok(())
    }
}
