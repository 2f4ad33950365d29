//! The command line: parse, dispatch, exit code. No logic.

mod memory;

use std::process::ExitCode;

#[global_allocator]
static MEMORY: memory::Memory = memory::Memory;

fn main() -> ExitCode {
    // The database's messages are silenced: the archive reports them in its own sentences.
    let usual = || "warn,sqlx=off".into();
    let filter = tracing_subscriber::EnvFilter::try_from_env("PROBESIDE_LOG").unwrap_or_else(|_| usual());
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(probeside::terminal::complaints);
    log.with_ansi(false).without_time().init();
    ExitCode::from(probeside::commands::start(std::env::args_os()))
}
