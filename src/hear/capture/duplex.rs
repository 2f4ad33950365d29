//! Hearing while the loudspeaker plays (barge-in).
//!
//! The echo is cancelled, the residual echo is suppressed, and speech is detected in what remains. The beginning of speech over a prompt
//! is reported only if the echo path is known, the voice is clearly louder than the usual residual, and it does not resemble what is being
//! played. The input is samples and the output events; there is no device and no clock here.

use crate::hear::ears::{OWN_VOICE, RATE, Utterance};
use crate::hear::echo::canceller::{Cancelled, Canceller, STEP};
use crate::hear::echo::delay::{DelayFinder, EchoPath, LONGEST};
use crate::hear::echo::likeness::{AUDIBLE, FRAME, PlayedEnvelope};
use crate::hear::echo::residual::Residual;
use crate::hear::level::power;
use crate::hear::segment::activity::{Activity, SpeechThreshold, Voiced};
use crate::hear::segment::settings::{ActivitySettings, samples};
use std::collections::VecDeque;

/// Reverberation: the stricter thresholds hold this long after the direct echo.
const ECHO_SAMPLES: u64 = samples(450);
/// The canceller receives the played sound this much before its echo, since the echo's peak need not be its start.
const LEAD: usize = samples(12) as usize;
/// Samples on either side used to interpolate between samples.
const BESIDE: usize = 8;
/// Steps of echo that the canceller must learn from before a voice over a prompt counts: 2.5 s.
const LEARNING: u32 = 156;
/// Least power of a voice over a prompt relative to the expected residual echo, averaged over its steps.
const ABOVE_LEFT: f32 = 2.0;
/// Longest stretch that is judged: a residual echo taken for the beginning of speech must not hide a voice after it.
const LOOKED_AT: u64 = samples(480);
/// A stretch needs at least this share of the power of the loudest stretch since the speech began: softer sound after a residual echo is
/// more of that echo.
const STILL_LOUD: f32 = 0.5;
/// The delay has jumped or the room has changed if the canceller removes less than [`TAKES_OFF`] of the echo that it estimates, and what
/// it leaves is less than [`MUCH_LOUDER`] times that echo, in power. With a correct estimate it removes nearly all of the echo, even under a
/// voice; and a voice much louder than the echo cannot be its residual.
const TAKES_OFF: f32 = 0.5;
const MUCH_LOUDER: f32 = 6.0;
/// A converged canceller leaves less than this share of the echo's power.
const WELL_LEFT: f32 = 0.1;
/// Smoothing of the attenuation figures per step: 2 s.
const FOLLOWS: f32 = 1.0 / 128.0;
/// The last part of the pre-roll, which may hold a soft beginning; all before it is surely not voice.
const SOFT_BEGINNING: u64 = samples(80);
/// Longest time after the end of a residual echo in which a voice may still be told from it.
const OWED_FOR: u64 = samples(500);
/// Samples kept for the recogniser: the longest utterance and some more.
const KEPT: usize = RATE as usize * 24;

/// State of the echo canceller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EchoState {
    /// Samples from delivery of a sound to its echo, if known.
    pub delay: Option<usize>,
    /// The echo path is known, or there is known to be none.
    pub ready: bool,
    /// Echo attenuation over the latest seconds in decibels, including room noise.
    pub attenuation_db: f32,
}

/// Detects speech in a microphone's signal while the loudspeaker plays.
pub struct Duplex {
    canceller: Canceller,
    residual: Residual,
    finder: DelayFinder,
    activity: Activity,
    played: PlayedEnvelope,
    /// The rest of each signal, less than a step and equally long.
    heard: Vec<f32>,
    far: Vec<f32>,
    /// What was played in the latest second, and some more.
    history: VecDeque<f32>,
    /// The latest [`KEPT`] samples with the echo cancelled and nothing suppressed, for the recogniser.
    left: VecDeque<f32>,
    left_before: [f32; STEP],
    /// Powers of the latest steps.
    levels: VecDeque<StepPowers>,
    /// Samples since something audible was played.
    since: u64,
    /// Mean squares of what was heard and of what the canceller left, during echo.
    echoing: (f32, f32),
    /// Steps of echo that the canceller has learnt from.
    learnt: u32,
    /// Where the speech under way began, while its beginning has not been reported.
    held: Option<u64>,
    /// An utterance whose beginning was reported and that ended before the voice began. Deliver it at this sample unless speech resumes
    /// first: whoever was told of a beginning waits for an utterance.
    owed: Option<(Utterance, u64)>,
    /// Power of the loudest stretch judged since the speech began.
    loudest: f32,
    /// Where the voice began in the speech under way; a residual echo may have come before it.
    voice_from: u64,
}

impl std::fmt::Debug for Duplex {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Duplex").field("activity", &self.activity).field("since", &self.since).finish_non_exhaustive()
    }
}

/// Mean squares of one step, or sums over several.
#[derive(Debug, Clone, Copy, Default)]
struct StepPowers {
    /// The voice, and the residual echo expected in it.
    voice: f32,
    expected: f32,
    /// What was heard, what the canceller left, and the echo that it removed.
    heard: f32,
    left: f32,
    echo: f32,
}

impl std::ops::Add for StepPowers {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self {
            voice: self.voice + other.voice,
            expected: self.expected + other.expected,
            heard: self.heard + other.heard,
            left: self.left + other.left,
            echo: self.echo + other.echo,
        }
    }
}

impl Duplex {
    /// Starts without any knowledge of the room.
    pub fn new(mut activity: Activity) -> Self {
        activity.wait_for_floor();
        Self {
            canceller: Canceller::new(),
            residual: Residual::new(),
            finder: DelayFinder::new(),
            activity,
            played: PlayedEnvelope::new(),
            heard: Vec::with_capacity(STEP),
            far: Vec::with_capacity(STEP),
            history: VecDeque::from(vec![0.0; LONGEST + STEP + 2 * BESIDE]),
            left: VecDeque::with_capacity(KEPT + STEP),
            left_before: [0.0; STEP],
            levels: VecDeque::new(),
            since: u64::MAX / 2,
            echoing: (0.0, 0.0),
            learnt: 0,
            held: None,
            owed: None,
            loudest: 0.0,
            voice_from: 0,
        }
    }

    /// Takes equally long stretches of what was heard and what was played, both mono at [`RATE`] and paired by time of delivery. With `open`,
    /// appends events to `out`; otherwise the canceller only learns.
    pub fn push(&mut self, heard: &[f32], played: &[f32], open: bool, out: &mut Vec<Voiced>) {
        for (near, far) in heard.iter().zip(played) {
            self.heard.push(*near);
            self.far.push(*far);
            if self.heard.len() == STEP {
                self.step(open, out);
            }
        }
    }

    /// The pairing has shifted: from here on what was played is paired this many samples later.
    pub(in crate::hear) fn shifted(&mut self, later: i64) {
        self.finder.shifted(later);
        if self.finder.found == EchoPath::Unknown {
            self.restart();
        }
    }

    fn restart(&mut self) {
        tracing::debug!(echo = ?self.finder.found, "echo path");
        self.canceller.forget();
        self.residual.forget();
        self.learnt = 0;
    }

    /// Drops the utterance under way and the sound before it.
    pub fn forget(&mut self) {
        self.owed = None;
        self.forget_held();
    }

    fn forget_held(&mut self) {
        self.activity.forget();
        self.held = None;
    }

    /// Noise floor: mean square of the quiet frames, full scale 1.
    pub(in crate::hear) fn noise_floor(&self) -> f32 {
        self.activity.noise_floor()
    }

    /// State of the echo canceller.
    pub fn echo(&self) -> EchoState {
        let attenuation_db = 10.0 * (self.echoing.0.max(1e-12) / self.echoing.1.max(1e-12)).log10();
        let delay = if let EchoPath::After(delay) = self.finder.found { Some(delay) } else { None };
        EchoState { delay, ready: self.is_ready(), attenuation_db }
    }

    fn is_ready(&self) -> bool {
        match self.finder.found {
            EchoPath::Unknown => false,
            EchoPath::None => true,
            EchoPath::After(_) => self.learnt >= LEARNING,
        }
    }

    /// Whether an echo may be audible now.
    fn sounds(&self) -> bool {
        let way = match self.finder.found {
            EchoPath::Unknown => LONGEST,
            EchoPath::None => 0,
            EchoPath::After(delay) => delay,
        };
        self.since < ECHO_SAMPLES + way as u64
    }

    fn step(&mut self, open: bool, out: &mut Vec<Voiced>) {
        let near: [f32; STEP] = std::array::from_fn(|n| self.heard[n]);
        let far: [f32; STEP] = std::array::from_fn(|n| self.far[n]);
        self.heard.clear();
        self.far.clear();
        self.since = if power(&far) > AUDIBLE { 0 } else { self.since + STEP as u64 };
        self.history.drain(..STEP);
        self.history.extend(far);
        if self.finder.push(&near, &far) {
            self.restart();
        }
        let sounds = self.sounds();
        if !sounds && self.held.is_some() {
            // It began over a prompt and was never told apart from it.
            self.forget_held();
        }
        let (cancelled, suppressed) = self.cancel(&near, sounds);
        self.left.extend(self.left_before);
        self.left.drain(..self.left.len().saturating_sub(KEPT));
        self.left_before = cancelled.left;
        if !open {
            self.held = None;
            return self.activity.skip(STEP as u64);
        }
        self.activity.set_threshold(if sounds { SpeechThreshold::OverPrompt } else { SpeechThreshold::Usual });
        let mut found = Vec::new();
        self.activity.push(&suppressed, &mut found);
        for event in found {
            match event {
                Voiced::Began { at } if sounds => (self.held, self.loudest) = (Some(at), 0.0),
                Voiced::Began { at } => self.report_beginning(at, out),
                Voiced::Pausing(mut utterance) => {
                    if self.held.is_none() && self.complete(&mut utterance) {
                        out.push(Voiced::Pausing(utterance));
                    }
                }
                Voiced::Utterance(mut utterance) => {
                    let dropped = self.held.is_some();
                    if utterance.last {
                        self.held = None;
                    }
                    if dropped {
                        continue;
                    }
                    if self.complete(&mut utterance) {
                        out.push(Voiced::Utterance(utterance));
                    } else if utterance.last {
                        self.owed = Some((utterance, self.activity.position() + OWED_FOR));
                    }
                }
            }
        }
        if let Some(began) = self.held {
            let at = began.max(self.activity.position().saturating_sub(LOOKED_AT));
            if self.is_a_voice(at) {
                self.held = None;
                self.report_beginning(at, out);
            }
        }
        if let Some((utterance, _)) = self.owed.take_if(|owed| owed.1 < self.activity.position()) {
            out.push(Voiced::Utterance(utterance));
        }
    }

    /// Cancels the echo as far as it is known. Returns what is left, and the same one step late with the residual echo suppressed.
    fn cancel(&mut self, near: &[f32; STEP], sounds: bool) -> (Cancelled, [f32; STEP]) {
        let EchoPath::After(_) = self.finder.found else {
            self.note_levels(StepPowers { voice: power(near), ..StepPowers::default() });
            FRAMES_OF_SILENCE.iter().for_each(|frame| self.played.push(frame));
            return (Cancelled { left: *near, echo: [0.0; STEP] }, self.left_before);
        };
        let played = self.played_before(self.finder.delay() - LEAD as f64);
        played.chunks_exact(FRAME).for_each(|frame| self.played.push(frame));
        let cancelled = self.canceller.step(near, &played);
        let echoes = power(&played) > AUDIBLE;
        self.learnt = self.learnt.saturating_add(u32::from(echoes));
        let looked_at = self.residual.step(&cancelled.left, &cancelled.echo, echoes);
        let levels = StepPowers {
            voice: looked_at.voice,
            expected: looked_at.expected,
            heard: power(near),
            left: power(&cancelled.left),
            echo: power(&cancelled.echo),
        };
        if echoes {
            self.echoing.0 += FOLLOWS * (levels.heard - self.echoing.0);
            self.echoing.1 += FOLLOWS * (levels.left - self.echoing.1);
        }
        self.note_levels(levels);
        let sound = if sounds { looked_at.sound } else { self.left_before };
        (cancelled, sound)
    }

    /// The step played `ago` samples ago, interpolated with a raised-cosine windowed sinc.
    fn played_before(&self, ago: f64) -> [f32; STEP] {
        let ago = ago.max(BESIDE as f64);
        let (whole, part) = (ago.floor() as usize, ago.fract());
        let from = self.history.len() - STEP - whole;
        let weights: [f32; 2 * BESIDE] = std::array::from_fn(|n| {
            let x = n as f64 - BESIDE as f64 + part;
            let bell = 0.5 + 0.5 * (std::f64::consts::PI * x / BESIDE as f64).cos();
            let x = std::f64::consts::PI * x;
            (if x.abs() < 1e-9 { 1.0 } else { x.sin() / x * bell }) as f32
        });
        std::array::from_fn(|n| {
            weights.iter().enumerate().map(|(at, weight)| weight * self.history[from + n + at - BESIDE]).sum()
        })
    }

    fn note_levels(&mut self, levels: StepPowers) {
        self.levels.push_back(levels);
        self.levels.drain(..self.levels.len().saturating_sub(LOOKED_AT as usize / STEP));
    }

    /// Reports that a voice began.
    fn report_beginning(&mut self, at: u64, out: &mut Vec<Voiced>) {
        self.owed = None;
        self.voice_from = at;
        out.push(Voiced::Began { at });
    }

    /// Whether the sound since sample `at` is a voice rather than residual echo.
    fn is_a_voice(&mut self, at: u64) -> bool {
        if !self.is_ready() {
            return false;
        }
        let ago = (self.activity.position() - at) as usize;
        let steps = (ago / STEP).min(self.levels.len());
        let levels =
            self.levels.range(self.levels.len() - steps..).fold(StepPowers::default(), |sum, step| sum + *step);
        self.loudest = self.loudest.max(levels.voice);
        if levels.voice < (ABOVE_LEFT * levels.expected).max(STILL_LOUD * self.loudest) {
            return false;
        }
        let begin = self.left.len().saturating_sub(ago);
        let sound: Vec<f32> = self.left.range(begin..).copied().collect();
        let likeness = self.played.likeness(&sound, sound.len() + STEP);
        tracing::trace!(?levels, ?likeness, "over a prompt");
        // Too short to compare: it must stand well above what a converged canceller leaves.
        let like_played = likeness.map_or(levels.left < WELL_LEFT * levels.echo, |likeness| likeness >= OWN_VOICE);
        if like_played {
            return false;
        }
        let attenuation = levels.heard - levels.left;
        let is_echo = attenuation < TAKES_OFF * levels.echo && levels.left < MUCH_LOUDER * levels.echo;
        if is_echo {
            // Nothing counts until the echo path has been learnt again.
            self.learnt = 0;
        }
        !is_echo
    }

    /// Completes an utterance: cuts off what came before the voice, restores the unsuppressed sound, and sets its likeness to what was played.
    /// False if it ended before the voice began.
    fn complete(&self, utterance: &mut Utterance) -> bool {
        let ActivitySettings { pre_roll, least_voice, .. } = *self.activity.settings();
        let is_voice = utterance.begin + utterance.sound.len() as u64 > self.voice_from + least_voice;
        let early = self.voice_from.saturating_sub(pre_roll + utterance.begin) as usize;
        let early = early.min(utterance.sound.len());
        if early > 0 {
            utterance.sound = utterance.sound[early..].into();
            utterance.begin += early as u64;
        }
        let ago = (self.activity.position() - utterance.begin) as usize;
        let Some(begin) = self.left.len().checked_sub(ago) else { return is_voice };
        let whole: Vec<f32> = self.left.range(begin..begin + utterance.sound.len()).copied().collect();
        // Before the voice there is only residual echo: keep the suppressed sound there, and compare nothing.
        let quiet = utterance.sound.len().min(pre_roll.saturating_sub(SOFT_BEGINNING) as usize);
        utterance.likeness = self.played.likeness(&whole[quiet..], ago - quiet + STEP);
        utterance.sound = utterance.sound[..quiet].iter().chain(&whole[quiet..]).copied().collect();
        is_voice
    }
}

/// One step of silence.
const FRAMES_OF_SILENCE: [[f32; FRAME]; STEP / FRAME] = [[0.0; FRAME]; STEP / FRAME];
