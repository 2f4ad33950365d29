//! What the driver hands to the journal's thread, and the events that tell the walker the outcome.

use crate::session::{Kind, Now, Piece, Record, Reply, Room, SessionError, Spoken, Writer};
use crate::walk::Event;
use std::collections::{BTreeSet, VecDeque};

/// The driver's end of the journal.
pub(super) struct Recorder {
    writer: Writer,
    /// Records that the walker waits for.
    waited_for: BTreeSet<u64>,
    /// Whether a failure was reported and nothing has been stored since.
    failing: bool,
    room: Room,
    /// Whether dropped audio was reported.
    drops_sound: bool,
    /// Events that the walker has not received yet.
    news: VecDeque<Event>,
    /// Why nothing can be recorded any more.
    gone: Option<String>,
}

impl Recorder {
    /// A recorder for this journal's thread.
    pub fn new(writer: Writer) -> Self {
        Self {
            writer,
            waited_for: BTreeSet::new(),
            failing: false,
            room: Room::Ample,
            drops_sound: false,
            news: VecDeque::new(),
            gone: None,
        }
    }

    /// The journal's thread, for use after the walk.
    pub(super) fn into_writer(self) -> Writer {
        self.writer
    }

    /// The next event for the walker.
    pub(super) fn news(&mut self) -> Option<Event> {
        self.news.pop_front()
    }

    /// Why nothing can be recorded any more, if so. The walk is over then.
    pub fn gone(&self) -> Option<&str> {
        self.gone.as_deref()
    }

    /// Records an event before the walker sees it. False: the journal cannot store it, so the walker must not see it.
    #[must_use]
    pub fn event(&mut self, event: &Event, now: &Now) -> bool {
        let sent = Writer::fits(Kind::Event, event).and_then(|()| self.writer.append(0, Kind::Event, event, now));
        let took = sent.is_ok();
        self.sent(0, sent);
        took
    }

    /// Records what was said or heard.
    pub fn spoken(&mut self, kind: Kind, spoken: &Spoken, now: &Now) {
        let sent = self.writer.append(0, kind, spoken, now);
        self.sent(0, sent);
    }

    /// Records what the walker wrote. `waited`: the walker waits until it is on disk.
    pub fn record(&mut self, id: u64, record: &Record, now: &Now, waited: bool) {
        if waited {
            self.waited_for.insert(id);
        }
        let sent = self.writer.record(id, record, now, waited);
        self.sent(id, sent);
    }

    /// Stores the audio of an answer.
    pub fn clip(&mut self, clip: &str, sound: Vec<f32>, now: &Now) {
        let sent = self.writer.clip(0, clip, sound, now);
        self.sound_sent(sent);
    }

    /// Stores audio of the whole session.
    pub fn piece(&mut self, piece: Piece, now: &Now) {
        let sent = self.writer.piece(0, piece, now);
        self.sound_sent(sent);
    }

    fn sound_sent(&mut self, sent: Result<(), SessionError>) {
        let dropped = matches!(sent, Err(SessionError::SoundDropped));
        if dropped && !self.drops_sound {
            self.news.push_back(Event::SoundDropped);
        }
        self.drops_sound = dropped;
        self.sent(0, sent);
    }

    fn sent(&mut self, id: u64, sent: Result<(), SessionError>) {
        match sent {
            Ok(()) | Err(SessionError::SoundDropped) => {}
            Err(SessionError::Closed) => self.gone = Some(SessionError::Closed.to_string()),
            Err(why) => self.failed(id, &why, true),
        }
    }

    /// Handles the outcome of something that was handed over.
    pub(super) fn replied(&mut self, reply: Reply) {
        match reply {
            Reply::Recorded { id, room, .. } => {
                if self.waited_for.remove(&id) {
                    self.news.push_back(Event::Recorded { id });
                }
                self.failing = false;
                if room > self.room {
                    self.room = room;
                    self.news.push_back(match self.room {
                        Room::Ending => Event::Stop { why: "the record has reached its limit".into() },
                        _ => Event::RecordNearlyFull,
                    });
                }
            }
            Reply::Failed { id, why } | Reply::Late { id, why } => self.failed(id, &why, false),
            Reply::Refused { id, why } => self.failed(id, &why, true),
            Reply::ClipStored { .. } => {}
        }
    }

    /// Reports a failure. A failure to record an event must not cause another event, so there is one report until something is stored
    /// again. A dropped entry is always reported, so that nobody waits for it or looks for it in the journal; only a full journal cannot
    /// record even that.
    fn failed(&mut self, id: u64, why: &SessionError, never: bool) {
        let waited = self.waited_for.remove(&id);
        let left_out = never && !matches!(why, SessionError::JournalFull { .. });
        if waited || left_out || !std::mem::replace(&mut self.failing, true) {
            let why = why.to_string();
            crate::terminal::errln!("{why}");
            self.news.push_back(Event::RecordFailed { id, why, never });
        }
    }
}
