//! Advice for a walk: which adviser it has, and the events that answer the walker's requests.

use crate::advice::{Chosen, Weighed};
use crate::circuit::faults::Library;
use crate::diagnose::Adviser;
use crate::walk::{Advice, Answered, Check, Crossing, Effect, Event, Observation, Request, Walker, World};
use std::sync::Arc;
use std::sync::mpsc::Sender;
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

/// An implementation of [`Advice`] that can move to another thread.
pub type Advisor = Box<dyn Advice + Send>;

/// The adviser for the suspects, and in best order for what comes next. Without faults that fit the bike there is none, and the user is told.
pub fn adviser(world: &Arc<World>, library: Library, best: bool) -> Option<Advisor> {
    let started = match best {
        true => Adviser::start(world, library).and_then(|adviser| adviser.in_best_order(world)),
        false => Adviser::start(world, library),
    };
    match started {
        Ok(adviser) => Some(Box::new(adviser)),
        Err(why) => {
            let order = if best { ", and in the written order" } else { "" };
            crate::terminal::errln!("This walk goes without advice on what is left{order}: {why}");
            None
        }
    }
}

/// Walker with advice enabled.
pub fn walker(world: &Arc<World>, advised: bool, best: bool) -> Walker {
    let walker = Walker::new(world.clone());
    let walker = if advised { walker.advised() } else { walker };
    if best { walker.in_best_order() } else { walker }
}

/// A question to the adviser.
pub(super) enum Question {
    /// Which suspects are left after these answers?
    Weigh { id: Request, observed: Vec<Arc<Observation>> },
    /// What comes next?
    Choose { id: Request, crossing: Crossing, observed: Vec<Arc<Observation>> },
    /// This check will be asked next.
    Prepare(Box<Check>),
}

impl Question {
    /// The question that `effect` asks, if it asks one.
    pub fn asked(walker: &Walker, effect: &Effect) -> Option<Self> {
        match effect {
            Effect::Weigh { id } => Some(Self::Weigh { id: *id, observed: walker.observed() }),
            Effect::Choose { id } => {
                Some(Self::Choose { id: *id, crossing: walker.crossing()?, observed: walker.observed() })
            }
            _ => None,
        }
    }

    /// The event with the adviser's answer.
    fn answered(self, advice: &mut dyn Advice) -> Option<Event> {
        match self {
            Self::Weigh { id, observed } => Some(Event::Weighed(Answered::to(id, advice.weigh(&observed)))),
            Self::Choose { id, crossing, observed } => {
                Some(Event::Chosen(Answered::to(id, advice.choose(&crossing, &observed))))
            }
            Self::Prepare(check) => {
                advice.prepare(&check);
                None
            }
        }
    }

    /// The event for the walker if there is no adviser.
    fn unanswered(&self) -> Option<Event> {
        match self {
            Self::Weigh { id, .. } => Some(Event::Weighed(Answered::to(*id, Weighed::default()))),
            Self::Choose { id, .. } => Some(Event::Chosen(Answered::to(*id, Chosen::default()))),
            Self::Prepare(_) => None,
        }
    }
}

/// The event that a walker still waits for if its journal ends before the answer.
pub fn late(advice: &mut Option<Advisor>, walker: &Walker) -> Option<Event> {
    let weigh = walker.waits_for_advice().map(|id| Effect::Weigh { id });
    let effect = weigh.or(walker.waits_for_choice().map(|id| Effect::Choose { id }))?;
    let question = Question::asked(walker, &effect)?;
    match advice {
        Some(advice) => question.answered(advice.as_mut()),
        None => question.unanswered(),
    }
}

/// The adviser in its own thread, so that the loop handles signals, timers and the pedal however long it computes.
pub(super) struct AdviserThread {
    to_thread: Sender<Question>,
    told: UnboundedReceiver<Event>,
}

impl AdviserThread {
    /// Starts the thread. If the system refuses one, tells the user, and there is no adviser.
    pub fn start(mut advice: Advisor) -> Option<Self> {
        let (to_thread, questions) = std::sync::mpsc::channel::<Question>();
        let (to_loop, told) = unbounded_channel();
        let started = std::thread::Builder::new().name("adviser".to_owned()).spawn(move || {
            for question in questions {
                let gone = question.answered(advice.as_mut()).is_some_and(|event| to_loop.send(event).is_err());
                if gone {
                    return;
                }
            }
        });
        match started {
            Ok(_) => Some(Self { to_thread, told }),
            Err(why) => {
                crate::terminal::errln!("This walk goes without advice: the system gives no thread for it: {why}");
                None
            }
        }
    }

    /// Asks a question. Returns an event only if there is no adviser any more.
    pub fn ask(thread: &Option<Self>, question: Question) -> Option<Event> {
        match thread {
            Some(thread) => thread.to_thread.send(question).err().and_then(|unsent| unsent.0.unanswered()),
            None => question.unanswered(),
        }
    }

    /// The adviser's next answer. Returns `None` once its thread has ended, and never resolves if there is no adviser.
    pub async fn says(thread: &mut Option<Self>) -> Option<Event> {
        match thread {
            Some(thread) => thread.told.recv().await,
            None => std::future::pending().await,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::Receiver;
    use std::time::Duration;

    /// Answers once the test permits it. Panics if the test can no longer permit it.
    struct Slow(Receiver<()>);

    impl Advice for Slow {
        fn weigh(&mut self, _observed: &[Arc<Observation>]) -> Weighed {
            self.0.recv().expect("somebody lets it");
            Weighed { outside: 1.0, ..Weighed::default() }
        }

        fn prepare(&mut self, _next: &Check) {}

        fn choose(&mut self, _crossing: &Crossing, _observed: &[Arc<Observation>]) -> Chosen {
            Chosen::default()
        }
    }

    #[tokio::test]
    async fn the_loop_goes_on_while_it_thinks_and_after_it_broke_off() {
        let (let_it, is_let) = std::sync::mpsc::channel();
        let mut thread = AdviserThread::start(Box::new(Slow(is_let)));
        let ask = |thread: &Option<AdviserThread>, id| {
            AdviserThread::ask(thread, Question::Weigh { id: Request::new(id), observed: Vec::new() })
        };
        assert_eq!(ask(&thread, 1), None);
        let soon = Duration::from_millis(20);
        assert!(tokio::time::timeout(soon, AdviserThread::says(&mut thread)).await.is_err(), "it is thinking");
        let_it.send(()).expect("it waits");
        let weighed = Weighed { outside: 1.0, ..Weighed::default() };
        let told = Event::Weighed(Answered::to(Request::new(1), weighed));
        assert_eq!(AdviserThread::says(&mut thread).await, Some(told));
        assert_eq!(ask(&thread, 2), None);
        drop(let_it);
        assert_eq!(AdviserThread::says(&mut thread).await, None);
        let nothing = Event::Weighed(Answered::to(Request::new(3), Weighed::default()));
        assert_eq!(ask(&None, 3), Some(nothing));
    }
}
