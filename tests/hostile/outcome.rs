//! Runs the program, or an entry point of the library, on a case, with little memory and a time limit, and checks its output.

use super::table::Case;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Names the door that a child of this test opens.
pub const DOOR: &str = "PROBESIDE_HOSTILE_DOOR";
/// Address space of a child, kB: the program alone maps some hundred MB.
const MEMORY_KB: u64 = 2_000_000;
/// A child that takes longer hangs; under load, honest ones take seconds. One that opens a door many times over has more.
const PATIENCE: Duration = Duration::from_secs(120);
const PATIENCE_MANY: Duration = Duration::from_secs(900);
/// Most lines that are compared, and characters of a line.
const LINES: usize = 6;
const LONGEST: usize = 220;

/// What came of a case.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// None: ended by a signal, or not at all.
    pub exit: Option<i32>,
    pub lines: Vec<String>,
    harm: Option<String>,
}

impl Outcome {
    /// What no input may bring about, whatever the table says.
    pub fn harm(&self) -> Option<&String> {
        self.harm.as_ref()
    }

    /// How it differs from what the case says.
    pub fn fault(&self, case: &Case) -> Option<String> {
        if let Some(harm) = &self.harm {
            return Some(format!("{harm}: {:?}", self.lines));
        }
        if self.exit != case.exit {
            return Some(format!("exit {:?}, not {:?}; it said {:#?}", self.exit, case.exit, self.lines));
        }
        let said = self.lines.join(
            "
",
        );
        if let Some(words) = case.has.iter().find(|words| !said.contains(words.as_str())) {
            return Some(format!(
                "said
{said}
without \"{words}\""
            ));
        }
        (case.has.is_empty() && self.lines != case.says).then(|| {
            format!(
                "said
    {}
not
    {}",
                self.lines.join(
                    "
    "
                ),
                case.says.join(
                    "
    "
                )
            )
        })
    }
}

/// Runs a command line of a table in `here`: `read-wav FILE` and the like open a door, `sh WORDS` is the shell's, anything else the program's.
/// What is typed comes after ` < `, the lines ended by `/`.
pub fn run(here: &Path, around: &Path, line: &str) -> Result<Outcome, String> {
    let program = env!("CARGO_BIN_EXE_probeside");
    let verb = line.split(' ').next().unwrap_or_default();
    let (line, typed) = line.split_once(" < ").filter(|_| verb != "sh").unwrap_or((line, ""));
    let script = match verb {
        "read-wav" | "read-clip" | "vosk-says" | "found" => {
            let own = std::env::current_exe().map_err(|error| error.to_string())?;
            format!("exec '{}' --exact a_door_that_was_asked_for --nocapture --quiet", own.display())
        }
        "sh" => line["sh ".len()..].to_owned(),
        _ => format!("exec '{program}' {line}"),
    };
    let mut child = Command::new("/bin/sh")
        .arg("-c")
        .arg(format!("ulimit -v {MEMORY_KB}; ulimit -c 0; {script}"))
        .current_dir(here)
        .env("HOME", around)
        .env("XDG_DATA_HOME", around.join("data"))
        .env("PROBESIDE", program)
        .env("PROBESIDE_PROCEDURES", concat!(env!("CARGO_MANIFEST_DIR"), "/procedures"))
        .env("RUST_BACKTRACE", "0")
        .env_remove("RUST_LOG")
        .env(DOOR, line)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|error| error.to_string())?;
    // Nobody has to read what is typed.
    let _ = std::io::Write::write_all(&mut child.stdin.take().unwrap(), typed.replace('/', "\n").as_bytes());
    let read = |mut from: Box<dyn std::io::Read + Send>| {
        std::thread::spawn(move || {
            let mut bytes = Vec::new();
            let _ = std::io::Read::read_to_end(&mut from, &mut bytes);
            bytes
        })
    };
    let (out, err) = (read(Box::new(child.stdout.take().unwrap())), read(Box::new(child.stderr.take().unwrap())));
    let began = Instant::now();
    let patience = if verb == "found" { PATIENCE_MANY } else { PATIENCE };
    let status = loop {
        if let Some(status) = child.try_wait().map_err(|error| error.to_string())? {
            break Some(status);
        }
        if began.elapsed() > patience {
            child.kill().map_err(|error| error.to_string())?;
            let _ = child.wait();
            break None;
        }
        std::thread::sleep(Duration::from_millis(5));
    };
    let mut said = err.join().unwrap_or_default();
    said.extend(out.join().unwrap_or_default());
    let exit = status.and_then(|status| status.code());
    let text = String::from_utf8_lossy(&said).into_owned();
    let obeyed = |c: &char| {
        c.is_control() && !matches!(c, '\n' | '\t')
            || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}')
    };
    let harm = match (status, exit) {
        (None, _) => Some(format!("it hangs, {patience:?} and on")),
        (Some(status), None) => Some(format!("it was ended by {status}")),
        _ if text.contains("panicked at") || text.contains("memory allocation of") => Some("it panics".to_owned()),
        (_, Some(code)) if !(0..=3).contains(&code) => Some(format!("it exits with {code}")),
        _ => text.chars().find(obeyed).map(|c| format!("{c:?} reaches the terminal")),
    };
    Ok(Outcome { exit, lines: lines(&text, around), harm })
}

/// What was said, without what differs from one run to the next: folders, times, digests, numbers of bytes.
fn lines(text: &str, around: &Path) -> Vec<String> {
    let around = around.display().to_string();
    let text = text.replace(&format!("{around}/here/"), "").replace(&around, "AROUND");
    let text = text.replace(concat!(env!("CARGO_MANIFEST_DIR"), "/"), "");
    let own = |line: &&str| {
        !line.trim().is_empty() && !line.starts_with("test result: ") && !line.starts_with("running ") && *line != "."
    };
    let all: Vec<&str> = text.lines().filter(own).collect();
    all.into_iter().take(LINES).map(|line| shown(&masked(line))).collect()
}

/// Control characters as Rust writes them, and no more than fits a line of the table.
fn shown(line: &str) -> String {
    let spelt: String = line
        .chars()
        .map(|c| {
            if c.is_control() || ('\u{200b}'..='\u{206f}').contains(&c) || c == '\u{feff}' {
                c.escape_default().to_string()
            } else {
                c.to_string()
            }
        })
        .collect();
    match spelt.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{} ...", spelt[..end].trim_end()),
        None => spelt.trim_end().to_owned(),
    }
}

fn masked(line: &str) -> String {
    let mut out = String::new();
    let mut run = String::new();
    for c in line.chars().chain(['\0']) {
        if c.is_ascii_hexdigit() {
            run.push(c);
            continue;
        }
        match run.len() {
            64 => out += "HASH",
            16 if run.chars().any(|c| c.is_ascii_digit()) => out += "MARK",
            _ => out += &run,
        }
        run.clear();
        out.push(c);
    }
    out.pop();
    let mut words: Vec<String> = out.split(' ').map(str::to_owned).collect();
    let digits = |word: &str, n: usize| word.len() == n && word.bytes().all(|b| b.is_ascii_digit());
    for at in 0..words.len() {
        let next = words.get(at + 1).cloned().unwrap_or_default();
        let last = next.trim_end_matches([',', '.', ':', ';']).to_owned();
        if digits(&words[at], 4) && digits(&last, 4) {
            (words[at], words[at + 1]) = ("DIGEST".to_owned(), next.replacen(&last, "DIGEST", 1));
        } else if next.starts_with("bytes") && words[at].bytes().all(|b| b.is_ascii_digit()) && words[at].len() < 6 {
            words[at] = "N".to_owned();
        } else if is_time(&words[at]) {
            words[at] = "TIME".to_owned();
        } else if is_session(&words[at]) {
            let after = words[at].trim_start_matches(|c: char| c.is_alphanumeric() || c == '-').to_owned();
            words[at] = format!("SESSION{after}");
        }
    }
    words.join(" ")
}

fn like(word: &str, shape: &str) -> bool {
    let digit = |b: u8, s: u8| if s == b'0' { b.is_ascii_digit() } else { b == s };
    word.len() >= shape.len() && word.bytes().zip(shape.bytes()).all(|(b, s)| digit(b, s))
}

/// `2026-11-25T10:14:03.120+01:00`, `2026-11-25`, `10:14:03`
fn is_time(word: &str) -> bool {
    let word = word.trim_end_matches([',', '.', ':', ';']);
    let whole = |shape: &str| word.len() == shape.len() && like(word, shape);
    whole("0000-00-00") || whole("00:00:00") || like(word, "0000-00-00T00:00:00")
}

/// `2026-11-25T101403-borage-twin`
fn is_session(word: &str) -> bool {
    like(word, "0000-00-00T000000-")
}
