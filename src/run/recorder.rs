//! What the driver hands to the journal's thread, and what the walker is told of how that went.

use crate::session::{Kind, Now, Piece, Record, Reply, Room, SessionError, Spoken, Writer};
use crate::walk::Event;
use std::collections::{BTreeSet, VecDeque};

/// The driver's end of the journal.
pub(super) struct Recorder {
    writer: Writer,
    /// Records that the walker waits for.
    waited_for: BTreeSet<u64>,
    /// A failure was told, and nothing was stored since.
    failing: bool,
    room: Room,
    /// It was told that sound is dropped.
    drops_sound: bool,
    /// What the walker has to be told and was not yet.
    news: VecDeque<Event>,
    /// Why nothing can be recorded any more.
    gone: Option<String>,
}

impl Recorder {
    /// Over this journal's thread.
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

    /// The journal's thread, when the walk is over.
    pub(super) fn into_writer(self) -> Writer {
        self.writer
    }

    /// What the walker has to be told next.
    pub(super) fn news(&mut self) -> Option<Event> {
        self.news.pop_front()
    }

    /// Why nothing can be recorded any more, where that is so: the walk is over.
    pub fn gone(&self) -> Option<&str> {
        self.gone.as_deref()
    }

    /// An event, before the walker sees it. False: the journal cannot have it, so the walker must not see it.
    #[must_use]
    pub fn event(&mut self, event: &Event, now: &Now) -> bool {
        let sent = Writer::fits(Kind::Event, event).and_then(|()| self.writer.append(0, Kind::Event, event, now));
        let took = sent.is_ok();
        self.sent(0, sent);
        took
    }

    /// What was said or heard.
    pub fn spoken(&mut self, kind: Kind, spoken: &Spoken, now: &Now) {
        let sent = self.writer.append(0, kind, spoken, now);
        self.sent(0, sent);
    }

    /// What the walker wrote down. `waited`: it waits until that is on disk.
    pub fn record(&mut self, id: u64, record: &Record, now: &Now, waited: bool) {
        if waited {
            self.waited_for.insert(id);
        }
        let sent = self.writer.record(id, record, now, waited);
        self.sent(id, sent);
    }

    /// The sound of an answer.
    pub fn clip(&mut self, clip: &str, sound: Vec<f32>, now: &Now) {
        let sent = self.writer.clip(0, clip, sound, now);
        self.sound_sent(sent);
    }

    /// Sound of the whole session.
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

    /// What became of something that was handed over.
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

    /// A failure to note an event must not note another: one report until something is stored again. What is left out is told in any case, so
    /// that nobody waits for it or looks for it in the journal; only a full journal could not note even that.
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
