//! A thread that chooses the part which comes next in a walk, and reckons beforehand what every part shows.

use super::{Asked, CircuitObserver, Order};
use crate::advice::Chosen;
use crate::circuit::faults::Library;
use crate::walk::{Answered, Crossing, Observation, Request, World};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

/// A choice is there within a second; the walk waits this long at most, then the written order holds.
const PATIENCE: Duration = Duration::from_secs(30);

/// What is to be chosen, after which answers.
struct ChoiceRequest {
    request: Request,
    crossing: Crossing,
    answers: Vec<(Asked, String)>,
}

/// Chooses parts in a thread of its own.
pub(super) struct OrderThread {
    world: Arc<World>,
    to_thread: Sender<ChoiceRequest>,
    chosen: Receiver<Answered<Chosen>>,
    /// Choices asked for so far.
    asked: u64,
    patience: Duration,
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
        let shared = world.clone();
        Self::run(world, PATIENCE, move |requests, told| {
            let observer = CircuitObserver::new(&shared.bike, &library, &faults);
            let order = match Order::new(&shared, &faults, &observer) {
                Ok(order) => order,
                Err(why) => return tracing::warn!(%why, "the best order"),
            };
            // Part by part, so that a question need not wait for all of them.
            let mut first = None;
            for part in 0..shared.procedures[&shared.main].parts.len() {
                first = requests.try_recv().ok();
                if first.is_some() {
                    break;
                }
                if let Err(why) = order.prepare(part) {
                    tracing::warn!(%why, "the best order");
                }
            }
            for wanted in first.into_iter().chain(requests) {
                let answers: Vec<(&Asked, &str)> =
                    wanted.answers.iter().map(|(asked, said)| (asked, said.as_str())).collect();
                let best = order.choose(&wanted.crossing, &answers).unwrap_or_else(|why| {
                    tracing::warn!(%why, "the best order");
                    written(&shared, &wanted.crossing)
                });
                // Who asked may have gone.
                let _ = told.send(Answered::to(wanted.request, best));
            }
        })
    }

    /// A thread that runs this; its choices are waited for so long.
    fn run(
        world: &Arc<World>,
        patience: Duration,
        run: impl FnOnce(Receiver<ChoiceRequest>, Sender<Answered<Chosen>>) + Send + 'static,
    ) -> Result<Self, String> {
        let (to_thread, requests) = channel::<ChoiceRequest>();
        let (told, chosen) = channel();
        std::thread::Builder::new()
            .name("order".to_owned())
            .spawn(move || run(requests, told))
            .map_err(|why| format!("the system gives no thread for the best order: {why}"))?;
        Ok(Self { world: world.clone(), to_thread, chosen, asked: 0, patience })
    }

    /// The part that comes next. Of a thread that is gone, or too late, the written order is left; a choice that comes too late is never
    /// taken for another's.
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
        self.asked += 1;
        let request = Request::new(self.asked);
        let answers = observed.iter().map(answer).collect();
        let sent = self.to_thread.send(ChoiceRequest { request, crossing: crossing.clone(), answers });
        let until = Instant::now() + self.patience;
        while sent.is_ok()
            && let Ok(answered) = self.chosen.recv_timeout(until.saturating_duration_since(Instant::now()))
        {
            if let Some(chosen) = answered.for_request(Some(request)) {
                return chosen;
            }
        }
        written(&self.world, crossing)
    }
}

fn written(world: &World, crossing: &Crossing) -> Chosen {
    let part = world.procedures[&world.main].parts[crossing.written].id.value.clone();
    Chosen { part, bits: 0.0, minutes: 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bike;
    use crate::expression::Seen;
    use crate::phrase::Vocabulary;
    use crate::procedure::{self};
    use std::path::Path;

    fn world() -> Arc<World> {
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures");
        let read = |name: &str| std::fs::read_to_string(shipped.join(name)).unwrap();
        let procedure = procedure::parse_named(&read("no-spark.yaml"), Path::new("no-spark.yaml")).unwrap();
        let bike = bike::parse(&read("bikes/borage-twin.yaml"), "borage-twin.yaml").unwrap();
        let vocabulary = Vocabulary::english().clone();
        let bike_value = Arc::new(bike::as_value(&bike, &vocabulary));
        let main = procedure.id.clone();
        Arc::new(World { procedures: [(main.clone(), procedure)].into(), main, bike, bike_value, vocabulary })
    }

    /// A choice that comes after its question was given up, while the next question is open, is not the answer to that one.
    #[test]
    fn a_late_choice_is_not_taken_for_the_next_question() {
        let world = world();
        let parts: Vec<String> = world.procedures[&world.main].parts.iter().map(|part| part.id.value.clone()).collect();
        let named = parts.clone();
        let mut order = OrderThread::run(&world, Duration::from_secs(1), move |requests, told| {
            for (number, wanted) in requests.into_iter().enumerate() {
                // The first is late; it is there while the second is being thought about.
                std::thread::sleep(Duration::from_millis([1_300, 20][number.min(1)]));
                let part = named[wanted.crossing.may_come[1]].clone();
                let _ = told.send(Answered::to(wanted.request, Chosen { part, bits: 1.0, minutes: 1.0 }));
            }
        })
        .unwrap();
        let crossing = |may_come: Vec<usize>| Crossing {
            written: may_come[0],
            left: may_come.clone(),
            may_come,
            seen: Seen::default(),
        };
        assert_eq!(
            order.choose(&crossing(vec![0, 1, 2]), &[]).part,
            parts[0],
            "nobody answers in time: as it is written"
        );
        assert_eq!(order.choose(&crossing(vec![1, 2]), &[]).part, parts[2], "its own answer");
    }
}
