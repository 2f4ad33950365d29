//! The commands, one file each, that wire the rooms together.

pub mod check;
