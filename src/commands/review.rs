//! `probeside review`: what a session's journal says.

use super::file;
use super::say::say;
use crate::review::{csv, customer, gather, page, plain, text, to_be_done, vtt, whole};
use crate::session::{DIGEST_FILE, Folder, JOURNAL_FILE, LOCK, PART};
use std::path::{Path, PathBuf};

/// Shows what a session found: conclusion, readings, and all that a reviewer asks for.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The session's folder.
    pub session: PathBuf,
    /// Also write all of it, with the sound, as one HTML page to this file.
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Also write one sheet for the customer, without voices, as an HTML page to this file.
    #[arg(long, value_name = "FILE")]
    pub customer: Option<PathBuf>,
    /// Also write the readings to this file as comma-separated values (RFC 4180).
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Also write what was said and heard to this file as WebVTT.
    #[arg(long, value_name = "FILE")]
    pub vtt: Option<PathBuf>,
    /// Also write the sound of the whole session, where it was kept (walk --keep-sound everything), as one FLAC file, and beside it, with
    /// the ending .vtt, what was said and heard as WebVTT on its time.
    #[arg(long, value_name = "FILE")]
    pub sound: Option<PathBuf>,
    /// Print JSON instead of text.
    #[arg(long)]
    pub json: bool,
}

/// Carries it out; the exit code is 1 when there is no readable session, the journal was altered, or a file could not be written.
pub fn run(args: &Args) -> u8 {
    let review = match gather(&mut Folder::at(&args.session)) {
        Ok(review) => review,
        Err(error) => {
            eprintln!("probeside: {error}");
            return error.exit_code();
        }
    };
    let mut code = 0;
    let mut put = |path: &Option<PathBuf>, content: &mut dyn FnMut() -> Result<Vec<u8>, String>| {
        let Some(path) = path else { return };
        if let Err(why) = content().and_then(|content| write(path, &content, &args.session)) {
            eprintln!("probeside: {why}");
            code = 1;
        }
    };
    let failed = |error: minijinja::Error| format!("the page cannot be put together: {error:#}");
    put(&args.csv, &mut || Ok(csv(&review).into()));
    put(&args.vtt, &mut || Ok(vtt(&review).into()));
    put(&args.html, &mut || page(&review, &mut Folder::at(&args.session)).map(String::into_bytes).map_err(failed));
    put(&args.customer, &mut || customer(&review).map(String::into_bytes).map_err(failed));
    let mut words = None;
    put(&args.sound, &mut || {
        if args.sound.as_ref().is_some_and(|path| path.extension().is_some_and(|ending| ending == "vtt")) {
            return Err(
                "--sound wants the name of a sound file, such as walk.flac; the words go beside it as walk.vtt".into(),
            );
        }
        let whole = whole(&review, &mut Folder::at(&args.session))?;
        for why in &whole.silent {
            eprintln!("probeside: silence stands in the place of {}", plain(why));
        }
        words = Some(whole.vtt);
        Ok(whole.sound)
    });
    if let Some(words) = words {
        put(&args.sound.as_ref().map(|path| path.with_extension("vtt")), &mut || Ok(words.clone().into()));
    }
    let out = if args.json {
        serde_json::to_string_pretty(&review)
            .map_or_else(|error| format!("{{\"error\":\"{error}\"}}"), |json| json + "\n")
    } else {
        text(&review)
    };
    say(&out);
    if let Some(what) = to_be_done(&review, &mut Folder::at(&args.session)) {
        eprintln!("probeside: {what}");
    }
    if review.chain.state == "broken" { 1 } else { code }
}

/// Writes a file, unless it would take the place of a part of the session.
fn write(path: &Path, content: &[u8], session: &Path) -> Result<(), String> {
    let (folder, name) = file::place(path)?;
    if session.canonicalize().is_ok_and(|session| is_record(&folder, &name, &session)) {
        return Err(format!("{} is the name of a part of the session's record; give another file", path.display()));
    }
    file::write(path, content)
}

/// Whether a file in this folder is, or would be taken for, a part of the session's record.
fn is_record(folder: &Path, name: &str, session: &Path) -> bool {
    let parts = [JOURNAL_FILE, DIGEST_FILE, LOCK];
    folder.starts_with(session)
        && (folder != session || parts.contains(&name) || name.ends_with(PART) || name.starts_with("torn-"))
}
