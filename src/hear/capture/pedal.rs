//! Keys and foot pedals that act as keyboards: single key presses from the terminal while the microphone listens.
//!
//! Dropping the [`Pedal`] restores the terminal. In raw mode Ctrl-C raises no signal, so the caller passes a handler for it.

use crate::hear::ears::{EarEvent, EarSender, PedalKey};
use crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, poll, read};
use crossterm::terminal::{disable_raw_mode, enable_raw_mode};
use std::io::IsTerminal;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

/// Interval at which the reader checks whether to stop.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// Listens to keys until dropped.
#[derive(Debug)]
pub struct Pedal {
    over: Arc<AtomicBool>,
    reader: Option<JoinHandle<()>>,
}

impl Pedal {
    /// Starts listening to keys; none if standard input is not a terminal or has no raw mode. `interrupt` is called on Ctrl-C.
    pub fn start(to: EarSender, interrupt: fn()) -> Option<Self> {
        if !std::io::stdin().is_terminal() || enable_raw_mode().is_err() {
            return None;
        }
        keep_line_ends();
        let over = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&over);
        let reader = std::thread::spawn(move || listen(&to, &told, interrupt));
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

/// Raw mode also turns off the carriage return at line ends, which printed prompts need; turns it on again.
fn keep_line_ends() {
    if cfg!(unix) {
        let _ = Command::new("stty").args(["opost", "onlcr"]).stdout(Stdio::null()).stderr(Stdio::null()).status();
    }
}

fn listen(to: &EarSender, over: &AtomicBool, interrupt: fn()) {
    while !over.load(Ordering::Relaxed) {
        match poll(LOOK_EVERY) {
            Ok(false) => continue,
            Err(_) => return,
            Ok(true) => {}
        }
        let Ok(Event::Key(key)) = read() else { continue };
        if is_ctrl_c(&key) {
            interrupt();
        } else if let Some(pressed) = meaning(&key)
            && to.send(EarEvent::Pedal(pressed)).is_err()
        {
            return;
        }
    }
}

fn is_ctrl_c(key: &KeyEvent) -> bool {
    key.kind == KeyEventKind::Press && key.modifiers.contains(KeyModifiers::CONTROL) && key.code == KeyCode::Char('c')
}

/// Meaning of a key. Pedals send page keys, function keys, space or enter (common practice, without a source).
fn meaning(key: &KeyEvent) -> Option<PedalKey> {
    if key.kind == KeyEventKind::Release {
        return None;
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
        assert_eq!(press(KeyCode::Esc, KeyModifiers::NONE), Some(PedalKey::Stop));
        assert_eq!(press(KeyCode::Char('c'), KeyModifiers::NONE), None);
        let mut up = KeyEvent::new(KeyCode::Enter, KeyModifiers::NONE);
        up.kind = KeyEventKind::Release;
        assert_eq!(meaning(&up), None);
    }
}
