//! The live microphone. The audio callback only writes to a lock-free ring; a worker drains it, brings it to 16 kHz mono and
//! looks for speech, over what is being played where it is told what that is. A microphone that is lost is said to be, and tried
//! again every second until it is back.

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

/// How often the worker looks into the ring.
const TICK: Duration = Duration::from_millis(10);
/// A lost microphone is tried again this often.
const RETRY: Duration = Duration::from_secs(1);
/// A microphone that gives no sound at all for this long is lost: ten of the largest callbacks that were seen.
const MUTE: Duration = Duration::from_millis(1500);
/// What is kept of a recording, in samples at [`RATE`]: a minute.
const LONGEST_TAPE: usize = 60 * RATE as usize;
/// The device's own delay is believed up to this, in milliseconds.
const MOST_DELAY_MS: u64 = 500;

/// LevelMeter of the microphone, root mean square and full scale 1, as bits of `f32`.
#[derive(Debug, Default)]
struct LevelMeter {
    now: AtomicU32,
    floor: AtomicU32,
    callbacks_delay_us: AtomicU64,
}

/// How loud the microphone is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MicLevel {
    /// Root mean square of the last 10 ms or so, full scale 1.
    pub now: f32,
    /// Root mean square of the room's noise, full scale 1; follows only while open.
    pub floor: f32,
    /// From membrane to program, as the sound system says.
    pub delay: Duration,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum MicCommand {
    Open,
    Close,
    /// Everything heard is sent on, too.
    KeepAll,
}

/// A microphone that is listened to between `open` and `close` only.
#[derive(Debug)]
pub struct Mic {
    orders: Option<mpsc::Sender<MicCommand>>,
    worker: Option<JoinHandle<()>>,
    levels: Arc<LevelMeter>,
    tape: Arc<Mutex<Option<Vec<f32>>>>,
    rate: u32,
    channels: u16,
}

impl Mic {
    /// Opens the system's default microphone and closes it again.
    ///
    /// # Errors
    /// When no microphone opens now.
    pub fn try_out() -> Result<(), MicError> {
        // In a thread of its own, as in a walk: the sound system keeps things by thread.
        let tried = std::thread::spawn(|| MicStream::open().map(drop)).join();
        let ended = |_| Err(String::from("the sound system ended the thread"));
        tried.unwrap_or_else(ended).map_err(|why| MicError::NoMicrophone { why })
    }

    /// Opens the system's default microphone, closed to speech at first.
    ///
    /// # Errors
    /// When no microphone opens now; a microphone lost later is told through `to` and comes back by itself.
    pub fn start(to: EarSender, activity: Activity) -> Result<Self, MicError> {
        Self::start_with(to, activity, None)
    }

    /// As [`Mic::start`], hearing over what is being played: that is taken out of what is heard.
    ///
    /// # Errors
    /// As [`Mic::start`].
    pub fn start_over(to: EarSender, activity: Activity, played: Reference) -> Result<Self, MicError> {
        Self::start_with(to, activity, Some(played))
    }

    fn start_with(to: EarSender, activity: Activity, played: Option<Reference>) -> Result<Self, MicError> {
        let (orders, ordered) = mpsc::channel();
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
            let ear = match played {
                Some(played) => SpeechFinder::Over(Box::new((Pairing::new(played), Duplex::new(activity)))),
                None => SpeechFinder::Alone(Box::new(activity)),
            };
            Worker { to, ordered, ear, levels: shown, tape: written, open: false, all: false, deaf: 0 }.run(stream);
        });
        let lacking = |why| MicError::NoMicrophone { why };
        let answer = readied.recv().unwrap_or_else(|_| Err(String::from("the sound system ended the thread")));
        let (rate, channels) = answer.map_err(lacking)?;
        Ok(Self { orders: Some(orders), worker: Some(worker), levels, tape, rate, channels })
    }

    /// How loud it is now.
    pub fn level(&self) -> MicLevel {
        let load = |value: &AtomicU32| f32::from_bits(value.load(Ordering::Relaxed));
        MicLevel {
            now: load(&self.levels.now),
            floor: load(&self.levels.floor),
            delay: Duration::from_micros(self.levels.callbacks_delay_us.load(Ordering::Relaxed)),
        }
    }

    /// The device's samples per second and channels when it was opened first.
    pub fn format(&self) -> (u32, u16) {
        (self.rate, self.channels)
    }

    /// Keeps everything that is heard from now on, open or closed, up to a minute of it.
    pub fn record(&mut self) {
        *self.tape.lock().unwrap_or_else(PoisonError::into_inner) = Some(Vec::new());
    }

    /// Samples that have been kept so far.
    pub fn recorded_so_far(&self) -> usize {
        self.tape.lock().unwrap_or_else(PoisonError::into_inner).as_ref().map_or(0, Vec::len)
    }

    /// Ends [`Mic::record`]; what was kept, mono at [`RATE`].
    pub fn recorded(&mut self) -> Vec<f32> {
        self.tape.lock().unwrap_or_else(PoisonError::into_inner).take().unwrap_or_default()
    }

    fn order(&self, order: MicCommand) {
        if let Some(orders) = &self.orders {
            let _ = orders.send(order);
        }
    }
}

impl Ears for Mic {
    fn open(&mut self) {
        self.order(MicCommand::Open);
    }

    fn close(&mut self) {
        self.order(MicCommand::Close);
    }

    fn keep_all(&mut self) {
        self.order(MicCommand::KeepAll);
    }

    fn is_live(&self) -> bool {
        true
    }
}

impl Drop for Mic {
    fn drop(&mut self) {
        self.orders = None;
        if let Some(worker) = self.worker.take() {
            let _ = worker.join();
        }
    }
}

/// What speech is looked for with.
enum SpeechFinder {
    /// While nothing is being said.
    Alone(Box<Activity>),
    /// Over what is being said.
    Over(Box<(Pairing, Duplex)>),
}

impl SpeechFinder {
    fn forget(&mut self) {
        match self {
            Self::Alone(activity) => activity.forget(),
            Self::Over(over) => over.1.forget(),
        }
    }

    fn noise_floor(&self) -> f32 {
        match self {
            Self::Alone(activity) => activity.noise_floor(),
            Self::Over(over) => over.1.noise_floor(),
        }
    }

    /// Takes sound, of which the first `deaf` samples are not listened to (all of it when closed).
    fn push(&mut self, sound: &[f32], deaf: usize, found: &mut Vec<Voiced>) {
        match self {
            Self::Alone(activity) => {
                if deaf > 0 {
                    activity.skip(deaf as u64);
                }
                activity.push(&sound[deaf..], found);
            }
            Self::Over(over) => {
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
    ordered: mpsc::Receiver<MicCommand>,
    ear: SpeechFinder,
    levels: Arc<LevelMeter>,
    tape: Arc<Mutex<Option<Vec<f32>>>>,
    open: bool,
    /// Everything is sent as sound, too.
    all: bool,
    /// Samples after opening that were in the air before it, still to be dropped.
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

    /// Listens until the stream is lost (true) or the ears are dropped (false).
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
                self.ear.forget();
                return true;
            }
        }
    }

    /// Takes one order, or waits a tick; false when the ears were dropped.
    fn obey(&mut self, stats: &StreamStats) -> bool {
        match self.ordered.recv_timeout(TICK) {
            Ok(MicCommand::KeepAll) => {
                self.all = true;
                true
            }
            Ok(order) => {
                self.open = order == MicCommand::Open;
                self.ear.forget();
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
            // A driver that is gone needs nothing.
            let _ = self.to.send(EarEvent::Sound(sound.into()));
        }
        let dropped = if self.open { self.deaf.min(sound.len() as u64) } else { sound.len() as u64 };
        self.deaf = self.deaf.saturating_sub(dropped);
        let mut found: Vec<Voiced> = Vec::new();
        self.ear.push(sound, dropped as usize, &mut found);
        if self.open {
            self.levels.floor.store(self.ear.noise_floor().sqrt().to_bits(), Ordering::Relaxed);
        }
        for event in found {
            tell(&self.to, event);
        }
    }

    /// Tries every second until the microphone gives sound again; none when the ears were dropped.
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
