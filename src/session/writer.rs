//! The journal on a thread of its own, so that whoever drives the walk never waits for the disk.
//!
//! Commands go in by a channel and are carried out in their order; each is answered exactly once, by its id, through the callback given
//! at the start. The callback runs on the writer's thread: it should only send on a channel.

use super::chain::Kind;
use super::digest::Digest;
use super::error::SessionError;
use super::journal::Journal;
use super::record::{Now, Record};
use serde::Serialize;
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
    /// Nothing was written; the same may be tried again.
    Failed {
        /// The command's id.
        id: u64,
        /// Why, a sentence by its `Display`.
        why: SessionError,
    },
}

enum Command {
    Append { id: u64, kind: Kind, body: serde_json::Value, now: Now, sync: bool },
    Clip { id: u64, clip: String, sound: Vec<f32>, now: Now },
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

    fn add(&self, id: u64, kind: Kind, body: &impl Serialize, now: &Now, sync: bool) -> Result<(), SessionError> {
        let body = serde_json::to_value(body)
            .map_err(|error| SessionError::Unwritable { kind: kind.name().into(), why: error.to_string() })?;
        self.send(Command::Append { id, kind, body, now: now.clone(), sync })
    }

    /// As [`Journal::append`].
    pub fn append(&self, id: u64, kind: Kind, body: &impl Serialize, now: &Now) -> Result<(), SessionError> {
        self.add(id, kind, body, now, false)
    }

    /// As [`Journal::append_synced`].
    pub fn append_synced(&self, id: u64, kind: Kind, body: &impl Serialize, now: &Now) -> Result<(), SessionError> {
        self.add(id, kind, body, now, true)
    }

    /// As [`Journal::record`].
    pub fn record(&self, id: u64, record: &Record, now: &Now) -> Result<(), SessionError> {
        self.add(id, Kind::Record, record, now, true)
    }

    /// As [`Journal::clip`].
    pub fn clip(&self, id: u64, clip: impl Into<String>, sound: Vec<f32>, now: &Now) -> Result<(), SessionError> {
        self.send(Command::Clip { id, clip: clip.into(), sound, now: now.clone() })
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
    for command in inbox {
        let answer = match command {
            Command::Append { id, kind, body, now, sync } => {
                let done =
                    if sync { journal.append_synced(kind, &body, &now) } else { journal.append(kind, &body, &now) };
                done.map_or_else(|why| Reply::Failed { id, why }, |seq| Reply::Recorded { id, seq })
            }
            Command::Clip { id, clip, sound, now } => journal
                .clip(&clip, &sound, &now)
                .map_or_else(|why| Reply::Failed { id, why }, |stored| Reply::ClipStored { id, clip: stored.id }),
            Command::Finish { id, now } => journal
                .finish(&now)
                .map_or_else(|why| Reply::Failed { id, why }, |digest| Reply::Finished { id, digest }),
        };
        reply(answer);
    }
    journal
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{Disk, Fault, Header, Job};

    #[test]
    fn every_command_is_answered_once_in_order() {
        let disk = Disk::new();
        let now = Now { mono_ms: 1, wall: "2026-11-25T10:14:03.120+01:00".into() };
        let header = Header::new("s", Job::default(), serde_json::Value::Null);
        let journal = Journal::create(Box::new(disk.folder()), header, vec![], &now).unwrap();
        let (send, answers) = channel();
        let writer = Writer::start(journal, move |reply| send.send(reply).unwrap()).unwrap();
        writer.append(1, Kind::Event, &"first", &now).unwrap();
        assert!(matches!(answers.recv().unwrap(), Reply::Recorded { id: 1, seq: 1 }));
        let next = disk.operations();
        disk.fail(next..next + 1, Fault::Full);
        writer.append_synced(2, Kind::Event, &"second", &now).unwrap();
        writer.append_synced(3, Kind::Event, &"third", &now).unwrap();
        writer.clip(4, "a", vec![0.0; 160], &now).unwrap();
        writer.finish(5, &now).unwrap();
        let journal = writer.close().unwrap();
        let answers: Vec<Reply> = answers.iter().collect();
        assert!(matches!(answers[0], Reply::Failed { id: 2, why: SessionError::Full { .. } }));
        assert!(matches!(answers[1], Reply::Recorded { id: 3, seq: 2 }));
        assert!(matches!(&answers[2], Reply::ClipStored { id: 4, clip } if clip == "a"));
        assert!(matches!(&answers[3], Reply::Finished { id: 5, digest } if *digest == journal.digest()));
        assert_eq!(answers.len(), 4);
    }
}
