//! The recogniser's thread: what has to be understood goes in, what became of it comes out.

use crate::hear::{Nearness, Recogniser, Utterance};
use crate::phrase::{self, Answer, Grammar, Hypotheses, Verdict};
use crate::walk::Event;
use std::sync::{Arc, mpsc};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

enum Job {
    /// An answer will be listened for with this grammar soon.
    Prepare(Grammar),
    Hear {
        listen: u64,
        utterance: Utterance,
        grammar: Arc<Grammar>,
    },
    /// No more jobs come.
    End,
}

/// The listen that is open.
pub struct OpenListen {
    pub id: u64,
    pub grammar: Arc<Grammar>,
    pub high: Vec<Answer>,
    /// Whoever speaks cuts the prompt.
    pub bargein: bool,
    /// The latest utterance began over a prompt.
    pub over: bool,
    /// Jobs given to the recogniser and not answered.
    pub pending: u32,
    pub settled: bool,
}

impl OpenListen {
    /// One that nobody has answered.
    pub fn new(id: u64, grammar: Grammar, high: Vec<Answer>, bargein: bool) -> Self {
        Self { id, grammar: Arc::new(grammar), high, bargein, over: false, pending: 0, settled: false }
    }

    /// Somebody began to speak, `over` a prompt or not: whether that cuts it.
    pub fn is_cut(&mut self, over: bool) -> bool {
        self.over = over;
        over && self.bargein
    }

    /// What is told of an utterance that is no answer.
    pub fn in_vain(&self, utterance: &Utterance) -> Event {
        let verdict = Verdict::Reject { free: None, stranger: false };
        Event::Heard { listen: self.id, verdict, begin: utterance.begin, end: utterance.end, clip: None }
    }
}

/// What became of an utterance.
pub struct Decoded {
    /// The listen that it was for.
    pub listen: u64,
    pub utterance: Utterance,
    pub result: Result<Hypotheses, String>,
    /// Time of computing.
    pub took: Duration,
}

/// How long it took from the end of speech to a decision: the silence waited for, and the computing.
#[derive(Debug, Clone, Copy)]
pub struct Delay {
    /// Silence after the voice before the sound was handed over.
    pub waited: Duration,
    /// Computing until the verdict.
    pub computed: Duration,
}

/// The thread's near end.
pub struct Listener {
    jobs: mpsc::Sender<Job>,
    /// None once it was waited for.
    thread: Option<std::thread::JoinHandle<()>>,
    decoded: UnboundedReceiver<Decoded>,
    prepared: Option<Grammar>,
    nearness: Nearness,
}

impl Listener {
    /// Starts the thread.
    pub fn start(mut recogniser: Box<dyn Recogniser>) -> Self {
        let (to, decoded) = unbounded_channel();
        let (jobs, from) = mpsc::channel::<Job>();
        let thread = std::thread::spawn(move || {
            for job in from {
                let began = Instant::now();
                match job {
                    Job::End => return,
                    Job::Prepare(grammar) => {
                        if let Err(why) = recogniser.prepare(&grammar) {
                            tracing::warn!(%why, "the recogniser could not prepare");
                        }
                    }
                    Job::Hear { listen, utterance, grammar } => {
                        let result = recogniser.hear(&utterance.sound, &grammar).map_err(|e| e.to_string());
                        if to.send(Decoded { listen, utterance, result, took: began.elapsed() }).is_err() {
                            return;
                        }
                    }
                }
            }
        });
        Listener { jobs, thread: Some(thread), decoded, prepared: None, nearness: Nearness::default() }
    }

    /// Does beforehand what can be done for an answer, once for each grammar.
    pub fn prepare(&mut self, grammar: Grammar) {
        if self.prepared.as_ref() != Some(&grammar) {
            self.prepared = Some(grammar.clone());
            // A thread that is gone is noticed when an utterance is given to it.
            let _ = self.jobs.send(Job::Prepare(grammar));
        }
    }

    /// Hands an utterance over; false when the thread is gone.
    pub fn hear(&self, listen: u64, utterance: Utterance, grammar: Arc<Grammar>) -> bool {
        self.jobs.send(Job::Hear { listen, utterance, grammar }).is_ok()
    }

    /// What is done with an utterance of a listen. How loud the person at work is, is learnt from what is taken.
    pub fn verdict(&mut self, listen: &OpenListen, hypotheses: &Hypotheses, utterance: &Utterance) -> Verdict {
        let is_far = self.nearness.is_far(&utterance.sound);
        let verdict = match (listen.over, is_far) {
            (true, _) => phrase::verdict_over(hypotheses, &listen.grammar),
            (false, true) => phrase::verdict_far(hypotheses, &listen.grammar),
            (false, false) => phrase::verdict(hypotheses, &listen.grammar, &listen.high),
        };
        tracing::debug!(is_far, ?verdict, "judged");
        if !listen.over && matches!(verdict, Verdict::Accept { .. }) {
            self.nearness.answered(&utterance.sound);
        }
        verdict
    }

    /// The next utterance that was understood or not; never, without a listener.
    pub async fn decoded(listener: &mut Option<Self>) -> Option<Decoded> {
        match listener {
            Some(listener) => listener.decoded.recv().await,
            None => std::future::pending().await,
        }
    }
}

impl Drop for Listener {
    /// Waits for what is being understood: the program must not end under a network that still computes.
    fn drop(&mut self) {
        self.decoded.close();
        // A thread that is gone need not be told.
        let _ = self.jobs.send(Job::End);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
