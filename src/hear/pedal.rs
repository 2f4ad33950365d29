//! Keys and a foot pedal that acts as a keyboard: single key presses from the terminal while hearing by microphone.
//!
//! The terminal is put back as it was when the [`Pedal`] is dropped, and at a second Ctrl-C, which ends the program.

use super::ears::{EarEvent, EarSender, PedalKey};
use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, poll, read};
use crossterm::terminal::{disable_raw_mode, enable_raw_mode};
use std::io::IsTerminal;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How often the reader looks whether it is to end.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// Two Ctrl-C within this time end the program.
const SECOND_CTRL_C: Duration = Duration::from_secs(2);
/// Exit status after Ctrl-C, as shells give it: 128 + SIGINT.
const STATUS_INTERRUPTED: i32 = 130;

/// Listens to keys until dropped.
#[derive(Debug)]
pub struct Pedal {
    over: Arc<AtomicBool>,
    reader: Option<JoinHandle<()>>,
}

impl Pedal {
    /// Starts listening to keys; none where standard input is no terminal, or one that cannot give single keys.
    pub fn start(to: EarSender) -> Option<Self> {
        if !std::io::stdin().is_terminal() || enable_raw_mode().is_err() {
            return None;
        }
        keep_line_ends();
        let over = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&over);
        let reader = std::thread::spawn(move || listen(&to, &told));
        Some(Self { over, reader: Some(reader) })
    }
}

impl Drop for Pedal {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        if let Some(reader) = self.reader.take() {
            let _ = reader.join();
        }
        let _ = disable_raw_mode();
    }
}

/// Raw mode also stops the terminal from returning the carriage at a line's end, which printed prompts need.
fn keep_line_ends() {
    if cfg!(unix) {
        let _ = Command::new("stty").args(["opost", "onlcr"]).stdout(Stdio::null()).stderr(Stdio::null()).status();
    }
}

fn listen(to: &EarSender, over: &AtomicBool) {
    let mut last_stop: Option<Instant> = None;
    while !over.load(Ordering::Relaxed) {
        match poll(LOOK_EVERY) {
            Ok(false) => continue,
            Err(_) => return,
            Ok(true) => {}
        }
        let Ok(Event::Key(key)) = read() else { continue };
        if is_ctrl_c(&key) {
            if last_stop.is_some_and(|at| at.elapsed() < SECOND_CTRL_C) {
                let _ = disable_raw_mode();
                std::process::exit(STATUS_INTERRUPTED);
            }
            last_stop = Some(Instant::now());
        }
        if let Some(pressed) = meaning(&key)
            && to.send(EarEvent::Pedal(pressed)).is_err()
        {
            return;
        }
    }
}

fn is_ctrl_c(key: &KeyEvent) -> bool {
    key.modifiers.contains(KeyModifiers::CONTROL) && key.code == KeyCode::Char('c')
}

/// What a key means; pedals are sold sending page keys, F-keys, space or enter (common practice, no source).
fn meaning(key: &KeyEvent) -> Option<PedalKey> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    if is_ctrl_c(key) {
        return Some(PedalKey::Stop);
    }
    match key.code {
        KeyCode::Char(' ') | KeyCode::Enter | KeyCode::PageDown | KeyCode::Down | KeyCode::Right => {
            Some(PedalKey::Listen)
        }
        KeyCode::F(n) if n % 2 == 1 => Some(PedalKey::Listen),
        KeyCode::F(_) | KeyCode::PageUp | KeyCode::Up | KeyCode::Left | KeyCode::Char('r' | 'R') => {
            Some(PedalKey::Repeat)
        }
        KeyCode::Esc => Some(PedalKey::Stop),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_mean_what_pedals_send() {
        let press = |code, modifiers| meaning(&KeyEvent::new(code, modifiers));
        assert_eq!(press(KeyCode::PageDown, KeyModifiers::NONE), Some(PedalKey::Listen));
        assert_eq!(press(KeyCode::F(13), KeyModifiers::NONE), Some(PedalKey::Listen));
        assert_eq!(press(KeyCode::PageUp, KeyModifiers::NONE), Some(PedalKey::Repeat));
        assert_eq!(press(KeyCode::Char('c'), KeyModifiers::CONTROL), Some(PedalKey::Stop));
        assert_eq!(press(KeyCode::Char('c'), KeyModifiers::NONE), None);
        let mut up = KeyEvent::new(KeyCode::Enter, KeyModifiers::NONE);
        up.kind = KeyEventKind::Release;
        assert_eq!(meaning(&up), None);
    }
}
