//! A walk as the user types it.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// The program: for a test the one built for it, for an example the one in the same folder.
#[allow(dead_code)]
pub fn program() -> PathBuf {
    let beside = || {
        let example = std::env::current_exe().expect("a program");
        let built = example.ancestors().nth(2).expect("the folder of what was built").join("probeside");
        assert!(built.exists(), "build the program first: {} is missing", built.display());
        built
    };
    option_env!("CARGO_BIN_EXE_probeside").map_or_else(beside, PathBuf::from)
}

/// The program with these arguments, started directly or as the last arguments of another program.
fn command(by: Option<(&str, &[&str])>, args: &[&str]) -> Command {
    let mut program = match by {
        None => Command::new(program()),
        Some((by, before)) => {
            let mut command = Command::new(by);
            command.args(before).arg(program());
            command
        }
    };
    program
        .args(args)
        .args(["--hear", "typed", "--say", "printed"])
        .env("PROBESIDE_PROCEDURES", super::stage::procedures())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    program
}

/// `probeside ARGS` with typed answers and printed prompts: exit code, standard output, standard error.
#[allow(dead_code)]
pub fn typed(args: &[&str], answers: &str) -> (Option<i32>, String, String) {
    typed_in(Path::new("."), args, answers)
}

/// The same in a folder.
#[allow(dead_code)]
pub fn typed_in(at: &Path, args: &[&str], answers: &str) -> (Option<i32>, String, String) {
    let mut child = command(None, args).current_dir(at).spawn().expect("the program starts");
    child.stdin.take().expect("a pipe").write_all(answers.as_bytes()).expect("answers go in");
    let out = child.wait_with_output().expect("the program ends");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

/// The same answer by answer, so that something can happen in between.
#[allow(dead_code)]
pub struct TypedWalk {
    child: Child,
    answers: ChildStdin,
    said: BufReader<ChildStdout>,
}

#[allow(dead_code)]
impl TypedWalk {
    /// `probeside ARGS`, in the folder `at`.
    pub fn start(args: &[&str], at: &Path) -> Self {
        Self::of(command(None, args), at)
    }

    /// The same, started by another program.
    pub fn start_in(by: &str, before: &[&str], args: &[&str], at: &Path) -> Self {
        Self::of(command(Some((by, before)), args), at)
    }

    fn of(mut program: Command, at: &Path) -> Self {
        let mut child = program.current_dir(at).spawn().expect("the program starts");
        let answers = child.stdin.take().expect("a pipe");
        let said = BufReader::new(child.stdout.take().expect("a pipe"));
        Self { child, answers, said }
    }

    /// Types an answer. The program may have gone away.
    pub fn answer(&mut self, words: &str) {
        let _ = self.answers.write_all(format!("{words}\n").as_bytes());
    }

    /// The next lines of output, at most this many. Fewer if the walk ends first.
    pub fn lines(&mut self, many: usize) -> Vec<String> {
        self.said.by_ref().lines().map_while(Result::ok).take(many).collect()
    }

    /// Ends the input. Returns the exit code, the remaining output, and standard error.
    pub fn end(self) -> (Option<i32>, String, String) {
        let Self { child, answers, mut said } = self;
        drop(answers);
        let mut rest = String::new();
        said.read_to_string(&mut rest).expect("words");
        let out = child.wait_with_output().expect("the program ends");
        (out.status.code(), rest, String::from_utf8_lossy(&out.stderr).into_owned())
    }
}
