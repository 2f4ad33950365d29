//! A bike with known faults: what its mechanic answers at a question is what the circuit shows there.

use crate::circuit::faults::{Fault, Library};
use crate::diagnose::{Asked, CircuitObserver, Observer};
use crate::phrase::Answer;
use crate::walk::World;
use std::collections::BTreeSet;
use std::sync::Arc;

/// A bike with faults of a library, and what was mended on it so far.
pub struct FaultyBike {
    world: Arc<World>,
    library: Library,
    faults: Vec<Fault>,
    under: Vec<usize>,
    mended: BTreeSet<String>,
}

impl FaultyBike {
    /// The world's bike with these faults: `KIND:PLACE` in the mildest severity that keeps it from firing, or a whole id. None of them: it is
    /// healthy.
    ///
    /// # Errors
    /// A sentence: the library does not fit the bike, or has no such fault.
    pub fn new(world: &Arc<World>, library: Library, names: &[String]) -> Result<Self, String> {
        let faults = library
            .for_bike(&world.bike)
            .map_err(|found| found.first().map_or_else(String::new, ToString::to_string))?;
        let number = |name: &String| {
            let named = |f: &Fault| f.id == *name || f.group() == *name;
            let counts = faults.iter().position(|f| f.counts && named(f));
            counts
                .or_else(|| faults.iter().position(named))
                .ok_or_else(|| format!("the {} has no fault `{name}`; `probeside prove` lists them", world.bike.name))
        };
        let under = names.iter().map(number).collect::<Result<_, _>>()?;
        Ok(Self { world: world.clone(), library, faults, under, mended: BTreeSet::new() })
    }

    /// What its mechanic answers at a question.
    ///
    /// # Errors
    /// The question and the bike's wiring do not fit together, in a sentence.
    pub fn answer(&mut self, asked: &Asked) -> Result<Answer, String> {
        self.mended.extend(asked.question.mends.iter().cloned());
        let is_left = |number: &usize| !self.faults[*number].is_mended(&self.mended);
        let left: Vec<usize> = self.under.iter().copied().filter(is_left).collect();
        let observer = CircuitObserver::new(&self.world.bike, &self.library, &self.faults);
        observer.seen(&left, asked).map(|seen| asked.spoken(seen)).map_err(|why| why.to_string())
    }
}
