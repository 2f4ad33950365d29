//! A whole walk over a real sound server in which the step's own questions are answered over: `probeside walk --bargein` hears its own
//! prompts, weaker, in its microphone, and a mechanic who does not wait for the listening tone.
//!
//! One test, since the sound system reads this process's environment.
#![cfg(all(feature = "sound", target_os = "linux"))]

mod support;

#[allow(dead_code, reason = "another test looks at what was recorded")]
#[path = "support/listener.rs"]
mod listener;
#[allow(dead_code, reason = "another test needs all of it")]
#[path = "support/short_round.rs"]
mod short_round;
#[allow(dead_code, reason = "another test records to files")]
#[path = "support/sound_loop.rs"]
mod sound_loop;

use listener::Listener;
use short_round::{BREATH, MOST_ANSWERS, Walk};
use sound_loop::SoundLoop;
use std::time::{Duration, Instant};

/// So long after a question began it is answered.
const INTO: Duration = Duration::from_millis(800);

/// What the mechanic does next.
enum Turn {
    /// Answers after the listening tone.
    Asked,
    /// Answers over this prompt.
    Over(String),
    /// The walk is over.
    Done,
}

/// Waits until the mechanic may speak, or a question has begun that was not answered over yet.
fn next(walk: &mut Walk, ear: &Listener, after: &mut usize, tried: &mut u64) -> Turn {
    let mut begun: Option<(u64, Instant)> = None;
    loop {
        if let Some(tone) = ear.tone_after(*after, Duration::from_millis(20)) {
            *after = tone;
            std::thread::sleep(BREATH);
            return Turn::Asked;
        }
        if walk.is_over() {
            return Turn::Done;
        }
        walk.does_not_hang();
        let under_way = walk.look().question_under_way().map(|(id, text)| (id, text.to_owned()));
        let Some((id, text)) = under_way.filter(|(id, _)| id > tried) else { continue };
        match begun {
            Some((same, at)) if same == id && at.elapsed() >= INTO => {
                *tried = id;
                return Turn::Over(text);
            }
            Some((same, _)) if same == id => {}
            _ => begun = Some((id, Instant::now())),
        }
    }
}

#[test]
fn a_walk_whose_questions_are_answered_over_comes_to_its_right_end() {
    if short_round::needed().is_none() {
        return;
    }
    let Some(sound) = SoundLoop::start() else { return };
    sound.lead_back();
    let copies = short_round::copies();
    let folder = short_round::from_rest(copies.path());
    let world = short_round::world(&folder);
    let ear = Listener::at("ear.monitor");
    let mut walk = Walk::start(&world, &folder, "over", &["--bargein"]);
    let (mut after, mut tried, mut over, mut turn) = (0, 0, Vec::new(), 0);
    loop {
        let question = match next(&mut walk, &ear, &mut after, &mut tried) {
            Turn::Done => break,
            Turn::Asked => None,
            Turn::Over(text) => Some(text),
        };
        assert!(turn < MOST_ANSWERS, "the walk goes in a circle:\n{}", walk.printed());
        let Some(words) = walk.look().answer(turn) else { continue };
        println!("        mechanic{}: {words}", if question.is_some() { ", over the question" } else { "" });
        short_round::speak(&sound, &words);
        over.extend(question);
        turn += 1;
    }
    let took = walk.began.elapsed();
    let view = walk.end("the walk that is spoken over");
    let cut = over.iter().filter(|text| view.cut.contains(text)).count();
    println!(
        "{turn} answers in {took:.1?}, {} over a question; {cut} of these cut it; cut: {:#?}",
        over.len(),
        view.cut
    );
    assert!(cut >= 1, "nobody could cut a question");
    assert!(view.cut.iter().all(|text| over.contains(text)), "prompts cut themselves: {:?}", view.cut);
}
