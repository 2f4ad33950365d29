//! Answers that are not the step's own: what is neither good nor bad, and what is only told of a check that was made before.

mod escape;
mod told;
