//! Walks `tests/procedures/short-round.yaml` over the sound loop: runs the program, follows its journal, and plays the mechanic who
//! answers. Used by the sound tests, which include `listener` and `sound_loop` beside this module.

use crate::listener::Listener;
use crate::sound_loop::{SoundLoop, installed, or_left_out};
use crate::support::stage::{Stage, procedures};
use probeside::hear::{Recogniser, write_wav};
use probeside::phrase::{Answer, Command as Control, Grammar};
use probeside::session::{Entry, JOURNAL_FILE, Kind, Record, Spoken};
use probeside::speak::{Flite, Voice};
use probeside::walk::{Effect, Event, Walker, World};
use std::collections::VecDeque;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// The mechanic's voice, from flite. Prompts use espeak-ng.
const VOICE: &str = "rms";
/// The mechanic's pause after the listening tone, as people make it. The microphone opens in the meantime.
const BREATH: Duration = Duration::from_millis(700);
/// How long after a question starts a mechanic who does not wait for the tone answers it.
const INTO: Duration = Duration::from_millis(800);
/// After this long without a tone the mechanic speaks if the program is listening. The loudspeaker may be gone.
const NO_TONE: Duration = Duration::from_secs(25);
/// A walk that takes longer hangs.
const LONGEST_WALK: Duration = Duration::from_secs(400);
/// More answers than this mean that the walk goes in a circle.
pub const MOST_ANSWERS: usize = 40;
/// A step, the ways to say its answer, and a word that its question must contain.
const ANSWERS: [(&str, &[&str], &str); 4] = [
    ("touch", &["it lights", "light on"], "proved"),
    ("rest", &["twelve point six volts", "twelve point six"], "twelve point six"),
    ("load", &["eleven point nine volts", "eleven point nine"], "eleven point nine"),
    ("drop", &["one point four volts", "one point four"], "one point four"),
];
const READINGS: [(&str, f64); 3] = [("rest", 12.6), ("load", 11.9), ("drop", 1.4)];
const CONCLUSION: &str = "wire-bad";

/// The recogniser for a walk over the sound loop. `None` if something is missing.
pub fn needed() -> Option<Box<dyn Recogniser>> {
    or_left_out(installed("flite", "flite"))?;
    or_left_out(probeside::hear::open(None))
}

/// A folder with the procedure and the one it calls.
pub fn copies() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    for (from, name) in [(here.join("tests/procedures"), "short-round.yaml"), (procedures(), "prove-lamp.yaml")] {
        std::fs::copy(from.join(name), folder.path().join(name)).expect("a copy");
    }
    folder
}

/// The same walk without its start: only the readings.
pub fn from_rest(folder: &Path) -> PathBuf {
    let shorter = folder.join("from-rest");
    std::fs::create_dir(&shorter).expect("a folder");
    std::fs::copy(folder.join("prove-lamp.yaml"), shorter.join("prove-lamp.yaml")).expect("a copy");
    let whole = std::fs::read_to_string(folder.join("short-round.yaml")).expect("the procedure");
    let text = whole.replace("start: stand", "start: rest");
    assert_ne!(text, whole);
    std::fs::write(shorter.join("short-round.yaml"), text).expect("a procedure");
    shorter
}

pub fn world(folder: &Path) -> Arc<World> {
    let shipped = procedures();
    let (bike, words) = (shipped.join("bikes/borage-twin.yaml"), shipped.join("vocabulary/en.yaml"));
    let loaded = probeside::run::load::world(&folder.join("short-round.yaml"), &bike, &words);
    Arc::new(loaded.unwrap_or_else(|all| panic!("{all:?}")).world)
}

/// The walk as seen in its journal.
pub struct View {
    walker: Walker,
    /// Number of entries read.
    seen: usize,
    grammar: Option<Grammar>,
    /// Whether the open listen started during a prompt and accepts speech over it.
    over: bool,
    /// Prompts that have not ended. The first one is playing.
    waiting: VecDeque<(u64, String)>,
    pub said: Vec<Spoken>,
    pub records: Vec<Record>,
    /// Interrupted prompts.
    pub cut: Vec<String>,
}

impl View {
    fn new(world: &Arc<World>) -> Self {
        Self {
            walker: Walker::new(world.clone()),
            seen: 0,
            grammar: None,
            over: false,
            waiting: VecDeque::new(),
            said: Vec::new(),
            records: Vec::new(),
            cut: Vec::new(),
        }
    }

    /// Reads the new entries of the journal.
    fn look(&mut self, into: &Path) {
        let text = std::fs::read_to_string(into.join(JOURNAL_FILE)).unwrap_or_default();
        for entry in text.lines().skip(self.seen).map_while(|line| serde_json::from_str::<Entry>(line).ok()) {
            self.seen += 1;
            if entry.is(Kind::Event) {
                self.event(entry.body_as().expect("an event"), &entry);
            } else if entry.is(Kind::Said) {
                self.said.extend(entry.body_as::<Spoken>());
            } else if entry.is(Kind::Record) {
                self.records.extend(entry.body_as::<Record>());
            }
        }
    }

    fn event(&mut self, event: Event, entry: &Entry) {
        if let Event::PromptEnded { id, whole } = event {
            let ended = self.waiting.iter().position(|(waiting, _)| *waiting == id);
            let ended = ended.and_then(|at| self.waiting.remove(at));
            self.cut.extend(ended.filter(|_| !whole).map(|(_, text)| text));
        }
        for effect in self.walker.handle(event, &entry.at()) {
            match effect {
                Effect::Say { id, text, .. } => self.waiting.push_back((id, text)),
                Effect::Listen { grammar, bargein, .. } => (self.grammar, self.over) = (Some(grammar), bargein),
                Effect::Deaf => self.grammar = None,
                _ => {}
            }
        }
    }

    pub fn step(&self) -> &str {
        self.walker.place().0
    }

    pub fn is_asking(&self) -> bool {
        self.walker.is_asking()
    }

    fn listens(&self) -> bool {
        self.grammar.is_some()
    }

    /// Id and words of the current prompt, if it is the step's own question and may be answered over.
    fn question_under_way(&self) -> Option<(u64, &str)> {
        let open = self.over && self.listens() && self.is_asking();
        let (id, text) = self.waiting.front().filter(|_| open)?;
        let own = ANSWERS.iter().any(|(at, ..)| *at == self.step());
        (own && text.ends_with('?')).then_some((*id, text.as_str()))
    }

    /// The mechanic's next words. `turn` counts the tries.
    pub fn answer(&self, turn: usize) -> Option<String> {
        let grammar = self.grammar.as_ref()?;
        let phrase = |wanted: &Answer| {
            let all: Vec<&str> =
                grammar.phrases.iter().filter(|p| p.answer == *wanted).map(|p| p.words.as_str()).collect();
            all.get(turn % all.len().max(1)).map(|words| (*words).to_owned())
        };
        let own = |step: &str| ANSWERS.iter().find(|(at, ..)| *at == step);
        let ways = |step: &str| own(step).map(|(_, ways, _)| ways[turn % ways.len()].to_owned());
        let question = self.said.last().map_or("", |said| said.text.as_str());
        if phrase(&Answer::Yes).is_some() && !question.contains(" or ") {
            let names = own(self.step()).is_some_and(|(.., named)| question.contains(named));
            return phrase(if names { &Answer::Yes } else { &Answer::No });
        }
        let wrong = readings(&self.records)
            .into_iter()
            .find(|(step, value)| READINGS.iter().any(|(at, right)| at == step && (value - right).abs() > 1e-9));
        match wrong {
            Some((step, _)) if grammar.number.is_some() && !self.is_asking() => ways(&step),
            Some(_) => phrase(&Answer::Command(Control::Correct)),
            None => {
                let own = ways(self.step()).filter(|_| self.is_asking());
                own.or_else(|| phrase(&Answer::Done)).or_else(|| phrase(&Answer::PowerOff))
            }
        }
    }
}

/// Readings by step, with amended values.
pub fn readings(records: &[Record]) -> Vec<(String, f64)> {
    let mut found: Vec<(u32, String, f64)> = Vec::new();
    for record in records {
        if let Record::Read { step, number, reading, amends, .. } = record {
            match found.iter_mut().find(|(n, ..)| Some(*n) == *amends) {
                Some(old) => (old.0, old.2) = (*number, reading.value),
                None => found.push((*number, step.clone(), reading.value)),
            }
        }
    }
    found.into_iter().map(|(_, step, value)| (step, value)).collect()
}

/// What happened according to the records, without misheard utterances and confidences.
pub fn story(records: &[Record]) -> Vec<String> {
    let mut told: Vec<String> = records
        .iter()
        .filter_map(|r| match r {
            Record::Acknowledged { step, caution, .. } => Some(format!("{step}: {caution} acknowledged")),
            Record::Answered { step, answer, .. } => Some(format!("{step}: {answer:?}")),
            Record::Concluded { conclusion, .. } => Some(format!("concluded {conclusion}")),
            _ => None,
        })
        .collect();
    told.extend(readings(records).into_iter().map(|(step, value)| format!("{step} read {value}")));
    told
}

/// Why it is the mechanic's turn.
pub enum Turn {
    /// The listening tone sounded, or is overdue.
    Asked,
    /// This question is playing and is to be answered over.
    Over(String),
}

/// A mechanic who answers over each of the step's own questions once.
#[derive(Default)]
struct Eager {
    /// The playing question, and since when.
    under_way: Option<(u64, Instant)>,
    /// The last question answered over.
    answered: u64,
}

impl Eager {
    /// The question to answer over now.
    fn turn(&mut self, view: &View) -> Option<String> {
        let (id, text) = view.question_under_way().filter(|(id, _)| *id > self.answered)?;
        let (_, since) = self.under_way.filter(|(same, _)| *same == id).unwrap_or((id, Instant::now()));
        self.under_way = Some((id, since));
        (since.elapsed() >= INTO).then(|| {
            self.answered = id;
            text.to_owned()
        })
    }
}

/// A walk in progress.
pub struct Walk {
    child: Child,
    pub into: PathBuf,
    world: Arc<World>,
    view: View,
    /// Set if the mechanic speaks over prompts.
    eager: Option<Eager>,
    /// Its output and standard error.
    printed: Arc<Mutex<String>>,
    pub began: Instant,
}

impl Walk {
    /// Starts it on the copies in a folder, with its session in the subfolder `name`. With `over` the mechanic may speak over prompts.
    pub fn start(world: &Arc<World>, folder: &Path, name: &str, over: bool) -> Self {
        let into = folder.join(name);
        let mut child = Command::new(env!("CARGO_BIN_EXE_probeside"))
            .arg("walk")
            .arg(folder.join("short-round.yaml"))
            .args(["--bike", "borage-twin", "--faults", "none", "--hear", "mic", "--say", "aloud"])
            .args(["--keep-sound", "everything", "--into"])
            .arg(&into)
            .args(over.then_some("--bargein"))
            .env("PROBESIDE_PROCEDURES", procedures())
            .env("PROBESIDE_LOG", "probeside=info")
            .env("NO_COLOR", "1")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let printed = Arc::new(Mutex::new(String::new()));
        let out: [Box<dyn std::io::Read + Send>; 2] =
            [Box::new(child.stdout.take().expect("a pipe")), Box::new(child.stderr.take().expect("a pipe"))];
        for stream in out {
            let printed = Arc::clone(&printed);
            std::thread::spawn(move || {
                for line in BufReader::new(stream).lines().map_while(Result::ok) {
                    println!("    {line}");
                    *printed.lock().expect("no panic in a reader") += &format!("{line}\n");
                }
            });
        }
        let (world, view, eager) = (world.clone(), View::new(world), over.then(Eager::default));
        Self { child, into, world, view, eager, printed, began: Instant::now() }
    }

    /// The current state of the walk.
    pub fn look(&mut self) -> &View {
        self.view.look(&self.into);
        &self.view
    }

    pub fn printed(&self) -> String {
        self.printed.lock().expect("no panic in a reader").clone()
    }

    pub fn wait_for(&self, words: &str) {
        let until = Instant::now() + Duration::from_secs(30);
        while !self.printed().contains(words) {
            assert!(Instant::now() < until, "it never said {words:?}:\n{}", self.printed());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    pub fn is_over(&mut self) -> bool {
        self.child.try_wait().expect("it can be asked").is_some()
    }

    /// Waits until the mechanic may speak. `None` if the walk is over.
    pub fn my_turn(&mut self, ear: &Listener, after: &mut usize) -> Option<Turn> {
        let since = Instant::now();
        loop {
            if let Some(tone) = ear.tone_after(*after, Duration::from_millis(20)) {
                *after = tone;
                std::thread::sleep(BREATH);
                return Some(Turn::Asked);
            }
            if self.is_over() {
                return None;
            }
            assert!(self.began.elapsed() < LONGEST_WALK, "the walk hangs:\n{}", self.printed());
            if let Some(eager) = &mut self.eager {
                self.view.look(&self.into);
                if let Some(question) = eager.turn(&self.view) {
                    return Some(Turn::Over(question));
                }
            }
            if since.elapsed() > NO_TONE && self.look().listens() {
                return Some(Turn::Asked);
            }
        }
    }

    pub fn end(mut self, how: &str) -> View {
        let status = self.child.wait().expect("the walk ends");
        std::thread::sleep(Duration::from_millis(100));
        assert_eq!(status.code(), Some(0), "{how}:\n{}", self.printed());
        self.look();
        let view = std::mem::replace(&mut self.view, View::new(&self.world));
        let concluded = format!("concluded {CONCLUSION}");
        assert!(story(&view.records).contains(&concluded), "{how}: {:?}", story(&view.records));
        assert_eq!(readings(&view.records), READINGS.map(|(step, value)| (step.to_owned(), value)), "{how}");
        assert_eq!(story(&view.records), typed_story(&self.world), "{how}: the journal is the walk");
        let verified =
            Command::new(env!("CARGO_BIN_EXE_probeside")).arg("verify").arg(&self.into).stdout(Stdio::null()).status();
        assert!(verified.is_ok_and(|s| s.success()), "{how}: the record is sound");
        view
    }
}

impl Drop for Walk {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The same walk, typed on the stage.
fn typed_story(world: &Arc<World>) -> Vec<String> {
    let mut stage = Stage::new(world.clone());
    while stage.finished.is_none() {
        let step = stage.walker.place().0.to_owned();
        let own = ANSWERS.iter().find(|(at, ..)| *at == step).filter(|_| stage.walker.is_asking());
        stage.answer(own.map_or("ready", |(_, ways, _)| ways[0]));
    }
    story(&stage.records)
}

pub fn speak(sound: &SoundLoop, words: &str) {
    let wav = sound.file("mechanic.wav");
    let pcm = Flite::new(VOICE).synthesise(words, 1.0).expect("flite speaks");
    write_wav(&wav, &pcm.samples, pcm.rate).expect("a file");
    sound.play(&wav);
}
