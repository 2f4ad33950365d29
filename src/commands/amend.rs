//! `probeside amend`: adds to a record afterwards, with name and time: a reviewer's remark, or the removal of its audio. Existing entries
//! are never altered. A session that had ended is ended again with a new digest; the old digest still fits the part that it was made for.

use crate::run::{Failure, Outcome};
use crate::session::{Entry, Folder, Journal, Kind, Opened, Remark};
use crate::terminal::say;
use std::path::PathBuf;

/// Adds a remark to a session's record, or removes its sound. Nothing that is there is altered.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name the session's folder
    session: PathBuf,
    /// Name the person who makes the remark
    #[arg(long, value_name = "NAME")]
    by: String,
    /// Write the remark; with --forget-sound, the reason
    #[arg(value_name = "TEXT")]
    text: String,
    /// Point the remark at this line of the journal, counted from 0
    #[arg(long, value_name = "SEQ", conflicts_with = "forget_sound")]
    about: Option<u64>,
    /// Remove every recording of a voice; the record can still be verified
    #[arg(long)]
    forget_sound: bool,
}

/// Runs the command.
///
/// # Errors
/// A name or a text that is blank; a folder that is not a session, was altered or is in use; storage that fails.
pub fn run(args: &Args) -> Outcome {
    let (by, text) = (args.by.trim(), args.text.trim());
    if by.is_empty() || text.is_empty() {
        return Err(Failure::Usage(
            "a remark needs a name and a text; type: probeside amend SESSION --by NAME TEXT".into(),
        ));
    }
    if let Some(warning) = Folder::at(&args.session).open_to_others() {
        crate::terminal::errln!("{warning}");
    }
    let Opened { mut journal, entries, repair, clock } = Journal::open(Box::new(Folder::at(&args.session)))?;
    if let Some(repair) = repair {
        crate::terminal::errln!("{}", repair.sentence());
    }
    let now = clock.now();
    let done = if args.forget_sound {
        let gone = journal.forget_sound(by, text, &now)?;
        format!("{gone} recordings were removed; their hashes stay in the journal.")
    } else {
        let remark = Remark { by: by.to_owned(), text: text.to_owned(), about: args.about };
        let line = journal.remark(&remark, &now)?;
        format!("The remark is line {line} of the journal.")
    };
    if entries.iter().any(|entry: &Entry| entry.is(Kind::End)) {
        let digest = journal.finish(&now)?;
        say(&format!("{done} Digest {} ({}).\n", digest.short, digest.sha256));
    } else {
        say(&format!("{done}\n"));
    }
    Ok(0)
}
