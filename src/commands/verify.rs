//! `probeside verify`: is a session complete and unaltered?

use crate::review::{plain, verify};
use crate::session::Folder;
use crate::terminal::{say, say_json};
use std::path::PathBuf;

/// Says whether a session is complete and unaltered.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The session's folder.
    pub session: PathBuf,
    /// A digest that was kept elsewhere, the eight digits or the long form: finds a journal that was rebuilt as a whole.
    #[arg(long, value_name = "DIGEST")]
    pub digest: Option<String>,
    /// Print JSON: `{"sound","faults":[{"place","what"}],"notes":[{"place","what"}],"entries","digest":{"seq","sha256","short"}}`.
    #[arg(long)]
    pub json: bool,
}

/// Carries it out; the exit code is 1 when a fault was found or there is no readable session.
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
    out += &match found.faults.len() {
        0 => format!("Whole: {} entries. Digest {} ({})\n", found.entries, digest.short, digest.sha256),
        1 => "One fault: this record is not as it was written.\n".to_owned(),
        n => format!("{n} faults: this record is not as it was written; look at the first.\n"),
    };
    if found.sound && args.digest.is_none() {
        out += "Compare the digest with the one noted when the session ended, or give it by --digest.\n";
    }
    say(&out);
    u8::from(!found.sound)
}
