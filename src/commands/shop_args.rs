//! The arguments of the archive's command.

use std::path::PathBuf;

/// The archive of many sessions: put in, search, show, compare one bike's visits, serve as web pages.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Args {
    /// Use this archive: a file, or postgres://USER@HOST/DATABASE [default: PROBESIDE_ARCHIVE]
    ///
    /// Without either it is archive.db in the user's data folder. A file is an SQLite database. Several benches share a PostgreSQL database; keep its password in PGPASSWORD or ~/.pgpass, not here.
    #[arg(long, global = true, value_name = "PATH|URL")]
    pub archive: Option<String>,
    /// What is to be done.
    #[command(subcommand)]
    pub what: What,
}

/// What can be done with the archive.
#[derive(Debug, clap::Subcommand)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub enum What {
    /// Add sessions; a longer record of one takes the place of a shorter one
    Add(Add),
    /// Find the sessions that match everything given
    Find(Find),
    /// Show a session's record, or compare one bike's visits
    Show(Show),
    /// Serve the archive as web pages that change nothing
    Serve(Serve),
}

/// Which sessions to put in.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Add {
    /// Name the sessions' folders
    #[arg(required = true, value_name = "SESSION")]
    pub sessions: Vec<PathBuf>,
    /// Add a session that does not verify too, marked as such
    #[arg(long)]
    pub unverified: bool,
}

/// What to look for.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Find {
    /// Match words of the bike's name
    #[arg(long, value_name = "WORDS")]
    pub bike: Option<String>,
    /// Match words of the mechanic's name
    #[arg(long, value_name = "WORDS")]
    pub person: Option<String>,
    /// Match words of the cause
    #[arg(long, value_name = "WORDS")]
    pub cause: Option<String>,
    /// Begin at this day: 2026-11-25, 2026-11 or 2026
    #[arg(long, value_name = "DAY")]
    pub from: Option<String>,
    /// End at this day
    #[arg(long, value_name = "DAY")]
    pub to: Option<String>,
    /// Match sessions with a reading out of limits: any, or one with this in its name
    #[arg(long, value_name = "READING", num_args = 0..=1, default_missing_value = "any")]
    pub out: Option<String>,
    /// List at most this many sessions
    #[arg(long, value_name = "NUMBER")]
    pub limit: Option<String>,
    /// Print JSON instead of text
    #[arg(long)]
    pub json: bool,
}

/// What to show.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Show {
    /// Name the session as `find` lists it
    #[arg(required_unless_present = "bike", value_name = "SESSION")]
    pub session: Option<String>,
    /// Show every visit of this bike side by side instead
    #[arg(long, value_name = "NAME", conflicts_with = "session")]
    pub bike: Option<String>,
    /// Print JSON instead of text
    #[arg(long)]
    pub json: bool,
}

/// Where to serve it.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Serve {
    /// Serve at this address; port 0 takes any free one; anywhere but 127.0.0.1 needs a token
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:8470")]
    pub at: std::net::SocketAddr,
    /// Accept this name for this machine too; repeat for more
    #[arg(long = "name", value_name = "HOST")]
    pub names: Vec<String>,
    /// Read the token, which browsers ask for as a password, from this private file [default: PROBESIDE_SHOP_TOKEN]
    #[arg(long, value_name = "FILE")]
    pub token_file: Option<PathBuf>,
}
