//! The answers of a bike with known faults, as its mechanic would say them: what the circuit shows at the open question.

#[path = "observed.rs"]
mod observed;

use probeside::circuit::faults::{Fault, Library};
use probeside::diagnose::{Asked, CircuitObserver, Observer};
use probeside::expression::render;
use probeside::phrase::Answer;
use probeside::walk::{Walker, World};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Stands in a table of answers for the answer that the faults show.
pub const AS_IT_IS: &str = "as it is";

/// A bike with faults, and what was mended on it so far.
pub struct Under {
    world: Arc<World>,
    library: Library,
    faults: Vec<Fault>,
    under: Vec<usize>,
    mended: BTreeSet<String>,
}

impl Under {
    /// The world's bike with faults of the shipped library: `KIND:PLACE` or a whole id, several with commas, or `nothing`.
    pub fn of(world: &Arc<World>, names: &str) -> Self {
        let library = Library::load(&super::stage::procedures().join("faults/ignition.yaml")).expect("the library");
        let faults = library.for_bike(&world.bike).expect("it fits the bike");
        let number = |name: &str| {
            let named = |f: &Fault| f.id == name || f.group() == name;
            let counts = faults.iter().position(|f| f.counts && named(f));
            counts.or_else(|| faults.iter().position(named)).unwrap_or_else(|| panic!("no fault {name} on this bike"))
        };
        let names = names.split(',').map(str::trim).filter(|name| *name != "nothing");
        let under = names.map(number).collect();
        Self { world: world.clone(), library, faults, under, mended: BTreeSet::new() }
    }

    /// What is said at the open question; `None` if none is open.
    pub fn words(&mut self, walker: &Walker) -> Option<String> {
        let asked = Asked::by(walker, &self.world).expect("a question")?;
        self.mended.extend(asked.question.mends.iter().cloned());
        let left: Vec<usize> =
            self.under.iter().copied().filter(|f| !self.faults[*f].is_mended(&self.mended)).collect();
        let observer = CircuitObserver::new(&self.world.bike, &self.library, &self.faults);
        let answer = observed::spoken(&asked, observer.seen(&left, &asked).expect("the circuit answers"));
        let vocabulary = &self.world.vocabulary;
        Some(match &answer {
            Answer::Choice(id) => {
                let choice = asked.choices().iter().find(|choice| choice.id.value == *id).expect("a choice");
                render(&choice.phrases[0], &walker.scope()).expect("a phrase")
            }
            Answer::Note(_) => "it died on the road".to_owned(),
            answer => vocabulary.answer_words(answer, asked.unit().map_or(1.0, |(_, resolution)| resolution)),
        })
    }
}
