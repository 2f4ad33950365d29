//! `probeside soundcheck`: microphone, loudspeaker, recogniser and voice, each with what to do.
//!
//! `--json` prints one object, version 1 of this schema: `{"schema": "probeside.soundcheck", "version": 1, "ready": bool,
//! "lines": [{"what", "value": number or null, "unit", "verdict": "good|poor|missing|not-tried", "words", "advice": text or
//! null}]}`. `what` is one of model-load, decision, voice, microphone, noise, voice-level, voice-over-noise, clipping,
//! understood, loudspeaker, echo, echo-delay. `ready` is false when something is missing (exit code 3).

use super::engine::EngineArgs;
use super::mouth::PROMPT_VOICE;
use crate::hear::Recogniser;
use crate::phrase::Vocabulary;
use crate::run::soundcheck::{self, News, Sheet, Standing, Tries};
use crate::run::unheard;
use crate::run::{Failure, Outcome};
use crate::terminal::{say, say_json};
use std::time::Instant;

/// Arguments of `soundcheck`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Skip the tone that shows whether the microphone hears the loudspeaker
    #[arg(long)]
    no_tone: bool,
    /// Skip the wait for somebody to speak
    #[arg(long)]
    no_voice: bool,
    #[command(flatten)]
    engine: EngineArgs,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

/// Prints one report of the check.
fn print(news: News<'_>) {
    match news {
        News::Ask(what) => crate::terminal::errln!("{what}"),
        News::Line(line) => {
            let mark = match line.verdict {
                Standing::Good => "good     ",
                Standing::Poor => "poor     ",
                Standing::Missing => "missing  ",
                Standing::NotTried => "not tried",
            };
            say(&format!("{mark}  {}\n", line.words));
            if let Some(advice) = &line.advice {
                say(&format!("           {advice}\n"));
            }
        }
    }
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    let mut tell = |news: News<'_>| match news {
        News::Line(_) if args.json => {}
        news => print(news),
    };
    let mut sheet = Sheet::new(&mut tell);
    let engine = engine(&args.engine, &mut sheet)?;
    let tries = Tries { voice: !args.no_voice, tone: !args.no_tone };
    soundcheck::check(engine, PROMPT_VOICE, tries, &mut sheet);
    let ready = sheet.ready();
    if args.json {
        let object = serde_json::json!({
            "schema": "probeside.soundcheck", "version": 1, "ready": ready.is_ok(), "lines": sheet.lines(),
        });
        say_json(&format!("{object:#}\n"));
    }
    ready.map(|()| 0)
}

fn engine(choice: &EngineArgs, sheet: &mut Sheet<'_>) -> Result<Option<Box<dyn Recogniser>>, Failure> {
    let began = Instant::now();
    match choice.ready(Vocabulary::english().language()) {
        Ok(engine) => {
            let ms = began.elapsed().as_secs_f64() * 1e3;
            sheet.line(
                "model-load",
                format!("The recogniser {} loads in {ms:.0} ms.", engine.name()),
                Some((ms, "ms")),
                None,
            );
            Ok(Some(engine))
        }
        Err(why) if why.is_machine() => {
            sheet.line(
                "model-load",
                "The recogniser does not load.".into(),
                None,
                Some((Standing::Missing, why.to_string())),
            );
            Ok(None)
        }
        Err(why) => Err(unheard(why)),
    }
}
