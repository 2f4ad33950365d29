//! Runs the journal on its own thread, so that the driver of the walk never waits for the disk.
//!
//! Commands arrive through a channel and run in order. Each is answered by its id through the callback given at the start. The callback
//! runs on the writer's thread and should only send on a channel. An entry that fails for a temporary reason is kept and written before
//! anything after it, so the journal has no gaps. A command whose sender waits is instead returned for another try. An entry that can never
//! be written blocks nothing: it is refused, and a remark in its place says what was left out.
//!
//! Waiting text is small; audio is not. At most [`limits::WAITING_SOUND`] samples of audio wait. More is dropped, and once the disk accepts
//! audio again an entry says from when to when.

use super::backlog::{Backlog, Waiting};
use super::chain::Kind;
use super::digest::Digest;
use super::error::SessionError;
use super::header::Remark;
use super::journal::{Journal, There, encode};
use super::limits;
use super::pieces::Piece;
use super::record::{Now, Record};
use super::room::Room;
use serde::Serialize;
use std::cell::OnceCell;
use std::collections::VecDeque;
use std::io;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::JoinHandle;

/// The answer to a command.
#[derive(Debug)]
pub enum Reply {
    /// The entry is in the journal, and on disk if that was requested.
    Recorded {
        /// The command's id.
        id: u64,
        /// The entry's number.
        seq: u64,
        /// The room left in the journal.
        room: Room,
    },
    /// The clip is stored.
    ClipStored {
        /// The command's id.
        id: u64,
        /// The clip's id.
        clip: String,
    },
    /// The entry could not be written yet. It is kept, written before everything after it, and then answered again.
    Late {
        /// The command's id.
        id: u64,
        /// The reason, a sentence by its `Display`.
        why: SessionError,
    },
    /// Nothing was written or kept. The sender may try again.
    Failed {
        /// The command's id.
        id: u64,
        /// The reason, a sentence by its `Display`.
        why: SessionError,
    },
    /// The entry can never be written. A remark in its place says so.
    Refused {
        /// The command's id.
        id: u64,
        /// The reason, a sentence by its `Display`.
        why: SessionError,
    },
}

/// A session that did not end properly.
#[derive(Debug)]
pub struct NotKept {
    /// The reason, a sentence by its `Display`.
    pub why: SessionError,
    /// What can be read of it on disk.
    pub there: There,
}

enum Command {
    Append {
        id: u64,
        kind: Kind,
        body: serde_json::Value,
        now: Now,
        sync: bool,
        waited: bool,
    },
    /// `flac`: the encoded audio, once encoding was tried.
    Sound {
        id: u64,
        clip: String,
        began_ms: Option<u64>,
        sound: Waiting,
        flac: OnceCell<Vec<u8>>,
        now: Now,
    },
}

/// Handle to the thread that owns a journal. Dropping it waits until all commands are finished.
#[derive(Debug)]
pub struct Writer {
    commands: Option<Sender<Command>>,
    thread: Option<JoinHandle<(Journal, Late)>>,
    backlog: Backlog,
}

impl Writer {
    /// Starts the thread.
    pub fn start(journal: Journal, reply: impl FnMut(Reply) + Send + 'static) -> io::Result<Writer> {
        let (commands, inbox) = channel();
        let thread = std::thread::Builder::new().name("journal".into()).spawn(move || work(journal, &inbox, reply))?;
        Ok(Writer { commands: Some(commands), thread: Some(thread), backlog: Backlog::default() })
    }

    fn send(&self, command: Command) -> Result<(), SessionError> {
        self.commands.as_ref().and_then(|c| c.send(command).ok()).ok_or(SessionError::Closed)
    }

    fn add(
        &self,
        id: u64,
        kind: Kind,
        body: &impl Serialize,
        now: &Now,
        sync: bool,
        waited: bool,
    ) -> Result<(), SessionError> {
        let body = serde_json::to_value(body)
            .map_err(|error| SessionError::Unwritable { kind: kind.name().into(), why: error.to_string() })?;
        self.send(Command::Append { id, kind, body, now: now.clone(), sync, waited })
    }

    /// Checks that an entry of this kind is small enough to be written, so that nobody acts on something the journal cannot hold.
    ///
    /// # Errors
    /// The entry is too large.
    pub fn fits(kind: Kind, body: &impl Serialize) -> Result<(), SessionError> {
        let text = serde_json::to_vec(body)
            .map_err(|error| SessionError::Unwritable { kind: kind.name().into(), why: error.to_string() })?;
        if text.len() as u64 + limits::AROUND_BODY > limits::LINE {
            return Err(SessionError::TooLarge { what: format!("an entry of kind {kind}"), limit: limits::LINE });
        }
        Ok(())
    }

    /// As [`Journal::append`]. Kept if it cannot be written yet.
    pub fn append(&self, id: u64, kind: Kind, body: &impl Serialize, now: &Now) -> Result<(), SessionError> {
        self.add(id, kind, body, now, false, false)
    }

    /// As [`Journal::record`]. With `waited` the sender waits for the answer and will retry; otherwise it is kept if it cannot be written
    /// yet.
    pub fn record(&self, id: u64, record: &Record, now: &Now, waited: bool) -> Result<(), SessionError> {
        self.add(id, Kind::Record, record, now, true, waited)
    }

    /// As [`Journal::clip`]. Kept if it cannot be written yet.
    ///
    /// # Errors
    /// [`SessionError::SoundDropped`] if too much audio is already waiting.
    pub fn clip(&self, id: u64, clip: impl Into<String>, sound: Vec<f32>, now: &Now) -> Result<(), SessionError> {
        self.sound(id, clip.into(), None, sound, now)
    }

    /// As [`Journal::piece`]. Kept if it cannot be written yet.
    ///
    /// # Errors
    /// [`SessionError::SoundDropped`] if too much audio is already waiting.
    pub fn piece(&self, id: u64, piece: Piece, now: &Now) -> Result<(), SessionError> {
        self.sound(id, piece.id(), Some(piece.began_ms), piece.sound, now)
    }

    fn sound(
        &self,
        id: u64,
        clip: String,
        began_ms: Option<u64>,
        sound: Vec<f32>,
        now: &Now,
    ) -> Result<(), SessionError> {
        let Some(sound) = self.backlog.take_in(sound, now.mono_ms) else { return Err(SessionError::SoundDropped) };
        self.note_dropped(now)?;
        self.send(Command::Sound { id, clip, began_ms, sound, flac: OnceCell::new(), now: now.clone() })
    }

    /// Records the finished gap in the audio.
    fn note_dropped(&self, now: &Now) -> Result<(), SessionError> {
        match self.backlog.gap() {
            Some(gap) => self.append(0, Kind::Note, &gap.remark(), now),
            None => Ok(()),
        }
    }

    /// Waits until everything is written, and ends the session. Entries that could not be written get one more try. Returns the digest only
    /// if every entry, the end and the digest itself are on disk at the session's path.
    ///
    /// # Errors
    /// Something was not stored: the reason, and what is on disk.
    pub fn end(mut self, now: &Now) -> Result<Digest, NotKept> {
        let lost = |why| NotKept { why, there: There::default() };
        self.note_dropped(now).map_err(lost)?;
        let (mut journal, mut late) = self.join().map_err(lost)?;
        let mut end = || {
            late.catch_up(&mut journal, &mut |_| ())?;
            journal.finish(now)
        };
        let ended = end().or_else(|_| end());
        ended.map_err(|why| NotKept { why, there: journal.there() })
    }

    /// Waits until everything is written and returns the journal.
    pub fn close(mut self) -> Result<Journal, SessionError> {
        self.join().map(|(journal, _)| journal)
    }

    fn join(&mut self) -> Result<(Journal, Late), SessionError> {
        self.commands = None;
        self.thread.take().and_then(|thread| thread.join().ok()).ok_or(SessionError::Closed)
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        // The panic hook has already printed that thread's panic.
        let _ = self.join();
    }
}

/// Commands that could not be written yet, in order.
#[derive(Default)]
struct Late(VecDeque<Command>);

impl std::fmt::Debug for Late {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Late").field(&self.0.len()).finish()
    }
}

fn work(mut journal: Journal, inbox: &Receiver<Command>, mut reply: impl FnMut(Reply)) -> (Journal, Late) {
    let mut late = Late::default();
    for command in inbox {
        let done = late.catch_up(&mut journal, &mut reply).and_then(|()| carry_out(&mut journal, &command));
        match done {
            Ok(answer) => reply(answer),
            Err(why) if why.is_for_good() => late.refuse(command, why, &mut journal, &mut reply),
            Err(why) => {
                let id = command.id();
                if command.is_given_back() {
                    reply(Reply::Failed { id, why });
                } else {
                    late.0.push_back(command);
                    reply(Reply::Late { id, why });
                }
            }
        }
    }
    if let Err(why) = late.catch_up(&mut journal, &mut reply) {
        tracing::error!(%why, entries = late.0.len(), "the end of the journal was not written");
    }
    (journal, late)
}

impl Late {
    /// Writes late commands in order, until one fails again for a temporary reason.
    fn catch_up(&mut self, journal: &mut Journal, reply: &mut impl FnMut(Reply)) -> Result<(), SessionError> {
        while let Some(command) = self.0.front() {
            match carry_out(journal, command) {
                Ok(answer) => {
                    self.0.pop_front();
                    reply(answer);
                }
                Err(why) if why.is_for_good() => {
                    let Some(command) = self.0.pop_front() else { break };
                    self.refuse(command, why, journal, reply);
                }
                Err(why) => return Err(why),
            }
        }
        Ok(())
    }

    /// Drops a command that can never be written and appends a remark in its place. A waited command needs no remark: its sender is told.
    fn refuse(&mut self, command: Command, why: SessionError, journal: &mut Journal, reply: &mut impl FnMut(Reply)) {
        let (id, now) = (command.id(), command.now().clone());
        let remark = Remark::own(format!("{} was left out here: {why}", command.words()));
        let full = matches!(why, SessionError::JournalFull { .. });
        if !full && let Err(again) = journal.append(Kind::Note, &remark, &now) {
            tracing::warn!(%again, "what was left out is noted late");
            let body = serde_json::to_value(&remark).unwrap_or_default();
            // Nothing late comes before it.
            self.0.push_front(Command::Append { id: 0, kind: Kind::Note, body, now, sync: false, waited: false });
        }
        reply(Reply::Refused { id, why });
    }
}

fn carry_out(journal: &mut Journal, command: &Command) -> Result<Reply, SessionError> {
    Ok(match command {
        Command::Append { id, kind, body, now, sync, .. } => {
            let seq = if *sync { journal.append_synced(*kind, body, now) } else { journal.append(*kind, body, now) }?;
            Reply::Recorded { id: *id, seq, room: journal.room() }
        }
        Command::Sound { id, clip, began_ms, sound, flac, now } => {
            if flac.get().is_none() {
                let encoded = encode(clip, &sound.sound)?;
                // The cell was empty.
                let _ = flac.set(encoded);
            }
            let (samples, bytes) = (sound.sound.len() as u64, flac.get().map_or(&[][..], Vec::as_slice));
            Reply::ClipStored { id: *id, clip: journal.keep(clip, samples, bytes, *began_ms, now)?.id }
        }
    })
}

impl Command {
    fn id(&self) -> u64 {
        match self {
            Self::Append { id, .. } | Self::Sound { id, .. } => *id,
        }
    }

    fn now(&self) -> &Now {
        match self {
            Self::Append { now, .. } | Self::Sound { now, .. } => now,
        }
    }

    /// A description for readers.
    fn words(&self) -> String {
        match self {
            Self::Append { kind, .. } => format!("an entry of kind {kind}"),
            Self::Sound { clip, .. } => format!("the sound {clip}"),
        }
    }

    /// Whether its sender retries it. It must not be written behind the sender's back.
    fn is_given_back(&self) -> bool {
        matches!(self, Self::Append { waited: true, .. })
    }
}

#[cfg(test)]
mod tests;
