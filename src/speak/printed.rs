//! Prints prompts as lines, and reports the time that saying them would have taken.

use super::say::{Mouth, MouthEvent, MouthSender, RATE, Say};
use std::io::Write;

/// Characters of English text spoken per second: about 160 words a minute of 5.7 characters, spaces included. From memory, without a source.
const CHARACTERS_PER_SECOND: f32 = 15.0;

/// Estimated length of a spoken text, in samples at [`RATE`].
pub(super) fn spoken_samples(text: &str, speed: f32) -> u64 {
    let speed = if speed.is_finite() && speed > 0.0 { speed } else { 1.0 };
    (text.chars().count() as f32 / (CHARACTERS_PER_SECOND * speed) * RATE as f32) as u64
}

/// A mouth that prints.
pub struct Printed {
    to: MouthSender,
    out: Box<dyn Write>,
}

impl std::fmt::Debug for Printed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Printed").finish_non_exhaustive()
    }
}

impl Printed {
    /// Prints to standard output.
    pub fn to_stdout(to: MouthSender) -> Self {
        Self::new(to, crate::terminal::Lines::new())
    }

    /// Prints to any writer. After a failure, such as a closed pipe, nothing more is written and the walk goes on.
    pub fn new(to: MouthSender, out: impl Write + 'static) -> Self {
        Self { to, out: Box::new(out) }
    }
}

impl Mouth for Printed {
    fn say(&mut self, say: Say) {
        let _ = self.to.send(MouthEvent::PromptBegan { id: say.id });
        let printed = writeln!(self.out, "{}", say.text).and_then(|()| self.out.flush());
        if let Err(error) = printed {
            self.out = Box::new(std::io::sink());
            let _ = self.to.send(MouthEvent::Lost(format!("Prompts cannot be printed any more: {error}.")));
        }
        let samples = spoken_samples(&say.text, say.speed);
        let _ = self.to.send(MouthEvent::PromptEnded { id: say.id, whole: true, samples });
    }

    fn is_live(&self) -> bool {
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::sync::mpsc::unbounded_channel;

    #[test]
    fn a_printed_prompt_begins_and_ends_at_once_with_its_length() {
        let (to, mut from) = unbounded_channel();
        let file = tempfile::NamedTempFile::new().unwrap();
        let mut mouth = Printed::new(to, file.reopen().unwrap());
        mouth.say(Say::new(7, "Touch the lamp to the left points."));
        assert_eq!(from.try_recv(), Ok(MouthEvent::PromptBegan { id: 7 }));
        let Ok(MouthEvent::PromptEnded { id: 7, whole: true, samples }) = from.try_recv() else { panic!("no end") };
        assert!((RATE as u64..4 * RATE as u64).contains(&samples), "{samples}");
        assert_eq!(std::fs::read_to_string(file.path()).unwrap(), "Touch the lamp to the left points.\n");
    }

    #[test]
    fn a_closed_pipe_is_a_sentence_and_the_prompt_still_ends() {
        struct Closed;
        impl Write for Closed {
            fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
                Err(std::io::ErrorKind::BrokenPipe.into())
            }
            fn flush(&mut self) -> std::io::Result<()> {
                Ok(())
            }
        }
        let (to, mut from) = unbounded_channel();
        let mut mouth = Printed::new(to, Closed);
        mouth.say(Say::new(1, "one"));
        from.try_recv().unwrap();
        assert!(matches!(from.try_recv(), Ok(MouthEvent::Lost(_))));
        assert!(matches!(from.try_recv(), Ok(MouthEvent::PromptEnded { id: 1, whole: true, .. })));
    }
}
