//! The command line: the arguments of every command, one file each, and the output of its result.
//!
//! The commands open the microphone, speech output and recogniser that the command line names; [`run`](mod@crate::run) runs the walk.
//! Deliberately absent: the loop, the threads and the decisions of a walk.

pub mod check;
pub mod review;
pub mod verify;

mod amend;
#[cfg(feature = "shop")]
mod archive;
mod demo;
mod draw;
mod engine;
mod enrol;
mod file;
mod hear;
mod machine;
mod mouth;
mod order;
mod prove;
mod reckon;
mod rehearse;
mod shop;
mod shop_args;
mod soundcheck;
mod walk;

pub use hear::expected;

use crate::run::{Failure, Outcome};
use crate::terminal;
use clap::{Parser, Subcommand};
use std::ffi::OsString;

/// Speaks the next check at the bike, hears the answer without a network, takes the right branch and keeps the record.
///
/// Exit codes: 0 done; 1 the input or the result is at fault; 2 wrong usage; 3 the machine lacks something.
#[derive(Debug, Parser)]
#[command(name = "probeside", version, about, long_about, max_term_width = 110)]
pub struct Cli {
    /// What is to be done.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// The whole job with no microphone: invented answers, spoken, heard by the recogniser, walked, journalled, reported
    Demo(demo::Args),
    /// Walk through a procedure at the bike
    Walk(walk::Args),
    /// Is a procedure, bike or vocabulary file sound?
    Check(check::CheckArgs),
    /// Does a procedure find every fault of a bike?
    Prove(prove::Args),
    /// The tree of a procedure as a picture
    Draw(draw::Args),
    /// What would be understood of sound files, and how surely
    Hear(hear::Args),
    /// Can the recogniser tell a procedure's answers apart? Says and hears every phrase in several voices and noises
    Rehearse(rehearse::Args),
    /// Learn one person's voice, at the microphone or from WAV files
    Enrol(enrol::Args),
    /// Microphone, room, loudspeaker, echo, recogniser: how they stand, and what to do
    Soundcheck(soundcheck::Args),
    /// Read a session's record
    Review(review::Args),
    /// Add a reviewer's remark to a record, or remove its sound
    Amend(amend::Args),
    /// Is a session's record complete and unaltered?
    Verify(verify::Args),
    /// The archive of many sessions: add, find, show, serve
    Shop(shop::Args),
    /// The trade's sums on their own
    Reckon(reckon::Args),
}

/// Runs the command that the arguments name; the first is the program's name. Returns the exit code.
pub fn start(arguments: impl IntoIterator<Item = OsString>) -> u8 {
    /// Wrong usage.
    const USAGE: u8 = 2;
    match Cli::try_parse_from(arguments) {
        Ok(cli) => run(cli),
        // Help and version exit normally; anything else is wrong usage.
        Err(told) if !told.use_stderr() => {
            terminal::say(&told.render().to_string());
            terminal::ended(0)
        }
        Err(told) => {
            terminal::complain(&told.render().to_string());
            USAGE
        }
    }
}

/// Runs a command and returns its exit code.
pub fn run(cli: Cli) -> u8 {
    let hears = match &cli.command {
        Command::Demo(_) | Command::Hear(_) | Command::Rehearse(_) | Command::Enrol(_) | Command::Soundcheck(_) => true,
        Command::Walk(args) => args.hear != "typed",
        _ => false,
    };
    let code = match machine::suffices(hears).and_then(|()| outcome(cli.command)) {
        Ok(code) => code,
        Err(failure) => {
            terminal::errln!("{failure}");
            failure.code()
        }
    };
    terminal::ended(code)
}

fn outcome(command: Command) -> Outcome {
    match command {
        Command::Demo(args) => demo::run(&args),
        Command::Walk(args) => walk::run(&args),
        Command::Check(args) => checked(&args),
        Command::Prove(args) => prove::run(&args),
        Command::Draw(args) => draw::run(&args),
        Command::Hear(args) => hear::run(&args),
        Command::Rehearse(args) => rehearse::run(&args),
        Command::Enrol(args) => enrol::run(&args),
        Command::Soundcheck(args) => soundcheck::run(&args),
        Command::Review(args) => Ok(review::run(&args)),
        Command::Amend(args) => amend::run(&args),
        Command::Verify(args) => Ok(verify::run(&args)),
        Command::Shop(args) => shop::run(&args),
        Command::Reckon(args) => reckon::run(&args),
    }
}

/// Runs the check with the built-in vocabulary.
fn checked(args: &check::CheckArgs) -> Outcome {
    let words = crate::phrase::Vocabulary::english();
    let always = words.command_phrases().into_iter().chain(words.escape_phrases()).map(|p| (p, true));
    let reserved = always.chain(words.yes_no_phrases().into_iter().map(|p| (p, false)));
    let reserved = reserved
        .map(|(phrase, always)| crate::check::Reserved {
            words: phrase.words.clone(),
            meaning: words.answer_words(&phrase.answer, 1.0),
            always,
        })
        .collect();
    let vocabulary =
        |text: &str, file: &str| crate::phrase::Vocabulary::from_yaml(text, file).err().unwrap_or_default();
    let spoken = check::Spoken { reserved, words, vocabulary: &vocabulary };
    let mut out = Vec::new();
    let code = check::run(args, &spoken, &mut out)
        .map_err(|e| Failure::Input(format!("What was found cannot be put together: {e}.")))?;
    let out = String::from_utf8_lossy(&out);
    if args.json {
        terminal::say_json(&out)
    } else {
        terminal::say(&out)
    }
    Ok(code)
}
