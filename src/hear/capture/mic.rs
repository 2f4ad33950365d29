//! The live microphone. The audio callback only writes to a lock-free ring. A worker drains the ring, converts the sound to 16 kHz mono and
//! detects speech, also over what the loudspeaker plays if it is given that signal. When the microphone is lost, the worker reports it
//! and tries to reopen it every second.

use super::duplex::Duplex;
use super::mic_error::MicError;
use super::mic_stream::{MicStream, StreamStats, TroubleLog};
use super::script::tell;
use crate::hear::ears::{EarEvent, EarSender, Ears, RATE};
use crate::hear::echo::Reference;
use crate::hear::echo::pairing::Pairing;
use crate::hear::level::rms;
use crate::hear::resample::{Resampler, mix_down};
use crate::hear::segment::activity::{Activity, Voiced};
use crate::hear::segment::settings::samples;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Interval at which the worker drains the ring.
const TICK: Duration = Duration::from_millis(10);
/// Interval between attempts to reopen a lost microphone.
const RETRY: Duration = Duration::from_secs(1);
/// A microphone without any callback for this long is lost: ten of the longest callback intervals seen.
const MUTE: Duration = Duration::from_millis(1500);
/// Longest recording, in samples at [`RATE`]: a minute.
const LONGEST_TAPE: usize = 60 * RATE as usize;
/// Largest device delay that is believed, in milliseconds.
const MOST_DELAY_MS: u64 = 500;

/// Levels shared with the worker: root mean squares, full scale 1, as bits of `f32`.
#[derive(Debug, Default)]
struct LevelMeter {
    now: AtomicU32,
    floor: AtomicU32,
    callbacks_delay_us: AtomicU64,
}

/// Levels of the microphone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MicLevel {
    /// Root mean square of the last 10 ms or so, full scale 1.
    pub now: f32,
    /// Root mean square of the room's noise, full scale 1; updated only while open.
    pub floor: f32,
    /// Delay from membrane to program, as reported by the sound system.
    pub delay: Duration,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum MicCommand {
    Open,
    Close,
    /// Send everything that is heard, too.
    KeepAll,
}

/// A microphone that detects speech only between `open` and `close`.
#[derive(Debug)]
pub struct Mic {
    commands: Option<mpsc::Sender<MicCommand>>,
    worker: Option<JoinHandle<()>>,
    levels: Arc<LevelMeter>,
    tape: Arc<Mutex<Option<Vec<f32>>>>,
    rate: u32,
    channels: u16,
}

impl Mic {
    /// Opens the system's default microphone and closes it again, as a trial.
    ///
    /// # Errors
    /// When no microphone opens now.
    pub fn try_out() -> Result<(), MicError> {
        // On a thread of its own, as in a walk: the sound system keeps state per thread.
        let tried = std::thread::spawn(|| MicStream::open().map(drop)).join();
        let ended = |_| Err(String::from("the sound system ended the thread"));
        tried.unwrap_or_else(ended).map_err(|why| MicError::NoMicrophone { why })
    }

    /// Opens the system's default microphone; it is closed to speech at first.
    ///
    /// # Errors
    /// When no microphone opens now. A microphone lost later is reported through `to` and reopened automatically.
    pub fn start(to: EarSender, activity: Activity) -> Result<Self, MicError> {
        Self::start_with(to, activity, None)
    }

    /// As [`Mic::start`], with echo cancellation of what is being played.
    ///
    /// # Errors
    /// As [`Mic::start`].
    pub fn start_over(to: EarSender, activity: Activity, played: Reference) -> Result<Self, MicError> {
        Self::start_with(to, activity, Some(played))
    }

    fn start_with(to: EarSender, activity: Activity, played: Option<Reference>) -> Result<Self, MicError> {
        let (commands, commanded) = mpsc::channel();
        let (ready, readied) = mpsc::channel();
        let levels = Arc::new(LevelMeter::default());
        let shown = Arc::clone(&levels);
        let tape = Arc::new(Mutex::new(None));
        let written = Arc::clone(&tape);
        let worker = std::thread::spawn(move || {
            let stream = match MicStream::open() {
                Ok(stream) => stream,
                Err(why) => {
                    let _ = ready.send(Err(why));
                    return;
                }
            };
            let _ = ready.send(Ok((stream.rate, stream.channels)));
            let finder = match played {
                Some(played) => SpeechFinder::OverPrompts(Box::new((Pairing::new(played), Duplex::new(activity)))),
                None => SpeechFinder::Alone(Box::new(activity)),
            };
            Worker { to, commanded, finder, levels: shown, tape: written, open: false, all: false, deaf: 0 }
                .run(stream);
        });
        let lacking = |why| MicError::NoMicrophone { why };
        let answer = readied.recv().unwrap_or_else(|_| Err(String::from("the sound system ended the thread")));
        let (rate, channels) = answer.map_err(lacking)?;
        Ok(Self { commands: Some(commands), worker: Some(worker), levels, tape, rate, channels })
    }

    /// The levels now.
    pub fn level(&self) -> MicLevel {
        let load = |value: &AtomicU32| f32::from_bits(value.load(Ordering::Relaxed));
        MicLevel {
            now: load(&self.levels.now),
            floor: load(&self.levels.floor),
            delay: Duration::from_micros(self.levels.callbacks_delay_us.load(Ordering::Relaxed)),
        }
    }

    /// Sample rate and channel count of the device when it was first opened.
    pub fn format(&self) -> (u32, u16) {
        (self.rate, self.channels)
    }

    /// Records everything from now on, open or closed, up to a minute.
    pub fn record(&mut self) {
        *self.tape.lock().unwrap_or_else(PoisonError::into_inner) = Some(Vec::new());
    }

    /// Samples recorded so far.
    pub fn recorded_so_far(&self) -> usize {
        self.tape.lock().unwrap_or_else(PoisonError::into_inner).as_ref().map_or(0, Vec::len)
    }

    /// Ends [`Mic::record`] and returns the recording, mono at [`RATE`].
    pub fn recorded(&mut self) -> Vec<f32> {
        self.tape.lock().unwrap_or_else(PoisonError::into_inner).take().unwrap_or_default()
    }

    fn command(&self, command: MicCommand) {
        if let Some(commands) = &self.commands {
            let _ = commands.send(command);
        }
    }
}

impl Ears for Mic {
    fn open(&mut self) {
        self.command(MicCommand::Open);
    }

    fn close(&mut self) {
        self.command(MicCommand::Close);
    }

    fn keep_all(&mut self) {
        self.command(MicCommand::KeepAll);
    }

    fn is_live(&self) -> bool {
        true
    }
}

impl Drop for Mic {
    fn drop(&mut self) {
        self.commands = None;
        if let Some(worker) = self.worker.take() {
            let _ = worker.join();
        }
    }
}

/// How speech is detected.
enum SpeechFinder {
    /// Without knowledge of what is played.
    Alone(Box<Activity>),
    /// Over what is played.
    OverPrompts(Box<(Pairing, Duplex)>),
}

impl SpeechFinder {
    fn forget(&mut self) {
        match self {
            Self::Alone(activity) => activity.forget(),
            Self::OverPrompts(over) => over.1.forget(),
        }
    }

    fn noise_floor(&self) -> f32 {
        match self {
            Self::Alone(activity) => activity.noise_floor(),
            Self::OverPrompts(over) => over.1.noise_floor(),
        }
    }

    /// Takes sound; its first `deaf` samples are ignored (all of it when closed).
    fn push(&mut self, sound: &[f32], deaf: usize, found: &mut Vec<Voiced>) {
        match self {
            Self::Alone(activity) => {
                if deaf > 0 {
                    activity.skip(deaf as u64);
                }
                activity.push(&sound[deaf..], found);
            }
            Self::OverPrompts(over) => {
                let (pairing, duplex) = &mut **over;
                let (mut near, mut far) = (Vec::new(), Vec::new());
                let later = pairing.push(sound, &mut near, &mut far);
                let deaf = deaf.min(near.len());
                duplex.push(&near[..deaf], &far[..deaf], false, found);
                duplex.push(&near[deaf..], &far[deaf..], true, found);
                if later != 0 {
                    duplex.shifted(later);
                }
            }
        }
    }
}

struct Worker {
    to: EarSender,
    commanded: mpsc::Receiver<MicCommand>,
    finder: SpeechFinder,
    levels: Arc<LevelMeter>,
    tape: Arc<Mutex<Option<Vec<f32>>>>,
    open: bool,
    /// Send everything that is heard, too.
    all: bool,
    /// Samples still to drop after opening: they were recorded before it.
    deaf: u64,
}

impl Worker {
    fn run(mut self, stream: MicStream) {
        let mut stream = Some(stream);
        loop {
            if let Some(live) = stream.take()
                && !self.listen(live)
            {
                return;
            }
            let sentence = "The microphone is gone. The walk is kept; it goes on when the microphone is back.";
            if self.to.send(EarEvent::Lost(sentence.into())).is_err() {
                return;
            }
            stream = self.reopen();
            if stream.is_none() || self.to.send(EarEvent::Back).is_err() {
                return;
            }
        }
    }

    /// Listens until the stream is lost (true) or the [`Mic`] is dropped (false).
    fn listen(&mut self, mut stream: MicStream) -> bool {
        let mut resampler = Resampler::new(stream.rate, RATE);
        let (mut mono, mut sound) = (Vec::new(), Vec::new());
        let mut log = TroubleLog::default();
        let (mut callbacks, mut heard_at) = (0, Instant::now());
        loop {
            if !self.obey(&stream.stats) {
                return false;
            }
            let frames = stream.ring.slots() / usize::from(stream.channels.max(1));
            if let Ok(chunk) = stream.ring.read_chunk(frames * usize::from(stream.channels.max(1))) {
                mono.clear();
                let (first, second) = chunk.as_slices();
                if first.len() % usize::from(stream.channels.max(1)) == 0 {
                    mix_down(first, stream.channels.into(), &mut mono);
                    mix_down(second, stream.channels.into(), &mut mono);
                } else {
                    mix_down(&[first, second].concat(), stream.channels.into(), &mut mono);
                }
                chunk.commit_all();
                sound.clear();
                resampler.push(&mono, &mut sound);
                self.hear(&sound);
            }
            let now = stream.stats.callbacks.load(Ordering::Relaxed);
            if now != callbacks {
                (callbacks, heard_at) = (now, Instant::now());
            }
            log.look(&stream.stats);
            self.levels.callbacks_delay_us.store(stream.stats.delay_us.load(Ordering::Relaxed), Ordering::Relaxed);
            if stream.stats.gone.load(Ordering::Relaxed) || heard_at.elapsed() > MUTE {
                self.finder.forget();
                return true;
            }
        }
    }

    /// Takes one command, or waits a tick; false when the [`Mic`] was dropped.
    fn obey(&mut self, stats: &StreamStats) -> bool {
        match self.commanded.recv_timeout(TICK) {
            Ok(MicCommand::KeepAll) => {
                self.all = true;
                true
            }
            Ok(command) => {
                self.open = command == MicCommand::Open;
                self.finder.forget();
                let delay_ms = stats.delay_us.load(Ordering::Relaxed).div_ceil(1000).min(MOST_DELAY_MS);
                self.deaf = samples(delay_ms);
                true
            }
            Err(mpsc::RecvTimeoutError::Timeout) => true,
            Err(mpsc::RecvTimeoutError::Disconnected) => false,
        }
    }

    fn hear(&mut self, sound: &[f32]) {
        if sound.is_empty() {
            return;
        }
        self.levels.now.store(rms(sound).to_bits(), Ordering::Relaxed);
        if let Some(tape) = self.tape.lock().unwrap_or_else(PoisonError::into_inner).as_mut() {
            tape.extend_from_slice(&sound[..sound.len().min(LONGEST_TAPE - tape.len())]);
        }
        if self.all {
            // Without a driver nobody receives it.
            let _ = self.to.send(EarEvent::Sound(sound.into()));
        }
        let dropped = if self.open { self.deaf.min(sound.len() as u64) } else { sound.len() as u64 };
        self.deaf = self.deaf.saturating_sub(dropped);
        let mut found: Vec<Voiced> = Vec::new();
        self.finder.push(sound, dropped as usize, &mut found);
        if self.open {
            self.levels.floor.store(self.finder.noise_floor().sqrt().to_bits(), Ordering::Relaxed);
        }
        for event in found {
            tell(&self.to, event);
        }
    }

    /// Retries every second until the microphone delivers sound again; none when the [`Mic`] was dropped.
    fn reopen(&mut self) -> Option<MicStream> {
        loop {
            let until = Instant::now() + RETRY;
            while Instant::now() < until {
                if !self.obey(&StreamStats::default()) {
                    return None;
                }
            }
            let Ok(stream) = MicStream::open() else { continue };
            let deadline = Instant::now() + MUTE;
            while Instant::now() < deadline {
                if !self.obey(&stream.stats) {
                    return None;
                }
                if stream.stats.callbacks.load(Ordering::Relaxed) > 0 {
                    return Some(stream);
                }
            }
        }
    }
}
