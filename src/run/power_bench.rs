//! Tests: stand-ins for what a walk by the real driver needs and no machine has: a short procedure, a mechanic who knows the answers, and a
//! speech output that keeps what it said.

use super::keep::KeepSound;
use super::load;
use super::mechanic_view::MechanicView;
use super::session::Session;
use crate::hear::{EarEvent, EarSender, Ears};
use crate::phrase::{Answer, Vocabulary};
use crate::session::JobDetails;
use crate::session::disk::Disk;
use crate::speak::{Mouth, MouthEvent, MouthSender, Say};
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, VecDeque};
use std::path::Path;
use std::rc::Rc;
use std::time::Duration;

/// The answer at each step.
const ANSWERS: [(&str, &str); 4] =
    [("touch", "lit"), ("rest", "twelve point six"), ("load", "twelve one"), ("drop", "point two five")];
/// What is read back of each numeric answer, and its value. By hand from the answers.
pub(super) const READ_BACK: [(&str, f64); 3] = [
    ("Twelve point six volts: one two point six.", 12.6),
    ("Twelve point one volts: one two point one.", 12.1),
    ("Zero point two five volts: zero point two five.", 0.25),
];
/// More answers than this mean that the walk loops.
const MOST_ANSWERS: usize = 60;

const PROCEDURE: &str = r#"
procedure: short-round
title: "A short round."
version: 1
language: en
tools: ["a lamp and a voltmeter"]
opening: ["A walk for tests."]
start: touch
cautions:
  acid:
    signal: WARNING
    hazards: [battery]
    say: "Acid, and gas that explodes. Eyes protected."
    brief: "Eyes protected."
steps:
  touch:
    say: "Lit or dark?"
    brief: "Lit or dark?"
    more: "Touch the lamp to the battery."
    caution: [acid]
    state: {switches: {key: "off"}, instrument: {lamp: [battery.live, battery.ground]}}
    ask:
      choice:
        lit: {phrases: ["lit"], echo: "it lights", means: good, go: rest}
        dark: {phrases: ["dark"], echo: "no light", means: bad, go: {conclude: lamp}}
    time: 60
    minutes: 1
    untested: rest
  rest:
    say: "Battery at rest, volts?"
    brief: "At rest?"
    more: "Across the battery."
    caution: [acid]
    state: {switches: {key: "off"}, instrument: {voltmeter: [battery.live, battery.ground]}}
    ask:
      reading:
        name: rest_voltage
        quantity: voltage
        unit: V
        plausible: ["0.0", "16.0"]
        resolution: 0.01
        source: "a test"
        bands:
          - {id: any, from: "0.0", means: good, go: load}
    time: 60
    minutes: 1
    untested: load
  load:
    say: "Battery under load, volts?"
    brief: "Under load?"
    more: "Across the battery."
    caution: [acid]
    state: {switches: {key: "off"}, instrument: {voltmeter: [battery.live, battery.ground]}}
    ask:
      reading:
        name: load_voltage
        quantity: voltage
        unit: V
        plausible: ["0.0", "16.0"]
        resolution: 0.01
        source: "a test"
        bands:
          - {id: any, from: "0.0", means: good, go: drop}
    time: 60
    minutes: 1
    untested: drop
  drop:
    say: "The drop, volts?"
    brief: "Drop?"
    more: "Along the wire."
    state: {switches: {key: "off"}, instrument: {voltmeter: [battery.live, main.supply-side]}}
    ask:
      reading:
        name: wire_drop
        quantity: voltage
        unit: V
        plausible: ["0.0", "16.0"]
        resolution: 0.01
        source: "a test"
        bands:
          - {id: small, below: "0.1", means: good, go: {conclude: lamp}}
          - {id: large, from: "0.1", means: bad, go: {conclude: drop-is-large}}
    time: 60
    minutes: 1
    untested: {conclude: lamp}
conclusions:
  lamp:
    cause: "Nothing was found."
    remedy: "Look again."
    rules-out: []
    not-tested: ["all else"]
    recheck: ["all"]
    final: true
  drop-is-large:
    cause: "The wire drops too much."
    remedy: "Clean its ends."
    rules-out: []
    not-tested: ["all else"]
    recheck: ["the drop"]
    final: true
"#;

/// The files of the walk: the procedure above, the shipped bike and vocabulary.
pub(super) struct Files(BTreeMap<String, Vec<u8>>);

impl Files {
    pub(super) fn new() -> Self {
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures");
        let read = |name: &str| std::fs::read(shipped.join(name)).expect("a shipped file");
        Self(BTreeMap::from([
            ("short-round.yaml".to_owned(), PROCEDURE.trim_start().as_bytes().to_vec()),
            ("bike.yaml".to_owned(), read("bikes/borage-twin.yaml")),
            ("words.yaml".to_owned(), read("vocabulary/en.yaml")),
        ]))
    }

    pub(super) fn begin(&self, disk: &Disk) -> Result<Session, String> {
        self.begin_keeping(disk, KeepSound::default())
    }

    pub(super) fn begin_keeping(&self, disk: &Disk, keep: KeepSound) -> Result<Session, String> {
        let read = |path: &Path| Ok(self.0[&path.to_string_lossy().into_owned()].clone());
        let [procedure, bike, words] = ["short-round.yaml", "bike.yaml", "words.yaml"].map(Path::new);
        let loaded = load::world_from(read, Vocabulary::from_yaml, procedure, bike, words)
            .unwrap_or_else(|all| panic!("{all:?}"));
        Session::begin_on(Box::new(disk.folder()), Path::new("memory"), loaded, JobDetails::default(), keep, false)
            .map_err(|why| why.to_string())
    }
}

/// The simulated mechanic: hears nothing, knows the question, and answers once at each listen. Gives up when the storage has no power. With
/// `insists`, retries a storage that failed. An answer that crosses with a failure may reach the next question, as at the bike.
struct Mechanic {
    to: EarSender,
    view: Rc<RefCell<MechanicView>>,
    answers: usize,
    insists: bool,
    room: Room,
}

/// Audio around every answer when everything is kept: half a second, with a different loudness each time.
#[derive(Clone, Default)]
pub(super) struct Room {
    kept: Rc<Cell<bool>>,
    /// The audio so far, as 16-bit samples.
    pub(super) heard: Rc<RefCell<Vec<i32>>>,
    /// How much of it can no longer be lost: a reading was read back after the next audio arrived.
    pub(super) safe: Rc<Cell<usize>>,
    /// What happens at these answers, in order.
    happens: Rc<RefCell<VecDeque<(usize, Happening)>>>,
    /// Multiplies the length of the audio around an answer.
    pub(super) longer: Rc<Cell<usize>>,
    /// Time follows the clock, not the samples.
    pub(super) live: Rc<Cell<bool>>,
}

type Happening = Box<dyn FnOnce()>;

impl Room {
    /// Runs `happens` after this many answers, before the next.
    pub(super) fn at_answer(&self, answer: usize, happens: impl FnOnce() + 'static) {
        self.happens.borrow_mut().push_back((answer, Box::new(happens)));
    }
}

pub(super) const SOUND: usize = 8_000;

impl Mechanic {
    fn words(&mut self) -> Option<String> {
        let view = self.view.borrow();
        self.answers += 1;
        let phrase =
            |wanted: &Answer| view.grammar.phrases.iter().find(|p| p.answer == *wanted).map(|p| p.words.clone());
        let own = ANSWERS.iter().find(|(step, _)| *step == view.step).map(|(_, words)| (*words).to_owned());
        match (view.asking, own) {
            _ if self.answers > MOST_ANSWERS => None,
            (true, Some(words)) => Some(words),
            _ => phrase(&Answer::Yes)
                .or_else(|| phrase(&Answer::Done))
                .or_else(|| phrase(&Answer::PowerOff))
                .or_else(|| self.insists.then(|| "carry on".to_owned())),
        }
    }
}

impl Ears for Mechanic {
    fn open(&mut self) {
        if self.room.kept.get() {
            let sound = vec![self.answers as f32 / 100.0 + 0.1; SOUND * self.room.longer.get().max(1)];
            self.room.heard.borrow_mut().extend(sound.iter().map(sixteen_bits));
            let _ = self.to.send(EarEvent::Sound(sound.into()));
        }
        let due = self.room.happens.borrow().front().is_some_and(|(answer, _)| *answer == self.answers);
        if due && let Some((_, happens)) = self.room.happens.borrow_mut().pop_front() {
            happens();
        }
        let event = self.words().map_or(EarEvent::Ended, EarEvent::Typed);
        let _ = self.to.send(event);
    }

    fn close(&mut self) {}

    fn keep_all(&mut self) {
        self.room.kept.set(true);
    }

    fn is_live(&self) -> bool {
        self.room.live.get()
    }
}

/// A speech output that keeps what it said.
struct Kept {
    to: MouthSender,
    said: Rc<RefCell<Vec<String>>>,
    room: Room,
}

impl Mouth for Kept {
    fn say(&mut self, say: Say) {
        if READ_BACK.iter().any(|(words, _)| *words == say.text) {
            self.room.safe.set(self.room.heard.borrow().len().saturating_sub(SOUND));
        }
        self.said.borrow_mut().push(say.text);
        let _ = self.to.send(MouthEvent::PromptBegan { id: say.id });
        let _ = self.to.send(MouthEvent::PromptEnded { id: say.id, whole: true, samples: 16_000 });
    }

    fn tone(&mut self, _tone: crate::speak::Tone) {}

    fn cut(&mut self) {}

    fn interrupt(&mut self) {}

    fn latency(&self) -> Duration {
        Duration::ZERO
    }

    fn is_live(&self) -> bool {
        self.room.live.get()
    }
}

/// Drives a session as far as it goes. Returns its exit code, if it came to an end, and what was said.
pub(super) fn drive(session: Session, insists: bool) -> (Result<u8, String>, Vec<String>) {
    drive_in(&Room::default(), session, insists)
}

pub(super) fn drive_in(room: &Room, session: Session, insists: bool) -> (Result<u8, String>, Vec<String>) {
    let (to_ears, from_ears) = tokio::sync::mpsc::unbounded_channel();
    let (to_mouth, from_mouth) = tokio::sync::mpsc::unbounded_channel();
    let (view, said) = (Rc::new(RefCell::new(MechanicView::default())), Rc::new(RefCell::new(Vec::new())));
    let ears = Mechanic { to: to_ears, view: view.clone(), answers: 0, insists, room: room.clone() };
    let mouth = Kept { to: to_mouth, said: said.clone(), room: room.clone() };
    let end = session.drive(Box::new(ears), from_ears, Box::new(mouth), from_mouth, None, Some(view));
    let said = said.borrow().clone();
    (end.map(|end| end.code).map_err(|why| why.to_string()), said)
}

pub(super) fn sixteen_bits(sample: &f32) -> i32 {
    (sample * f32::from(i16::MAX)).round() as i32
}
