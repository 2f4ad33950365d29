//! A program under supervision: in a process group of its own, its input written by a thread, so that a full pipe holds nobody, the end of
//! its complaints kept, and all of it killed and taken away at the latest when it is dropped.

use std::io::{self, Read, Write};
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread;
use std::time::{Duration, Instant};

/// Bytes of its complaints that are kept, from their end.
const COMPLAINTS: usize = 1_000;
/// How often it is looked whether it has ended, and how long for that after it was killed.
const LOOK_EVERY: Duration = Duration::from_millis(2);
const DYING: Duration = Duration::from_millis(500);
/// After its output has ended, its complaints are waited for so long.
const LAST_WORDS: Duration = Duration::from_millis(200);

/// How a program failed, as the end of a sentence that begins with its name.
#[derive(Debug, thiserror::Error)]
pub enum ChildError {
    /// The system does not start it.
    #[error("does not start: {0}")]
    NotStarted(io::Error),
    /// It was silent for too long.
    #[error("gave no answer within {} s and was stopped", .0.as_secs_f32().ceil())]
    Silent(Duration),
    /// It said more than anybody asked for.
    #[error("said more than it was asked for and was stopped")]
    Flood,
    /// It ended.
    #[error("ended ({status}{}{said})", if .said.is_empty() { "" } else { ": " })]
    Ended {
        /// Exit status or signal.
        status: String,
        /// The end of what it complained of.
        said: String,
    },
}

/// It is killed with all that it started when this is dropped.
#[derive(Debug)]
pub(super) struct Supervised {
    child: Child,
    input: Option<mpsc::Sender<Vec<u8>>>,
    complaints: Arc<Mutex<Vec<u8>>>,
    /// Disconnected when its complaints have ended.
    complained: mpsc::Receiver<()>,
}

impl Supervised {
    /// Starts it; what it writes is for the caller to read, from a thread.
    pub fn start(mut command: Command) -> Result<(Self, ChildStdout), ChildError> {
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let mut child = command.spawn().map_err(ChildError::NotStarted)?;
        let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
        let (input, to_write) = mpsc::channel::<Vec<u8>>();
        let (alive, complained) = mpsc::channel();
        let complaints = Arc::default();
        // From here on it is killed whatever fails.
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

    /// Hands bytes over to be written to its input; waits for nothing.
    pub fn send(&self, bytes: Vec<u8>) {
        if let Some(input) = &self.input {
            // A program that takes nothing any more is noticed by what it does not say.
            let _ = input.send(bytes);
        }
    }

    /// Its input ends after what was sent.
    pub(super) fn end_input(&mut self) {
        self.input = None;
    }

    /// Its exit status, if it ends by itself until then; after that, and after it ended, nothing that it started is left.
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

    /// Why it ended, once its output has.
    pub fn ended(&mut self) -> ChildError {
        let status = self.status_by(Instant::now() + LAST_WORDS);
        let status = status.map_or_else(|| "it closed its output and was stopped".to_owned(), |s| s.to_string());
        ChildError::Ended { status, said: self.complaints() }
    }

    /// The end of what it complained of, on one line.
    pub fn complaints(&self) -> String {
        let kept = self.complaints.lock().unwrap_or_else(PoisonError::into_inner);
        let text = String::from_utf8_lossy(&kept).into_owned();
        text.split_whitespace().collect::<Vec<_>>().join(" ").trim_end_matches('.').to_owned()
    }

    /// Whether it has ended. It is not taken away yet, so that its number is still its own.
    #[cfg(unix)]
    fn has_ended(&mut self) -> bool {
        use rustix::process::{Pid, WaitId, WaitIdOptions, waitid};
        let options = WaitIdOptions::EXITED | WaitIdOptions::NOHANG | WaitIdOptions::NOWAIT;
        let pid = i32::try_from(self.child.id()).ok().and_then(Pid::from_raw);
        // Where it cannot be asked about it is gone.
        pid.is_none_or(|pid| waitid(WaitId::Pid(pid), options).map_or(true, |status| status.is_some()))
    }

    #[cfg(not(unix))]
    fn has_ended(&mut self) -> bool {
        self.child.try_wait().map_or(true, |status| status.is_some())
    }

    /// Kills it and all that it started. Its number is its own as long as it was not taken away.
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
        // After it was taken away its number may be another one's.
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

/// A thread, or a sentence where the system has none to give.
pub(super) fn in_thread(work: impl FnOnce() + Send + 'static) -> Result<(), ChildError> {
    thread::Builder::new().spawn(work).map(drop).map_err(ChildError::NotStarted)
}

/// Takes everything, keeps the end.
fn keep_the_end(mut from: impl Read, kept: &Mutex<Vec<u8>>) {
    let mut some = [0; COMPLAINTS];
    while let Ok(1..) = from.read(&mut some).inspect(|&read| {
        let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.extend_from_slice(&some[..read]);
        let over = kept.len().saturating_sub(COMPLAINTS);
        kept.drain(..over);
    }) {}
}
