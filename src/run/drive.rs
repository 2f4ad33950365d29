//! The driver: one single-threaded event loop between the walker, listening, the recogniser, speech output and the journal.
//!
//! The recogniser and the journal have a thread each; the driver only passes messages. It gives the walker one event at a time and carries
//! out all its effects before the next. Every event is in the journal before the walker sees it.

use super::advise::{self, AdviserThread, Advisor, Question};
use super::keep::KeepSound;
use super::loudness::Loudness;
use super::mechanic_view::MechanicView;
use super::recogniser_thread::{Decoded, Delay, OpenListen, RecogniserThread, Understanding};
use super::recorder::Recorder;
use super::sources::Sources;
use crate::hear::{EarEvent, Ears, PedalKey, RATE, Recogniser, Utterance};
use crate::phrase::{self, Answer, Grammar, Hypotheses, Verdict, Vocabulary};
use crate::session::{Clock, Kind, Now, Piece, Pieces, Record, Spoken, Writer};
use crate::speak::{Mouth, MouthEvent, Say};
use crate::walk::{Effect, Event, Pedal, SayKind, TimerKind, Tone, Walker};
use std::cell::RefCell;
use std::collections::{BTreeMap, VecDeque};
use std::rc::Rc;
use std::time::Duration;

/// The microphone opens this long after the listening tone was handed over, so that it does not pick up the tone.
const AFTER_TONE: Duration = Duration::from_millis(220);
/// In real time the wall clock is checked this often, even while nothing happens.
const LOOK_AT_CLOCK: Duration = Duration::from_secs(1);
/// Speed of speech. Constant: speaking faster in brief mode would be one more source of misunderstanding.
const SPEED: f32 = 1.0;

/// The driver.
pub(super) struct Driver {
    walker: Walker,
    ears: Box<dyn Ears>,
    mouth: Box<dyn Mouth>,
    recorder: Recorder,
    clock: Clock,
    vocabulary: Vocabulary,
    recogniser: Option<RecogniserThread>,
    advice: Option<AdviserThread>,
    listen: Option<OpenListen>,
    typed: VecDeque<String>,
    /// Prompts that have not ended: their words, and when they began.
    saying: BTreeMap<u64, (String, Option<u64>)>,
    inbox: VecDeque<Event>,
    giving: bool,
    timers: BTreeMap<TimerKind, u64>,
    open_at: Option<tokio::time::Instant>,
    view: Option<Rc<RefCell<MechanicView>>>,
    loudness: Loudness,
    keep: KeepSound,
    /// The audio of the whole session, if it is kept.
    pieces: Option<Pieces>,
    ended: bool,
    finished: Option<(u8, String)>,
    /// Decision delay of every utterance recognised from audio.
    pub delays: Vec<Delay>,
    /// Number of answers accepted from audio.
    pub spoken_answers: u32,
}

impl Driver {
    /// A driver for a walker, whether or not its walk has begun.
    pub fn new(
        walker: Walker,
        ears: Box<dyn Ears>,
        mouth: Box<dyn Mouth>,
        recogniser: Option<Box<dyn Recogniser>>,
        writer: Writer,
        clock: Clock,
        vocabulary: Vocabulary,
    ) -> Self {
        let recogniser = recogniser.map(RecogniserThread::start);
        Self {
            walker,
            ears,
            mouth,
            recorder: Recorder::new(writer),
            clock,
            vocabulary,
            recogniser,
            advice: None,
            listen: None,
            typed: VecDeque::new(),
            saying: BTreeMap::new(),
            inbox: VecDeque::new(),
            giving: false,
            timers: BTreeMap::new(),
            open_at: None,
            view: None,
            loudness: Loudness::default(),
            keep: KeepSound::default(),
            pieces: None,
            ended: false,
            finished: None,
            delays: Vec::new(),
            spoken_answers: 0,
        }
    }

    /// Updates this view whenever a listen begins.
    pub(super) fn show_mechanic(&mut self, view: Option<Rc<RefCell<MechanicView>>>) {
        self.view = view;
    }

    /// Sets the adviser.
    pub(super) fn take_advice(&mut self, advice: Option<Advisor>) {
        self.advice = advice.and_then(AdviserThread::start);
    }

    /// Sets which audio the record keeps.
    pub fn keep_sound(&mut self, keep: KeepSound) {
        self.keep = keep;
        if keep == KeepSound::Everything {
            self.pieces = Some(Pieces::after(self.clock.mono_ms(), self.is_live()));
            self.ears.keep_all();
        }
    }

    /// Drives the walk to its end. Returns the exit code and the reason.
    pub async fn run(&mut self, first: Vec<Event>, sources: &mut Sources) -> (u8, String) {
        for event in first {
            self.give(event);
        }
        loop {
            while self.finished.is_none()
                && let Some(event) = self.recorder.news()
            {
                self.give(event);
            }
            if let Some(why) = self.recorder.gone() {
                self.finished.get_or_insert((1, why.to_owned()));
            }
            if let Some(finished) = self.finished.clone() {
                while let Ok(event) = sources.ears.try_recv() {
                    if let EarEvent::Sound(sound) = event {
                        self.sound(&sound);
                    }
                }
                self.keep_open_piece();
                return finished;
            }
            self.look_at_clock();
            let due = self.next_due();
            let wait = async {
                match due {
                    Some(at) => tokio::time::sleep_until(at).await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                biased;
                why = sources.interrupts.next() => self.give(Event::Stop { why: why.into() }),
                Some(stored) = sources.stored.recv() => self.recorder.replied(stored),
                told = AdviserThread::says(&mut self.advice) => self.advised(told),
                Some(decoded) = RecogniserThread::decoded(&mut self.recogniser) => self.decoded(decoded),
                Some(event) = sources.mouth.recv() => self.mouthed(event),
                Some(event) = sources.ears.recv() => self.heard(event),
                () = wait => self.due(),
            }
        }
    }

    /// Returns the journal's writer, the time of its last entry, and the speech output. For use after the walk.
    pub fn into_parts(self) -> (Writer, Now, Box<dyn Mouth>) {
        let now = self.clock.now();
        (self.recorder.into_writer(), now, self.mouth)
    }

    fn is_live(&self) -> bool {
        self.ears.is_live()
    }

    fn next_due(&self) -> Option<tokio::time::Instant> {
        let timer = self.timers.values().min().filter(|_| self.is_live()).map(|at| {
            let ms = at.saturating_sub(self.clock.mono_ms());
            tokio::time::Instant::now() + Duration::from_millis(ms)
        });
        let look = self.is_live().then(|| tokio::time::Instant::now() + LOOK_AT_CLOCK);
        [timer, self.open_at, look].into_iter().flatten().min()
    }

    fn look_at_clock(&mut self) {
        if let Some(by_ms) = self.clock.look() {
            self.give(Event::ClockSetBack { by_ms });
        }
    }

    /// Handles the adviser's answer. If the adviser has ended, the walk goes on without advice.
    fn advised(&mut self, told: Option<Event>) {
        if told.is_none() {
            self.advice = None;
            crate::terminal::errln!("The advice on what is left has broken off; the walk goes on without.");
        }
        if let Some(event) = told.or_else(|| advise::late(&mut None, &self.walker)) {
            self.give(event);
        }
    }

    fn due(&mut self) {
        if self.open_at.is_some_and(|at| at <= tokio::time::Instant::now()) {
            self.open_at = None;
            if self.listen.is_some() {
                self.ears.open();
            }
        }
        let now = self.clock.mono_ms();
        let due: Vec<TimerKind> = self.timers.iter().filter(|(_, at)| **at <= now).map(|(t, _)| *t).collect();
        for timer in due {
            self.timers.remove(&timer);
            self.give(Event::Timer { timer });
        }
    }

    /// Gives the walker an event. An event that follows from an effect waits until all earlier effects are carried out.
    fn give(&mut self, event: Event) {
        self.inbox.push_back(event);
        if std::mem::replace(&mut self.giving, true) {
            return;
        }
        while let Some(event) = self.inbox.pop_front() {
            let now = self.clock.now();
            tracing::debug!(?event, mono_ms = now.mono_ms, "event");
            if !self.recorder.event(&event, &now) {
                continue;
            }
            for effect in self.walker.handle(event, &now) {
                self.carry_out(effect);
            }
        }
        self.giving = false;
        self.prepare();
    }

    /// While a prompt plays, the recogniser and the adviser prepare for the answer.
    fn prepare(&mut self) {
        if self.advice.is_some()
            && let Some(check) = self.walker.check_at_hand()
        {
            AdviserThread::ask(&self.advice, Question::Prepare(Box::new(check)));
        }
        if let (Some(recogniser), Some(grammar)) = (&mut self.recogniser, self.walker.will_listen()) {
            recogniser.prepare(grammar);
        }
    }

    fn carry_out(&mut self, effect: Effect) {
        tracing::trace!(?effect, "effect");
        match effect {
            Effect::Say { id, text, kind } => {
                self.saying.insert(id, (text.clone(), None));
                let interruptible = kind != SayKind::Caution;
                self.mouth.say(Say { id, text, interruptible, volume: self.loudness.of(kind), speed: SPEED });
            }
            Effect::Cut => self.mouth.cut(),
            Effect::Tone { tone } => self.mouth.tone(match tone {
                Tone::Listening => crate::speak::Tone::Listening,
                Tone::Accepted => crate::speak::Tone::Accepted,
                Tone::NotUnderstood => crate::speak::Tone::NotUnderstood,
            }),
            Effect::Listen { id, grammar, high, bargein } => self.open_listen(id, grammar, high, bargein),
            Effect::Deaf => {
                self.listen = None;
                self.open_at = None;
                self.ears.close();
            }
            Effect::Record { id, record, sync } => self.record(id, &record, sync),
            asks @ (Effect::Weigh { .. } | Effect::Choose { .. }) => {
                let question = Question::asked(&self.walker, &asks);
                let told = question.and_then(|question| AdviserThread::ask(&self.advice, question));
                self.inbox.extend(told);
            }
            Effect::StartTimer { timer, ms } => {
                self.timers.insert(timer, self.clock.mono_ms() + ms);
            }
            Effect::StopTimer { timer } => {
                self.timers.remove(&timer);
            }
            Effect::Loudness { louder } => self.loudness.change(louder),
            Effect::Finish { code, why } => {
                self.ears.close();
                self.finished = Some((code, why));
            }
        }
    }

    fn record(&mut self, id: u64, record: &Record, sync: bool) {
        if let Some(view) = &self.view {
            view.borrow_mut().note(record);
        }
        self.recorder.record(id, record, &self.clock.now(), sync);
    }

    fn open_listen(&mut self, id: u64, grammar: Grammar, high: Vec<Answer>, bargein: bool) {
        let listen = OpenListen::new(id, grammar, high, bargein);
        if let Some(view) = &self.view {
            view.borrow_mut().listen(&self.walker, &listen.grammar);
        }
        self.listen = Some(listen);
        if self.is_live() && self.mouth.is_live() && !self.walker.is_listening_over() {
            self.open_at = Some(tokio::time::Instant::now() + AFTER_TONE + self.mouth.latency());
        } else {
            self.ears.open();
        }
        if let Some(line) = self.typed.pop_front() {
            self.typed_line(&line);
        } else if self.ended {
            self.give(Event::Stop { why: "there are no more answers".into() });
        }
    }

    fn heard(&mut self, event: EarEvent) {
        match event {
            EarEvent::Began { .. } => {
                if let Some(listen) = &mut self.listen {
                    if listen.is_cut(self.walker.is_listening_over()) {
                        self.mouth.interrupt();
                    }
                    self.give(Event::SpeechBegan);
                }
            }
            EarEvent::Pausing(utterance) => RecogniserThread::begin(&mut self.recogniser, &self.listen, &utterance),
            EarEvent::Utterance(utterance) => self.utterance(utterance),
            EarEvent::Sound(sound) => self.sound(&sound),
            EarEvent::Typed(line) => match self.listen {
                Some(_) => self.typed_line(&line),
                None => self.typed.push_back(line),
            },
            EarEvent::Pedal(PedalKey::Listen) => self.give(Event::Pressed { pedal: Pedal::Listen }),
            EarEvent::Pedal(PedalKey::Repeat) => self.give(Event::Pressed { pedal: Pedal::Repeat }),
            EarEvent::Pedal(PedalKey::Stop) => self.give(Event::Stop { why: "the stop key was pressed".into() }),
            EarEvent::Lost(why) => {
                crate::terminal::errln!("{why}");
                self.keep_open_piece();
                self.give(Event::MicrophoneLost { why });
            }
            EarEvent::Back => self.give(Event::MicrophoneBack),
            EarEvent::Ended => {
                self.ended = true;
                let waiting = self.listen.as_ref().is_some_and(|l| l.pending == 0);
                if waiting && self.typed.is_empty() {
                    self.give(Event::Stop { why: "there are no more answers".into() });
                }
            }
        }
    }

    /// Handles audio of the whole session. Where nothing runs in real time, it also advances session time.
    fn sound(&mut self, sound: &[f32]) {
        let Some(pieces) = &mut self.pieces else { return };
        if !self.ears.is_live() {
            self.clock.count(sound.len() as u64, RATE);
        }
        for piece in pieces.push(sound, self.clock.mono_ms()) {
            self.keep_piece(piece);
        }
    }

    fn keep_open_piece(&mut self) {
        if let Some(piece) = self.pieces.as_mut().and_then(Pieces::close) {
            self.keep_piece(piece);
        }
    }

    fn keep_piece(&mut self, piece: Piece) {
        self.recorder.piece(piece, &self.clock.now());
    }

    fn utterance(&mut self, utterance: Utterance) {
        let Some(listen) = &mut self.listen else { return };
        let Some(recogniser) = &mut self.recogniser else { return };
        if listen.settled {
            return;
        }
        if listen.over && utterance.is_own_voice() {
            tracing::info!(likeness = utterance.likeness, "the prompt came back through the microphone");
            if utterance.last {
                listen.settled = true;
                let event = listen.rejection(&utterance);
                self.ears.close();
                self.give(event);
            }
            return;
        }
        if !self.ears.is_live() && self.pieces.is_none() {
            self.clock.count(utterance.end - utterance.begin, RATE);
        }
        listen.pending += 1;
        if !recogniser.hear(listen, utterance) {
            self.give(Event::Stop { why: "the recogniser stopped".into() });
        }
    }

    fn decoded(&mut self, decoded: Decoded) {
        let open = self.listen.as_mut().filter(|l| !l.settled);
        let Some(understood) = decoded.for_request(open.as_ref().map(|l| l.request())) else { return };
        let Understanding { utterance, result, took } = understood;
        let Some((open, recogniser)) = open.zip(self.recogniser.as_mut()) else { return };
        let listen = open.id;
        open.pending -= 1;
        let hypotheses = result.unwrap_or_else(|why| {
            tracing::warn!(%why, "the recogniser failed on an utterance");
            Hypotheses::default()
        });
        let verdict = recogniser.verdict(open, &hypotheses, &utterance);
        let sure = matches!(verdict, Verdict::Accept { .. });
        if !utterance.last && (!sure || hypotheses.may_go_on) {
            self.ears.wait_longer();
            return;
        }
        if open.pending > 0 && !sure {
            return;
        }
        open.settled = true;
        self.ears.close();
        let waited = Duration::from_millis(utterance.waited * 1000 / u64::from(RATE));
        self.delays.push(Delay { waited, computed: took });
        let accepted = !matches!(verdict, Verdict::Reject { .. });
        self.spoken_answers += u32::from(accepted);
        let kept = self.keep == KeepSound::Everything || (accepted && self.keep == KeepSound::Answers);
        let clip = kept.then(|| {
            let id = format!("{listen:05}");
            self.recorder.clip(&id, utterance.sound.to_vec(), &self.clock.now());
            id
        });
        if let Some(best) = hypotheses.best.first() {
            tracing::info!(words = %best.words, probability = best.probability, ?took, "heard");
        }
        let text = hypotheses.best.first().map(|b| b.words.clone()).or(hypotheses.free).unwrap_or_default();
        let ended_ms = self.clock.mono_ms().saturating_sub(waited.as_millis() as u64);
        let length_ms = (utterance.end - utterance.begin) * 1000 / u64::from(RATE);
        self.note_heard(listen, text, ended_ms.saturating_sub(length_ms), ended_ms, clip.clone());
        self.give(Event::Heard { listen, verdict, begin: utterance.begin, end: utterance.end, clip });
    }

    fn typed_line(&mut self, line: &str) {
        let Some(open) = &mut self.listen else { return };
        open.settled = true;
        let (id, grammar, high) = (open.id, open.grammar.clone(), open.high.clone());
        let hypotheses = phrase::understand(line, &grammar, &self.vocabulary);
        let verdict = phrase::verdict(&hypotheses, &grammar, &high);
        let now_ms = self.clock.mono_ms();
        self.note_heard(id, line.to_owned(), now_ms, now_ms, None);
        self.give(Event::Heard { listen: id, verdict, begin: 0, end: 0, clip: None });
    }

    fn note_heard(&mut self, id: u64, text: String, began_ms: u64, ended_ms: u64, clip: Option<String>) {
        let heard = Spoken { id, text, began_ms, ended_ms, cut: false, clip };
        self.recorder.spoken(Kind::Heard, &heard, &self.clock.now());
    }

    fn mouthed(&mut self, event: MouthEvent) {
        match event {
            MouthEvent::PromptBegan { id } => {
                let now_ms = self.clock.mono_ms();
                if let Some((_, began)) = self.saying.get_mut(&id) {
                    *began = Some(now_ms);
                }
            }
            MouthEvent::PromptEnded { id, whole, samples } => {
                let before_ms = self.clock.mono_ms();
                if !self.mouth.is_live() {
                    self.clock.count(samples, RATE);
                }
                if let Some((text, began)) = self.saying.remove(&id) {
                    let (began_ms, ended_ms) = (began.unwrap_or(before_ms), self.clock.mono_ms());
                    let said = Spoken { id, text, began_ms, ended_ms, cut: !whole, clip: None };
                    self.recorder.spoken(Kind::Said, &said, &self.clock.now());
                }
                self.give(Event::PromptEnded { id, whole });
            }
            MouthEvent::Lost(why) => {
                crate::terminal::errln!("{why}");
                self.give(Event::LoudspeakerLost { why });
            }
            MouthEvent::Back => {
                crate::terminal::errln!("The loudspeaker is back.");
                self.give(Event::LoudspeakerBack);
            }
        }
    }
}
