//! The walker's side of advice: what it asks an adviser, and what it does with the answers. It does not know how an adviser finds them.

pub(in crate::walk) mod observation;
pub(in crate::walk) mod request;
mod why;

mod advice;
mod order;

pub(in crate::walk) use advice::toward;

pub use advice::Advice;
pub use observation::{Check, Observation, Saw};
pub use order::Crossing;
pub use request::{Answered, Request};
