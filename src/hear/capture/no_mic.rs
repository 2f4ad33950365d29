//! Stand-in for the microphone in a build without sound.

use super::mic_error::MicError;
use crate::hear::ears::{EarSender, Ears};
use crate::hear::echo::Reference;
use crate::hear::segment::activity::Activity;

/// A microphone that cannot be started, since this build has no sound.
#[derive(Debug)]
pub enum Mic {}

impl Mic {
    /// Fails with the error that names a build with a microphone.
    ///
    /// # Errors
    /// Always.
    pub fn try_out() -> Result<(), MicError> {
        Err(MicError::NotBuilt)
    }

    /// Fails with the error that names a build with a microphone.
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

    /// Never called: no value of this type exists.
    pub fn format(&self) -> (u32, u16) {
        match *self {}
    }

    /// Never called: no value of this type exists.
    pub fn record(&mut self) {
        match *self {}
    }

    /// Never called: no value of this type exists.
    pub fn recorded_so_far(&self) -> usize {
        match *self {}
    }

    /// Never called: no value of this type exists.
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
