//! A supervised program in its own process group. A thread writes its input, so that a full pipe blocks nobody. The end of its standard
//! error is kept. Dropping it kills and reaps it with everything it started.

use std::io::{self, Read, Write};
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread;
use std::time::{Duration, Instant};

/// Bytes of standard error to keep, from its end.
const COMPLAINTS: usize = 1_000;
/// How often to check whether the program has ended, and how long to keep checking after killing it.
const LOOK_EVERY: Duration = Duration::from_millis(2);
const DYING: Duration = Duration::from_millis(500);
/// How long to wait for standard error after standard output has ended.
const LAST_WORDS: Duration = Duration::from_millis(200);

/// How a program failed, as the end of a sentence that starts with its name.
#[derive(Debug, thiserror::Error)]
pub enum ChildError {
    /// The system did not start it.
    #[error("does not start: {0}")]
    NotStarted(io::Error),
    /// It was silent for too long.
    #[error("gave no answer within {} s and was stopped", .0.as_secs_f32().ceil())]
    Silent(Duration),
    /// It wrote more than was requested.
    #[error("said more than it was asked for and was stopped")]
    Flood,
    /// It ended.
    #[error("ended ({status}{}{said})", if .said.is_empty() { "" } else { ": " })]
    Ended {
        /// Exit status or signal.
        status: String,
        /// The end of its standard error.
        said: String,
    },
}

/// A supervised program. Dropping it kills it with everything it started.
#[derive(Debug)]
pub(super) struct Supervised {
    child: Child,
    input: Option<mpsc::Sender<Vec<u8>>>,
    complaints: Arc<Mutex<Vec<u8>>>,
    /// Disconnected once its standard error has ended.
    complained: mpsc::Receiver<()>,
}

impl Supervised {
    /// Starts the program. The caller must read its output from a thread.
    pub fn start(mut command: Command) -> Result<(Self, ChildStdout), ChildError> {
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let mut child = command.spawn().map_err(ChildError::NotStarted)?;
        let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
        let (input, to_write) = mpsc::channel::<Vec<u8>>();
        let (alive, complained) = mpsc::channel();
        let complaints = Arc::default();
        // From here on any error kills it.
        let this = Supervised { child, input: Some(input), complaints, complained };
        let (Some(mut stdin), Some(stdout), Some(stderr)) = (stdin, stdout, stderr) else {
            return Err(ChildError::NotStarted(io::Error::other("the system gives no pipes")));
        };
        in_thread(move || {
            for bytes in to_write {
                if stdin.write_all(&bytes).and_then(|()| stdin.flush()).is_err() {
                    return;
                }
            }
        })?;
        let complaints = this.complaints.clone();
        in_thread(move || {
            keep_the_end(stderr, &complaints);
            drop(alive);
        })?;
        Ok((this, stdout))
    }

    /// Queues bytes for its input. Does not wait.
    pub fn send(&self, bytes: Vec<u8>) {
        if let Some(input) = &self.input {
            // A program that stops reading is noticed by its missing output.
            let _ = input.send(bytes);
        }
    }

    /// Closes its input after everything that was sent.
    pub(super) fn end_input(&mut self) {
        self.input = None;
    }

    /// Its exit status, if it ends by itself before `until`. On return nothing that it started is left.
    pub(super) fn status_by(&mut self, until: Instant) -> Option<ExitStatus> {
        while !self.has_ended() {
            if Instant::now() >= until {
                self.kill();
                return None;
            }
            thread::sleep(LOOK_EVERY);
        }
        let _ = self.complained.recv_timeout(LAST_WORDS);
        self.kill();
        self.child.try_wait().ok().flatten()
    }

    /// Why it ended. Call once its output has ended.
    pub fn ended(&mut self) -> ChildError {
        let status = self.status_by(Instant::now() + LAST_WORDS);
        let status = status.map_or_else(|| "it closed its output and was stopped".to_owned(), |s| s.to_string());
        ChildError::Ended { status, said: self.complaints() }
    }

    /// The end of its standard error, on one line.
    pub fn complaints(&self) -> String {
        let kept = self.complaints.lock().unwrap_or_else(PoisonError::into_inner);
        let text = String::from_utf8_lossy(&kept).into_owned();
        text.split_whitespace().collect::<Vec<_>>().join(" ").trim_end_matches('.').to_owned()
    }

    /// Whether it has ended. It is not reaped yet, so its process id is still its own.
    #[cfg(unix)]
    fn has_ended(&mut self) -> bool {
        use rustix::process::{Pid, WaitId, WaitIdOptions, waitid};
        let options = WaitIdOptions::EXITED | WaitIdOptions::NOHANG | WaitIdOptions::NOWAIT;
        let pid = i32::try_from(self.child.id()).ok().and_then(Pid::from_raw);
        // If the system does not know it, it has ended.
        pid.is_none_or(|pid| waitid(WaitId::Pid(pid), options).map_or(true, |status| status.is_some()))
    }

    #[cfg(not(unix))]
    fn has_ended(&mut self) -> bool {
        self.child.try_wait().map_or(true, |status| status.is_some())
    }

    /// Kills it and everything it started. Its process id is its own until it is reaped.
    fn kill(&mut self) {
        #[cfg(unix)]
        if let Some(group) = i32::try_from(self.child.id()).ok().and_then(rustix::process::Pid::from_raw) {
            let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
        }
        #[cfg(not(unix))]
        let _ = self.child.kill();
    }
}

impl Drop for Supervised {
    fn drop(&mut self) {
        // After it is reaped, its process id may belong to another process.
        if matches!(self.child.try_wait(), Ok(Some(_))) {
            return;
        }
        self.kill();
        let until = Instant::now() + DYING;
        while matches!(self.child.try_wait(), Ok(None)) && Instant::now() < until {
            thread::sleep(LOOK_EVERY);
        }
    }
}

/// Starts a thread, or returns a sentence if the system has none left.
pub(super) fn in_thread(work: impl FnOnce() + Send + 'static) -> Result<(), ChildError> {
    thread::Builder::new().spawn(work).map(drop).map_err(ChildError::NotStarted)
}

/// Reads everything and keeps the end.
fn keep_the_end(mut from: impl Read, kept: &Mutex<Vec<u8>>) {
    let mut some = [0; COMPLAINTS];
    while let Ok(1..) = from.read(&mut some).inspect(|&read| {
        let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.extend_from_slice(&some[..read]);
        let over = kept.len().saturating_sub(COMPLAINTS);
        kept.drain(..over);
    }) {}
}
