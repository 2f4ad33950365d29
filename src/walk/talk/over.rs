//! Barge-in: listening while prompts play, where the walk allows it. Speech over a question cuts it. What was said is the answer if it is
//! recognised with confidence; otherwise the question is repeated. Cautions, answers said back, confirmations and changes to the bike play
//! to their end: nobody can answer them before they have been said. Meanwhile only "stop" and "hold on" count.

use crate::phrase::{Answer, Command, Verdict};
use crate::session::{Miss, Record};
use crate::walk::event::{Effect, Tone};
use crate::walk::memory::{Hearing, Over};
use crate::walk::walker::Walker;

/// After this many consecutive prompts interrupted by a non-answer (a radio, the program's own voice), prompts play to their end until an
/// answer is accepted.
const MOST_FALSE_BARGEINS: u32 = 2;
/// The commands that count over a prompt that plays to its end.
const SILENCING: [Answer; 2] = [Answer::Command(Command::Stop), Answer::Command(Command::Pause)];

impl Walker {
    /// Whether the user may speak over prompts.
    pub fn is_spoken_over(&self) -> bool {
        self.talk.bargein
    }

    /// Whether the open listen began over prompts that have not ended.
    pub fn is_listening_over(&self) -> bool {
        self.talk.over.is_some()
    }

    fn has_to_be_heard(&self) -> bool {
        self.talk.false_bargeins >= MOST_FALSE_BARGEINS
            || self.talk.speaking.values().any(|spoken| spoken.hearing == Hearing::Whole)
    }

    /// One of several prompts has ended. From here on an answer may count, unless somebody is speaking.
    pub(in crate::walk) fn less_to_be_heard(&mut self) {
        if self.talk.over == Some(Over::Silencing) && !self.is_speaking() && !self.has_to_be_heard() {
            self.listen_over();
        }
    }

    /// The last prompt has ended. Returns whether the listen that was open over it goes on.
    pub(in crate::walk) fn goes_on_listening(&mut self) -> bool {
        match self.talk.over {
            Some(Over::Answer) => {
                self.talk.listen_after = false;
                self.talk.over = None;
                // A user who is already speaking needs no tone.
                if !self.is_speaking() {
                    self.tone(Tone::Listening);
                    self.start_silence();
                }
                true
            }
            // Speech over the end of the prompt may be "stop".
            Some(Over::Silencing) => self.is_speaking(),
            None => false,
        }
    }

    /// Listens while prompts play.
    pub(in crate::walk) fn listen_over(&mut self) {
        if !self.talk.bargein || self.talk.microphone_gone || self.mute {
            return;
        }
        let over = if self.has_to_be_heard() { Over::Silencing } else { Over::Answer };
        let (grammar, high) = match self.grammar() {
            Ok(both) => both,
            Err(why) => return self.fault(&why),
        };
        self.deaf();
        self.talk.listen_after = true;
        let silences = grammar.phrases.iter().any(|p| SILENCING.contains(&p.answer));
        if over == Over::Silencing && !silences {
            return;
        }
        let id = self.id();
        self.talk.listening = Some(id);
        self.talk.over = Some(over);
        self.out.push(Effect::Listen { id, grammar, high, bargein: over == Over::Answer });
    }

    /// Somebody began to speak. Returns whether that cut a prompt.
    pub(in crate::walk) fn cuts_a_prompt(&self) -> bool {
        self.talk.over == Some(Over::Answer) && !self.talk.speaking.is_empty()
    }

    /// Handles speech over a prompt that is not accepted. Returns whether it was handled.
    pub(in crate::walk) fn rejects_over_prompt(&mut self, verdict: &Verdict, clip: Option<&String>) -> bool {
        let cut = std::mem::take(&mut self.talk.cut_short);
        if self.talk.over == Some(Over::Silencing) {
            // Everything but the silencing commands is ignored.
            let silences = matches!(verdict, Verdict::Accept { heard } if SILENCING.contains(&heard.answer));
            if !silences {
                self.deaf();
                self.listen_when_quiet();
            }
            return !silences;
        }
        match verdict {
            Verdict::Accept { .. } => {
                self.talk.false_bargeins = 0;
                false
            }
            Verdict::Reject { free, stranger } if cut => {
                self.talk.false_bargeins += 1;
                let (free, clip) = (free.clone(), clip.cloned());
                let why = if *stranger { Miss::Stranger } else { Miss::NoMatch };
                self.note_down(Record::NoAnswer { step: self.step_id(), why, free, clip });
                self.deaf();
                self.repeat_last();
                self.listen_when_quiet();
                true
            }
            _ => false,
        }
    }
}
