//! Runs a program once: input in, output out, both bounded, within a time limit that includes writing the input.

use super::child::{ChildError, Supervised, in_thread};
use std::io::Read;
use std::process::Command;
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// Runs the program with this input. Returns its output, at most `most` bytes, if it succeeds within the time limit.
///
/// # Errors
/// The program does not start, takes too long, writes too much, or fails.
pub fn run(command: Command, input: &[u8], most: u64, time: Duration) -> Result<Vec<u8>, ChildError> {
    let until = Instant::now() + time;
    let (mut child, output) = Supervised::start(command)?;
    child.send(input.to_vec());
    child.end_input();
    let (to, written) = mpsc::channel();
    in_thread(move || {
        let mut bytes = Vec::new();
        // Bytes read before an error count. The exit status tells the rest.
        let _ = output.take(most.saturating_add(1)).read_to_end(&mut bytes);
        let _ = to.send(bytes);
    })?;
    let bytes = written.recv_timeout(time).map_err(|_| ChildError::Silent(time))?;
    if bytes.len() as u64 > most {
        return Err(ChildError::Flood);
    }
    match child.status_by(until) {
        Some(status) if status.success() => Ok(bytes),
        Some(status) => Err(ChildError::Ended { status: status.to_string(), said: child.complaints() }),
        None => Err(ChildError::Silent(time)),
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    const TIME: Duration = Duration::from_millis(600);

    fn shell(script: &str) -> Command {
        let mut command = Command::new("sh");
        command.args(["-c", script]);
        command
    }

    fn ran(script: &str, input: &[u8]) -> Result<Vec<u8>, ChildError> {
        let began = Instant::now();
        let result = run(shell(script), input, 1_000_000, TIME);
        assert!(began.elapsed() < TIME * 4, "{script} held for {:?}", began.elapsed());
        result
    }

    #[test]
    fn input_goes_in_and_output_comes_out() {
        assert_eq!(ran("cat", b"one two").unwrap(), b"one two");
        // Larger than any pipe, both ways.
        let large = vec![b'x'; 900_000];
        assert_eq!(ran("cat", &large).unwrap(), large);
        // Input that the program does not read is no error.
        assert_eq!(ran("echo done", &large).unwrap(), b"done\n");
    }

    #[test]
    fn whatever_a_program_does_it_holds_nobody() {
        let large = vec![b'x'; 900_000];
        // Silent; silent with a full pipe; output closed but still running; a child left behind that holds the output.
        for script in [
            "sleep 60",
            "exec sleep 60",
            "exec >&- 2>&-; sleep 60",
            "sleep 60 & exit 0",
            "trap '' TERM INT HUP; sleep 60",
        ] {
            for input in [&b""[..], &large] {
                assert!(matches!(ran(script, input), Err(ChildError::Silent(_))), "{script}");
            }
        }
        assert!(matches!(ran("yes", b""), Err(ChildError::Flood)));
        assert!(matches!(ran("yes >&2", b""), Err(ChildError::Silent(_))));
        // Endless errors do not block the output.
        assert_eq!(ran("yes | head -c 3000000 >&2; echo done", b"").unwrap(), b"done\n");
    }

    #[test]
    fn how_it_failed_is_said_with_its_last_words() {
        let said = ran("echo 'no such voice.' >&2; exit 3", b"").unwrap_err().to_string();
        assert_eq!(said, "ended (exit status: 3: no such voice)");
        let said = ran("yes x | head -c 5000 >&2; echo last >&2; kill -9 $$", b"").unwrap_err().to_string();
        assert!(said.starts_with("ended (signal: 9 (SIGKILL): ") && said.ends_with("x last)"), "{said}");
        assert!(said.len() < 1_100);
        let said = run(Command::new("/nowhere/voice"), b"", 1, TIME).unwrap_err().to_string();
        assert!(said.starts_with("does not start: "), "{said}");
        let said = ran("sleep 60", b"").unwrap_err().to_string();
        assert_eq!(said, "gave no answer within 1 s and was stopped");
    }

    /// Nothing it started outlives it, and it is reaped: no zombie remains.
    #[cfg(target_os = "linux")]
    #[test]
    fn nothing_is_left_behind() {
        let mark = format!("{}.25", 3_000 + std::process::id());
        assert!(ran(&format!("sleep {mark} & sleep {mark}"), b"").is_err());
        assert!(ran(&format!("sleep {mark} >/dev/null 2>&1 & echo done"), b"").is_ok());
        // A signal takes effect when the process next runs.
        let until = Instant::now() + Duration::from_secs(5);
        let left = || {
            let all = std::fs::read_dir("/proc").unwrap().flatten();
            let lines = all.filter_map(|e| std::fs::read_to_string(e.path().join("cmdline")).ok());
            lines.filter(|line| line.starts_with("sleep") && line.contains(&mark)).count()
        };
        while left() > 0 {
            assert!(Instant::now() < until, "{} left", left());
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}
