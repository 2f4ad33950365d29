//! What a procedure is checked against.

use crate::bike::{Bike, Words};
use crate::circuit::faults::Library;
use crate::procedure::Procedure;
use std::rc::Rc;

/// A phrase that means something at any step, so that no answer may use it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reserved {
    /// Lower-case words separated by single spaces.
    pub words: String,
    /// What it is: "the command `back`", "the escape `flickers`", "yes".
    pub meaning: String,
    /// It is listened for at any moment; yes and no only while a confirmation is pending, so that an answer may begin with them.
    pub always: bool,
}

/// What a procedure is checked against.
pub struct Surroundings<'a> {
    /// The bikes it is tried with; those that its `applies` leaves out are passed over.
    pub bikes: &'a [Bike],
    /// Finds a called procedure by its id; none when there is no such file or it does not load.
    pub called: &'a dyn Fn(&str) -> Option<Rc<Procedure>>,
    /// The other procedures of its folder.
    pub library: &'a [Rc<Procedure>],
    /// Phrases that are taken.
    pub reserved: &'a [Reserved],
    /// How parts are named aloud.
    pub words: &'a dyn Words,
    /// What can go wrong and what can be looked at; without it, what a healthy bike answers is not computed.
    pub faults: Option<&'a Library>,
}
