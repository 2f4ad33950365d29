//! `probeside demo`: the whole job without a microphone. A simulated mechanic works on a fictional bike with a known fault. The mechanic's
//! answers are synthesised, recognised by the real recogniser, walked, journalled and reported.

use super::engine::EngineArgs;
use crate::hear::{Activity, Script};
use crate::run::demo::{FaultyBike, Mechanic, Story};
use crate::run::unheard;
use crate::run::{End, Failure, KeepSound, MechanicView, Outcome, Session, load, new_folder};
use crate::session::{Folder, JobDetails};
use crate::speak::{Espeak, Mouth, Printed};
use crate::system::Inputs;
use crate::terminal::{self, outln, say};
use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::{Duration, Instant};

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Send prompts to the screen, the loudspeaker or a WAV file
    #[arg(long, default_value = "printed", value_name = "printed|aloud|FILE.wav")]
    say: String,
    /// Keep the record in this folder [default: sessions/demo-DATE-TIME-demo-BIKE]
    #[arg(long, value_name = "DIR")]
    into: Option<PathBuf>,
    /// Tell this story instead of the shipped one
    #[arg(long, value_name = "FILE")]
    story: Option<PathBuf>,
    #[command(flatten)]
    engine: EngineArgs,
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    let began = Instant::now();
    let shipped = load::shipped();
    let file = args.story.clone().unwrap_or_else(|| shipped.join("stories/two-dead-sides.yaml"));
    let story = Story::load(&file)?;
    let loaded =
        load::world(&story.procedure_in(&shipped), &story.bike_in(&shipped), &shipped.join("vocabulary/en.yaml"))?
            .with_faults(&shipped.join(load::SHIPPED_FAULTS))?;
    let into = args.into.clone().unwrap_or_else(|| new_folder(&format!("demo {}", loaded.world.bike.name)));
    super::mouth::may_speak(&args.say, &Inputs::of([file]), &into)?;
    let voice = Espeak::new(&story.voice);
    let engine = args.engine.open(loaded.world.vocabulary.language())?;
    let job = JobDetails {
        bike: loaded.world.bike.name.clone(),
        number: String::new(),
        complaint: story.complaint.clone(),
        mileage: story.mileage.clone(),
        temperature_c: Some(story.temperature),
        instruments: story.instruments.clone(),
        person: story.person.clone(),
    };
    outln!("{} brings {}: \"{}\"", story.person, loaded.world.bike.name, story.complaint);
    outln!(
        "{}. Invented people, an invented bike with a known fault; every answer below is spoken and heard.",
        story.title
    );
    let vocabulary = loaded.world.vocabulary.clone();
    let faults = loaded.faults.clone();
    let session = Session::begin(loaded, &into, job, KeepSound::default(), story.best_order)?;
    let view = Rc::new(RefCell::new(MechanicView::default()));
    let show = args.say == "printed";
    let bike = match (&story.under, faults) {
        (Some(under), Some(faults)) => Some(FaultyBike::new(&session.world, faults, under).map_err(Failure::Input)?),
        _ => None,
    };
    let mut mechanic = Mechanic::new(story, bike, voice, vocabulary, view.clone(), show);
    let (to_ears, from_ears) = tokio::sync::mpsc::unbounded_channel();
    let activity = Activity::usual().map_err(unheard)?;
    let ears = Box::new(Script::new(to_ears, activity, move || mechanic.speak()));
    let (to_mouth, from_mouth) = tokio::sync::mpsc::unbounded_channel();
    let mouth: Box<dyn Mouth> = match show {
        // Nobody has to read a demonstration to its end.
        true => Box::new(Printed::new(to_mouth, terminal::Lines::unread())),
        false => super::mouth::open_mouth(&args.say, to_mouth, None)?,
    };
    let end = session.drive(ears, from_ears, mouth, from_mouth, Some(engine), Some(view))?;
    report(&end, began.elapsed())
}

fn report(end: &End, took: Duration) -> Outcome {
    outln!("");
    let review = crate::review::gather(&mut Folder::at(&end.folder)).map_err(|e| Failure::Input(e.to_string()))?;
    say(&crate::review::text(&review));
    outln!("");
    outln!("{} answers spoken and heard in {:.1} s.", end.spoken_answers, took.as_secs_f64());
    if let Some(line) = end.delays_in_words() {
        outln!("{line}");
    }
    Ok(end.code)
}
