//! Files as the user meets them. A command never overwrites what it did not write, anything but a plain file never blocks it, and the files
//! it keeps are private. All with the real program.
#![cfg(unix)]

#[path = "files/input.rs"]
mod input;
#[path = "files/output.rs"]
mod output;
#[path = "files/owner.rs"]
mod owner;

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Time limit for each of these commands, on a machine that is busy with other work. None of them takes more than a few seconds by itself.
const LONGEST: Duration = Duration::from_secs(60);

/// The outcome of a command.
struct Did {
    code: Option<i32>,
    out: String,
    said: String,
}

/// A folder for experiments.
struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        Bench { folder: tempfile::tempdir().unwrap() }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn put(&self, name: &str, content: &[u8]) -> PathBuf {
        std::fs::write(self.path(name), content).unwrap();
        self.path(name)
    }

    fn pipe(&self, name: &str) -> PathBuf {
        let _ = std::fs::remove_file(self.path(name));
        assert!(Command::new("mkfifo").arg(self.path(name)).status().unwrap().success());
        self.path(name)
    }

    /// Runs the program in the folder with its input closed.
    fn run<S: AsRef<OsStr>>(&self, arguments: &[S]) -> Did {
        self.run_with("", "", arguments)
    }

    /// Runs it at the end of a shell command line, with something to read.
    fn run_with<S: AsRef<OsStr>>(&self, first: &str, input: &str, arguments: &[S]) -> Did {
        let mut child = Command::new("sh")
            .args(["-c", &format!("{first} exec \"$0\" \"$@\""), env!("CARGO_BIN_EXE_probeside")])
            .args(arguments)
            .current_dir(self.folder.path())
            .env("PROBESIDE_PROCEDURES", concat!(env!("CARGO_MANIFEST_DIR"), "/procedures"))
            .env("PROBESIDE_VOICES", self.path("voices"))
            .env("XDG_CACHE_HOME", self.path("cache"))
            .env("XDG_DATA_HOME", self.path("data"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let input = input.to_owned();
        std::thread::spawn(move || stdin.write_all(input.as_bytes()));
        let reader = |mut from: Box<dyn Read + Send>| {
            std::thread::spawn(move || {
                let mut bytes = Vec::new();
                let _ = from.read_to_end(&mut bytes);
                String::from_utf8_lossy(&bytes).into_owned()
            })
        };
        let out = reader(Box::new(child.stdout.take().unwrap()));
        let said = reader(Box::new(child.stderr.take().unwrap()));
        let began = Instant::now();
        let code = loop {
            if let Some(status) = child.try_wait().unwrap() {
                break status.code();
            }
            if began.elapsed() > LONGEST {
                child.kill().unwrap();
                child.wait().unwrap();
                let arguments: Vec<_> = arguments.iter().map(AsRef::as_ref).collect();
                panic!("it hangs: {arguments:?}");
            }
            std::thread::sleep(Duration::from_millis(5));
        };
        Did { code, out: out.join().unwrap(), said: said.join().unwrap() }
    }

    /// A session after a typed walk that broke off after an answer.
    fn session(&self, name: &str) -> PathBuf {
        let did = self.run_with("", "ready\nhelp me\n", &walk(&["--into", name]));
        assert!(did.code == Some(1) && self.path(name).join("journal.jsonl").is_file(), "{:?} {}", did.code, did.said);
        self.path(name)
    }

    /// Everything in the folder, without following links.
    fn picture(&self) -> BTreeMap<PathBuf, String> {
        fn look(folder: &Path, into: &mut BTreeMap<PathBuf, String>) {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                let about = std::fs::symlink_metadata(&path).unwrap();
                let what = match about {
                    _ if about.is_dir() => {
                        look(&path, into);
                        "folder".to_owned()
                    }
                    _ if about.is_file() => probeside::session::sha256_hex(&std::fs::read(&path).unwrap()),
                    _ if about.is_symlink() => format!("link to {}", std::fs::read_link(&path).unwrap().display()),
                    _ => "something else".to_owned(),
                };
                into.insert(path, what);
            }
        }
        let mut seen = BTreeMap::new();
        look(self.folder.path(), &mut seen);
        // The program's own cache comes and goes. `owner.rs` checks it.
        let cache = self.path("cache");
        seen.retain(|path, _| !path.starts_with(&cache));
        seen
    }
}

/// The arguments of a typed walk.
fn walk<'a>(more: &[&'a str]) -> Vec<&'a str> {
    let walk =
        ["walk", "prove-lamp", "--bike", "borage-twin", "--hear", "typed", "--say", "printed", "--faults", "none"];
    walk.iter()
        .copied()
        .filter(|word| !(more.contains(&"--say") && ["--say", "printed"].contains(word)))
        .chain(more.iter().copied())
        .collect()
}

/// Whether the speech model is available. Says what is missing.
fn hears() -> bool {
    let model = probeside::hear::models::find().map(drop).and(probeside::hear::models::find_detector().map(drop));
    if let Err(why) = &model {
        assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{why}");
        eprintln!("left out: {why}");
    }
    model.is_ok()
}
