//! The recogniser's thread: takes audio and grammars, returns hypotheses.

use crate::hear::{Nearness, RATE, Recogniser, Utterance};
use crate::phrase::{self, Answer, Grammar, Hypotheses, Verdict};
use crate::walk::{Answered, Event, Request};
use std::collections::VecDeque;
use std::sync::{Arc, mpsc};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

enum Task {
    /// A listen with this grammar will open soon.
    Prepare(Grammar),
    Hear {
        number: u64,
        sound: Arc<[f32]>,
        grammar: Arc<Grammar>,
    },
    /// No more tasks follow.
    End,
}

type Understood = Result<Hypotheses, String>;

/// An utterance is not recognised again if it differs from the audio decoded during a pause only by this many samples of trailing silence.
/// With more speech it is at least a quarter of a second longer.
const MORE_SILENCE: usize = RATE as usize / 1000 * 64;

/// Audio that was given to the recogniser. The same audio comes up to three times: while the voice pauses, after a short silence, and after
/// a long one.
struct Submitted {
    number: u64,
    listen: u64,
    sound: Arc<[f32]>,
    understood: Option<Understood>,
    /// Utterances of this audio that still need an answer, and since when.
    owed: Vec<(Utterance, Instant)>,
}

/// The open listen.
pub struct OpenListen {
    pub id: u64,
    pub grammar: Arc<Grammar>,
    pub high: Vec<Answer>,
    /// Whether speech cuts the prompt.
    pub bargein: bool,
    /// Whether the latest utterance began over a prompt.
    pub over: bool,
    /// Number of tasks given to the recogniser and not answered.
    pub pending: u32,
    pub settled: bool,
}

impl OpenListen {
    /// A listen without an answer so far.
    pub fn new(id: u64, grammar: Grammar, high: Vec<Answer>, bargein: bool) -> Self {
        Self { id, grammar: Arc::new(grammar), high, bargein, over: false, pending: 0, settled: false }
    }

    /// The request that its utterances are recognised for.
    pub fn request(&self) -> Request {
        Request::new(self.id)
    }

    /// Somebody began to speak, with or without (`over`) a prompt playing. Returns whether that cuts it.
    pub(super) fn is_cut(&mut self, over: bool) -> bool {
        self.over = over;
        over && self.bargein
    }

    /// Event for a rejected utterance.
    pub fn rejection(&self, utterance: &Utterance) -> Event {
        let verdict = Verdict::Reject { free: None, stranger: false };
        Event::Heard { listen: self.id, verdict, begin: utterance.begin, end: utterance.end, clip: None }
    }
}

/// The result for an utterance, for the listen at which it was submitted.
pub(super) type Decoded = Answered<Understanding>;

/// The result for an utterance.
#[derive(Debug, Clone)]
pub(super) struct Understanding {
    pub utterance: Utterance,
    pub result: Understood,
    /// Time since the request.
    pub took: Duration,
}

/// Delay from the end of speech to a decision: silence and computing apart.
#[derive(Debug, Clone, Copy)]
pub struct Delay {
    /// Silence after the speech before the audio was handed over.
    pub waited: Duration,
    /// Computing time until the verdict that the silence did not cover.
    pub computed: Duration,
}

/// The driver's end of the thread.
pub(super) struct RecogniserThread {
    tasks: mpsc::Sender<Task>,
    /// `None` once the thread was joined.
    thread: Option<std::thread::JoinHandle<()>>,
    understood: UnboundedReceiver<(u64, Understood)>,
    /// The latest audio, and earlier audio that still needs an answer.
    submitted: Vec<Submitted>,
    /// Number of audio items submitted.
    count: u64,
    ready: VecDeque<Decoded>,
    prepared: Option<Grammar>,
    nearness: Nearness,
}

impl RecogniserThread {
    /// Starts the thread.
    pub fn start(mut recogniser: Box<dyn Recogniser>) -> Self {
        let (to, understood) = unbounded_channel();
        let (tasks, from) = mpsc::channel::<Task>();
        let thread = std::thread::spawn(move || {
            for task in from {
                match task {
                    Task::End => return,
                    Task::Prepare(grammar) => {
                        if let Err(why) = recogniser.prepare(&grammar) {
                            tracing::warn!(%why, "the recogniser could not prepare");
                        }
                    }
                    Task::Hear { number, sound, grammar } => {
                        let result = recogniser.hear(&sound, &grammar).map_err(|e| e.to_string());
                        if to.send((number, result)).is_err() {
                            return;
                        }
                    }
                }
            }
        });
        RecogniserThread {
            tasks,
            thread: Some(thread),
            understood,
            submitted: Vec::new(),
            count: 0,
            ready: VecDeque::new(),
            prepared: None,
            nearness: Nearness::default(),
        }
    }

    /// Prepares for an answer, once per grammar.
    pub fn prepare(&mut self, grammar: Grammar) {
        if self.prepared.as_ref() != Some(&grammar) {
            self.prepared = Some(grammar.clone());
            // `hear` notices a thread that is gone.
            let _ = self.tasks.send(Task::Prepare(grammar));
        }
    }

    /// Starts to recognise what becomes an utterance of the listen unless speech resumes.
    pub fn begin(thread: &mut Option<Self>, listen: &Option<OpenListen>, utterance: &Utterance) {
        if let (Some(thread), Some(listen)) = (thread, listen)
            && !listen.settled
            && !(listen.over && utterance.is_own_voice())
        {
            // `hear` notices a thread that is gone.
            let _ = thread.give(listen, &utterance.sound, 0);
        }
    }

    /// Hands an utterance over. Returns false if the thread is gone.
    pub fn hear(&mut self, listen: &OpenListen, utterance: Utterance) -> bool {
        let Some(at) = self.give(listen, &utterance.sound, MORE_SILENCE) else { return false };
        let submitted = &mut self.submitted[at];
        match submitted.understood.clone() {
            Some(result) => {
                let understanding = Understanding { utterance, result, took: Duration::ZERO };
                self.ready.push_back(Answered::to(listen.request(), understanding));
            }
            None => submitted.owed.push((utterance, Instant::now())),
        }
        true
    }

    /// The index of the submitted audio that equals `sound`, or lacks at most `more` of its samples. New audio goes to the recogniser. `None`
    /// if the thread is gone.
    fn give(&mut self, listen: &OpenListen, sound: &Arc<[f32]>, more: usize) -> Option<usize> {
        let same =
            |g: &Submitted| g.listen == listen.id && sound.starts_with(&g.sound) && sound.len() - g.sound.len() <= more;
        if let Some(at) = self.submitted.iter().position(same) {
            return Some(at);
        }
        self.submitted.retain(|g| !g.owed.is_empty());
        let number = self.count;
        self.count += 1;
        let task = Task::Hear { number, sound: sound.clone(), grammar: listen.grammar.clone() };
        self.tasks.send(task).ok()?;
        let (sound, owed) = (sound.clone(), Vec::new());
        self.submitted.push(Submitted { number, listen: listen.id, sound, understood: None, owed });
        Some(self.submitted.len() - 1)
    }

    /// Hands the result for some audio to the utterances that wait for it.
    fn take(&mut self, number: u64, result: Understood) {
        // Audio that nobody waits for was superseded.
        let Some(submitted) = self.submitted.iter_mut().find(|g| g.number == number) else { return };
        for (utterance, since) in submitted.owed.drain(..) {
            let understanding = Understanding { utterance, result: result.clone(), took: since.elapsed() };
            self.ready.push_back(Answered::to(Request::new(submitted.listen), understanding));
        }
        submitted.understood = Some(result);
    }

    /// The verdict on an utterance of a listen. An accepted utterance updates the user's usual level. A rejected one that will come again
    /// at its end is meanwhile recognised with all its silence.
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
        if !utterance.last && !matches!(verdict, Verdict::Accept { .. }) {
            // The next utterance notices a thread that is gone.
            let _ = self.give(listen, &utterance.sound, 0);
        }
        verdict
    }

    /// The next result. Never resolves without a thread.
    pub(super) async fn decoded(thread: &mut Option<Self>) -> Option<Decoded> {
        let Some(thread) = thread else { return std::future::pending().await };
        loop {
            if let Some(decoded) = thread.ready.pop_front() {
                return Some(decoded);
            }
            let (number, result) = thread.understood.recv().await?;
            thread.take(number, result);
        }
    }
}

impl Drop for RecogniserThread {
    /// Waits for the running task: the program must not end under a network that still computes.
    fn drop(&mut self) {
        self.understood.close();
        // A thread that is gone needs no message.
        let _ = self.tasks.send(Task::End);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::HearError;
    use std::sync::atomic::{AtomicU32, Ordering};

    /// Returns the number of samples as the result, and counts its calls.
    struct Counting(Arc<AtomicU32>);

    impl Recogniser for Counting {
        fn name(&self) -> &str {
            "counting"
        }

        fn hear(&mut self, sound: &[f32], _: &Grammar) -> Result<Hypotheses, HearError> {
            self.0.fetch_add(1, Ordering::Relaxed);
            Ok(Hypotheses { free: Some(sound.len().to_string()), ..Hypotheses::default() })
        }

        fn transcribe(&mut self, _: &[f32]) -> Result<String, HearError> {
            Ok(String::new())
        }
    }

    fn utterance(samples: usize, last: bool) -> Utterance {
        let sound = vec![0.5; samples].into();
        Utterance { begin: 0, end: samples as u64, sound, waited: 0, last, likeness: None }
    }

    #[tokio::test]
    async fn the_same_sound_is_understood_once_and_what_is_not_taken_again_with_all_its_silence() {
        let asked = Arc::new(AtomicU32::new(0));
        let mut thread = Some(RecogniserThread::start(Box::new(Counting(asked.clone()))));
        let mut listens = [1, 2].map(|id| Some(OpenListen::new(id, Grammar::default(), Vec::new(), false)));
        let mut heard = Vec::new();
        // It pauses and resumes; pauses, is delivered early and again at its end; is rejected and delivered at its end; then the same audio
        // comes at another listen.
        for (listen, samples, last) in [
            (0, 5_000, None),
            (0, 9_000, None),
            (0, 9_900, Some(false)),
            (0, 9_900, Some(true)),
            (0, 9_900, None),
            (0, 9_900, Some(true)),
            (1, 9_900, Some(true)),
        ] {
            let utterance = utterance(samples, last == Some(true));
            let open = listens[listen].as_ref().expect("open");
            let there = thread.as_mut().expect("there");
            match last {
                None if heard.len() == 2 => {
                    let verdict = there.verdict(open, &Hypotheses::default(), &utterance);
                    assert!(matches!(verdict, Verdict::Reject { .. }));
                }
                None => RecogniserThread::begin(&mut thread, &listens[listen], &utterance),
                Some(_) => {
                    assert!(there.hear(open, utterance));
                    let decoded = RecogniserThread::decoded(&mut thread).await.expect("an answer");
                    let (stale, its_own) = (decoded.clone(), decoded.for_request(Some(open.request())));
                    assert!(
                        stale.for_request(Some(Request::new(open.id + 1))).is_none(),
                        "at another listen it is dropped"
                    );
                    heard.push((open.id, its_own.expect("its own").result.expect("heard").free));
                }
            }
        }
        let words = |samples: u32| Some(samples.to_string());
        assert_eq!(heard, [(1, words(9_000)), (1, words(9_000)), (1, words(9_900)), (2, words(9_900))]);
        assert_eq!(asked.load(Ordering::Relaxed), 4);
        // Work that was begun is not begun again, and none is begun at a settled listen.
        RecogniserThread::begin(&mut thread, &listens[1], &utterance(9_900, false));
        listens[1].as_mut().expect("open").settled = true;
        RecogniserThread::begin(&mut thread, &listens[1], &utterance(300, false));
        drop(thread);
        assert_eq!(asked.load(Ordering::Relaxed), 4);
    }

    #[tokio::test]
    async fn an_utterance_that_is_owed_an_answer_gets_it_also_when_the_voice_has_gone_on() {
        let mut thread = Some(RecogniserThread::start(Box::new(Counting(Arc::default()))));
        let listen = Some(OpenListen::new(7, Grammar::default(), Vec::new(), false));
        let open = listen.as_ref().expect("open");
        assert!(thread.as_mut().expect("there").hear(open, utterance(100, false)));
        RecogniserThread::begin(&mut thread, &listen, &utterance(9_000, false));
        assert!(thread.as_mut().expect("there").hear(open, utterance(9_000, true)));
        for samples in ["100", "9000"] {
            let decoded =
                RecogniserThread::decoded(&mut thread).await.expect("an answer").for_request(Some(Request::new(7)));
            assert_eq!(decoded.expect("its own").result.expect("heard").free.as_deref(), Some(samples));
        }
    }
}
