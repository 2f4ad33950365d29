//! A thread that chooses the part which comes next in a walk, and reckons beforehand what every part shows.

use super::{Asked, Bench, Order};
use crate::circuit::faults::Library;
use crate::session::Chosen;
use crate::walk::{Crossing, Observation, World};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

/// A choice is there within a second; the walk waits this long at most, then the written order holds.
const PATIENCE: Duration = Duration::from_secs(30);

/// What is to be chosen, after which answers.
struct Job {
    crossing: Crossing,
    answers: Vec<(Asked, String)>,
}

/// Chooses parts in a thread of its own.
pub(super) struct OrderThread {
    world: Arc<World>,
    to_thread: Sender<Job>,
    chosen: Receiver<Chosen>,
}

impl OrderThread {
    /// A thread for a world and a fault library.
    ///
    /// # Errors
    /// What of the library does not come out for this bike, in a sentence; a system that gives no thread.
    pub fn start(world: &Arc<World>, library: Library) -> Result<Self, String> {
        let faults = library.for_bike_in(&world.bike, &world.vocabulary).map_err(|found| {
            found.first().map_or_else(|| "the fault library does not fit".to_owned(), ToString::to_string)
        })?;
        let (to_thread, jobs) = channel::<Job>();
        let (told, chosen) = channel();
        let shared = world.clone();
        let run = move || {
            let bench = Bench::new(&shared.bike, &library, &faults);
            let order = match Order::new(&shared, &faults, &bench) {
                Ok(order) => order,
                Err(why) => return tracing::warn!(%why, "the best order"),
            };
            // Part by part, so that a question need not wait for all of them.
            let mut first = None;
            for part in 0..shared.procedures[&shared.main].parts.len() {
                first = jobs.try_recv().ok();
                if first.is_some() {
                    break;
                }
                if let Err(why) = order.prepare(part) {
                    tracing::warn!(%why, "the best order");
                }
            }
            for job in first.into_iter().chain(jobs) {
                let answers: Vec<(&Asked, &str)> =
                    job.answers.iter().map(|(asked, said)| (asked, said.as_str())).collect();
                let best = order.choose(&job.crossing, &answers).unwrap_or_else(|why| {
                    tracing::warn!(%why, "the best order");
                    written(&shared, &job.crossing)
                });
                // Who asked may have gone.
                let _ = told.send(best);
            }
        };
        std::thread::Builder::new()
            .name("order".to_owned())
            .spawn(run)
            .map_err(|why| format!("the system gives no thread for the best order: {why}"))?;
        Ok(Self { world: world.clone(), to_thread, chosen })
    }

    /// The part that comes next.
    pub fn choose(&mut self, crossing: &Crossing, observed: &[Arc<Observation>]) -> Chosen {
        let answer = |one: &Arc<Observation>| {
            let check = &one.check;
            let asked = Asked {
                world: self.world.clone(),
                procedure: check.procedure.clone(),
                id: check.step.clone(),
                round: check.round.clone(),
                state: check.state.clone(),
                question: check.question.clone(),
                number: OnceLock::new(),
            };
            (asked, one.name())
        };
        let job = Job { crossing: crossing.clone(), answers: observed.iter().map(answer).collect() };
        // Of a thread that is gone, or too late, the written order is left; an answer that comes too late is not taken for another.
        while self.chosen.try_recv().is_ok() {}
        let sent = self.to_thread.send(job);
        let chosen = sent.ok().and_then(|()| self.chosen.recv_timeout(PATIENCE).ok());
        chosen.unwrap_or_else(|| written(&self.world, crossing))
    }
}

fn written(world: &World, crossing: &Crossing) -> Chosen {
    let part = world.procedures[&world.main].parts[crossing.written].id.value.clone();
    Chosen { part, bits: 0.0, minutes: 0.0 }
}
