//! The ONNX Runtime: loads the library once, and opens small networks with it.

use super::pinned;
use crate::hear::hear_error::HearError;
use ort::session::Session;
use ort::session::builder::GraphOptimizationLevel;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// The runtime; one per process, loaded until its end.
static RUNTIME: Mutex<Option<ort::environment::Environment>> = Mutex::new(None);

/// The runtime, loaded at the first call.
pub(in crate::hear) fn runtime(path: &Path) -> Result<ort::environment::Environment, HearError> {
    let mut loaded = RUNTIME.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(environment) = loaded.as_ref() {
        return Ok(environment.clone());
    }
    pinned::check(path)?;
    let builder = ort::init_from(path).map_err(|e| HearError::damaged(path, e))?;
    let environment = builder.with_telemetry(false).build().map_err(|e| HearError::damaged(path, e))?;
    *loaded = Some(environment.clone());
    Ok(environment)
}

/// Opens a small network on one thread. Errors name `place`; `library` is the runtime's file.
pub(in crate::hear) fn open_small(library: &Path, place: &Path, bytes: &[u8]) -> Result<Session, HearError> {
    let environment = runtime(library)?;
    let open = || -> Result<Session, ort::Error> {
        Session::builder(&environment)?
            .with_optimization_level(GraphOptimizationLevel::All)?
            .with_intra_threads(1)?
            .with_intra_op_spinning(false)?
            .with_memory_pattern(false)?
            .commit_from_memory(bytes)
    };
    open().map_err(|e| HearError::damaged(place, e))
}
