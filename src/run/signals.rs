//! Signals that end the program: Ctrl-C, SIGTERM and SIGHUP; on Windows Ctrl-C, Ctrl-Break and closing the window. They are registered
//! once, before any slow work, and handled on their own thread, so a busy program cannot miss one. The first signal ends the walk with its
//! closing words, the second ends it at once. If the program still runs `GRACE` after the second, this module restores the terminal and
//! exits.

use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, Once, PoisonError};
use std::time::Duration;
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};

/// Time after the second interrupt for closing the journal.
const GRACE: Duration = Duration::from_millis(1500);
/// Exit status of a program that a signal ended, by the shells' convention: this plus the signal's number.
const STATUS: i32 = 128;

/// The signal's name in the record, and its number.
type Kind = (&'static str, i32);

const KEY: Kind = ("the interrupt key was pressed", 2);
#[cfg(unix)]
const TERMINAL: Kind = ("the terminal was closed", 1);
const SYSTEM: Kind = ("the system asked the program to end", 15);

static REGISTERED: Once = Once::new();
static HEARD: AtomicU32 = AtomicU32::new(0);
static LISTENERS: Mutex<Vec<UnboundedSender<&'static str>>> = Mutex::new(Vec::new());

/// Receives interrupts from its creation on.
#[derive(Debug)]
pub struct Interrupts {
    from: UnboundedReceiver<&'static str>,
    any: bool,
}

impl Interrupts {
    /// Starts to receive.
    pub fn listen() -> Self {
        register();
        let (to, from) = unbounded_channel();
        let mut listeners = LISTENERS.lock().unwrap_or_else(PoisonError::into_inner);
        listeners.retain(|to| !to.is_closed());
        listeners.push(to);
        HEARD.store(0, Ordering::SeqCst);
        Self { from, any: false }
    }

    /// Waits for an interrupt and returns the reason to end.
    pub async fn next(&mut self) -> &'static str {
        match self.from.recv().await {
            Some(why) => {
                self.any = true;
                why
            }
            None => std::future::pending().await,
        }
    }

    /// Whether one has arrived.
    pub(super) fn has_come(&mut self) -> bool {
        self.any |= self.from.try_recv().is_ok();
        self.any
    }
}

/// Registers the signals. Later calls do nothing.
pub fn register() {
    REGISTERED.call_once(|| {
        let (ready, registered) = std::sync::mpsc::channel();
        let watch = move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
            match runtime {
                Ok(runtime) => runtime.block_on(watch(&ready)),
                Err(why) => tracing::warn!(%why, "no event loop for signals"),
            }
        };
        if let Err(why) = std::thread::Builder::new().name("signals".into()).spawn(watch) {
            tracing::warn!(%why, "no thread for signals");
        }
        // A thread that could not start has dropped its end.
        let _ = registered.recv();
    });
}

/// Reports the interrupt key if the terminal delivers single keys instead of a signal.
pub fn key_pressed() {
    heard(KEY);
}

#[cfg(unix)]
async fn watch(ready: &std::sync::mpsc::Sender<()>) {
    use tokio::signal::unix::{SignalKind, signal};
    let all = (signal(SignalKind::interrupt()), signal(SignalKind::terminate()), signal(SignalKind::hangup()));
    let (Ok(mut key), Ok(mut system), Ok(mut terminal)) = all else {
        return tracing::warn!("signals cannot be registered");
    };
    let _ = ready.send(());
    loop {
        tokio::select! {
            Some(()) = key.recv() => heard(KEY),
            Some(()) = system.recv() => heard(SYSTEM),
            Some(()) = terminal.recv() => heard(TERMINAL),
            else => return,
        }
    }
}

#[cfg(windows)]
async fn watch(ready: &std::sync::mpsc::Sender<()>) {
    use tokio::signal::windows::{ctrl_break, ctrl_c, ctrl_close};
    let (Ok(mut key), Ok(mut other), Ok(mut closed)) = (ctrl_c(), ctrl_break(), ctrl_close()) else {
        return tracing::warn!("signals cannot be registered");
    };
    let _ = ready.send(());
    loop {
        tokio::select! {
            Some(()) = key.recv() => heard(KEY),
            Some(()) = other.recv() => heard(KEY),
            Some(()) = closed.recv() => heard(SYSTEM),
            else => return,
        }
    }
}

/// Passes the signal to all receivers. The program ends at once if there is none, and after `GRACE` at the second signal.
fn heard((why, signal): Kind) {
    let before = HEARD.fetch_add(1, Ordering::SeqCst);
    let told = {
        let mut listeners = LISTENERS.lock().unwrap_or_else(PoisonError::into_inner);
        listeners.retain(|to| to.send(why).is_ok());
        !listeners.is_empty()
    };
    if !told {
        leave(signal);
    }
    if before == 1 {
        let last = move || {
            std::thread::sleep(GRACE);
            leave(signal);
        };
        if std::thread::Builder::new().spawn(last).is_err() {
            leave(signal);
        }
    }
}

/// Restores the terminal and ends the program.
fn leave(signal: i32) -> ! {
    let _ = crossterm::terminal::disable_raw_mode();
    std::process::exit(STATUS + signal);
}
