//! `probeside verify`: is a session complete and unaltered?

use crate::review::{plain, verify};
use crate::session::Folder;
use crate::terminal::{say, say_json};
use std::path::PathBuf;

/// Says whether a session is complete and unaltered, as far as that can be seen.
#[derive(Debug, clap::Args)]
#[command(after_help = PROVES)]
pub struct Args {
    /// Name the session's folder
    pub session: PathBuf,
    /// Compare with this digest, kept elsewhere: eight digits or the long form
    #[arg(long, value_name = "DIGEST")]
    pub digest: Option<String>,
    /// Print JSON instead of text
    #[arg(long)]
    pub json: bool,
}

/// What it proves and what it cannot, for `--help`.
const PROVES: &str = "The lines of a journal hang together by hash, and digest.json holds the hash of the last one: an altered line, or one that is missing, is \
    found. What cannot be found without the digest on paper (--digest): a record that was made anew as a whole, or cut back to an earlier end. A session that was \
    not ended is neither whole nor at fault: lines may be missing at its end.\n\nExit codes: 0 no fault was found; 1 one was, or there is no session.";
/// What an intact record does not prove.
const CANNOT_SEE_REBUILT: &str = "Compare the digest with the one noted when the session ended, or give it by --digest: without it, a record that was made anew as \
    a whole, or cut back to an earlier end, looks the same.\n";
/// What an intact record without an end does not prove.
const CANNOT_SEE_CUT: &str = "Every line follows from the one before. The session is under way, or broke off; lines that were removed from the end together with \
    its digest look the same. To end it: probeside walk --resume\n";

/// Runs the command. The exit code is 1 if a fault was found or there is no readable session.
pub fn run(args: &Args) -> u8 {
    let found = match verify(&mut Folder::at(&args.session), args.digest.as_deref()) {
        Ok(found) => found,
        Err(error) => {
            crate::terminal::errln!("probeside: {error}");
            return error.exit_code();
        }
    };
    if args.json {
        say_json(
            &serde_json::to_string_pretty(&found).map_or_else(|e| format!("{{\"error\":\"{e}\"}}"), |json| json + "\n"),
        );
        return u8::from(!found.sound);
    }
    let mut out = String::new();
    for fault in &found.faults {
        out += &format!("FAULT {}: {}\n", plain(&fault.place), plain(&fault.what));
    }
    for note in &found.notes {
        out += &format!("note  {}: {}\n", plain(&note.place), plain(&note.what));
    }
    let digest = &found.digest;
    let entries = format!("{} entries. Digest {} ({})\n", found.entries, digest.short, digest.sha256);
    out += &match found.faults.len() {
        0 if found.ended => format!("Whole: {entries}"),
        0 => format!("Not ended: {entries}"),
        1 => "One fault: this record is not whole.\n".to_owned(),
        n => format!("{n} faults: this record is not whole; look at the first.\n"),
    };
    out += match (found.sound, found.ended, args.digest.is_some()) {
        (true, true, false) => CANNOT_SEE_REBUILT,
        (true, false, _) => CANNOT_SEE_CUT,
        _ => "",
    };
    say(&out);
    u8::from(!found.sound)
}
