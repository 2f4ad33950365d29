//! The command line: parse, dispatch, exit code. No logic.

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let filter = tracing_subscriber::EnvFilter::try_from_env("PROBESIDE_LOG").unwrap_or_else(|_| "warn".into());
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).without_time().init();
    ExitCode::from(probeside::commands::run(probeside::commands::Cli::parse()))
}
