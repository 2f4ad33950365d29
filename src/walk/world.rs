//! What a walker walks in: the procedures, the bike and the words. Read only.

use crate::bike::Bike;
use crate::phrase::Vocabulary;
use crate::procedure::Procedure;
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Everything a walker reads and nothing it changes.
pub struct World {
    /// The procedure to walk, by id.
    pub main: String,
    /// It and all it calls, by id.
    pub procedures: BTreeMap<String, Procedure>,
    /// The bike.
    pub bike: Bike,
    /// The bike as templates and expressions see it.
    pub bike_value: Arc<Value>,
    /// The words.
    pub vocabulary: Vocabulary,
}
