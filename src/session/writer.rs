//! The journal on a thread of its own, so that whoever drives the walk never waits for the disk.
//!
//! Commands go in by a channel and are carried out in their order; each is answered by its id through the callback given at the start.
//! The callback runs on the writer's thread: it should only send on a channel. What cannot be written for a reason that may pass is kept
//! and written before anything that comes after it, so that the journal has no holes; only what its sender waits for is given back to be
//! tried again. What can never be written holds up nothing: it is refused, and an entry in its place says what was left out.
//!
//! Text that waits is small; sound is not. Of sound at most [`limits::WAITING_SOUND`] samples wait; more is dropped, and an entry says from
//! when to when, as soon as the disk takes sound again.

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
    /// The entry is in the journal; on disk, if that was asked for.
    Recorded {
        /// The command's id.
        id: u64,
        /// Number of the entry.
        seq: u64,
        /// What room is left in the journal.
        room: Room,
    },
    /// The clip is stored.
    ClipStored {
        /// The command's id.
        id: u64,
        /// The clip's id.
        clip: String,
    },
    /// It could not be written now. It is kept, is written before all that comes after it, and is answered again then.
    Late {
        /// The command's id.
        id: u64,
        /// Why, a sentence by its `Display`.
        why: SessionError,
    },
    /// Nothing was written or kept; the same may be tried again.
    Failed {
        /// The command's id.
        id: u64,
        /// Why, a sentence by its `Display`.
        why: SessionError,
    },
    /// It can never be written, and an entry in its place says so.
    Refused {
        /// The command's id.
        id: u64,
        /// Why, a sentence by its `Display`.
        why: SessionError,
    },
}

/// A session that could not be ended as it should be.
#[derive(Debug)]
pub struct NotKept {
    /// Why, a sentence by its `Display`.
    pub why: SessionError,
    /// What of it can be read from the disk.
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
    /// `flac`: the sound as it is stored, once it was tried.
    Sound {
        id: u64,
        clip: String,
        began_ms: Option<u64>,
        sound: Waiting,
        flac: OnceCell<Vec<u8>>,
        now: Now,
    },
}

/// Handle to the thread that owns a journal. Dropping it waits until everything asked for is written.
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

    /// Whether an entry of this kind is not too large to be written at all, so that nobody acts on what the journal cannot have.
    ///
    /// # Errors
    /// It is, a sentence.
    pub fn fits(kind: Kind, body: &impl Serialize) -> Result<(), SessionError> {
        let text = serde_json::to_vec(body)
            .map_err(|error| SessionError::Unwritable { kind: kind.name().into(), why: error.to_string() })?;
        if text.len() as u64 + limits::AROUND_BODY > limits::LINE {
            return Err(SessionError::TooLarge { what: format!("an entry of kind {kind}"), limit: limits::LINE });
        }
        Ok(())
    }

    /// As [`Journal::append`]; kept if it cannot be written.
    pub fn append(&self, id: u64, kind: Kind, body: &impl Serialize, now: &Now) -> Result<(), SessionError> {
        self.add(id, kind, body, now, false, false)
    }

    /// As [`Journal::record`]. `waited`: the sender waits for the answer and will try again; else it is kept if it cannot be written.
    pub fn record(&self, id: u64, record: &Record, now: &Now, waited: bool) -> Result<(), SessionError> {
        self.add(id, Kind::Record, record, now, true, waited)
    }

    /// As [`Journal::clip`]; kept if it cannot be written.
    ///
    /// # Errors
    /// [`SessionError::SoundDropped`] where too much sound waits already.
    pub fn clip(&self, id: u64, clip: impl Into<String>, sound: Vec<f32>, now: &Now) -> Result<(), SessionError> {
        self.sound(id, clip.into(), None, sound, now)
    }

    /// As [`Journal::piece`]; kept if it cannot be written.
    ///
    /// # Errors
    /// [`SessionError::SoundDropped`] where too much sound waits already.
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

    /// Notes the gap in the sound that is over.
    fn note_dropped(&self, now: &Now) -> Result<(), SessionError> {
        match self.backlog.gap() {
            Some(gap) => self.append(0, Kind::Note, &gap.remark(), now),
            None => Ok(()),
        }
    }

    /// Waits until everything is written and ends the session. What could not be written is tried once more. The digest is given only if
    /// every entry, the end and the digest itself are on disk where the session's path leads.
    ///
    /// # Errors
    /// Something was not kept: why, and what is there.
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

    /// Waits until everything is written and gives the journal back.
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
        // A panic of that thread has been printed by its hook; there is nothing to add to it here.
        let _ = self.join();
    }
}

/// What could not be written yet, in its order.
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
    /// Writes what is late, in its order, up to the first that fails again for a reason that may pass.
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

    /// What can never be written is left out, and an entry in its place says so. A waited one is not missed: its sender is told.
    fn refuse(&mut self, command: Command, why: SessionError, journal: &mut Journal, reply: &mut impl FnMut(Reply)) {
        let (id, now) = (command.id(), command.now().clone());
        let remark = Remark::own(format!("{} was left out here: {why}", command.words()));
        let full = matches!(why, SessionError::JournalFull { .. });
        if !full && let Err(again) = journal.append(Kind::Note, &remark, &now) {
            tracing::warn!(%again, "what was left out is noted late");
            let body = serde_json::to_value(&remark).unwrap_or_default();
            // Nothing that is late stands before it.
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
                // It was empty.
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

    /// What it is, for a reader.
    fn words(&self) -> String {
        match self {
            Self::Append { kind, .. } => format!("an entry of kind {kind}"),
            Self::Sound { clip, .. } => format!("the sound {clip}"),
        }
    }

    /// Its sender tries it again; it must not be written behind their back.
    fn is_given_back(&self) -> bool {
        matches!(self, Self::Append { waited: true, .. })
    }
}

#[cfg(test)]
mod tests;
