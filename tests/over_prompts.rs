//! The walker with interruptible prompts: some must be heard to the end, "stop" and "hold on" work at any time, and an answer over a
//! question takes the question's branch. Events in, effects out, no sound.

mod support;

use probeside::phrase::{Answer, Command, Grammar, Hypothesis, Verdict};
use probeside::session::{Now, Record};
use probeside::walk::{Effect, Event, SayKind, TimerKind, Tone, Walker};

/// A walker, its unfinished prompts, and the open listen.
struct Bench {
    walker: Walker,
    ms: u64,
    sounding: Vec<(u64, SayKind, String)>,
    listen: Option<(u64, Grammar, bool)>,
    tones: u32,
    cuts: u32,
    /// When the walker asks after silence, milliseconds from when that was scheduled.
    timer: Option<u64>,
    answered: u32,
    acknowledged: u32,
}

impl Bench {
    fn new(bargein: bool) -> Self {
        let walker = Walker::new(support::stage::world("prove-lamp", "borage-twin"));
        let mut bench = Self {
            walker,
            ms: 0,
            sounding: Vec::new(),
            listen: None,
            tones: 0,
            cuts: 0,
            timer: None,
            answered: 0,
            acknowledged: 0,
        };
        if bargein {
            bench.give(Event::SpokenOver { allowed: true });
        }
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
                Effect::StartTimer { timer: TimerKind::Silence, ms } => self.timer = Some(ms),
                Effect::StopTimer { timer: TimerKind::Silence } => self.timer = None,
                Effect::Record { id, record, sync } => {
                    self.answered += u32::from(matches!(record, Record::Answered { .. }));
                    self.acknowledged += u32::from(matches!(record, Record::Acknowledged { .. }));
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

    /// Ends the oldest prompt.
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

    /// Plays all prompts up to the open question, with the necessary acknowledgements, until an answer may be spoken over it.
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

    /// Plays all prompts up to the first caution, which keeps playing.
    fn reach_a_caution(&mut self) {
        while !self.sounding.iter().any(|(_, kind, _)| *kind == SayKind::Caution) {
            match self.sounding.is_empty() {
                false => drop(self.ended(true)),
                true => self.accept(Answer::Done),
            }
        }
    }

    /// Somebody starts to speak, and the prompts are cut.
    fn speak_over(&mut self) {
        self.give(Event::SpeechBegan);
        while !self.sounding.is_empty() {
            self.ended(false);
        }
    }
}

const STOP: Answer = Answer::Command(Command::Stop);
const PAUSE: Answer = Answer::Command(Command::Pause);

#[test]
fn a_caution_is_heard_out_and_nothing_acknowledges_it_before() {
    let mut bench = Bench::new(true);
    bench.reach_a_caution();
    assert_eq!(bench.listen.as_ref().map(|l| l.2), Some(false), "speech does not cut a caution");
    let before = bench.sounding.clone();
    for verdict in [
        Verdict::Accept { heard: Hypothesis { answer: Answer::Done, words: "ready".into(), probability: 1.0 } },
        Verdict::Reject { free: None, stranger: true },
    ] {
        bench.give(Event::SpeechBegan);
        bench.heard(verdict);
        assert_eq!((bench.cuts, bench.acknowledged, &bench.sounding), (0, 0, &before), "as if nothing had been said");
        assert!(bench.allowed().contains(&&STOP), "it goes on listening for that");
    }
    // Speech that starts during its end does not acknowledge it either.
    bench.give(Event::SpeechBegan);
    while !bench.sounding.is_empty() {
        bench.ended(true);
    }
    bench.accept(Answer::Done);
    assert_eq!(bench.acknowledged, 0);
    // Speech after it does.
    assert!(bench.sounding.is_empty() && bench.timer.is_some(), "now it listens for the answer");
    bench.accept(Answer::Done);
    assert_eq!(bench.acknowledged, 1);
}

#[test]
fn stop_and_hold_on_silence_a_caution() {
    for (command, says) in [(STOP, SayKind::Question), (PAUSE, SayKind::Notice)] {
        let mut bench = Bench::new(true);
        bench.reach_a_caution();
        bench.give(Event::SpeechBegan);
        bench.accept(command);
        let kinds: Vec<SayKind> = bench.sounding.iter().map(|(_, kind, _)| *kind).collect();
        assert_eq!((bench.cuts, kinds), (1, vec![says]), "silence, then what comes of it");
    }
}

#[test]
fn an_answer_over_a_question_is_taken_without_a_tone_and_silence_counts_only_from_the_prompts_end() {
    let mut bench = Bench::new(true);
    bench.reach_a_question();
    let tones = bench.tones;
    assert_eq!(bench.timer, None, "silence is not counted while a prompt sounds");
    bench.speak_over();
    assert_eq!(bench.tones, tones, "no tone into somebody's word");
    assert_eq!(bench.timer, Some(30_000), "only speech that comes to no utterance is silence in the end");
    let answer = bench.allowed().into_iter().find(|a| **a == Answer::Choice("lit".into())).cloned();
    bench.accept(answer.expect("an answer"));
    assert_eq!(bench.answered, 1, "the answer was taken");
    // The confirmation is spoken completely.
    assert_eq!(bench.sounding.first().map(|s| s.1), Some(SayKind::Echo));
    assert!(bench.listen.as_ref().is_none_or(|l| !l.2), "nobody cuts it");
    // If nobody speaks, the tone and the silence timer come after everything was spoken.
    let mut quiet = Bench::new(true);
    quiet.reach_a_question();
    let listen = quiet.listen.as_ref().map(|l| l.0);
    let tones = quiet.tones;
    while !quiet.sounding.is_empty() {
        quiet.ended(true);
    }
    assert_eq!((quiet.tones, quiet.timer.is_some(), quiet.listen.as_ref().map(|l| l.0)), (tones + 1, true, listen));
}

#[test]
fn what_is_cut_in_vain_is_said_again_and_the_second_time_whole() {
    let mut bench = Bench::new(true);
    bench.reach_a_question();
    let question = bench.sounding.last().map(|s| s.2.clone());
    for time in 1..=2 {
        bench.speak_over();
        bench.heard(Verdict::Reject { free: None, stranger: false });
        assert_eq!(bench.sounding.last().map(|s| s.2.clone()), question);
        assert_eq!(bench.listen.as_ref().map(|l| l.2), Some(time == 1), "the second time nothing cuts it");
        assert_eq!(bench.answered, 0);
    }
    while !bench.sounding.is_empty() {
        bench.ended(true);
    }
    assert!(bench.timer.is_some() && bench.listen.is_some());
    // An accepted answer makes prompts interruptible again.
    bench.accept(Answer::Command(Command::Repeat));
    assert_eq!(bench.listen.as_ref().map(|l| l.2), Some(true));
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
