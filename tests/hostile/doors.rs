//! Entry points of the library that no command reaches without a model or a microphone. The result is printed as a command would print it.

use probeside::hear::{Recogniser, Vosk, read_wav};
use probeside::phrase::{Answer, Grammar, Phrase};
use probeside::session;
use std::path::Path;
use std::sync::Mutex;

/// Most samples that a clip is asked for, as the review does: a quarter of an hour.
const MOST: usize = 15 * 60 * 16_000;

/// Opens a door: `read-wav FILE`, `read-clip FILE`, `vosk-says FILE`; ends the process as the command would.
pub fn open(line: &str) {
    let (door, name) = line.split_once(' ').unwrap_or((line, ""));
    let outcome = match door {
        "read-wav" => {
            read_wav(Path::new(name)).map(|sound| format!("{} samples", sound.len())).map_err(|why| why.to_string())
        }
        "read-clip" => {
            let clip = std::fs::read(name).map_err(|why| why.to_string());
            clip.and_then(|clip| session::clip_sound(&clip, MOST)).map(|sound| format!("{} samples", sound.len()))
        }
        "vosk-says" => vosk_says(name),
        "found" => Ok(found(name)),
        _ => return,
    };
    let (text, code) = match outcome {
        Ok(text) => (text, 0),
        Err(why) => (why, 1),
    };
    // As a command says it.
    probeside::terminal::complain(&format!("{text}\n"));
    std::process::exit(code);
}

/// Inputs of each target that are made of the found ones by dice: fewer where one takes longer.
const ALTERED: [(&str, usize); 6] =
    [("journal", 60), ("yaml", 30), ("wav", 300), ("flac", 300), ("vosk", 20), ("archive", 30)];
/// The input at hand, for the message of a panic.
static AT_HAND: Mutex<String> = Mutex::new(String::new());

/// Opens a fuzz target's door with everything that was ever found for it, then with as much again altered by dice.
fn found(target: &str) -> String {
    let door = super::fuzz::DOORS.iter().find(|(name, _)| *name == target).expect("a target").1;
    let folder = super::make::root().join("tests/fuzz/found").join(target);
    let mut files: Vec<_> =
        std::fs::read_dir(folder).expect("its folder").map(|entry| entry.expect("an entry").path()).collect();
    files.sort();
    let inputs: Vec<Vec<u8>> = files.iter().map(|file| std::fs::read(file).expect("read")).collect();
    let at_hand = |name: String| name.clone_into(&mut AT_HAND.lock().expect("no panic while it is held"));
    std::panic::set_hook(Box::new(|info| {
        eprintln!("{}: {info}", AT_HAND.lock().map_or_else(|_| String::new(), |name| name.clone()))
    }));
    for (file, input) in files.iter().zip(&inputs) {
        at_hand(file.display().to_string());
        door(input);
    }
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(17);
    let altered = ALTERED.iter().find(|(name, _)| *name == target).map_or(0, |(_, count)| *count);
    for n in 0..altered {
        at_hand(format!("PROBESIDE_SEED={seed}, the {n}th altered"));
        let mut dice = fastrand::Rng::with_seed(seed + n as u64);
        let mut input = inputs[dice.usize(..inputs.len())].clone();
        for _ in 0..dice.usize(1..5) {
            let at = dice.usize(..=input.len());
            let end = (at + dice.usize(..40)).min(input.len());
            match dice.u8(..4) {
                0 if at < input.len() => input[at] ^= 1 << dice.u8(..8),
                1 => drop(input.drain(at..end)),
                2 => drop(input.splice(at..at, b"{}[]\",:-0e9\n\\\0#&*!{{"[dice.usize(..14)..].to_vec())),
                _ => drop(input.splice(at..at, input[at..end].to_vec())),
            }
        }
        door(&input);
    }
    format!("{} found, {altered} altered", inputs.len())
}

/// Listens to one utterance with a program in the place of the second recogniser's that says the lines of a file, then listens for a while.
fn vosk_says(name: &str) -> Result<String, String> {
    let here = std::env::current_dir().map_err(|why| why.to_string())?;
    // Only this process has been started, and has no other thread that reads its environment.
    unsafe {
        std::env::set_var("PROBESIDE_MODELS", &here);
        std::env::set_var("PROBESIDE_VOSK", here.join("says"));
    }
    let lines = here.join(name);
    // The first line without being asked, then one a request, as the real one.
    let script = format!(
        "#!/bin/sh\nexport LC_ALL=C; lines='{}'; n=1; all=$(grep -ac '' \"$lines\")\nwhile [ $n -le $all ]; do\n  \
         [ $n = 1 ] || read -r asked || exit 0\n  sed -n \"${{n}}p\" \"$lines\"; n=$((n + 1))\ndone\nexec timeout 3 cat >/dev/null\n",
        lines.display()
    );
    let made = std::fs::create_dir_all(here.join("vosk"))
        .and_then(|()| std::fs::write(here.join("vosk/libvosk.so"), "none"))
        .and_then(|()| std::fs::create_dir_all(here.join("model")))
        .and_then(|()| std::fs::write(here.join("says"), script))
        .and_then(|()| {
            std::fs::set_permissions(here.join("says"), std::os::unix::fs::PermissionsExt::from_mode(0o755))
        });
    made.map_err(|why| why.to_string())?;
    let mut vosk = Vosk::open(Some(&here.join("model")), "en").map_err(|why| why.to_string())?;
    let mut grammar = Grammar::default();
    grammar.phrases.push(Phrase { answer: Answer::Choice("lit".into()), words: "light on".into() });
    let heard = vosk.hear(&vec![0.1; 16_000], &grammar).map_err(|why| why.to_string())?;
    Ok(format!(
        "{:?}, a stranger by {}",
        heard.best.iter().map(|best| (&best.words, best.probability)).collect::<Vec<_>>(),
        heard.stranger
    ))
}
