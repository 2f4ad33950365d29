//! What a walker walks in: the procedures, the bike and the vocabulary. Read only.

use crate::bike::Bike;
use crate::phrase::{Vocabulary, normalise};
use crate::procedure::{Ask, Procedure};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Everything that a walker reads and never changes.
pub struct World {
    /// Id of the procedure to walk.
    pub main: String,
    /// That procedure and all that it calls, by id.
    pub procedures: BTreeMap<String, Procedure>,
    /// The bike.
    pub bike: Bike,
    /// The bike as templates and expressions see it.
    pub bike_value: Arc<Value>,
    /// The vocabulary.
    pub vocabulary: Vocabulary,
}

impl World {
    /// The phrases of every choice in every procedure, as far as they contain no template.
    pub fn phrases(&self) -> Vec<String> {
        let steps = self.procedures.values().flat_map(|p| &p.steps);
        let choices = steps.flat_map(|step| match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => &choices[..],
            Ask::Reading(_) | Ask::Done(_) | Ask::Note(_) => &[],
        });
        let mut out: Vec<String> = choices.flat_map(|c| &c.phrases).map(|p| normalise(&p.value)).collect();
        out.retain(|words| !words.contains('{'));
        out.sort_unstable();
        out.dedup();
        out
    }
}
