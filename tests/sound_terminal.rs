//! A walk with a real microphone reads single keys from the terminal. However the walk ends, the terminal is restored. Uses a real sound
//! server (`tests/support/sound_loop.rs`) and a real pseudoterminal. "Restored" refers to POSIX.1-2017, `tcgetattr`: the flags of `struct
//! termios`.
#![cfg(all(feature = "sound", target_os = "linux"))]

#[path = "support/signal.rs"]
mod signal;
#[path = "support/sound_loop.rs"]
#[allow(dead_code)]
mod sound_loop;

use rustix::fd::OwnedFd;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{LocalModes, Termios, tcgetattr};
use signal::send;
use sound_loop::{SoundLoop, or_left_out};
use std::fs::OpenOptions;
use std::os::unix::process::CommandExt;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Time limit for a walk's start, and for its end, on a machine that runs other tests.
const LIMIT: Duration = Duration::from_secs(40);
/// Pause between two signals: the system merges a signal with an identical pending one.
const APART: Duration = Duration::from_millis(250);

fn flags(terminal: &OwnedFd) -> [u32; 4] {
    let Termios { input_modes, output_modes, control_modes, local_modes, .. } =
        tcgetattr(terminal).expect("a terminal");
    [input_modes.bits(), output_modes.bits(), control_modes.bits(), local_modes.bits()]
}

fn until(what: &str, mut is_so: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is_so() {
        assert!(begun.elapsed() < LIMIT, "{what}: not within {LIMIT:?}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn the_terminal_is_put_back_whatever_ends_the_walk() {
    let Some(sound) = SoundLoop::start() else { return };
    if or_left_out(probeside::hear::models::find()).is_none() {
        return;
    }
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudoterminal");
    grantpt(&master).and_then(|()| unlockpt(&master)).expect("it may be used");
    let name = ptsname(&master, Vec::new()).expect("its name").into_string().expect("text");
    let open = || OpenOptions::new().read(true).write(true).open(&name).expect("the terminal");
    let terminal = OwnedFd::from(open());
    let before = flags(&terminal);
    assert!(tcgetattr(&terminal).expect("a terminal").local_modes.contains(LocalModes::ICANON));
    for (at, (signal, times)) in
        [("TERM", 1), ("HUP", 1), ("INT", 1), ("TERM", 2), ("typed", 1)].into_iter().enumerate()
    {
        let mut command = Command::new(env!("CARGO_BIN_EXE_probeside"));
        command
            .args(["walk", "prove-lamp", "--bike", "borage-twin", "--faults", "none", "--say", "printed", "--into"])
            .arg(sound.file(&format!("walk-{at}")))
            .stdin(Stdio::from(open()))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .process_group(0);
        let mut child = command.spawn().expect("the program starts");
        until("single keys", || flags(&terminal) != before);
        // It reads keys, so its loop will be running soon. It must not be ended during the start.
        std::thread::sleep(Duration::from_secs(1));
        for _ in 0..times {
            match signal {
                "typed" => {
                    rustix::io::write(&master, b"\x03").expect("a key");
                }
                signal => send(signal, &child),
            }
            std::thread::sleep(APART);
        }
        until(signal, || child.try_wait().expect("its status").is_some());
        assert_eq!(flags(&terminal), before, "{signal} {times}");
    }
}
