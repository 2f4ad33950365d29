//! The answers of a bike with known faults, as its mechanic would type them.

use probeside::circuit::faults::Library;
use probeside::diagnose::Asked;
use probeside::expression::render;
use probeside::phrase::Answer;
use probeside::run::demo::FaultyBike;
use probeside::walk::{Walker, World};
use std::sync::Arc;

/// Stands in a table of answers for the answer that the bike shows.
pub const AS_IT_IS: &str = "as it is";

/// A bike with faults.
pub struct Under(FaultyBike);

impl Under {
    /// The world's bike with faults of the shipped library, several with commas, or `nothing`.
    pub fn of(world: &Arc<World>, names: &str) -> Self {
        let library = Library::load(&super::stage::procedures().join("faults/ignition.yaml")).expect("the library");
        let names = names.split(',').map(|name| name.trim().to_owned()).filter(|name| name != "nothing");
        Self(FaultyBike::new(world, library, &names.collect::<Vec<_>>()).expect("the bike has these faults"))
    }

    /// What is typed at the open question; `None` if none is open.
    pub fn words(&mut self, walker: &Walker) -> Option<String> {
        let asked = Asked::by(walker, walker.world()).expect("a question")?;
        let answer = self.0.answer(&asked).expect("the circuit answers");
        Some(match &answer {
            Answer::Choice(id) => {
                let choice = asked.choices().iter().find(|choice| choice.id.value == *id).expect("a choice");
                render(&choice.phrases[0], &walker.scope()).expect("a phrase")
            }
            Answer::Note(_) => "it died on the road".to_owned(),
            answer => {
                let resolution = asked.unit().map_or(1.0, |(_, resolution)| resolution);
                walker.world().vocabulary.answer_words(answer, resolution)
            }
        })
    }
}
