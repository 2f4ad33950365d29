//! A thread that chooses what comes next in a walk, and reckons beforehand what every check shows.

use super::{Given, Order};
use crate::advice::Chosen;
use crate::circuit::faults::{Fault, Library};
use crate::diagnose::{Asked, CircuitObserver};
use crate::walk::{Answered, Crossing, Observation, Request, World};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

/// The walk waits this long for a choice, then the written order holds. The first choice takes longest: by voice it is computed while the
/// opening is said.
const PATIENCE: Duration = Duration::from_secs(30);

/// Computes what every check shows, on all cores but one: that one is the recogniser's.
fn prepare_all(order: &Order<'_>) {
    let workers = std::thread::available_parallelism().map_or(1, |cores| cores.get() - 1).max(1);
    let next = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let check = next.fetch_add(1, Ordering::Relaxed);
                    if check >= order.len() {
                        return;
                    }
                    if let Err(why) = order.prepare(check) {
                        tracing::warn!(%why, "the best order");
                    }
                }
            });
        }
    });
}

/// What is to be chosen, after which answers.
struct ChoiceRequest {
    request: Request,
    crossing: Crossing,
    answers: Vec<Given>,
}

/// Chooses in a thread of its own.
pub(super) struct OrderThread {
    world: Arc<World>,
    to_thread: Sender<ChoiceRequest>,
    chosen: Receiver<Answered<Chosen>>,
    /// Choices asked for so far.
    asked: u64,
    patience: Duration,
}

impl OrderThread {
    /// A thread for a world, a fault library in fine degrees, and its faults on the world's bike.
    ///
    /// # Errors
    /// A system that gives no thread.
    pub fn start(world: &Arc<World>, library: Arc<Library>, faults: Arc<Vec<Fault>>) -> Result<Self, String> {
        let shared = world.clone();
        Self::run(world, PATIENCE, move |requests, told| {
            let observer = CircuitObserver::new(&shared.bike, &library, &faults);
            let order = match Order::in_degrees(&shared, &faults, &observer) {
                Ok(order) => order,
                Err(why) => return tracing::warn!(%why, "the best order"),
            };
            prepare_all(&order);
            for wanted in requests {
                let best = order.choose(&wanted.crossing, &wanted.answers).unwrap_or_else(|why| {
                    tracing::warn!(%why, "the best order");
                    Chosen::default()
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

    /// What comes next. Of a thread that is gone, or too late, the written order is left; a choice that comes too late is never taken for
    /// another's.
    pub fn choose(&mut self, crossing: &Crossing, observed: &[Arc<Observation>]) -> Chosen {
        let answer = |one: &Arc<Observation>| {
            let check = &one.check;
            let asked = Arc::new(Asked {
                plausible: (0.0, 0.0),
                world: self.world.clone(),
                procedure: check.procedure.clone(),
                id: check.step.clone(),
                round: check.round.clone(),
                state: check.state.clone(),
                question: check.question.clone(),
                number: OnceLock::new(),
            });
            Given { asked, saw: one.saw.clone(), at_random: one.at_random, confirmed: one.confirmed, told: one.told }
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
        Chosen::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::Next;
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
        let mut order = OrderThread::run(&world(), Duration::from_secs(1), move |requests, told| {
            for (number, wanted) in requests.into_iter().enumerate() {
                // The first is late; it is there while the second is being thought about.
                std::thread::sleep(Duration::from_millis([1_300, 20][number.min(1)]));
                let chosen = Chosen { next: Next::Sound, bits: number as f64, minutes: 1.0, ..Chosen::default() };
                let _ = told.send(Answered::to(wanted.request, chosen));
            }
        })
        .unwrap();
        let crossing = Crossing {
            seen: Seen::default(),
            skipped: Vec::new(),
            readied: Default::default(),
            lacking: Default::default(),
        };
        assert_eq!(order.choose(&crossing, &[]), Chosen::default(), "nobody answers in time: as it is written");
        assert_eq!(order.choose(&crossing, &[]).bits, 1.0, "its own answer");
    }
}
