//! `tests/procedures/short-round.yaml` as the user types it. The stage decides what to type; the real program writes the record.

use super::stage::{Stage, procedures};
use super::typed::typed;
use probeside::phrase::Answer;
use probeside::walk::World;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The conclusion if the wire loses much.
pub const CONCLUSION: &str = "wire-bad";
/// The default answers.
pub const ANSWERS: [(&str, &[&str]); 4] = [
    ("touch", &["lit"]),
    ("rest", &["twelve point six"]),
    ("load", &["eleven point nine"]),
    ("drop", &["one point four"]),
];
/// More answers than this mean that the walk goes in a circle.
const MOST_ANSWERS: usize = 60;

/// The procedure and the one it calls, in their own folder.
pub struct Round {
    folder: tempfile::TempDir,
    world: Arc<World>,
}

impl Round {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let here = Path::new(env!("CARGO_MANIFEST_DIR"));
        for (from, name) in [(here.join("tests/procedures"), "short-round.yaml"), (procedures(), "prove-lamp.yaml")] {
            std::fs::copy(from.join(name), folder.path().join(name)).expect("a copy");
        }
        let (bike, words) = (procedures().join("bikes/borage-twin.yaml"), procedures().join("vocabulary/en.yaml"));
        let loaded = probeside::run::load::world(&folder.path().join("short-round.yaml"), &bike, &words);
        let world = Arc::new(loaded.unwrap_or_else(|all| panic!("{all:?}")).world);
        Self { folder, world }
    }

    pub fn world(&self) -> Arc<World> {
        self.world.clone()
    }

    /// The procedure's file.
    pub fn procedure(&self) -> PathBuf {
        self.folder.path().join("short-round.yaml")
    }

    /// All lines to type in a walk whose steps get these answers, one after another, with the last one repeated. The first time a step is
    /// asked, its lines in `instead` come first.
    pub fn answers(&self, instead: &[(&str, &[&str])], answers: &[(&str, &[&str])]) -> String {
        let mut stage = Stage::new(self.world.clone());
        let (mut lines, mut asked) = (String::new(), BTreeMap::<String, usize>::new());
        let mut instead: BTreeMap<&str, &[&str]> = instead.iter().copied().collect();
        let mut say = |stage: &mut Stage, words: &str| {
            stage.answer(words);
            lines += &format!("{words}\n");
        };
        for _ in 0..MOST_ANSWERS {
            if stage.finished.is_some() {
                return lines;
            }
            let step = stage.walker.place().0.to_owned();
            if !stage.walker.is_asking() {
                let words = agreed(&stage);
                say(&mut stage, &words);
                continue;
            }
            for words in instead.remove(step.as_str()).into_iter().flatten() {
                say(&mut stage, words);
                // After "go back" the walker repeats the changes to the bike before the question.
                while *words == "go back" && !stage.walker.is_asking() {
                    let words = agreed(&stage);
                    say(&mut stage, &words);
                }
            }
            let now = stage.walker.place().0.to_owned();
            if now != step || !stage.walker.is_asking() {
                continue;
            }
            let times = asked.entry(step.clone()).or_default();
            let own = answers.iter().find(|(at, _)| *at == step).map(|(_, all)| all[(*times).min(all.len() - 1)]);
            *times += 1;
            let words = own.map_or_else(|| agreed(&stage), str::to_owned);
            say(&mut stage, &words);
        }
        panic!("the walk goes in a circle at {:?}: {lines}", stage.walker.place());
    }

    /// Walks it with these typed lines. The record goes into the folder `into`.
    pub fn walk(&self, into: &Path, lines: &str) {
        let procedure = self.procedure();
        let [procedure, into] = [&procedure, into].map(|path| path.to_str().expect("a plain name"));
        let args = ["walk", procedure, "--bike", "borage-twin", "--faults", "none", "--into", into];
        let (code, said, why) = typed(&args, lines);
        assert_eq!(code, Some(0), "{said}{why}");
    }
}

/// "Yes" if that is expected, otherwise "ready".
fn agreed(stage: &Stage) -> String {
    let listen = stage.listen.as_ref().unwrap_or_else(|| panic!("nobody listens at {:?}", stage.walker.place()));
    let phrase = |wanted: Answer| listen.grammar.phrases.iter().find(|p| p.answer == wanted).map(|p| p.words.clone());
    phrase(Answer::Yes).or_else(|| phrase(Answer::Done)).unwrap_or_else(|| panic!("at {:?}", stage.walker.place()))
}
