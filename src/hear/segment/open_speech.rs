//! Speech under way: how much voice it holds, and whether the voice after a pause is the same speaker or a nearer one.

use super::settings::{ActivitySettings, FRAME, samples};

/// Speech under way.
#[derive(Debug)]
pub(super) struct OpenSpeech {
    pub(super) begin: u64,
    pub(super) voice_begin: u64,
    /// One past the last frame of voice.
    pub(super) voice_end: u64,
    /// One past the last frame that would start speech.
    pub(super) sure_end: u64,
    pub(super) voiced: u64,
    pub(super) level: VoiceLevel,
    pub(super) resumed: Resumed,
    pub(super) sound: Vec<f32>,
    pub(super) began_reported: bool,
    /// `voice_end` of the preliminary version already reported, and of the early version already delivered.
    pub(super) reported: Option<u64>,
    pub(super) delivered: Option<u64>,
}

/// Voice after a pause. It continues the speech once it holds as much voice, less the silence in it, as speech needs to start; a clank
/// does not.
#[derive(Debug, Default)]
pub(super) struct Resumed {
    pub(super) begin: u64,
    /// Length of the pause.
    pause: u64,
    pub(super) voiced: u64,
    pub(super) level: VoiceLevel,
    /// It continues the speech; whose voice it is has not been decided.
    carries: bool,
}

/// Loudness of voice: the mean of the frames' mean squares, each weighted by itself, so that soft beginnings and ends count little.
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

/// After a pause of at least [`NEARER_PAUSE`], voice this many times more powerful (7 dB) is a nearer speaker. The comparison covers
/// [`NEARER_VOICE`], or the voice up to the next pause. Chosen, not fitted: in our measurements a radio is 10 dB below the person at the
/// microphone, and one person's words differ by less than 7 dB.
const NEARER: f32 = 5.0;
const NEARER_PAUSE: u64 = samples(400);
const NEARER_VOICE: u64 = samples(240);

impl OpenSpeech {
    /// Adds one frame.
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

    /// Decides whose voice follows the pause, once there is enough of it: true for a nearer speaker; otherwise the same speech goes on.
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

    /// Splits off what follows the pause as separate speech, with some sound before it.
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
            began_reported: false,
            reported: None,
            delivered: None,
        };
        (self.voice_end, self.voiced) = (voice_begin - pause, self.voiced - voiced);
        self.sure_end = self.voice_end;
        apart
    }
}
