//! How probable an answer is under a fault, and what follows for all faults from all answers.

pub(super) mod bayes;
pub(super) mod evidence;
pub(super) mod fit;
