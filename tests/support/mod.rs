//! What several test files share.

#![allow(dead_code)]

pub mod machine;
pub mod mechanic;
pub mod stage;
pub mod typed;
