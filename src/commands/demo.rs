//! `probeside demo`: the whole job with no microphone. An invented mechanic works on an invented bike with a known fault; the
//! mechanic's answers are synthesised, heard by the real recogniser, walked, journalled and reported.

use super::drive::{KeepSound, Moment};
use super::engine::EngineArgs;
use super::load;
use super::outcome::{Failure, Outcome};
use super::story::Story;
use super::walk::{End, Session, new_folder};
use crate::hear::{self, Given, Script};
use crate::phrase::{Answer, Grammar};
use crate::session::{Folder, Job};
use crate::speak::{Espeak, Voice};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::{Duration, Instant};

/// Nobody says everything equally fast.
const SPEEDS: [f32; 3] = [1.0, 0.9, 0.95];
/// An invented mechanic who is not understood more often than this gives up.
const MOST_REPEATS: usize = 6;
/// Nor does one acknowledge more often than this.
const MOST_ACKNOWLEDGEMENTS: usize = 80;

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Where prompts go: printed, aloud, or a WAV file
    #[arg(long, default_value = "printed", value_name = "printed|aloud|FILE.wav")]
    say: String,
    /// The folder for the session's record [default: sessions/demo-DATE-TIME-demo-BIKE]
    #[arg(long, value_name = "DIR")]
    into: Option<PathBuf>,
    /// Another story than the shipped one
    #[arg(long, value_name = "FILE")]
    story: Option<PathBuf>,
    #[command(flatten)]
    engine: EngineArgs,
}

/// What somebody says who was not understood: another wording of the same answer, or the same again.
fn other_wording(words: &str, turn: usize, grammar: &Grammar) -> Option<String> {
    let meant = grammar.phrases.iter().find(|p| p.words == words).map(|p| &p.answer);
    let others: Vec<&str> = grammar
        .phrases
        .iter()
        .filter(|p| Some(&p.answer) == meant && p.words != words)
        .map(|p| p.words.as_str())
        .collect();
    let other = others.get((turn - 1) % others.len().max(1)).copied();
    Some(other.unwrap_or(words).to_owned())
}

/// The invented mechanic.
struct Mechanic {
    story: Story,
    voice: Espeak,
    said: BTreeMap<String, usize>,
    spoken: usize,
    moment: Rc<RefCell<Moment>>,
    show: bool,
}

impl Mechanic {
    fn words(&mut self) -> Option<String> {
        let moment = self.moment.borrow().clone();
        let has =
            |wanted: &Answer| moment.grammar.phrases.iter().find(|p| p.answer == *wanted).map(|p| p.words.clone());
        if let Some(yes) = has(&Answer::Yes) {
            return Some(yes);
        }
        let place = moment.round.as_ref().map(|r| format!("{} {r}", moment.step));
        let key = place.filter(|p| self.story.answers.contains_key(p)).unwrap_or(moment.step.clone());
        let own = self.story.answers.get(&key).filter(|_| moment.asking);
        match own {
            Some(all) => {
                let turn = self.said.entry(key).or_default();
                *turn += 1;
                match all.get(*turn - 1) {
                    Some(words) => Some(words.clone()),
                    None if *turn > all.len() + MOST_REPEATS => None,
                    None => other_wording(all.last()?, *turn - all.len(), &moment.grammar),
                }
            }
            None => self.acknowledgement(&moment),
        }
    }

    /// "Ready" in one of its wordings; another one each time, so that a wording that is heard badly does not block the walk.
    fn acknowledgement(&mut self, moment: &Moment) -> Option<String> {
        let all: Vec<&str> =
            moment.grammar.phrases.iter().filter(|p| p.answer == Answer::Done).map(|p| p.words.as_str()).collect();
        let turn = self.said.entry("acknowledgement".to_owned()).or_default();
        *turn += 1;
        if *turn > MOST_ACKNOWLEDGEMENTS {
            return None;
        }
        all.get(*turn % all.len().max(1)).map(|words| (*words).to_owned())
    }

    fn speak(&mut self) -> Given {
        let Some(words) = self.words() else { return Given::End };
        if self.show {
            println!("        mechanic: \"{words}\"");
        }
        self.spoken += 1;
        let speed = SPEEDS[self.spoken % SPEEDS.len()];
        match self.voice.synthesise(&words, speed) {
            Ok(pcm) => Given::Sound(hear::resample::resample(&pcm.samples, pcm.rate, hear::RATE)),
            Err(why) => {
                eprintln!("{why}");
                Given::End
            }
        }
    }
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    let began = Instant::now();
    let shipped = load::shipped();
    let file = args.story.clone().unwrap_or_else(|| shipped.join("stories/two-dead-sides.yaml"));
    let story = Story::load(&file)?;
    let loaded =
        load::world(&story.procedure_in(&shipped), &story.bike_in(&shipped), &shipped.join("vocabulary/en.yaml"))?;
    let voice = Espeak::new(&story.voice);
    let engine = args.engine.open(loaded.world.vocabulary.language())?;
    let job = Job {
        bike: loaded.world.bike.name.clone(),
        complaint: story.complaint.clone(),
        mileage: story.mileage.clone(),
        temperature_c: Some(story.temperature),
        instruments: story.instruments.clone(),
        person: story.person.clone(),
    };
    let into = args.into.clone().unwrap_or_else(|| new_folder(&format!("demo {}", loaded.world.bike.name)));
    println!("{} brings {}: \"{}\"", story.person, loaded.world.bike.name, story.complaint);
    println!(
        "{}. Invented people, an invented bike with a known fault; every answer below is spoken and heard.",
        story.title
    );
    let session = Session::begin(loaded, &into, job, KeepSound::default(), false)?;
    let moment = Rc::new(RefCell::new(Moment::default()));
    let mut mechanic = Mechanic {
        story,
        voice,
        said: BTreeMap::new(),
        spoken: 0,
        moment: moment.clone(),
        show: args.say == "printed",
    };
    let (to_ears, from_ears) = tokio::sync::mpsc::unbounded_channel();
    let ears = Box::new(Script::new(to_ears, move || mechanic.speak()));
    let (to_mouth, from_mouth) = tokio::sync::mpsc::unbounded_channel();
    let mouth = super::walk::open_mouth(&args.say, to_mouth, None)?;
    let end = session.drive(ears, from_ears, mouth, from_mouth, Some(engine), Some(moment))?;
    report(&end, began.elapsed())
}

fn report(end: &End, took: Duration) -> Outcome {
    println!();
    let review = crate::review::gather(&mut Folder::at(&end.folder)).map_err(|e| Failure::Input(e.to_string()))?;
    print!("{}", crate::review::text(&review));
    println!();
    println!("{} answers spoken and heard in {:.1} s.", end.heard_by_sound, took.as_secs_f64());
    if let Some(line) = end.delays_in_words() {
        println!("{line}");
    }
    Ok(end.code)
}
