//! `probeside draw`: the tree of a procedure as a picture.

use super::file;
use crate::bike;
use crate::phrase::Vocabulary;
use crate::procedure::{self, draw};
use crate::run::{Outcome, load};
use crate::system::Inputs;
use crate::terminal::say_document;
use std::path::PathBuf;

/// What `probeside draw` is given.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name the procedure: a file, or a shipped one such as no-spark
    pub procedure: PathBuf,
    /// Write the picture to this file; - prints it
    #[arg(long, value_name = "FILE")]
    pub svg: PathBuf,
    /// Fill in this bike's words and limits: a file, or a shipped one
    #[arg(long, value_name = "FILE")]
    pub bike: Option<PathBuf>,
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    let shipped = load::shipped();
    let file = load::find(&args.procedure, &shipped);
    let profile = args.bike.as_ref().map(|bike| load::find(bike, &shipped.join("bikes")));
    let procedure = procedure::load(&file)?;
    let bike = profile.as_deref().map(bike::load).transpose()?;
    let value = bike.map(|bike| bike::as_value(&bike, Vocabulary::english()));
    let picture = draw::svg(draw::tree(&procedure, value.as_ref()));
    if args.svg.as_os_str() == "-" {
        say_document(&picture);
        return Ok(0);
    }
    file::write(&args.svg, picture.as_bytes(), &draw::PICTURE, &Inputs::of([file].into_iter().chain(profile)))?;
    Ok(0)
}
