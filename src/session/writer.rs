//! The journal on a thread of its own, so that whoever drives the walk never waits for the disk.
//!
//! Commands go in by a channel and are carried out in their order; each is answered by its id through the callback given at the start.
//! The callback runs on the writer's thread: it should only send on a channel. What cannot be written is kept and written before
//! anything that comes after it, so that the journal has no holes; only what its sender waits for is given back to be tried again.

use super::chain::Kind;
use super::digest::Digest;
use super::error::SessionError;
use super::journal::Journal;
use super::pieces::Piece;
use super::record::{Now, Record};
use serde::Serialize;
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
    },
    /// The clip is stored.
    ClipStored {
        /// The command's id.
        id: u64,
        /// The clip's id.
        clip: String,
    },
    /// The session was ended.
    Finished {
        /// The command's id.
        id: u64,
        /// Its digest.
        digest: Digest,
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
}

enum Command {
    Append { id: u64, kind: Kind, body: serde_json::Value, now: Now, sync: bool, waited: bool },
    Clip { id: u64, clip: String, sound: Vec<f32>, now: Now },
    Piece { id: u64, piece: Piece, now: Now },
    Finish { id: u64, now: Now },
}

/// Handle to the thread that owns a journal. Dropping it waits until everything asked for is written.
#[derive(Debug)]
pub struct Writer {
    commands: Option<Sender<Command>>,
    thread: Option<JoinHandle<Journal>>,
}

impl Writer {
    /// Starts the thread.
    pub fn start(journal: Journal, reply: impl FnMut(Reply) + Send + 'static) -> io::Result<Writer> {
        let (commands, inbox) = channel();
        let thread = std::thread::Builder::new().name("journal".into()).spawn(move || work(journal, &inbox, reply))?;
        Ok(Writer { commands: Some(commands), thread: Some(thread) })
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

    /// As [`Journal::append`]; kept if it cannot be written.
    pub fn append(&self, id: u64, kind: Kind, body: &impl Serialize, now: &Now) -> Result<(), SessionError> {
        self.add(id, kind, body, now, false, false)
    }

    /// As [`Journal::record`]. `waited`: the sender waits for the answer and will try again; else it is kept if it cannot be written.
    pub fn record(&self, id: u64, record: &Record, now: &Now, waited: bool) -> Result<(), SessionError> {
        self.add(id, Kind::Record, record, now, true, waited)
    }

    /// As [`Journal::clip`]; kept if it cannot be written.
    pub fn clip(&self, id: u64, clip: impl Into<String>, sound: Vec<f32>, now: &Now) -> Result<(), SessionError> {
        self.send(Command::Clip { id, clip: clip.into(), sound, now: now.clone() })
    }

    /// As [`Journal::piece`]; kept if it cannot be written.
    pub fn piece(&self, id: u64, piece: Piece, now: &Now) -> Result<(), SessionError> {
        self.send(Command::Piece { id, piece, now: now.clone() })
    }

    /// As [`Journal::finish`].
    pub fn finish(&self, id: u64, now: &Now) -> Result<(), SessionError> {
        self.send(Command::Finish { id, now: now.clone() })
    }

    /// Waits until everything is written and gives the journal back.
    pub fn close(mut self) -> Result<Journal, SessionError> {
        self.commands = None;
        self.thread.take().and_then(|thread| thread.join().ok()).ok_or(SessionError::Closed)
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.commands = None;
        if let Some(thread) = self.thread.take() {
            // A panic of that thread has been printed by its hook; there is nothing to add to it here.
            let _ = thread.join();
        }
    }
}

fn work(mut journal: Journal, inbox: &Receiver<Command>, mut reply: impl FnMut(Reply)) -> Journal {
    let mut late: VecDeque<Command> = VecDeque::new();
    for command in inbox {
        let behind = catch_up(&mut journal, &mut late, &mut reply);
        let done = behind.and_then(|()| carry_out(&mut journal, &command));
        match done {
            Ok(answer) => reply(answer),
            Err(why) => {
                let id = command.id();
                if command.is_given_back() {
                    reply(Reply::Failed { id, why });
                } else {
                    late.push_back(command);
                    reply(Reply::Late { id, why });
                }
            }
        }
    }
    if let Err(why) = catch_up(&mut journal, &mut late, &mut reply) {
        tracing::error!(%why, entries = late.len(), "the end of the journal was not written");
    }
    journal
}

/// Writes what is late, in its order, up to the first that fails again.
fn catch_up(
    journal: &mut Journal,
    late: &mut VecDeque<Command>,
    reply: &mut impl FnMut(Reply),
) -> Result<(), SessionError> {
    while let Some(command) = late.front() {
        reply(carry_out(journal, command)?);
        late.pop_front();
    }
    Ok(())
}

fn carry_out(journal: &mut Journal, command: &Command) -> Result<Reply, SessionError> {
    Ok(match command {
        Command::Append { id, kind, body, now, sync, .. } => {
            let seq = if *sync { journal.append_synced(*kind, body, now) } else { journal.append(*kind, body, now) }?;
            Reply::Recorded { id: *id, seq }
        }
        Command::Clip { id, clip, sound, now } => {
            Reply::ClipStored { id: *id, clip: journal.clip(clip, sound, now)?.id }
        }
        Command::Piece { id, piece, now } => Reply::ClipStored { id: *id, clip: journal.piece(piece, now)?.id },
        Command::Finish { id, now } => Reply::Finished { id: *id, digest: journal.finish(now)? },
    })
}

impl Command {
    fn id(&self) -> u64 {
        match self {
            Self::Append { id, .. } | Self::Clip { id, .. } | Self::Piece { id, .. } | Self::Finish { id, .. } => *id,
        }
    }

    /// Its sender tries it again; it must not be written behind their back.
    fn is_given_back(&self) -> bool {
        matches!(self, Self::Append { waited: true, .. } | Self::Finish { .. })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{Disk, Fault, Header, Job};

    fn journal_on(disk: &Disk) -> Journal {
        let header = Header::new("s", Job::default(), serde_json::Value::Null);
        Journal::create(Box::new(disk.folder()), header, vec![], &now()).unwrap()
    }

    fn now() -> Now {
        Now { mono_ms: 1, wall: "2026-11-25T10:14:03.120+01:00".into() }
    }

    fn record(text: &str) -> Record {
        Record::Noted { step: "s".into(), round: None, text: text.into(), clip: None }
    }

    #[test]
    fn what_is_waited_for_is_given_back_and_all_else_is_written_late_in_its_order() {
        let disk = Disk::new();
        let (send, answers) = channel();
        let writer = Writer::start(journal_on(&disk), move |reply| send.send(reply).unwrap()).unwrap();
        writer.append(1, Kind::Event, &"first", &now()).unwrap();
        assert!(matches!(answers.recv().unwrap(), Reply::Recorded { id: 1, seq: 1 }));
        // The disk is full for the next three commands: one that is kept, one that is waited for, one more that is kept.
        disk.fail(disk.operations()..u64::MAX, Fault::Full);
        writer.append(2, Kind::Said, &"second", &now()).unwrap();
        writer.record(3, &record("waited for"), &now(), true).unwrap();
        writer.record(4, &record("kept"), &now(), false).unwrap();
        let three: Vec<Reply> = answers.iter().take(3).collect();
        assert!(matches!(three[0], Reply::Late { id: 2, why: SessionError::Full { .. } }), "{three:?}");
        assert!(matches!(three[1], Reply::Failed { id: 3, .. }), "{three:?}");
        assert!(matches!(three[2], Reply::Late { id: 4, .. }), "{three:?}");
        disk.mend();
        writer.record(5, &record("waited for"), &now(), true).unwrap();
        writer.clip(6, "a", vec![0.0; 160], &now()).unwrap();
        writer.finish(7, &now()).unwrap();
        let journal = writer.close().unwrap();
        let rest: Vec<Reply> = answers.iter().collect();
        assert!(matches!(rest[0], Reply::Recorded { id: 2, seq: 2 }), "{rest:?}");
        assert!(matches!(rest[1], Reply::Recorded { id: 4, seq: 3 }), "{rest:?}");
        assert!(matches!(rest[2], Reply::Recorded { id: 5, seq: 4 }), "{rest:?}");
        assert!(matches!(&rest[3], Reply::ClipStored { id: 6, clip } if clip == "a"), "{rest:?}");
        assert!(matches!(&rest[4], Reply::Finished { id: 7, digest } if *digest == journal.digest()), "{rest:?}");
        assert_eq!(rest.len(), 5);
    }
}
