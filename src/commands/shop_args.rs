//! The arguments of the archive's command.

use std::path::PathBuf;

/// The archive of many sessions: put in, search, show, compare one bike's visits, serve as web pages.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Args {
    /// The archive: a file (SQLite), or the address of a PostgreSQL database that several benches share (postgres://USER@HOST/DATABASE).
    /// Else PROBESIDE_ARCHIVE, else archive.db in the user's data folder. A password belongs into PGPASSWORD or ~/.pgpass, not here
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
    /// Put sessions in; one that is there already is left as it is, and a longer record of it takes its place
    Add(Add),
    /// Find sessions; everything that is given has to hold
    Find(Find),
    /// Show a session's record, or compare one bike's visits
    Show(Show),
    /// Serve the archive as web pages that only read
    Serve(Serve),
}

/// Which sessions to put in.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Add {
    /// Sessions' folders
    #[arg(required = true, value_name = "SESSION")]
    pub sessions: Vec<PathBuf>,
    /// Also take a session that does not verify, marked as such
    #[arg(long)]
    pub unverified: bool,
}

/// What to look for.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Find {
    /// Words of the bike's name
    #[arg(long, value_name = "WORDS")]
    pub bike: Option<String>,
    /// Words of the name of who answered
    #[arg(long, value_name = "WORDS")]
    pub person: Option<String>,
    /// Words of the cause, or of the conclusion's id
    #[arg(long, value_name = "WORDS")]
    pub cause: Option<String>,
    /// First day: 2026-11-25, 2026-11 or 2026
    #[arg(long, value_name = "DAY")]
    pub from: Option<String>,
    /// Last day, likewise
    #[arg(long, value_name = "DAY")]
    pub to: Option<String>,
    /// A reading was out of its limits: any, or one whose name has this in it
    #[arg(long, value_name = "READING", num_args = 0..=1, default_missing_value = "any")]
    pub out: Option<String>,
    /// Most sessions
    #[arg(long, value_name = "NUMBER")]
    pub limit: Option<String>,
    /// Print JSON (procedures/schema/shop.json) instead of text
    #[arg(long)]
    pub json: bool,
}

/// What to show.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Show {
    /// The session: its mark, as `find` prints it, or its id
    #[arg(required_unless_present = "bike", value_name = "SESSION")]
    pub session: Option<String>,
    /// Instead, every visit of the bike of this name, side by side
    #[arg(long, value_name = "NAME", conflicts_with = "session")]
    pub bike: Option<String>,
    /// Print JSON (procedures/schema/shop.json) instead of text
    #[arg(long)]
    pub json: bool,
}

/// Where to serve it.
#[derive(Debug, clap::Args)]
#[cfg_attr(not(feature = "shop"), allow(dead_code))]
pub struct Serve {
    /// Address and port; 0 takes any free port. Elsewhere than at 127.0.0.1 a token is asked for
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:8470")]
    pub at: std::net::SocketAddr,
    /// A further name under which browsers know this machine
    #[arg(long = "name", value_name = "HOST")]
    pub names: Vec<String>,
    /// A file, readable by its owner alone, that holds the token; else PROBESIDE_SHOP_TOKEN. Browsers ask for it as a password
    #[arg(long, value_name = "FILE")]
    pub token_file: Option<PathBuf>,
}
