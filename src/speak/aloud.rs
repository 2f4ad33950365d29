//! Prompts through the loudspeaker. One thread synthesises; another plays by keeping a lock-free ring filled, which is all that the audio
//! callback touches. A prompt ends when the device has asked for as many samples after it as the device buffers. While there is no device,
//! prompts are printed.

use super::device::{MUTE, OutputStream, StallDetector};
use super::printed::spoken_samples;
use super::prompt_queue::{PromptCancellation, PromptOrTone, PromptQueue, QueuedSound};
use super::say::{Mouth, MouthEvent, MouthSender, RATE, Say, Tone};
use super::tones::tone_samples;
use super::voice::{Pcm, SpeakError, Voice};
use super::volume::louder;
use crate::hear::PlayedTo;
use crate::hear::resample::resample;
use std::io::Write;
use std::sync::atomic::Ordering;
use std::sync::{Arc, mpsc};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Interval at which the player fills the ring.
const TICK: Duration = Duration::from_millis(5);
/// Interval between attempts to reopen a lost loudspeaker.
const RETRY: Duration = Duration::from_secs(1);

/// A mouth that plays through the loudspeaker.
#[derive(Debug)]
pub struct Aloud {
    queue: PromptQueue,
    threads: Vec<JoinHandle<()>>,
}

impl Aloud {
    /// Opens the system's default loudspeaker. While it is lost, prompts are printed to standard output.
    ///
    /// # Errors
    /// When no loudspeaker opens now, or the voice fails on a trial word.
    pub fn start(to: MouthSender, voice: Box<dyn Voice>) -> Result<Self, SpeakError> {
        Self::start_printing_to(to, voice, crate::terminal::Lines::new())
    }

    /// As [`Aloud::start`], passing what is played to a microphone.
    ///
    /// # Errors
    /// As [`Aloud::start`].
    pub fn start_heard(to: MouthSender, voice: Box<dyn Voice>, played: PlayedTo) -> Result<Self, SpeakError> {
        Self::start_with(to, voice, crate::terminal::Lines::new(), Some(played))
    }

    /// As [`Aloud::start`], printing to `out` while the loudspeaker is lost.
    ///
    /// # Errors
    /// As [`Aloud::start`].
    pub fn start_printing_to(
        to: MouthSender,
        voice: Box<dyn Voice>,
        out: impl Write + Send + 'static,
    ) -> Result<Self, SpeakError> {
        Self::start_with(to, voice, out, None)
    }

    fn start_with(
        to: MouthSender,
        mut voice: Box<dyn Voice>,
        out: impl Write + Send + 'static,
        played: Option<PlayedTo>,
    ) -> Result<Self, SpeakError> {
        voice.synthesise("ready", 1.0)?;
        let (queue, asked) = PromptQueue::new();
        let (made, ready) = mpsc::channel();
        let (opened, open) = mpsc::channel();
        let watched = Arc::clone(&queue.cancellation);
        let player = std::thread::spawn(move || {
            let stream = match OutputStream::open(played.as_ref()) {
                Ok(stream) => stream,
                Err(why) => {
                    let _ = opened.send(Err(why));
                    return;
                }
            };
            let _ = opened.send(Ok(()));
            let out = Box::new(out);
            let fresh = Player {
                to,
                ready,
                cancellation: watched,
                out,
                stream: None,
                lost_at: None,
                voice_gone: false,
                played,
            };
            fresh.run(stream);
        });
        let answer = open.recv().unwrap_or_else(|_| Err(String::from("the sound system ended the thread")));
        answer.map_err(|why| {
            SpeakError::NoDevice(format!(
                "there is no loudspeaker that opens ({why}); connect one and see that the sound server runs, or use '--say printed'"
            ))
        })?;
        let watched = Arc::clone(&queue.cancellation);
        let synthesiser = std::thread::spawn(move || {
            for queued in asked {
                let sound = match &queued.what {
                    PromptOrTone::Say(say) if !queued.is_cancelled(&watched) => {
                        Some(voice.synthesise(&say.text, say.speed))
                    }
                    _ => None,
                };
                if made.send((queued, sound)).is_err() {
                    return;
                }
            }
        });
        Ok(Self { queue, threads: vec![synthesiser, player] })
    }
}

impl Mouth for Aloud {
    fn say(&mut self, say: Say) {
        self.queue.say(say);
    }

    fn tone(&mut self, tone: Tone) {
        self.queue.tone(tone);
    }

    fn cut(&mut self) {
        self.queue.cancellation.cut();
    }

    fn interrupt(&mut self) {
        self.queue.cancellation.interrupt();
    }

    fn latency(&self) -> Duration {
        Duration::from_micros(self.queue.cancellation.latency_us.load(Ordering::Relaxed))
    }

    fn is_live(&self) -> bool {
        true
    }
}

impl Drop for Aloud {
    fn drop(&mut self) {
        self.queue.close();
        for thread in self.threads.drain(..) {
            let _ = thread.join();
        }
    }
}

type Synthesised = (QueuedSound, Option<Result<Pcm, SpeakError>>);

struct Player {
    to: MouthSender,
    ready: mpsc::Receiver<Synthesised>,
    cancellation: Arc<PromptCancellation>,
    out: Box<dyn Write>,
    stream: Option<OutputStream>,
    /// When the stream was lost, or when reopening was last tried.
    lost_at: Option<Instant>,
    /// The voice failed at the last prompt.
    voice_gone: bool,
    /// The microphone's end of what is played.
    played: Option<PlayedTo>,
}

impl Player {
    fn run(mut self, stream: OutputStream) {
        self.stream = Some(stream);
        loop {
            match self.ready.recv_timeout(TICK) {
                Ok((queued, sound)) => self.play_or_print(queued, sound),
                Err(mpsc::RecvTimeoutError::Timeout) => {}
                Err(mpsc::RecvTimeoutError::Disconnected) => return,
            }
            self.watch_stream();
        }
    }

    fn tell(&self, event: MouthEvent) {
        let _ = self.to.send(event);
    }

    fn ended(&self, queued: &QueuedSound, whole: bool, samples: u64) {
        if let PromptOrTone::Say(say) = &queued.what {
            self.tell(MouthEvent::PromptEnded { id: say.id, whole, samples });
        }
    }

    fn play_or_print(&mut self, queued: QueuedSound, sound: Option<Result<Pcm, SpeakError>>) {
        if queued.is_cancelled(&self.cancellation) {
            return self.ended(&queued, false, 0);
        }
        match (&queued.what, sound) {
            (PromptOrTone::Tone(tone), _) => {
                let rate = self.stream.as_ref().map_or(RATE, |l| l.rate);
                self.play(&queued, &tone_samples(*tone, rate));
            }
            (PromptOrTone::Say(say), Some(Ok(pcm))) if self.stream.is_some() => {
                let rate = self.stream.as_ref().map_or(RATE, |l| l.rate);
                let mut sound = resample(&pcm.samples, pcm.rate, rate);
                louder(&mut sound, say.volume);
                if std::mem::take(&mut self.voice_gone) {
                    self.tell(MouthEvent::Back);
                }
                self.tell(MouthEvent::PromptBegan { id: say.id });
                self.play(&queued, &sound);
            }
            (PromptOrTone::Say(say), sound) => {
                self.tell(MouthEvent::PromptBegan { id: say.id });
                if let Some(Err(error)) = sound {
                    self.voice_gone = true;
                    self.tell(MouthEvent::Lost(error.to_string()));
                }
                self.print(&queued);
            }
        }
    }

    fn print(&mut self, queued: &QueuedSound) {
        let PromptOrTone::Say(say) = &queued.what else { return };
        let _ = writeln!(self.out, "{}", say.text).and_then(|()| self.out.flush());
        self.ended(queued, true, spoken_samples(&say.text, say.speed));
    }

    /// Plays a sound until the device has played its last sample, the sound is cancelled, or the stream is lost.
    fn play(&mut self, queued: &QueuedSound, sound: &[f32]) {
        let Some(mut stream) = self.stream.take() else { return };
        let start = stream.stats.consumed.load(Ordering::Acquire);
        let target = start + sound.len() as u64;
        let rate = u64::from(stream.rate.max(1));
        let heard = |consumed: u64| consumed.saturating_sub(start) * u64::from(RATE) / rate;
        let (mut written, mut all_consumed_at) = (0, None);
        let mut watch = StallDetector::new(&stream.stats);
        loop {
            written += stream.push(&sound[written..]);
            self.cancellation.latency_us.store(stream.latency_us(), Ordering::Relaxed);
            let consumed = stream.stats.consumed.load(Ordering::Acquire);
            if queued.is_cancelled(&self.cancellation) {
                let before = heard(consumed);
                let gone = !stream.silence(MUTE);
                self.stream = Some(stream);
                self.ended(queued, false, before);
                if gone {
                    self.lose(None);
                }
                return;
            }
            let asked = stream.stats.asked.load(Ordering::Acquire);
            if consumed >= target && all_consumed_at.is_none() {
                all_consumed_at = Some(asked);
            }
            let held = stream.latency_us() * rate / 1_000_000;
            if all_consumed_at.is_some_and(|at| asked >= at + held) {
                let samples = heard(consumed);
                self.stream = Some(stream);
                return self.ended(queued, true, samples);
            }
            if watch.is_lost(&stream.stats) {
                self.stream = Some(stream);
                return self.lose(Some(queued));
            }
            std::thread::sleep(TICK);
        }
    }

    /// Reports that the stream is lost, and prints what was being said.
    fn lose(&mut self, queued: Option<&QueuedSound>) {
        self.stream = None;
        self.lost_at = Some(Instant::now());
        self.tell(MouthEvent::Lost(String::from(
            "The loudspeaker is gone. Prompts are printed until it is back; the walk goes on.",
        )));
        if let Some(queued) = queued {
            self.print(queued);
        }
    }

    /// Between prompts: notices a lost stream, and tries to reopen it.
    fn watch_stream(&mut self) {
        let gone = self.stream.as_mut().is_some_and(OutputStream::is_idle_lost);
        if gone {
            return self.lose(None);
        }
        if let Some(stream) = &self.stream {
            self.cancellation.latency_us.store(stream.latency_us(), Ordering::Relaxed);
        }
        if self.stream.is_none() && self.lost_at.is_none_or(|at| at.elapsed() >= RETRY) {
            self.lost_at = Some(Instant::now());
            if let Ok(stream) = OutputStream::open(self.played.as_ref())
                && stream.starts_within(MUTE)
            {
                self.stream = Some(stream);
                self.lost_at = None;
                self.tell(MouthEvent::Back);
            }
        }
    }
}
