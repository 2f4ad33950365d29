//! The journal: creating, appending, resuming.
//!
//! The journal survives every failure consistently: once something later is in it, an entry whose write or sync failed is not. After a
//! failed sync the system may have forgotten unwritten bytes, so the journal is cut back to the part known to be synced and the rest is
//! written again. `watch.rs` detects changes to the file by others.

use super::chain::{self, Entry, Kind, NO_LINE, State, sha256_hex};
use super::clip::{clip_file, flac};
use super::clock::Clock;
use super::digest::{DIGEST_FILE, Digest};
use super::error::SessionError;
use super::header::{Clip, FORMAT, Forgotten, Header, Remark, Repair, StoredCopy};
use super::limits;
use super::pieces::Piece;
use super::record::{Now, Record};
use super::room::Room;
use super::storage::{PART, Storage, plain_name};
use super::watch::{Meddling, Watch};
use serde::Serialize;
use std::collections::BTreeMap;
use std::io;

/// The journal's file in the session's folder.
pub const JOURNAL_FILE: &str = "journal.jsonl";
/// Most unsynced bytes in memory. Beyond it a sync happens without a request.
const UNSYNCED_MOST: usize = 1 << 20;

/// The journal of one session, locked for this process.
pub struct Journal {
    storage: Box<dyn Storage>,
    header: Header,
    next_seq: u64,
    prev: String,
    /// Number of lines known to be on disk.
    on_disk: u64,
    /// Whether the last line ends the session.
    ended: bool,
    watch: Watch,
    clips: BTreeMap<String, (Clip, bool)>,
    /// Whether the last line ends the session and its digest lies beside the journal.
    closed: bool,
}

/// The readable part of a session on disk: its consecutive valid lines from the first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct There {
    /// Number of entries.
    pub entries: u64,
    /// Number of readings, amended ones included.
    pub readings: u64,
}

/// A resumed journal.
pub struct Opened {
    /// The journal, ready for new entries.
    pub journal: Journal,
    /// All entries, header first. Ends with a [`Kind::Repaired`] entry if the end was torn.
    pub entries: Vec<Entry>,
    /// The part cut off, if the end was torn.
    pub repair: Option<Repair>,
    /// Session time, continuing from where the journal stopped.
    pub clock: Clock,
}

/// The raw bytes of a journal, read without a lock.
pub fn read_journal(storage: &mut dyn Storage) -> Result<Vec<u8>, SessionError> {
    let place = storage.place();
    storage.read(JOURNAL_FILE, limits::JOURNAL).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => {
            SessionError::NotASession { place, why: format!("there is no {JOURNAL_FILE} in it") }
        }
        io::ErrorKind::FileTooLarge => {
            SessionError::TooLarge { what: format!("{place}/{JOURNAL_FILE}"), limit: limits::JOURNAL }
        }
        _ => SessionError::from_io(&place, "reading the journal", error),
    })
}

/// The header, if this version understands the first line.
pub(crate) fn header_of(place: &str, first: Option<&Entry>) -> Result<Header, SessionError> {
    let refuse = |why: String| SessionError::NotASession { place: place.to_owned(), why };
    let entry = first.filter(|e| e.is(Kind::Header)).ok_or_else(|| refuse("its first line is not a header".into()))?;
    let format = entry.body.get("format").and_then(serde_json::Value::as_u64);
    if format.is_some_and(|format| format > u64::from(FORMAT)) {
        return Err(refuse("it was written by a newer probeside".into()));
    }
    entry.body_as().ok_or_else(|| refuse("its header is not one of a session".into()))
}

/// Encodes a clip's file.
pub(super) fn encode(id: &str, sound: &[f32]) -> Result<Vec<u8>, SessionError> {
    flac(sound.iter().copied()).map_err(|why| SessionError::Unwritable { kind: clip_file(id), why })
}

impl Journal {
    /// Starts a session in an empty folder: stores the copies, then the header with their hashes. All of it is on disk on return. On
    /// failure the folder holds no journal.
    pub fn create(
        mut storage: Box<dyn Storage>,
        mut header: Header,
        files: Vec<(String, Vec<u8>)>,
        now: &Now,
    ) -> Result<Journal, SessionError> {
        let place = storage.place();
        let fail = |doing: &str| {
            let (place, doing) = (place.clone(), doing.to_owned());
            move |error| SessionError::from_io(&place, &doing, error)
        };
        storage.lock().map_err(fail("taking the folder"))?;
        if storage.list().map_err(fail("looking into the folder"))?.iter().any(|name| name == JOURNAL_FILE) {
            return Err(SessionError::AlreadyThere { place });
        }
        for (name, bytes) in files {
            if !plain_name(&name) || !name.contains('/') {
                return Err(SessionError::Name { name });
            }
            if bytes.len() as u64 > limits::COPY {
                return Err(SessionError::TooLarge { what: name, limit: limits::COPY });
            }
            storage.write_whole(&name, &bytes).map_err(fail("storing the copy"))?;
            header.files.push(StoredCopy { name, sha256: sha256_hex(&bytes), bytes: bytes.len() as u64 });
        }
        let raw = chain::line(0, now, 0, Kind::Header, &header, NO_LINE)
            .map_err(|error| SessionError::Unwritable { kind: Kind::Header.name().into(), why: error.to_string() })?;
        if raw.len() as u64 > limits::LINE {
            return Err(SessionError::TooLarge { what: "the session's header".into(), limit: limits::LINE });
        }
        let prev = sha256_hex(&raw);
        let first = [raw, b"\n".to_vec()].concat();
        if let Err(error) = storage.write_whole(JOURNAL_FILE, &first) {
            // The file may have its name but not be synced. If it cannot be removed either, resuming accepts it as it is.
            let _ = storage.remove(JOURNAL_FILE);
            return Err(fail("writing the header")(error));
        }
        let watch = Watch::new(&first, storage.stamp(JOURNAL_FILE).map_err(fail("writing the header"))?);
        Ok(Journal {
            storage,
            header,
            next_seq: 1,
            prev,
            on_disk: 1,
            watch,
            clips: BTreeMap::new(),
            closed: false,
            ended: false,
        })
    }

    /// Resumes a session: locks it, checks the whole chain, preserves and reports a torn end, and makes sure that every line it returns is
    /// on disk. If a line was altered or damaged, or is missing according to the digest beside the journal, it fails and touches nothing.
    pub fn open(mut storage: Box<dyn Storage>) -> Result<Opened, SessionError> {
        let place = storage.place();
        let fail = |doing: &str| {
            let (place, doing) = (place.clone(), doing.to_owned());
            move |error| SessionError::from_io(&place, &doing, error)
        };
        read_journal(&mut *storage)?;
        storage.lock().map_err(fail("taking the folder"))?;
        let bytes = read_journal(&mut *storage)?;
        let (mut entries, mut hashes) = (Vec::new(), Vec::new());
        let scan = chain::scan(&bytes, |_, entry, hash, fits| {
            if fits {
                entries.push(entry);
                hashes.push(hash.to_owned());
            }
        });
        let torn = match scan.state {
            State::Broken { line, why } => return Err(SessionError::Broken { place, line, why }),
            State::Torn { line, why } => Some((line, why)),
            State::Whole => None,
        };
        let digest = Digest::beside(&mut *storage)?;
        if let Some(why) = digest.as_ref().and_then(|digest| digest.misfit(&hashes)) {
            let line = digest.map_or(0, |digest| digest.seq.saturating_add(1));
            return Err(SessionError::Broken { place, line, why });
        }
        let ended_at = entries.last().filter(|entry| entry.is(Kind::End)).map(|entry| entry.seq);
        let closed = torn.is_none() && ended_at.is_some() && digest.map(|digest| digest.seq) == ended_at;
        let header = header_of(&place, entries.first())?;
        let mut clips = BTreeMap::new();
        for entry in &entries {
            if let Some(clip) = entry.body_as::<Clip>().filter(|_| entry.is(Kind::Clip) || entry.is(Kind::ClipStored)) {
                clips.insert(clip.id.clone(), (clip, entry.is(Kind::ClipStored)));
            }
        }
        let list = storage.list().map_err(fail("looking into the folder"))?;
        for name in list.iter().filter(|name| name.ends_with(PART) && plain_name(name)) {
            storage.remove(name).map_err(fail("clearing away a half-written file"))?;
        }
        let repair = match torn {
            None => None,
            Some((line, why)) => {
                let cut = &bytes[scan.bytes as usize..];
                let sha256 = sha256_hex(cut);
                let file = format!("torn-{}.bytes", &sha256[..8]);
                storage.write_whole(&file, cut).map_err(fail("setting the torn end aside"))?;
                Some(Repair { bytes: cut.len() as u64, line, why, file, sha256 })
            }
        };
        // The whole file is rewritten: lines from a killed process may never have reached the disk, and after a failed sync another sync
        // would not write them.
        storage.write_whole(JOURNAL_FILE, &bytes[..scan.bytes as usize]).map_err(fail("securing the journal"))?;
        let watch = Watch::new(
            &bytes[..scan.bytes as usize],
            storage.stamp(JOURNAL_FILE).map_err(fail("securing the journal"))?,
        );
        let last = entries.last().map_or(Now { mono_ms: 0, wall: String::new() }, Entry::at);
        let clock = Clock::resume(&last);
        let mut journal = Journal {
            storage,
            header,
            next_seq: scan.lines,
            prev: scan.digest,
            on_disk: scan.lines,
            ended: entries.last().is_some_and(|entry| entry.is(Kind::End)),
            watch,
            clips,
            closed,
        };
        if let Some(repair) = &repair {
            let now = clock.now();
            let prev = journal.prev.clone();
            let seq = journal.append_synced(Kind::Repaired, repair, &now)?;
            let body = serde_json::to_value(repair).unwrap_or_default();
            let (kind, on_disk) = (Kind::Repaired.name().to_owned(), Some(scan.lines));
            entries.push(Entry { seq, mono_ms: now.mono_ms, wall: now.wall, on_disk, kind, body, prev });
        }
        Ok(Opened { journal, entries, repair, clock })
    }

    /// The header.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// Whether the session is completely ended: its last line ends it, and the digest lies beside the journal.
    pub fn is_closed(&self) -> bool {
        self.closed
    }

    /// The folder's name for messages.
    pub fn place(&self) -> String {
        self.storage.place()
    }

    /// The digest of the journal in its present state.
    pub fn digest(&self) -> Digest {
        Digest::new(self.next_seq - 1, &self.prev)
    }

    /// A copy stored at the start, checked against its hash.
    pub fn copy(&mut self, name: &str) -> Result<Vec<u8>, SessionError> {
        let place = self.place();
        let altered = || SessionError::Altered { place: place.clone(), file: name.to_owned() };
        let hash = self.header.files.iter().find(|copy| copy.name == name).map(|copy| copy.sha256.clone());
        let hash = hash.ok_or_else(altered)?;
        let bytes = self.storage.read(name, limits::COPY).map_err(|error| match error.kind() {
            io::ErrorKind::FileTooLarge => altered(),
            _ => SessionError::from_io(&place, &format!("reading {name}"), error),
        })?;
        if sha256_hex(&bytes) == hash { Ok(bytes) } else { Err(altered()) }
    }

    /// Appends an entry and returns its number. It is only certain to be on disk after the next synced entry. Kinds that are always synced
    /// are synced here too.
    pub fn append(&mut self, kind: Kind, body: &impl Serialize, now: &Now) -> Result<u64, SessionError> {
        let sync = kind.always_synced() || self.watch.unsynced.len() > UNSYNCED_MOST;
        self.add(kind, body, now, sync)
    }

    /// Appends an entry and returns once it, and everything before it, would survive a power cut. On error the journal is unchanged and the
    /// call may be repeated.
    pub(super) fn append_synced(&mut self, kind: Kind, body: &impl Serialize, now: &Now) -> Result<u64, SessionError> {
        self.add(kind, body, now, true)
    }

    /// Appends a record of the walker, synced.
    pub fn record(&mut self, record: &Record, now: &Now) -> Result<u64, SessionError> {
        self.append_synced(Kind::Record, record, now)
    }

    /// Stores an audio clip (16 kHz, full scale 1.0): first its hash, then the file, then a note that it is stored, so that "never stored"
    /// and "removed" can be told apart. On error the call may be repeated with the same audio.
    pub fn clip(&mut self, id: &str, sound: &[f32], now: &Now) -> Result<Clip, SessionError> {
        self.keep(id, sound.len() as u64, &encode(id, sound)?, None, now)
    }

    /// Stores a piece of the whole session's audio, as a clip with its start time.
    pub fn piece(&mut self, piece: &Piece, now: &Now) -> Result<Clip, SessionError> {
        let (id, samples) = (piece.id(), piece.sound.len() as u64);
        self.keep(&id, samples, &encode(&id, &piece.sound)?, Some(piece.began_ms), now)
    }

    /// As [`Journal::clip`], with the bytes of the file.
    pub(super) fn keep(
        &mut self,
        id: &str,
        samples: u64,
        bytes: &[u8],
        began_ms: Option<u64>,
        now: &Now,
    ) -> Result<Clip, SessionError> {
        let file = clip_file(id);
        if !plain_name(&file) || id.contains('/') {
            return Err(SessionError::Name { name: id.to_owned() });
        }
        if bytes.len() as u64 > limits::CLIP {
            return Err(SessionError::TooLarge { what: file, limit: limits::CLIP });
        }
        let id = id.to_owned();
        let clip = Clip { id, file, sha256: sha256_hex(bytes), samples, began_ms };
        let id = &clip.id;
        match self.clips.get(id) {
            Some((before, _)) if *before != clip => return Err(SessionError::ClipTwice { id: id.clone() }),
            Some((_, true)) => return Ok(clip),
            Some((_, false)) => {}
            None => {
                self.append_synced(Kind::Clip, &clip, now)?;
                self.clips.insert(id.clone(), (clip.clone(), false));
            }
        }
        let place = self.place();
        self.storage
            .write_whole(&clip.file, bytes)
            .map_err(|error| SessionError::from_io(&place, &format!("storing {}", clip.file), error))?;
        self.append(Kind::ClipStored, &clip, now)?;
        self.clips.insert(id.clone(), (clip.clone(), true));
        Ok(clip)
    }

    /// Appends a reviewer's remark, synced. Changes nothing else.
    pub fn remark(&mut self, remark: &Remark, now: &Now) -> Result<u64, SessionError> {
        if remark.about.is_some_and(|line| line >= self.next_seq) {
            return Err(SessionError::NoSuchLine { line: remark.about.unwrap_or_default() });
        }
        self.append_synced(Kind::Note, remark, now)
    }

    /// Removes the audio of every clip, after an entry that says who asked for it and why. The clips' hashes stay in the chain, so it can
    /// still be verified. Returns the number of files removed. After an error or a kill the call may be repeated.
    pub fn forget_sound(&mut self, by: &str, why: &str, now: &Now) -> Result<usize, SessionError> {
        let clips: Vec<String> = self.clips.values().map(|(clip, _)| clip.file.clone()).collect();
        let forgotten = Forgotten { by: by.to_owned(), why: why.to_owned(), clips };
        self.append_synced(Kind::Forgotten, &forgotten, now)?;
        let place = self.place();
        let fail = |doing: &str, error| SessionError::from_io(&place, doing, error);
        let there = self.storage.list().map_err(|error| fail("looking into the folder", error))?;
        let gone: Vec<&String> = forgotten.clips.iter().filter(|file| there.contains(file)).collect();
        for file in &gone {
            self.storage.remove(file).map_err(|error| fail(&format!("removing {file}"), error))?;
        }
        Ok(gone.len())
    }

    /// Ends the session: writes a last entry and the digest beside the journal. On return both are on disk, and the whole journal has been
    /// read back and compared with what was written. On error the call may be repeated.
    pub fn finish(&mut self, now: &Now) -> Result<Digest, SessionError> {
        if !self.ended {
            self.append_synced(Kind::End, &serde_json::json!({}), now)?;
        }
        let digest = self.digest();
        let text = serde_json::to_vec_pretty(&digest)
            .map_err(|error| SessionError::Unwritable { kind: DIGEST_FILE.into(), why: error.to_string() })?;
        let place = self.place();
        self.storage
            .write_whole(DIGEST_FILE, &text)
            .map_err(|error| SessionError::from_io(&place, "writing the digest", error))?;
        self.closed = true;
        self.look(true)?;
        Ok(digest)
    }

    /// How much room the journal has left.
    pub fn room(&self) -> Room {
        Room::beside(self.watch.length())
    }

    /// What can be read of this session on disk. Zero if it is gone.
    pub fn there(&mut self) -> There {
        let mut there = There::default();
        if let Ok(bytes) = read_journal(&mut *self.storage) {
            let scan = chain::scan(&bytes, |_, entry, _, fits| {
                let reading = || matches!(entry.body_as(), Some(Record::Read { .. }));
                there.readings += u64::from(fits && entry.is(Kind::Record) && reading());
            });
            there.entries = scan.lines;
        }
        there
    }

    fn add(&mut self, kind: Kind, body: &impl Serialize, now: &Now, sync: bool) -> Result<u64, SessionError> {
        let mut raw = chain::line(self.next_seq, now, self.on_disk, kind, body, &self.prev)
            .map_err(|error| SessionError::Unwritable { kind: kind.name().into(), why: error.to_string() })?;
        if raw.len() as u64 > limits::LINE {
            return Err(SessionError::TooLarge { what: format!("an entry of kind {kind}"), limit: limits::LINE });
        }
        let reserved = if kind == Kind::End { 0 } else { limits::LAST_LINE };
        if self.watch.length() + raw.len() as u64 + reserved >= limits::JOURNAL {
            return Err(SessionError::JournalFull { place: self.place() });
        }
        let hash = sha256_hex(&raw);
        raw.push(b'\n');
        self.look(false)?;
        self.settle().map_err(|error| self.not_written(error))?;
        if let Err(error) = self.write(&raw, sync) {
            self.watch.failed(raw);
            return Err(self.not_written(error));
        }
        let stamp = match self.storage.stamp(JOURNAL_FILE) {
            Ok(stamp) => stamp,
            Err(error) => {
                self.watch.failed(raw);
                return Err(self.not_written(error));
            }
        };
        let found = self.watch.untouched(&stamp).and_then(|_| {
            let length = self.watch.length() + raw.len() as u64;
            if stamp.length == length { Ok(()) } else { Err("altered") }
        });
        if let Err(what) = found {
            self.watch.failed(raw);
            return Err(self.meddled(what));
        }
        self.watch.wrote(&raw, sync, stamp);
        self.ended = kind == Kind::End;
        self.prev = hash;
        self.next_seq += 1;
        self.closed = false;
        if sync {
            self.on_disk = self.next_seq;
        }
        Ok(self.next_seq - 1)
    }

    fn write(&mut self, raw: &[u8], sync: bool) -> io::Result<()> {
        self.storage.append(JOURNAL_FILE, raw)?;
        if sync { self.storage.sync(JOURNAL_FILE) } else { Ok(()) }
    }

    fn not_written(&self, error: io::Error) -> SessionError {
        SessionError::from_io(&self.place(), &format!("writing {JOURNAL_FILE}"), error)
    }

    fn meddled(&self, what: Meddling) -> SessionError {
        SessionError::Meddled { place: self.place(), what }
    }

    /// Checks that the file is what was written. With `whole` it reads the file whatever its stamp says.
    fn look(&mut self, whole: bool) -> Result<(), SessionError> {
        let place = self.place();
        let fail = |error| SessionError::from_io(&place, &format!("looking after {JOURNAL_FILE}"), error);
        let stamp = self.storage.stamp(JOURNAL_FILE).map_err(fail)?;
        if self.watch.untouched(&stamp).map_err(|what| self.meddled(what))? && !whole {
            return Ok(());
        }
        let bytes = match self.storage.read(JOURNAL_FILE, limits::JOURNAL) {
            Err(error) if error.kind() == io::ErrorKind::FileTooLarge => return Err(self.meddled("altered")),
            other => other.map_err(fail)?,
        };
        self.watch.holds(&bytes).map_err(|what| self.meddled(what))?;
        self.watch.read(stamp);
        Ok(())
    }

    /// Recovers from a failure: cuts back to what is known to be on disk, then writes the later lines again.
    fn settle(&mut self) -> io::Result<()> {
        if self.watch.is_doubtful() {
            self.storage.truncate(JOURNAL_FILE, self.watch.synced)?;
            self.storage.sync(JOURNAL_FILE)?;
            self.storage.append(JOURNAL_FILE, &self.watch.unsynced)?;
            self.watch.settled(self.storage.stamp(JOURNAL_FILE)?);
        }
        Ok(())
    }
}

impl std::fmt::Debug for Journal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Journal")
            .field("place", &self.place())
            .field("next_seq", &self.next_seq)
            .finish_non_exhaustive()
    }
}
