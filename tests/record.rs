//! The record that the real program leaves after a typed walk: a corrected reading counts once, and damage never goes unnoticed.

mod support;

#[path = "record/corrected.rs"]
mod corrected;
#[path = "record/damage.rs"]
mod damage;
#[path = "record/ended.rs"]
mod ended;
