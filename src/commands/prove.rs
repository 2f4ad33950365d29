//! `probeside prove`: does a procedure find every fault of a bike's fault library?

use super::file;
use super::order::Order;
use crate::circuit::faults::Library;
use crate::diagnose::{self, CircuitObserver, Wanted};
use crate::run::{Failure, Outcome, load};
use crate::system::Inputs;
use crate::terminal::{progress, progress_ends, say, say_json};
use std::path::PathBuf;
use std::sync::Arc;

/// Leads the walker through a procedure under every fault, the answers computed from the bike's circuit
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name the procedure: a file, or a shipped one such as no-spark
    pub procedure: PathBuf,
    /// Name the bike: a file, or a shipped one
    #[arg(long, value_name = "FILE")]
    pub bike: PathBuf,
    /// Use this fault library [default: the first in faults/ beside the procedure]
    #[arg(long, value_name = "FILE")]
    pub faults: Option<PathBuf>,
    /// Choose the order of the procedure's checks
    #[arg(long, value_enum, default_value_t)]
    pub order: Order,
    /// Prove every pair of faults too
    #[arg(long)]
    pub pairs: bool,
    /// Prove every fault with one wrong answer too
    #[arg(long)]
    pub slips: bool,
    /// Draw this many bikes within the tolerances of their parts, and walk each sound and with one fault
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    pub bikes: usize,
    /// Walk under this many faults that come and go
    #[arg(long, value_name = "N", num_args = 0..=1, default_value_t = 0, default_missing_value = "300", hide_default_value = true)]
    pub intermittent: usize,
    /// Print a line for every fault too
    #[arg(long)]
    pub every: bool,
    /// Print JSON instead of tables
    #[arg(long)]
    pub json: bool,
    /// Write the D-matrix (checks by faults) to this file as a table (CSV)
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
}

/// Runs the command. Returns exit code 1 if a fault is missed or a sound part is condemned.
pub fn run(args: &Args) -> Outcome {
    let shipped = load::shipped();
    let procedure = load::find(&args.procedure, &shipped);
    let bike = load::find(&args.bike, &shipped.join("bikes"));
    let words = shipped.join("vocabulary").join("en.yaml");
    let world = Arc::new(load::world(&procedure, &bike, &words)?.world);
    let file = args.faults.clone().unwrap_or_else(|| load::usual_faults(&procedure));
    let library = Library::load(&file)?;
    let inputs = Inputs::of([procedure, bike, words, file]);
    if let Some(path) = &args.csv {
        file::may_write(path, &diagnose::MATRIX, &inputs)?;
    }
    let faults = library.for_bike_in(&world.bike, &world.vocabulary)?;
    let best = args.order.is_best_for(&world)?;
    let observer = CircuitObserver::new(&world.bike, &library, &faults);
    let wanted = Wanted { pairs: args.pairs, slips: args.slips, matrix: args.csv.is_some(), best };
    let shown = |what: &str, done: usize, of: usize| {
        let of = if of > 0 { format!(" of {of}") } else { String::new() };
        progress(&format!("{what}: {done}{of}"));
    };
    let not_proved = |e| Failure::Input(format!("{} cannot be proved on {}: {e}", world.main, world.bike.name));
    let mut proved = diagnose::prove(&world, &faults, &observer, wanted, &shown).map_err(not_proved)?;
    if args.bikes > 0 {
        let drawn = diagnose::drawn(&world, &library, &faults, best, args.bikes, &shown).map_err(not_proved)?;
        proved.proof.bikes = Some(drawn);
    }
    if args.intermittent > 0 {
        let walked = diagnose::intermittent(&world, &library, &faults, best, args.intermittent, &shown);
        proved.proof.intermittent = Some(walked.map_err(not_proved)?);
    }
    if args.pairs || args.slips || args.bikes > 0 || args.intermittent > 0 {
        progress_ends();
    }
    if let Some(path) = &args.csv {
        let matrix = diagnose::d_matrix_csv(&proved.matrix, &faults);
        file::write(path, matrix.as_bytes(), &diagnose::MATRIX, &inputs)?;
    }
    if args.json {
        let json = serde_json::to_string_pretty(&proved.proof)
            .map_err(|e| Failure::Input(format!("the result cannot be written as JSON: {e}")))?;
        say_json(&(json + "\n"));
    } else {
        say(&diagnose::text(&proved.proof));
        if args.every {
            say(&format!("\nEvery fault:\n{}", diagnose::every_fault(&proved.proof)));
        }
    }
    Ok(if proved.proof.holds() { 0 } else { 1 })
}
