//! A complete walk over a real sound server in which the mechanic answers over the step's own questions. `probeside walk --bargein` hears
//! its own prompts at a lower level in its microphone, and a mechanic who does not wait for the listening tone.
//!
//! A single test, because the sound system reads this process's environment.
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
use short_round::{MOST_ANSWERS, Turn, Walk};
use sound_loop::SoundLoop;

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
    let mut walk = Walk::start(&world, &folder, "over", true);
    let (mut after, mut over, mut turn) = (0, Vec::new(), 0);
    while let Some(why) = walk.my_turn(&ear, &mut after) {
        assert!(turn < MOST_ANSWERS, "the walk goes in a circle:\n{}", walk.printed());
        let Some(words) = walk.look().answer(turn) else { continue };
        println!("        mechanic{}: {words}", if matches!(why, Turn::Over(_)) { ", over the question" } else { "" });
        short_round::speak(&sound, &words);
        if let Turn::Over(question) = why {
            over.push(question);
        }
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
