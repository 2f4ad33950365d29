//! Answers typed on standard input: from a pipe one line per listen, from a terminal lines at any time.

use crate::hear::ears::{EarEvent, EarSender, Ears, PedalKey};
use std::io::{BufRead, IsTerminal};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, mpsc};

/// Longest typed line in bytes; the rest is cut, so that a pipe full of zeros cannot fill the memory.
const LONGEST_LINE: u64 = 4096;

/// Typed answers.
#[derive(Debug)]
pub struct Typed {
    /// Each message asks the reader for one line; none if lines come unasked.
    ask: Option<mpsc::Sender<()>>,
    /// A line has been asked for and has not arrived; opening again does not ask for a second one.
    owed: Arc<AtomicBool>,
}

impl Typed {
    /// Reads standard input, as a terminal or a pipe.
    pub fn from_stdin(to: EarSender) -> Self {
        let terminal = std::io::stdin().is_terminal();
        Self::new(to, || std::io::stdin().lock(), terminal)
    }

    /// Reads any input. With `terminal`, lines come at any time and an empty one is a press of the pedal.
    pub fn new<R: BufRead>(to: EarSender, open: impl FnOnce() -> R + Send + 'static, terminal: bool) -> Self {
        let (ask, asked) = mpsc::channel();
        let owed = Arc::new(AtomicBool::new(false));
        let paid = Arc::clone(&owed);
        std::thread::spawn(move || {
            let mut reader = open();
            loop {
                if !terminal && asked.recv().is_err() {
                    return;
                }
                let event = next_event(&mut reader, terminal);
                let ended = event == EarEvent::Ended;
                paid.store(false, Ordering::Release);
                if to.send(event).is_err() || ended {
                    return;
                }
            }
        });
        Self { ask: (!terminal).then_some(ask), owed }
    }
}

fn next_event(reader: &mut impl BufRead, terminal: bool) -> EarEvent {
    loop {
        let mut bytes = Vec::new();
        let mut limited = std::io::Read::take(&mut *reader, LONGEST_LINE);
        match limited.read_until(b'\n', &mut bytes) {
            Ok(0) => return EarEvent::Ended,
            Ok(_) => {}
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(_) => return EarEvent::Ended,
        }
        if !bytes.ends_with(b"\n") && bytes.len() as u64 == LONGEST_LINE {
            skip_line(reader);
        }
        let line = String::from_utf8_lossy(&bytes);
        match line.trim() {
            "" if terminal => return EarEvent::Pedal(PedalKey::Listen),
            "" => {}
            line => return EarEvent::Typed(line.to_owned()),
        }
    }
}

fn skip_line(reader: &mut impl BufRead) {
    loop {
        let (used, done) = match reader.fill_buf() {
            Ok([]) | Err(_) => return,
            Ok(bytes) => match bytes.iter().position(|b| *b == b'\n') {
                Some(at) => (at + 1, true),
                None => (bytes.len(), false),
            },
        };
        reader.consume(used);
        if done {
            return;
        }
    }
}

impl Ears for Typed {
    fn open(&mut self) {
        if let Some(ask) = &self.ask
            && !self.owed.swap(true, Ordering::AcqRel)
        {
            let _ = ask.send(());
        }
    }

    fn close(&mut self) {}

    fn is_live(&self) -> bool {
        self.ask.is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;
    use tokio::sync::mpsc::unbounded_channel;

    #[test]
    fn a_piped_line_answers_each_listen_and_the_end_is_told() {
        let (to, mut from) = unbounded_channel();
        let mut typed = Typed::new(to, || Cursor::new("light on\n\n  twelve point four \r\nlast"), false);
        for want in ["light on", "twelve point four", "last"] {
            typed.open();
            assert_eq!(from.blocking_recv(), Some(EarEvent::Typed(want.into())));
            assert!(from.try_recv().is_err(), "a line came without being asked for");
            typed.close();
        }
        typed.open();
        assert_eq!(from.blocking_recv(), Some(EarEvent::Ended));
    }

    #[test]
    fn at_a_terminal_lines_come_unasked_and_an_empty_line_is_the_pedal() {
        let (to, mut from) = unbounded_channel();
        let _typed = Typed::new(to, || Cursor::new("dark\n\n"), true);
        assert_eq!(from.blocking_recv(), Some(EarEvent::Typed("dark".into())));
        assert_eq!(from.blocking_recv(), Some(EarEvent::Pedal(PedalKey::Listen)));
        assert_eq!(from.blocking_recv(), Some(EarEvent::Ended));
    }

    #[test]
    fn an_endless_line_is_cut_and_broken_text_is_no_panic() {
        let (to, mut from) = unbounded_channel();
        let mut bytes = vec![b'a'; 10_000];
        bytes.extend(b"\n\xff\xfe ok\n");
        let mut typed = Typed::new(to, || Cursor::new(bytes), false);
        typed.open();
        let Some(EarEvent::Typed(first)) = from.blocking_recv() else { panic!("no line") };
        assert_eq!(first.len() as u64, LONGEST_LINE);
        typed.open();
        let Some(EarEvent::Typed(second)) = from.blocking_recv() else { panic!("no second line") };
        assert!(second.ends_with("ok"));
    }
}
