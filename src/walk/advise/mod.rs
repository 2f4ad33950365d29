//! The walker's side of advice: what an adviser is told and asked, and what is made of its answers. How an adviser comes to them it does not know.

pub(in crate::walk) mod observation;
pub(in crate::walk) mod request;

mod advice;
mod order;

pub use advice::Advice;
pub use observation::{Check, Observation, Saw};
pub use order::Crossing;
pub use request::{Answered, Request};
