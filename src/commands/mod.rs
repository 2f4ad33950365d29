//! The commands, one file each. Everything is wired here; nothing is decided here.

pub mod load;

mod clock;
mod demo;
mod drive;
mod outcome;
mod walk;

pub use outcome::{Failure, Outcome};

use clap::{Parser, Subcommand};

/// Voice-guided, hands-free fault finding for points-ignition motorcycles. Works offline.
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
}

/// Runs a command; its exit code.
pub fn run(cli: Cli) -> u8 {
    let outcome = match cli.command {
        Command::Demo(args) => demo::run(&args),
        Command::Walk(args) => walk::run(&args),
    };
    match outcome {
        Ok(code) => code,
        Err(failure) => {
            eprintln!("{failure}");
            failure.code()
        }
    }
}
