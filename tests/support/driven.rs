//! A walk by the real driver over made ears, a made mouth, a storage double and a clock that jumps: what happens is drawn. What was told to the walker is
//! read from the journal and followed by the plain model (`machine.rs`); what was said is compared with what the walker asked for, and nothing
//! may be said back whose record was not in the journal at that moment.

#![allow(dead_code)]

use super::disk::{Disk, Fault};
use super::machine::{Machine, Seen, Story};
use super::stage::procedures;
use probeside::hear::{EarEvent, EarSender, Ears, PedalKey};
use probeside::phrase::{Answer, Command};
use probeside::run::{KeepSound, MechanicView, Session, load};
use probeside::session::{JOURNAL_FILE, JobDetails, Journal, Kind, Now, Record, TimeSource};
use probeside::speak::{Mouth, MouthEvent, MouthSender, Say, Tone};
use probeside::walk::{Effect, Event, SayKind, Walker};
use std::cell::RefCell;
use std::collections::VecDeque;
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

/// Something drawn happens so often, milliseconds.
const EVERY_MS: std::ops::Range<u64> = 200..2_500;

/// The event loop's own time, which jumps to the next timer when nothing else is to be done, for both clocks.
#[derive(Debug)]
struct Jumping {
    began: tokio::time::Instant,
    wall: jiff::ZonedDateTime,
    set_ms: AtomicI64,
}

impl TimeSource for Jumping {
    fn monotonic(&self) -> Duration {
        self.began.elapsed()
    }

    fn wall(&self) -> jiff::ZonedDateTime {
        let passed = i64::try_from(self.began.elapsed().as_millis()).expect("years");
        &self.wall + jiff::SignedDuration::from_millis(passed + self.set_ms.load(Ordering::Relaxed))
    }
}

/// What the doubles share.
struct Room {
    disk: Disk,
    /// Prompts that are sounding or wait.
    queue: RefCell<VecDeque<Say>>,
    /// All that was said: its id, its words, and the lines that the journal had.
    said: RefCell<Vec<(u64, String, usize)>>,
    to_mouth: MouthSender,
    is_open: RefCell<bool>,
}

impl Room {
    fn end(&self, say: &Say, whole: bool) {
        let _ = self.to_mouth.send(MouthEvent::PromptBegan { id: say.id });
        let _ = self.to_mouth.send(MouthEvent::PromptEnded { id: say.id, whole, samples: 16_000 });
    }
}

struct MadeMouth(Rc<Room>);

impl Mouth for MadeMouth {
    fn say(&mut self, say: Say) {
        let journal = self.0.disk.contents(JOURNAL_FILE).unwrap_or_default();
        let lines = journal.iter().filter(|byte| **byte == b'\n').count();
        self.0.said.borrow_mut().push((say.id, say.text.clone(), lines));
        self.0.queue.borrow_mut().push_back(say);
    }

    fn tone(&mut self, _tone: Tone) {}

    fn cut(&mut self) {
        self.0.queue.borrow_mut().drain(..).for_each(|say| self.0.end(&say, false));
    }

    fn interrupt(&mut self) {
        let (cut, kept): (VecDeque<Say>, _) = self.0.queue.borrow_mut().drain(..).partition(|say| say.interruptible);
        *self.0.queue.borrow_mut() = kept;
        cut.iter().for_each(|say| self.0.end(say, false));
    }

    fn is_live(&self) -> bool {
        true
    }
}

struct MadeEars(Rc<Room>);

impl Ears for MadeEars {
    fn open(&mut self) {
        *self.0.is_open.borrow_mut() = true;
    }

    fn close(&mut self) {
        *self.0.is_open.borrow_mut() = false;
    }

    fn is_live(&self) -> bool {
        true
    }
}

/// What happens beside the driver, drawn until `acts` are over; then the walk is stopped.
async fn happens(
    room: Rc<Room>,
    story: Story,
    view: Rc<RefCell<MechanicView>>,
    to: EarSender,
    clock: Arc<Jumping>,
    seed: u64,
    acts: u32,
) {
    let mut random = fastrand::Rng::with_seed(seed);
    let tell = |event| drop(to.send(event));
    for _ in 0..acts {
        tokio::time::sleep(Duration::from_millis(random.u64(EVERY_MS))).await;
        match random.u8(..100) {
            0..=44 => {
                let ended: Vec<Say> = {
                    let mut queue = room.queue.borrow_mut();
                    let count = random.usize(1..6).min(queue.len());
                    queue.drain(..count).collect()
                };
                ended.iter().for_each(|say| room.end(say, true));
            }
            45..=47 => {
                let cut = room.queue.borrow_mut().pop_front();
                cut.iter().for_each(|say| room.end(say, false));
            }
            48..=82 => {
                let words = {
                    let view = view.borrow();
                    let grammar = &view.grammar;
                    let own = story.mechanic.answer(&view.step, view.round.as_deref(), view.asking, grammar);
                    let any = grammar.phrases.get(random.usize(..grammar.phrases.len().max(1)));
                    // Who is asked whether to end mostly goes on.
                    match view.questioned {
                        Some(Answer::Command(Command::Stop)) if random.u8(..8) > 0 => Some("no".to_owned()),
                        _ if random.u8(..8) > 0 => own,
                        _ => any.map(|phrase| phrase.words.clone()),
                    }
                };
                if let (true, Some(words)) = (*room.is_open.borrow(), words) {
                    tell(EarEvent::Typed(words));
                }
            }
            83..=86 => tell(EarEvent::Began { at: 0 }),
            87..=88 => tell(EarEvent::Pedal(PedalKey::Listen)),
            89 => tell(EarEvent::Pedal(PedalKey::Repeat)),
            90 => tell(EarEvent::Lost("It is gone.".into())),
            91 => tell(EarEvent::Back),
            92 => drop(room.to_mouth.send(MouthEvent::Lost("It is gone.".into()))),
            93 => drop(room.to_mouth.send(MouthEvent::Back)),
            94 => {
                let next = room.disk.operations();
                room.disk.fail(next..next + random.u64(1..4), Fault::Full);
            }
            95 => room.disk.mend(),
            96 if random.u8(..8) == 0 => drop(clock.set_ms.fetch_sub(3_600_000, Ordering::Relaxed)),
            97 if random.u8(..16) == 0 => tell(EarEvent::Pedal(PedalKey::Stop)),
            _ => tokio::time::sleep(Duration::from_millis(random.u64(10_000..150_000))).await,
        }
    }
    room.disk.mend();
    loop {
        tell(EarEvent::Pedal(PedalKey::Stop));
        tokio::time::sleep(Duration::from_secs(20)).await;
        room.queue.borrow_mut().drain(..).for_each(|say| room.end(&say, true));
    }
}

/// One walk of a story, and what the model saw of it.
pub fn walk(story: &Story, seed: u64, acts: u32) -> Seen {
    let disk = Disk::new();
    let shipped = procedures();
    let loaded = load::world(
        &shipped.join(&story.procedure).with_extension("yaml"),
        &shipped.join("bikes").join(&story.bike).with_extension("yaml"),
        &shipped.join("vocabulary/en.yaml"),
    )
    .unwrap_or_else(|all| panic!("{all:?}"));
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_all().start_paused(true).build().expect("an event loop");
    let clock = {
        let _inside = runtime.enter();
        let wall = "2026-11-25T10:14:00+01:00[Europe/Berlin]".parse().expect("a moment");
        Arc::new(Jumping { began: tokio::time::Instant::now(), wall, set_ms: AtomicI64::new(0) })
    };
    let session = {
        let _inside = runtime.enter();
        let begun = Session::begin_on(
            Box::new(disk.folder()),
            Path::new("memory"),
            loaded,
            JobDetails::default(),
            KeepSound::Nothing,
            false,
        );
        begun.unwrap_or_else(|why| panic!("{why}")).timed_by(clock.clone())
    };
    let (to_ears, from_ears) = tokio::sync::mpsc::unbounded_channel();
    let (to_mouth, from_mouth) = tokio::sync::mpsc::unbounded_channel();
    let view = Rc::new(RefCell::new(MechanicView::default()));
    let room = Rc::new(Room {
        disk: disk.clone(),
        queue: RefCell::default(),
        said: RefCell::default(),
        to_mouth,
        is_open: RefCell::new(false),
    });
    let beside = happens(room.clone(), story.clone(), view.clone(), to_ears, clock, seed, acts);
    let ears = (Box::new(MadeEars(room.clone())) as Box<dyn Ears>, from_ears);
    let mouth = (Box::new(MadeMouth(room.clone())) as Box<dyn Mouth>, from_mouth);
    let end = session.drive_beside(runtime, beside, ears, mouth, None, Some(view));
    let end = end.unwrap_or_else(|why| panic!("seed {seed}: {why}"));
    assert!(end.code <= 1, "seed {seed}: {}", end.code);
    let said = room.said.borrow().clone();
    follows(story, &disk, &said, seed)
}

/// The journal's events are followed by the model, and what they ask to be said is what was said, in time.
fn follows(story: &Story, disk: &Disk, said: &[(u64, String, usize)], seed: u64) -> Seen {
    let opened = Journal::open(Box::new(disk.folder())).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
    let mut machine = Machine::following(story);
    let mut walker = Walker::new(story.world.clone());
    // What was asked to be said; of what is said back, the line of its record.
    let mut asked: Vec<(u64, String, Option<usize>)> = Vec::new();
    let mut record = None;
    for (line, entry) in opened.entries.iter().enumerate() {
        let answers = |r: Record| {
            matches!(
                r,
                Record::Answered { .. }
                    | Record::Read { .. }
                    | Record::Escaped { .. }
                    | Record::Untested { .. }
                    | Record::Noted { .. }
                    | Record::Reckoned { .. }
            )
        };
        if entry.is(Kind::Record) && entry.body_as().is_some_and(answers) {
            record = Some(line);
        }
        if !entry.is(Kind::Event) {
            continue;
        }
        let now = Now { mono_ms: entry.mono_ms, wall: entry.wall.clone() };
        let event: Event = entry.body_as().expect("an event");
        for effect in walker.handle(event.clone(), &now) {
            if let Effect::Say { id, text, kind } = effect {
                asked.push((id, text, record.filter(|_| kind == SayKind::Echo)));
            }
        }
        machine.follow(event, &now);
    }
    // The last words may be beyond the last event.
    for ((id, text, record), (said_id, said_text, lines)) in asked.iter().zip(said) {
        assert_eq!((id, text), (said_id, said_text), "seed {seed}");
        let written = record.is_none_or(|line| line < *lines);
        assert!(written, "seed {seed}: {text:?} was said before its record was in the journal");
    }
    assert!(said.len() >= asked.len(), "seed {seed}: {} prompts were asked for, {} said", asked.len(), said.len());
    machine.seen
}
