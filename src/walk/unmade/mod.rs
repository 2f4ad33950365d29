//! Checks that are not made in this walk: those that are skipped, and those that were made before and are only told.

mod skipped;
mod taken_back;
mod told;
