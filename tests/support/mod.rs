//! Code shared by several test files.

#![allow(dead_code)]

pub mod damage;
pub mod disk;
pub mod driven;
pub mod killed;
pub mod machine;
pub mod mechanic;
pub mod stage;
pub mod typed;
pub mod typed_round;
pub mod under;
