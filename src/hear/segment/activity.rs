//! Voice activity and end of speech: takes a stream of 16 kHz mono samples, reports where speech begins and delivers whole utterances.
//!
//! The segmenter counts samples and reads no clock, so a file gives the same result faster than real time. A frame is voice when the
//! detector (the Silero network) scores it as voice and it stands clear of a noise floor that follows the room.

use super::detector::Detector;
use super::open_speech::{OpenSpeech, Resumed, VoiceLevel};
use super::settings::{ActivitySettings, FRAME, samples};
use crate::hear::ears::Utterance;
use crate::hear::hear_error::HearError;
use crate::hear::level::power;
use std::collections::VecDeque;

/// Event found in the stream.
#[derive(Debug, Clone, PartialEq)]
pub enum Voiced {
    /// Speech has begun: there was enough voice.
    Began {
        /// First sample of voice at [`RATE`](crate::hear::RATE).
        at: u64,
    },
    /// Speech pauses: the utterance that will be delivered unless speech resumes.
    Pausing(Utterance),
    /// An utterance: speech followed by silence.
    Utterance(Utterance),
}

/// Which thresholds a frame must pass to count as voice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::hear) enum SpeechThreshold {
    /// No prompt is playing.
    Usual,
    /// A prompt is playing, and some of its echo may remain.
    #[cfg_attr(not(feature = "sound"), expect(dead_code, reason = "a build without sound plays no prompt"))]
    OverPrompt,
}

/// Detector scores at which a frame starts speech and at which it continues speech, as the network's authors advise.
const SCORE_BEGINS: f32 = 0.5;
const SCORE_CARRIES: f32 = 0.35;
/// Least power of voice over the noise floor: 5 dB to start speech, 2.5 dB to continue it.
const ABOVE_FLOOR: (f32, f32) = (3.2, 1.8);
/// A frame that only passes the lower thresholds continues speech for this long after the last frame that passed the higher ones.
/// Without the limit, noise after speech prolongs the utterance until somebody speaks again.
const CARRIES: u64 = samples(200);
/// Over a prompt: 7 dB and 3 dB above the floor, and more voice before speech is reported.
const ABOVE_FLOOR_OVER_PROMPT: (f32, f32) = (5.0, 2.0);
const LEAST_VOICE_OVER_PROMPT: u64 = samples(96);
/// Mean square below which nothing is voice: -75 dB of full scale, below the quietest speech from a microphone.
const LEAST_POWER: f32 = 3.2e-8;
/// The detector scores louder speech higher, so sound from a room quieter than this root mean square is amplified for it, by a limited gain.
const BOOST_TO: f32 = 0.02;
const MOST_BOOST: f32 = 20.0;
/// The gain never lifts the recent peak above this share of full scale: a clipped word scores like noise. The peak halves in 1.1 s.
const BOOST_PEAK: f32 = 0.5;
const PEAK_DECAY: f32 = 0.99;
/// Share by which the floor moves towards a frame: down, up, and up during speech.
const FLOOR_FALLS: f32 = 0.1;
const FLOOR_RISES: f32 = 0.01;
const FLOOR_RISES_IN_SPEECH: f32 = 0.001;

/// Cuts utterances out of a stream of sound.
pub struct Activity {
    settings: ActivitySettings,
    detector: Detector,
    partial: Vec<f32>,
    /// Samples decided so far.
    position: u64,
    /// Sound before speech, at most `pre_roll` samples.
    before: VecDeque<f32>,
    floor: f32,
    /// Recent peak.
    peak: f32,
    /// The floor is still unknown: the first frame that is not silent and not over a prompt sets it.
    floor_unknown: bool,
    threshold: SpeechThreshold,
    open: Option<OpenSpeech>,
}

impl std::fmt::Debug for Activity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Activity").field("position", &self.position).field("floor", &self.floor).finish_non_exhaustive()
    }
}

impl Activity {
    /// Starts at sample 0.
    ///
    /// # Errors
    /// When the voice detector's files are missing or unusable.
    pub fn new(settings: ActivitySettings) -> Result<Self, HearError> {
        Ok(Self {
            settings,
            detector: Detector::load()?,
            partial: Vec::with_capacity(FRAME),
            position: 0,
            before: VecDeque::new(),
            floor: 0.0,
            peak: 0.0,
            floor_unknown: false,
            threshold: SpeechThreshold::Usual,
            open: None,
        })
    }

    /// As [`Activity::new`], with the default settings.
    ///
    /// # Errors
    /// As [`Activity::new`].
    pub fn usual() -> Result<Self, HearError> {
        Self::new(ActivitySettings::default())
    }

    /// The settings in use.
    #[cfg(feature = "sound")]
    pub(in crate::hear) fn settings(&self) -> &ActivitySettings {
        &self.settings
    }

    /// Prepares for another recording, from sample 0.
    fn restart(&mut self) {
        self.forget();
        self.detector.restart();
        (self.position, self.floor, self.peak, self.floor_unknown, self.threshold) =
            (0, 0.0, 0.0, false, SpeechThreshold::Usual);
    }

    /// Samples decided so far, at [`RATE`](crate::hear::RATE).
    pub fn position(&self) -> u64 {
        self.position
    }

    /// Noise floor: mean square of the quiet frames, full scale 1.
    #[cfg(any(test, feature = "sound"))]
    pub(in crate::hear) fn noise_floor(&self) -> f32 {
        self.floor
    }

    /// The stream may start with silence or during a prompt, so its first frame must not set the noise floor.
    #[cfg(feature = "sound")]
    pub(in crate::hear) fn wait_for_floor(&mut self) {
        self.floor_unknown = true;
    }

    /// Sets the thresholds from here on.
    #[cfg(feature = "sound")]
    pub(in crate::hear) fn set_threshold(&mut self, threshold: SpeechThreshold) {
        self.threshold = threshold;
    }

    /// Takes sound at [`RATE`](crate::hear::RATE) and appends events to `out`.
    pub fn push(&mut self, sound: &[f32], out: &mut Vec<Voiced>) {
        let mut rest = sound;
        while !rest.is_empty() {
            let take = rest.len().min(FRAME - self.partial.len());
            self.partial.extend_from_slice(&rest[..take]);
            rest = &rest[take..];
            if self.partial.len() == FRAME {
                let frame = std::mem::take(&mut self.partial);
                self.frame(&frame, out);
                self.partial = frame;
                self.partial.clear();
            }
        }
    }

    /// Skips sound: positions advance, and an utterance under way is dropped.
    pub fn skip(&mut self, count: u64) {
        self.forget();
        self.position += count;
    }

    /// Ends the stream: delivers the utterance under way, if any.
    pub fn finish(&mut self, out: &mut Vec<Voiced>) {
        if !self.partial.is_empty() {
            let fill = vec![0.0; FRAME - self.partial.len()];
            self.push(&fill, out);
        }
        if let Some(open) = self.open.take()
            && open.voiced >= self.settings.least_voice
        {
            self.deliver(&open, true, out);
        }
    }

    /// Finds the stretch from the first voice to the last in a whole recording at [`RATE`](crate::hear::RATE); none if nobody speaks. The recording
    /// stands alone: earlier sound has no influence, and positions restart at 0.
    pub fn speech_in<'s>(&mut self, sound: &'s [f32]) -> Option<&'s [f32]> {
        self.restart();
        let mut found = Vec::new();
        self.push(sound, &mut found);
        self.finish(&mut found);
        let ends = found.iter().filter_map(|f| match f {
            Voiced::Utterance(u) => Some((u.begin, u.end)),
            Voiced::Began { .. } | Voiced::Pausing(_) => None,
        });
        let (begin, end) = ends.reduce(|(b, e), (begin, end)| (b.min(begin), e.max(end)))?;
        let end = (end as usize).min(sound.len());
        Some(&sound[(begin as usize).min(end)..end])
    }

    /// Drops the utterance under way and the sound before it; the next utterance starts after this point.
    pub fn forget(&mut self) {
        self.open = None;
        self.before.clear();
        self.partial.clear();
    }

    fn frame(&mut self, frame: &[f32], out: &mut Vec<Voiced>) {
        let clean: Vec<f32> = frame.iter().map(|s| if s.is_finite() { s.clamp(-1.0, 1.0) } else { 0.0 }).collect();
        let power = power(&clean);
        self.peak = clean.iter().fold(self.peak * PEAK_DECAY, |most, s| most.max(s.abs()));
        let wanted = (BOOST_TO / self.floor.sqrt().max(1e-9)).min(BOOST_PEAK / self.peak.max(1e-9));
        let gain = wanted.clamp(1.0, MOST_BOOST);
        let boosted: Vec<f32> = clean.iter().map(|s| s * gain).collect();
        let score = self.detector.score(&boosted);
        let pausing = self.open.as_ref().is_some_and(|o| self.position - o.voice_end >= self.settings.short_silence);
        let speaking = self.open.as_ref().is_some_and(|o| self.position - o.sure_end < CARRIES);
        let above_floor = match self.threshold {
            SpeechThreshold::Usual => ABOVE_FLOOR,
            SpeechThreshold::OverPrompt => ABOVE_FLOOR_OVER_PROMPT,
        };
        let passes = |score_needed, above| power > LEAST_POWER && score >= score_needed && power > self.floor * above;
        let sure = passes(SCORE_BEGINS, above_floor.0);
        let voice = sure || (speaking && passes(SCORE_CARRIES, above_floor.1));
        match self.threshold {
            SpeechThreshold::Usual => self.follow_floor(power, speaking, voice),
            SpeechThreshold::OverPrompt => {}
        }
        let at = self.position;
        self.position += FRAME as u64;
        if voice && self.open.is_none() {
            let before: Vec<f32> = self.before.drain(..).collect();
            self.open = Some(OpenSpeech {
                begin: at - before.len() as u64,
                voice_begin: at,
                voice_end: at,
                sure_end: at,
                voiced: 0,
                level: VoiceLevel::default(),
                resumed: Resumed::default(),
                sound: before,
                began_reported: false,
                reported: None,
                delivered: None,
            });
        }
        match self.open.take() {
            None => self.keep_before(&clean),
            Some(mut open) => {
                open.sound.extend_from_slice(&clean);
                if sure {
                    open.sure_end = self.position;
                }
                open.frame(at, voice, power, pausing, self.settings.least_voice);
                if open.is_nearer(self.position, &self.settings) {
                    let nearer = open.split(self.position, self.settings.pre_roll);
                    self.deliver(&open, true, out);
                    open = nearer;
                }
                self.open = self.report(open, out);
            }
        }
    }

    fn follow_floor(&mut self, power: f32, speaking: bool, voice: bool) {
        if self.floor == 0.0 && (self.position == 0 || self.floor_unknown) {
            self.floor = power;
        }
        let share = match (power < self.floor, speaking || voice) {
            (true, _) => FLOOR_FALLS,
            (false, false) => FLOOR_RISES,
            (false, true) => FLOOR_RISES_IN_SPEECH,
        };
        self.floor += (power - self.floor) * share;
    }

    fn keep_before(&mut self, frame: &[f32]) {
        self.before.extend(frame);
        let excess = self.before.len().saturating_sub(self.settings.pre_roll as usize);
        self.before.drain(..excess);
    }

    /// Reports what is due for the speech under way; returns it unless it has ended.
    fn report(&mut self, mut open: OpenSpeech, out: &mut Vec<Voiced>) -> Option<OpenSpeech> {
        let silence = self.position - open.voice_end;
        let least = match self.threshold {
            SpeechThreshold::OverPrompt if !open.began_reported => {
                self.settings.least_voice.max(LEAST_VOICE_OVER_PROMPT)
            }
            _ => self.settings.least_voice,
        };
        let enough = open.voiced >= least;
        if enough && !open.began_reported {
            open.began_reported = true;
            out.push(Voiced::Began { at: open.voice_begin });
        }
        if !enough && silence >= self.settings.short_silence {
            let tail = open.sound.len().saturating_sub(self.settings.pre_roll as usize);
            self.before = open.sound.drain(tail..).collect();
            return None;
        }
        if enough && silence >= self.settings.first_silence && open.reported != Some(open.voice_end) {
            open.reported = Some(open.voice_end);
            out.push(Voiced::Pausing(self.cut_out(&open, false)));
        }
        let too_long = open.sound.len() as u64 >= self.settings.longest;
        if enough && (silence >= self.settings.long_silence || too_long) {
            self.deliver(&open, true, out);
            self.before.clear();
            return None;
        }
        if enough && silence >= self.settings.short_silence && open.delivered != Some(open.voice_end) {
            open.delivered = Some(open.voice_end);
            self.deliver(&open, false, out);
        }
        Some(open)
    }

    fn deliver(&self, open: &OpenSpeech, last: bool, out: &mut Vec<Voiced>) {
        out.push(Voiced::Utterance(self.cut_out(open, last)));
    }

    fn cut_out(&self, open: &OpenSpeech, last: bool) -> Utterance {
        let length = (open.voice_end + self.settings.tail - open.begin).min(open.sound.len() as u64);
        Utterance {
            begin: open.begin,
            end: open.begin + length,
            sound: open.sound[..length as usize].into(),
            waited: self.position - open.voice_end,
            last,
            likeness: None,
        }
    }
}
