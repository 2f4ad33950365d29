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
mod jobs;
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
    /// Show the whole job without a microphone: made-up answers are spoken, heard, recorded and reported
    Demo(demo::Args),
    /// Walk through a procedure at the bike
    Walk(Box<walk::Args>),
    /// Check procedure, bike and vocabulary files for mistakes
    Check(check::CheckArgs),
    /// Prove that a procedure finds every fault of a bike
    Prove(prove::Args),
    /// Draw a procedure's steps as a picture
    Draw(draw::Args),
    /// Show what is understood of sound files, and how surely
    Hear(hear::Args),
    /// Rehearse a procedure's answers in several voices and noises, and show which sound alike
    Rehearse(rehearse::Args),
    /// Learn one person's voice, at the microphone or from WAV files
    Enrol(enrol::Args),
    /// Check the microphone, room, loudspeaker and recogniser, and say what to do
    Soundcheck(soundcheck::Args),
    /// Read a session's record
    Review(review::Args),
    /// Add a reviewer's remark to a record, or remove its sound
    Amend(amend::Args),
    /// Check that a session's record is complete and unaltered
    Verify(verify::Args),
    /// Add sessions to the shop's archive; find, show and serve them
    Shop(shop::Args),
    /// Work out one of the trade's sums
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
        .map_err(|e| Failure::Input(format!("the findings cannot be printed: {e}")))?;
    let out = String::from_utf8_lossy(&out);
    if args.json {
        terminal::say_json(&out)
    } else {
        terminal::say(&out)
    }
    Ok(code)
}

#[cfg(test)]
mod tests {
    use super::Cli;

    /// Longest help text, in characters: one line of a wide terminal.
    const LONGEST: usize = 110;

    /// The help texts of a command, of what it takes, and of the commands below it, each with its name.
    fn texts(command: &clap::Command) -> Vec<(String, String)> {
        let text = |text: Option<&clap::builder::StyledStr>| text.map(ToString::to_string).unwrap_or_default();
        let mut all = vec![(command.get_name().to_owned(), text(command.get_about()))];
        for argument in command.get_arguments() {
            let name = format!("{} {}", command.get_name(), argument.get_id());
            all.push((name.clone(), text(argument.get_help())));
            let values = argument.get_possible_values();
            all.extend(values.iter().filter_map(|value| Some((name.clone(), value.get_help()?.to_string()))));
        }
        all.extend(command.get_subcommands().flat_map(texts));
        all
    }

    #[test]
    fn every_help_text_is_one_line() {
        let all = texts(&<Cli as clap::CommandFactory>::command());
        let is_line = |text: &str| {
            let capital = text.starts_with(|c: char| c.is_uppercase());
            capital && !text.ends_with('.') && !text.contains('\n') && text.chars().count() <= LONGEST
        };
        let wrong: Vec<_> = all.iter().filter(|(_, text)| !is_line(text)).collect();
        assert!(all.len() > 60 && wrong.is_empty(), "{wrong:#?}");
    }
}
