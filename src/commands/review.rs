//! `probeside review`: shows a session's journal.

use super::file;
use crate::review::{
    CAPTIONS, PAGE_FILE, SOUND, TABLE, csv, customer, gather, page, plain, text, to_be_done, vtt, whole,
};
use crate::run::Failure;
use crate::session::{Folder, JOURNAL_FILE};
use crate::system::{Inputs, Kind};
use crate::terminal::{say, say_json};
use std::path::PathBuf;

/// Shows what a session found: conclusion, readings, and all that a reviewer asks for.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name the session's folder
    pub session: PathBuf,
    /// Write the record with its sound as one HTML page to this file too
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Write a sheet for the customer, without voices, as an HTML page to this file too
    #[arg(long, value_name = "FILE")]
    pub customer: Option<PathBuf>,
    /// Write the readings to this file as a table (CSV) too
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Write what was said and heard to this file as subtitles (WebVTT) too
    #[arg(long, value_name = "FILE")]
    pub vtt: Option<PathBuf>,
    /// Write the sound of the whole session, if it was kept, to this FLAC file too, with subtitles beside it
    #[arg(long, value_name = "FILE")]
    pub sound: Option<PathBuf>,
    /// Print JSON instead of text
    #[arg(long)]
    pub json: bool,
}

/// Runs the command. The exit code is 1 if there is no readable session, the journal was altered, or a file could not be written.
pub fn run(args: &Args) -> u8 {
    let review = match gather(&mut Folder::at(&args.session)) {
        Ok(review) => review,
        Err(error) => {
            crate::terminal::errln!("probeside: {error}");
            return error.exit_code();
        }
    };
    let mut code = 0;
    let inputs = Inputs::of([args.session.join(JOURNAL_FILE)]);
    let mut put = |path: &Option<PathBuf>, kind: &Kind, content: &mut dyn FnMut() -> Result<Vec<u8>, String>| {
        let Some(path) = path else { return };
        let content = content().map_err(Failure::Input);
        if let Err(why) = content.and_then(|content| file::write(path, &content, kind, &inputs)) {
            crate::terminal::errln!("probeside: {why}");
            code = code.max(why.code());
        }
    };
    let failed = |error: minijinja::Error| format!("the page cannot be put together: {error:#}");
    put(&args.csv, &TABLE, &mut || Ok(csv(&review).into()));
    put(&args.vtt, &CAPTIONS, &mut || Ok(vtt(&review).into()));
    put(&args.html, &PAGE_FILE, &mut || {
        page(&review, &mut Folder::at(&args.session)).map(String::into_bytes).map_err(failed)
    });
    put(&args.customer, &PAGE_FILE, &mut || customer(&review).map(String::into_bytes).map_err(failed));
    let mut words = None;
    put(&args.sound, &SOUND, &mut || {
        if args.sound.as_ref().is_some_and(|path| path.extension().is_some_and(|ending| ending == "vtt")) {
            return Err(
                "--sound wants the name of a sound file, such as walk.flac; the words go beside it as walk.vtt".into(),
            );
        }
        let whole = whole(&review, &mut Folder::at(&args.session))?;
        for why in &whole.silent {
            crate::terminal::errln!("probeside: silence stands in the place of {}", plain(why));
        }
        words = Some(whole.vtt);
        Ok(whole.sound)
    });
    if let Some(words) = words {
        let beside = args.sound.as_ref().map(|path| path.with_extension("vtt"));
        put(&beside, &CAPTIONS, &mut || Ok(words.clone().into()));
    }
    if args.json {
        say_json(
            &serde_json::to_string_pretty(&review)
                .map_or_else(|error| format!("{{\"error\":\"{error}\"}}"), |json| json + "\n"),
        )
    } else {
        say(&text(&review))
    }
    if let Some(what) = to_be_done(&review, &mut Folder::at(&args.session)) {
        crate::terminal::errln!("probeside: {what}");
    }
    if review.chain.state == "broken" { 1 } else { code }
}
