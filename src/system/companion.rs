//! A program that answers repeated requests: a request in, a line out, each within its time limit. After any error it is unusable.

use super::child::{ChildError, Supervised, in_thread};
use std::io::{BufRead, BufReader, Read};
use std::process::Command;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

/// Most lines waiting to be read. A program that writes more must wait.
const WAITING: usize = 2;

/// Dropping it ends the program.
#[derive(Debug)]
pub struct Companion {
    child: Supervised,
    lines: mpsc::Receiver<Result<String, ChildError>>,
}

impl Companion {
    /// Starts the program. A line of more than `longest` bytes is an error.
    ///
    /// # Errors
    /// The program does not start.
    pub fn start(command: Command, longest: u64) -> Result<Self, ChildError> {
        let (child, output) = Supervised::start(command)?;
        let (to, lines) = mpsc::sync_channel(WAITING);
        in_thread(move || {
            let mut output = BufReader::new(output);
            loop {
                let mut line = Vec::new();
                let read = output.by_ref().take(longest.saturating_add(1)).read_until(b'\n', &mut line);
                let line = match read {
                    Ok(0) | Err(_) => return,
                    Ok(_) if line.len() as u64 > longest => Err(ChildError::Flood),
                    Ok(_) => Ok(String::from_utf8_lossy(&line).trim_end().to_owned()),
                };
                if to.send(line).is_err() {
                    return;
                }
            }
        })?;
        Ok(Companion { child, lines })
    }

    /// The program's next line.
    ///
    /// # Errors
    /// The program is silent for too long, has ended, or wrote too long a line.
    pub fn line(&mut self, within: Duration) -> Result<String, ChildError> {
        match self.lines.recv_timeout(within) {
            Ok(line) => line,
            Err(RecvTimeoutError::Timeout) => Err(ChildError::Silent(within)),
            Err(RecvTimeoutError::Disconnected) => Err(self.child.ended()),
        }
    }

    /// The program's answer to a request. The time limit includes writing the request.
    ///
    /// # Errors
    /// As [`Companion::line`]. Also if it wrote something before the request, because answers could then no longer be matched to requests.
    pub fn ask(&mut self, request: Vec<u8>, within: Duration) -> Result<String, ChildError> {
        if self.lines.try_recv().is_ok() {
            return Err(ChildError::Flood);
        }
        self.child.send(request);
        self.line(within)
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::time::Instant;

    const TIME: Duration = Duration::from_millis(400);

    fn companion(script: &str) -> Companion {
        let mut command = Command::new("sh");
        command.args(["-c", script]);
        Companion::start(command, 1_000).unwrap()
    }

    #[test]
    fn it_answers_line_by_line() {
        let mut other = companion("echo ready; while read -r line; do echo \"re $line\"; done");
        assert_eq!(other.line(TIME * 10).unwrap(), "ready");
        for word in ["one", "two"] {
            assert_eq!(other.ask(format!("{word}\n").into_bytes(), TIME * 10).unwrap(), format!("re {word}"));
        }
    }

    #[test]
    fn silence_a_full_pipe_a_flood_and_an_end_are_told_apart_in_time() {
        let large = vec![b'x'; 10_000_000];
        let began = Instant::now();
        for (script, said) in [
            ("sleep 60", "gave no answer"),
            ("read -r line; exec sleep 60", "gave no answer"),
            ("exit 7", "ended (exit status: 7"),
            ("echo broken >&2; kill -9 $$", "ended (signal: 9 (SIGKILL): broken)"),
            ("exec >&-; sleep 60", "closed its output"),
            ("head -c 100000 /dev/zero; sleep 60", "more than it was asked for"),
        ] {
            let why = companion(script).ask(large.clone(), TIME).unwrap_err().to_string();
            assert!(why.contains(said), "{script}: {why}");
        }
        let mut early = companion("echo ready; echo too early; cat >/dev/null");
        early.line(TIME * 10).unwrap();
        std::thread::sleep(TIME);
        assert!(matches!(early.ask(b"x\n".to_vec(), TIME), Err(ChildError::Flood)));
        // A program that floods its output must wait. Nothing piles up in memory.
        let mut flood = companion("yes");
        flood.line(TIME * 10).unwrap();
        std::thread::sleep(TIME);
        assert!(matches!(flood.ask(b"x\n".to_vec(), TIME), Err(ChildError::Flood)));
        drop((early, flood));
        assert!(began.elapsed() < Duration::from_secs(15), "{:?}", began.elapsed());
    }
}
