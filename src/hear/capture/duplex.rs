//! Hearing while the loudspeaker sounds. What is played is taken out of what is heard, speech is looked for in what stands above the rest
//! of the echo, and the beginning of speech is told only when the way of the echo is known, the voice is clearly louder than what the
//! canceller usually leaves, and it is not like what is played. Samples in, findings out; no device, no clock.

use crate::hear::ears::{OWN_VOICE, RATE, Utterance};
use crate::hear::echo::canceller::{Cancelled, Canceller, STEP};
use crate::hear::echo::delay::{DelayFinder, EchoPath, LONGEST};
use crate::hear::echo::likeness::{AUDIBLE, FRAME, PlayedEnvelope};
use crate::hear::echo::residual::Residual;
use crate::hear::level::power;
use crate::hear::segment::activity::{Activity, SpeechThreshold, Voiced};
use crate::hear::segment::settings::{ActivitySettings, samples};
use std::collections::VecDeque;

/// The room keeps a prompt alive so long after its echo's first sound; until then the bar is stricter.
const ECHO_SAMPLES: u64 = samples(450);
/// The canceller gets what was played this much before its echo: the peak of the echo may not be its beginning.
const LEAD: usize = samples(12) as usize;
/// Samples on either side that a sound between samples is made from.
const BESIDE: usize = 8;
/// So many steps of echo have to be learnt from before anything counts as a voice over it: 2.5 s.
const LEARNING: u32 = 156;
/// A voice over a prompt is at least this many times what may be left of the echo, in power, on the mean over its steps.
const ABOVE_LEFT: f32 = 2.0;
/// Looked at is what sounded so long at most: a rest of the echo that was taken for the beginning of speech must not hide a voice
/// that comes after it.
const LOOKED_AT: u64 = samples(480);
/// What is looked at has at least this share of the power that the loudest such stretch had since the speech began: what follows a rest of
/// the echo and is softer is more of it.
const STILL_LOUD: f32 = 0.5;
/// Where the canceller takes less than this share of the echo that it knows off what is heard, and what is left is less than so many times
/// that echo, in power, the delay has jumped or the room has changed. Of a voice over an echo rightly known it takes about all of the echo
/// off; a voice much louder than the echo cannot be what is left of it.
const TAKES_OFF: f32 = 0.5;
const MUCH_LOUDER: f32 = 6.0;
/// A canceller that knows the way leaves less than this share of the echo's power.
const WELL_LEFT: f32 = 0.1;
/// What the canceller takes off is followed by this share per step: 2 s.
const FOLLOWS: f32 = 1.0 / 128.0;
/// Of the sound that is kept from before the first frame of voice, all but this is surely not voice.
const SOFT_BEGINNING: u64 = samples(80);
/// The voice is told from the rest of an echo at most so long after the latter was over.
const OWED_FOR: u64 = samples(500);
/// Sound that is kept for the recogniser: the longest utterance and some more.
const KEPT: usize = RATE as usize * 24;

/// How well the canceller does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EchoState {
    /// Samples from handing a sound over to its echo, where one is known.
    pub delay: Option<usize>,
    /// The way of the echo is known, or known not to be there.
    pub ready: bool,
    /// What the canceller takes off what is heard while an echo sounds, in decibels, over the latest seconds.
    pub taken_off_db: f32,
}

/// A microphone's ear that knows what is being played.
pub struct Duplex {
    canceller: Canceller,
    residual: Residual,
    finder: DelayFinder,
    activity: Activity,
    played: PlayedEnvelope,
    /// Less than a step of each, equally long.
    heard: Vec<f32>,
    far: Vec<f32>,
    /// What was played in the latest second and more.
    history: VecDeque<f32>,
    /// What came in with the echo taken out and nothing suppressed, the latest [`KEPT`] samples: what the recogniser gets.
    left: VecDeque<f32>,
    left_before: [f32; STEP],
    /// How loud the latest steps were.
    levels: VecDeque<StepPowers>,
    /// Samples since something audible was played.
    since: u64,
    /// Mean squares of what was heard and of what was left of it, while an echo sounded.
    echoing: (f32, f32),
    /// Steps of echo learnt from.
    learnt: u32,
    /// Where the speech under way began, while its beginning has not been told.
    held: Option<u64>,
    /// An utterance whose beginning was told and that was over when the voice began: handed over at this sample unless the voice is, since
    /// whoever was told of a beginning waits for what was said.
    owed: Option<(Utterance, u64)>,
    /// The most power that a stretch of it had that was looked at.
    loudest: f32,
    /// Where the voice began in the speech under way, which the rest of an echo may have begun.
    voice_from: u64,
}

impl std::fmt::Debug for Duplex {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Duplex").field("activity", &self.activity).field("since", &self.since).finish_non_exhaustive()
    }
}

/// Mean squares of a step, or sums of them.
#[derive(Debug, Clone, Copy, Default)]
struct StepPowers {
    /// The voice, and what may be left of the echo in it.
    voice: f32,
    expected: f32,
    /// What was heard, what the canceller left of it, and the echo that it took out.
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
    /// An ear that knows nothing of the room yet.
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

    /// Takes equally long stretches of what was heard and what was played, both mono at [`RATE`], the latter at its own time of
    /// handing over. With `open`, what was found is appended to `out`; else the canceller only learns.
    pub fn push(&mut self, heard: &[f32], played: &[f32], open: bool, out: &mut Vec<Voiced>) {
        for (near, far) in heard.iter().zip(played) {
            self.heard.push(*near);
            self.far.push(*far);
            if self.heard.len() == STEP {
                self.step(open, out);
            }
        }
    }

    /// From here on what was played is paired with what was heard so many samples later than before.
    pub fn shifted(&mut self, later: i64) {
        self.finder.shifted(later);
        if self.finder.found == EchoPath::Unknown {
            self.begin_anew();
        }
    }

    fn begin_anew(&mut self) {
        tracing::debug!(echo = ?self.finder.found, "the echo's way");
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

    /// The noise floor: mean square of the quiet frames, full scale 1.
    pub fn noise_floor(&self) -> f32 {
        self.activity.noise_floor()
    }

    /// How well the canceller does.
    pub fn echo(&self) -> EchoState {
        let taken_off_db = 10.0 * (self.echoing.0.max(1e-12) / self.echoing.1.max(1e-12)).log10();
        let delay = if let EchoPath::After(delay) = self.finder.found { Some(delay) } else { None };
        EchoState { delay, ready: self.is_ready(), taken_off_db }
    }

    fn is_ready(&self) -> bool {
        match self.finder.found {
            EchoPath::Unknown => false,
            EchoPath::None => true,
            EchoPath::After(_) => self.learnt >= LEARNING,
        }
    }

    /// An echo may be in what is heard now.
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
            self.begin_anew();
        }
        let sounds = self.sounds();
        if !sounds && self.held.is_some() {
            // It began over a prompt and was not told from it.
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
                Voiced::Began { at } => self.tell_beginning(at, out),
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
                self.tell_beginning(at, out);
            }
        }
        if let Some((utterance, _)) = self.owed.take_if(|owed| owed.1 < self.activity.position()) {
            out.push(Voiced::Utterance(utterance));
        }
    }

    /// Takes the echo out, as far as it is known; what is left, and that one step late with the rest of the echo suppressed.
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

    /// The step that was played so many samples ago, between its samples (a sinc under a raised cosine).
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

    /// Tells that somebody's voice began.
    fn tell_beginning(&mut self, at: u64, out: &mut Vec<Voiced>) {
        self.owed = None;
        self.voice_from = at;
        out.push(Voiced::Began { at });
    }

    /// Whether what has sounded since sample `at` is somebody's voice and not the rest of the echo.
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
        // Too short to be compared, it has to be well above what a canceller leaves.
        let like_played = likeness.map_or(levels.left < WELL_LEFT * levels.echo, |likeness| likeness >= OWN_VOICE);
        if like_played {
            return false;
        }
        let taken_off = levels.heard - levels.left;
        let is_echo = taken_off < TAKES_OFF * levels.echo && levels.left < MUCH_LOUDER * levels.echo;
        if is_echo {
            // Nothing counts until the way is learnt again.
            self.learnt = 0;
        }
        !is_echo
    }

    /// Cuts off what was before the voice, gives an utterance the sound that nothing is suppressed in, and its likeness to what was played.
    /// False where it was over when the voice began.
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
        // Before the voice only what is left of the prompt would be heard: there the suppressed sound stays, and nothing is compared.
        let quiet = utterance.sound.len().min(pre_roll.saturating_sub(SOFT_BEGINNING) as usize);
        utterance.likeness = self.played.likeness(&whole[quiet..], ago - quiet + STEP);
        utterance.sound = utterance.sound[..quiet].iter().chain(&whole[quiet..]).copied().collect();
        is_voice
    }
}

/// A step in which nothing was played.
const FRAMES_OF_SILENCE: [[f32; FRAME]; STEP / FRAME] = [[0.0; FRAME]; STEP / FRAME];
