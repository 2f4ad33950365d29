//! The microphone of a build without sound: it says so.

use super::mic_error::MicError;
use crate::hear::ears::{EarSender, Ears};
use crate::hear::echo::Reference;
use crate::hear::segment::activity::Activity;

/// A microphone that cannot be started, since this build has no sound.
#[derive(Debug)]
pub enum Mic {}

impl Mic {
    /// Always the error that says which build has a microphone.
    ///
    /// # Errors
    /// Always.
    pub fn try_out() -> Result<(), MicError> {
        Err(MicError::NotBuilt)
    }

    /// Always the error that says which build has a microphone.
    ///
    /// # Errors
    /// Always.
    pub fn start(_to: EarSender, _activity: Activity) -> Result<Self, MicError> {
        Err(MicError::NotBuilt)
    }

    /// As [`Mic::start`].
    ///
    /// # Errors
    /// Always.
    pub fn start_over(_to: EarSender, _activity: Activity, _played: Reference) -> Result<Self, MicError> {
        Err(MicError::NotBuilt)
    }

    /// There is none.
    pub fn format(&self) -> (u32, u16) {
        match *self {}
    }

    /// There is none.
    pub fn record(&mut self) {
        match *self {}
    }

    /// There is none.
    pub fn recorded_so_far(&self) -> usize {
        match *self {}
    }

    /// There is none.
    pub fn recorded(&mut self) -> Vec<f32> {
        match *self {}
    }
}

impl Ears for Mic {
    fn open(&mut self) {}

    fn close(&mut self) {}

    fn is_live(&self) -> bool {
        true
    }
}
