//! The record that a typed walk by the real program leaves: a corrected reading counts once, and damage is never silent.

mod support;

#[path = "record/corrected.rs"]
mod corrected;
#[path = "record/damage.rs"]
mod damage;
#[path = "record/ended.rs"]
mod ended;
