//! What every fault would show at a check: asked of the circuit once for each check and state, by a thread of its own.

use super::asked::shown;
use super::belief::evidence::Row;
use crate::bike::BikeState;
use crate::circuit::faults::{Fault, Library};
use crate::circuit::{Expected, Model, Subject};
use crate::walk::{Check, World};
use std::collections::{BTreeSet, HashMap, HashSet};
use std::sync::mpsc::{Sender, channel};
use std::sync::{Arc, Condvar, Mutex};

/// Bikes beside the typical one, within the tolerances of sound parts, that a fault is tried on.
const SAMPLES: u64 = 2;

/// What tells one check from another.
type Key = (BikeState, String);

/// Rows that are known, and a sign when there is another.
type Known = (Mutex<HashMap<Key, Row>>, Condvar);

/// Expected answers of checks, computed ahead where there is time.
pub struct Table {
    known: Arc<Known>,
    to_thread: Sender<(Key, Check)>,
    asked: HashSet<Key>,
    faults: usize,
}

impl Table {
    /// A table for a bike and its faults.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(world: Arc<World>, library: Arc<Library>, faults: Arc<Vec<Fault>>) -> std::io::Result<Self> {
        let known: Arc<Known> = Arc::default();
        let (to_thread, jobs) = channel::<(Key, Check)>();
        let (shared, count) = (known.clone(), faults.len());
        std::thread::Builder::new().name("advice".to_owned()).spawn(move || {
            let (healthy, none) = (Model::new(&world.bike), BTreeSet::new());
            let mut subjects: Vec<Subject<'_>> =
                faults.iter().map(|fault| Subject::new(&healthy, &library, &[fault], &none)).collect();
            subjects.push(Subject::new(&healthy, &library, &[], &none));
            while let Ok((key, check)) = jobs.recv() {
                if lock(&shared.0).contains_key(&key) {
                    continue;
                }
                let expected = |subject: &Subject<'_>| {
                    let answer = subject.answer(&check.question, &check.state, SAMPLES);
                    answer.unwrap_or_else(|why| Expected::Unknown(why.to_string()))
                };
                let row = Arc::new(subjects.iter().map(expected).collect());
                lock(&shared.0).insert(key, row);
                shared.1.notify_all();
            }
        })?;
        Ok(Self { known, to_thread, asked: HashSet::new(), faults: count })
    }

    /// Lets a check's row be computed beforehand.
    pub fn prepare(&mut self, check: &Check) {
        let key = key(check);
        if self.asked.insert(key.clone()) {
            // A thread that is gone is noticed where its row is wanted.
            let _ = self.to_thread.send((key, check.clone()));
        }
    }

    /// A check's row; waits for it where it is not there yet.
    pub fn row(&mut self, check: &Check) -> Row {
        self.prepare(check);
        let key = key(check);
        let mut known = lock(&self.known.0);
        loop {
            if let Some(row) = known.get(&key) {
                return row.clone();
            }
            // A panic in the thread must not hang the walk: without a row the check tells nothing.
            let waited = self.known.1.wait_timeout(known, PATIENCE);
            let (guard, timeout) = waited.unwrap_or_else(std::sync::PoisonError::into_inner);
            known = guard;
            if timeout.timed_out() {
                let why = "it was not computed in time".to_owned();
                return Arc::new(vec![Expected::Unknown(why); self.faults + 1]);
            }
        }
    }
}

/// A row takes a fraction of a second; the walk waits this long at most.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(30);

fn lock(known: &Mutex<HashMap<Key, Row>>) -> std::sync::MutexGuard<'_, HashMap<Key, Row>> {
    known.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}

fn key(check: &Check) -> Key {
    (shown(&check.state), format!("{}/{} {}", check.procedure, check.step, check.round.as_deref().unwrap_or_default()))
}
