//! Checks that are not made, or not answered: those that are skipped, those that were made before and are only told, and answers that are neither
//! good nor bad.

mod escape;
mod skipped;
mod taken_back;
mod told;
