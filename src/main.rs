//! The command line: parse, dispatch, exit code. No logic.

use clap::Parser;
use std::io::IsTerminal;
use std::process::ExitCode;

fn main() -> ExitCode {
    // What the database says reaches people as a sentence of the archive's own.
    let filter =
        tracing_subscriber::EnvFilter::try_from_env("PROBESIDE_LOG").unwrap_or_else(|_| "warn,sqlx=off".into());
    let colours = std::io::stderr().is_terminal();
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(colours)
        .without_time()
        .init();
    ExitCode::from(probeside::commands::run(probeside::commands::Cli::parse()))
}
