//! Real people's digits as a choice of ten. The Free Spoken Digit Dataset (CC BY-SA 4.0), files named DIGIT_SPEAKER_TAKE.wav, 8 kHz.

use crate::bounds::share;
use crate::recorded::{cardinal, digits_folder};
use crate::voices::read_wav;
use probeside::hear::{Moonshine, Recogniser};
use probeside::phrase::{Answer, Grammar, Phrase};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// Prints the share of digits that were the best of ten.
pub fn score() {
    let Some(folder) = digits_folder() else {
        println!("no real digits here: set PROBESIDE_DIGITS to a folder of DIGIT_SPEAKER_TAKE.wav");
        return;
    };
    let words: Vec<String> = (0..10).map(cardinal).collect();
    let phrases = words.iter().map(|w| Phrase { words: w.clone(), answer: Answer::Choice(w.clone()) }).collect();
    let grammar = Grammar { phrases, ..Grammar::default() };
    let mut engine = Moonshine::open().expect("the model");
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).expect("the folder").filter_map(|e| Some(e.ok()?.path())).collect();
    files.sort();
    let mut by: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    for file in files.iter().filter(|f| f.extension().is_some_and(|e| e == "wav")) {
        let name = file.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let mut parts = name.split('_');
        let digit: Option<usize> = parts.next().and_then(|d| d.parse().ok());
        let (Some(digit), Some(speaker)) = (digit.filter(|d| *d < 10), parts.next()) else { continue };
        let sound = read_wav(&std::fs::read(file).expect("the file"));
        let heard = engine.hear(&sound, &grammar).expect("it hears");
        let right = heard.best.first().is_some_and(|h| h.words == words[digit]);
        for key in [speaker.to_owned(), "everyone".to_owned()] {
            let entry = by.entry(key).or_default();
            entry.0 += usize::from(right);
            entry.1 += 1;
        }
        if !right {
            println!("{name}: {:?}, free {:?}", heard.best.first().map(|h| &h.words), heard.free);
        }
    }
    for (who, (right, all)) in by {
        println!("{who}: {}", share(right, all));
    }
}
