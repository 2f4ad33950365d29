//! Speech under way: how much voice it has had, and whose the voice after a pause is.

use super::settings::{ActivitySettings, FRAME, samples};

/// Speech under way.
#[derive(Debug)]
pub(super) struct OpenSpeech {
    pub(super) begin: u64,
    pub(super) voice_begin: u64,
    /// One past the last frame of voice.
    pub(super) voice_end: u64,
    /// One past the last frame that would begin speech.
    pub(super) sure_end: u64,
    pub(super) voiced: u64,
    pub(super) level: VoiceLevel,
    pub(super) resumed: Resumed,
    pub(super) sound: Vec<f32>,
    pub(super) began_told: bool,
    /// `voice_end` of the version already told beforehand, and of the early one already handed over.
    pub(super) told: Option<u64>,
    pub(super) handed: Option<u64>,
}

/// Voice after a pause. Less the silence in it, it carries speech on when it is as much as begins one; a clank is not.
#[derive(Debug, Default)]
pub(super) struct Resumed {
    pub(super) begin: u64,
    /// Silence before it.
    pause: u64,
    pub(super) voiced: u64,
    pub(super) level: VoiceLevel,
    /// It carries speech on; whose it is is not decided yet.
    carries: bool,
}

/// How loud voice is: the mean of its frames' mean squares, each weighted by itself, so that soft beginnings and ends count little.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct VoiceLevel {
    sum: f32,
    of_squares: f32,
}

impl VoiceLevel {
    pub(super) fn add(&mut self, power: f32) {
        self.sum += power;
        self.of_squares += power * power;
    }

    pub(super) fn and(self, other: Self) -> Self {
        Self { sum: self.sum + other.sum, of_squares: self.of_squares + other.of_squares }
    }

    pub(super) fn power(self) -> f32 {
        if self.sum > 0.0 { self.of_squares / self.sum } else { 0.0 }
    }
}

/// Somebody nearer speaks where it is this many times louder (7 dB) after a pause of so many samples, over so much voice or until
/// the next pause. Chosen: a radio is 10 dB below the person at the microphone in our measurements, and one person's words differ less.
const NEARER: f32 = 5.0;
const NEARER_PAUSE: u64 = samples(400);
const NEARER_VOICE: u64 = samples(240);

impl OpenSpeech {
    /// Takes a frame into account.
    pub(super) fn frame(&mut self, at: u64, voice: bool, power: f32, pausing: bool, least_voice: u64) {
        const LENGTH: u64 = FRAME as u64;
        let end = at + LENGTH;
        let resumed = &mut self.resumed;
        match (voice, pausing) {
            (true, true) => {
                if resumed.voiced == 0 {
                    *resumed = Resumed { begin: at, pause: at - self.voice_end, ..Resumed::default() };
                }
                resumed.voiced += LENGTH;
                resumed.level.add(power);
            }
            (false, true) => resumed.voiced = resumed.voiced.saturating_sub(LENGTH),
            (true, false) => {
                (self.voice_end, self.voiced) = (end, self.voiced + LENGTH);
                if resumed.carries {
                    resumed.voiced += LENGTH;
                    resumed.level.add(power);
                } else {
                    self.level.add(power);
                }
            }
            (false, false) => {}
        }
        if pausing && resumed.voiced >= least_voice {
            resumed.carries = true;
            (self.voice_end, self.voiced) = (end, self.voiced + resumed.voiced);
        }
    }

    /// Decides whose the voice after the pause is, when there is enough of it: somebody's who is nearer than whoever spoke before, or
    /// the same speech going on.
    pub(super) fn is_nearer(&mut self, position: u64, settings: &ActivitySettings) -> bool {
        let resumed = &self.resumed;
        let enough = resumed.voiced >= NEARER_VOICE || position - self.voice_end >= settings.short_silence;
        if !resumed.carries || !enough {
            return false;
        }
        let before = self.voiced - resumed.voiced;
        let louder = resumed.level.power() > NEARER * self.level.power();
        if louder && resumed.pause >= NEARER_PAUSE && before >= settings.least_voice {
            return true;
        }
        let Resumed { level, .. } = std::mem::take(&mut self.resumed);
        self.level = self.level.and(level);
        false
    }

    /// Takes what follows the pause out as speech of its own, with some sound before it.
    pub(super) fn split(&mut self, position: u64, pre_roll: u64) -> Self {
        let Resumed { begin: voice_begin, voiced, level, pause, .. } = std::mem::take(&mut self.resumed);
        let begin = voice_begin.saturating_sub(pre_roll).max(self.begin);
        let keep = (position - begin).min(self.sound.len() as u64) as usize;
        let apart = Self {
            begin,
            voice_begin,
            voice_end: self.voice_end,
            sure_end: self.sure_end,
            voiced,
            level,
            resumed: Resumed::default(),
            sound: self.sound.split_off(self.sound.len() - keep),
            began_told: false,
            told: None,
            handed: None,
        };
        (self.voice_end, self.voiced) = (voice_begin - pause, self.voiced - voiced);
        self.sure_end = self.voice_end;
        apart
    }
}
