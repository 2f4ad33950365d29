//! The walker where prompts may be spoken over: what is heard out is heard out, "stop" is listened for at any time, and an answer
//! over a question takes the question's branch. Events in, effects out; no sound.

mod support;

use probeside::phrase::{Answer, Command, Grammar, Hypothesis, Verdict};
use probeside::session::{Now, Record};
use probeside::walk::{Effect, Event, SayKind, TimerKind, Tone, Walker};

/// A walker, what it said and has not been told the end of, and the open listen.
struct Bench {
    walker: Walker,
    ms: u64,
    sounding: Vec<(u64, SayKind, String)>,
    listen: Option<(u64, Grammar, bool)>,
    tones: u32,
    cuts: u32,
    timer: bool,
    answered: u32,
}

impl Bench {
    fn new(bargein: bool) -> Self {
        let walker = Walker::new(support::stage::world("prove-lamp", "heron-twin")).with_bargein(bargein);
        let mut bench =
            Self { walker, ms: 0, sounding: Vec::new(), listen: None, tones: 0, cuts: 0, timer: false, answered: 0 };
        bench.give(Event::Begin);
        bench
    }

    fn give(&mut self, event: Event) {
        self.ms += 100;
        let now = Now { mono_ms: self.ms, wall: "2026-03-01T08:00:00+01:00".into() };
        let mut recorded = Vec::new();
        for effect in self.walker.handle(event, &now) {
            match effect {
                Effect::Say { id, kind, text } => self.sounding.push((id, kind, text)),
                Effect::Cut => {
                    self.sounding.clear();
                    self.cuts += 1;
                }
                Effect::Listen { id, grammar, bargein, .. } => self.listen = Some((id, grammar, bargein)),
                Effect::Deaf => self.listen = None,
                Effect::Tone { tone: Tone::Listening } => self.tones += 1,
                Effect::StartTimer { timer: TimerKind::Silence, .. } => self.timer = true,
                Effect::StopTimer { timer: TimerKind::Silence } => self.timer = false,
                Effect::Record { id, record, sync } => {
                    self.answered += u32::from(matches!(record, Record::Answered { .. }));
                    if sync {
                        recorded.push(Event::Recorded { id });
                    }
                }
                _ => {}
            }
        }
        for event in recorded {
            self.give(event);
        }
    }

    /// The oldest prompt is over.
    fn ended(&mut self, whole: bool) -> SayKind {
        let (id, kind, _) = self.sounding.remove(0);
        self.give(Event::PromptEnded { id, whole });
        kind
    }

    fn heard(&mut self, verdict: Verdict) {
        let listen = self.listen.as_ref().expect("somebody listens").0;
        self.give(Event::Heard { listen, verdict, begin: 0, end: 16_000, clip: None });
    }

    fn accept(&mut self, answer: Answer) {
        self.heard(Verdict::Accept { heard: Hypothesis { answer, words: "words".into(), probability: 1.0 } });
    }

    fn allowed(&self) -> Vec<&Answer> {
        self.listen.iter().flat_map(|(_, grammar, _)| grammar.phrases.iter().map(|p| &p.answer)).collect()
    }

    /// Says everything up to the open question, acknowledging what has to be, until an answer may be spoken over it.
    fn reach_a_question(&mut self) {
        for _ in 0..100 {
            if self.walker.is_asking() && !self.sounding.is_empty() && self.listen.as_ref().is_some_and(|l| l.2) {
                return;
            }
            match self.sounding.is_empty() {
                false => drop(self.ended(true)),
                true => self.accept(Answer::Done),
            }
        }
        panic!("no question came");
    }
}

const STOP: Answer = Answer::Command(Command::Stop);

#[test]
fn a_caution_is_heard_out_and_only_stop_is_listened_for_meanwhile() {
    let mut bench = Bench::new(true);
    while !bench.sounding.iter().any(|(_, kind, _)| *kind == SayKind::Caution) {
        match bench.sounding.is_empty() {
            false => drop(bench.ended(true)),
            true => bench.accept(Answer::Done),
        }
    }
    let allowed = bench.allowed();
    assert!(!allowed.is_empty() && allowed.iter().all(|a| **a == STOP), "{allowed:?}");
    assert_eq!(bench.listen.as_ref().map(|l| l.2), Some(false), "speech does not cut a caution");
    // Somebody says something else: as if nothing had been said.
    let before = bench.sounding.clone();
    bench.give(Event::SpeechBegan);
    bench.heard(Verdict::Reject { free: None, stranger: true });
    assert_eq!((bench.cuts, &bench.sounding), (0, &before));
    assert_eq!(bench.allowed().first(), Some(&&STOP));
    // A sure stop silences it at once.
    bench.give(Event::SpeechBegan);
    bench.accept(STOP);
    assert_eq!((bench.cuts, bench.sounding.len()), (1, 1), "silence, then the question about ending");
}

#[test]
fn an_answer_over_a_question_is_taken_without_a_tone_and_silence_counts_only_from_the_prompts_end() {
    let mut bench = Bench::new(true);
    bench.reach_a_question();
    let tones = bench.tones;
    assert!(!bench.timer, "silence is not counted while a prompt sounds");
    bench.give(Event::SpeechBegan);
    while !bench.sounding.is_empty() {
        bench.ended(false);
    }
    assert_eq!(bench.tones, tones, "no tone into somebody's word");
    assert!(!bench.timer);
    let answer = bench.allowed().into_iter().find(|a| **a == Answer::Choice("lit".into())).cloned();
    bench.accept(answer.expect("an answer"));
    assert_eq!(bench.answered, 1, "the answer was taken");
    // And where nobody speaks, the tone and the count of silence come when all has been said.
    let mut quiet = Bench::new(true);
    quiet.reach_a_question();
    let listen = quiet.listen.as_ref().map(|l| l.0);
    let tones = quiet.tones;
    while !quiet.sounding.is_empty() {
        quiet.ended(true);
    }
    assert_eq!((quiet.tones, quiet.timer, quiet.listen.as_ref().map(|l| l.0)), (tones + 1, true, listen));
}

#[test]
fn prompts_cut_in_vain_twice_are_said_whole_until_an_answer_is_taken() {
    let mut bench = Bench::new(true);
    for _ in 0..2 {
        bench.reach_a_question();
        bench.give(Event::SpeechBegan);
        while !bench.sounding.is_empty() {
            bench.ended(false);
        }
        bench.heard(Verdict::Reject { free: None, stranger: false });
    }
    assert!(!bench.sounding.is_empty() && bench.listen.is_none(), "it listens only when all has been said");
    while !bench.sounding.is_empty() {
        bench.ended(true);
    }
    assert!(bench.timer && bench.listen.is_some());
}

#[test]
fn without_it_nobody_listens_while_a_prompt_sounds() {
    let mut bench = Bench::new(false);
    for _ in 0..30 {
        assert!(bench.sounding.is_empty() || bench.listen.is_none());
        match (bench.sounding.is_empty(), bench.walker.is_asking()) {
            (false, _) => drop(bench.ended(true)),
            (true, false) => bench.accept(Answer::Done),
            (true, true) => return,
        }
    }
}
