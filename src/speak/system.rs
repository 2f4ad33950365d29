//! The system's own voice (speech-dispatcher, SAPI, AVSpeech) through the `tts` crate. It plays its own sound, so there are no samples here. Its
//! callbacks only send on a channel, and a watchdog ends a prompt whose end is never reported, as happens when the sound server dies. It has no
//! tones.

use super::printed::spoken_samples;
use super::program::cleaned;
use super::prompt_queue::{PromptCancellation, PromptOrTone, PromptQueue, QueuedSound};
use super::say::{Mouth, MouthEvent, MouthSender, RATE, Say};
use super::voice::SpeakError;
use std::sync::{Arc, mpsc};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tts::{Tts, UtteranceId};

/// Interval at which the thread checks for cancellation.
const TICK: Duration = Duration::from_millis(5);
/// Time limit for the system's voice to answer at the start.
const START: Duration = Duration::from_secs(10);
/// The watchdog ends a prompt after this multiple of its estimated length, plus this much.
const PATIENCE: f32 = 2.0;
const PATIENCE_MORE: Duration = Duration::from_secs(4);

/// Event from the callbacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum VoiceEvent {
    Began,
    Ended,
    Stopped,
}

/// A mouth that uses the system's voice.
#[derive(Debug)]
pub struct SystemVoice {
    queue: PromptQueue,
    thread: Option<JoinHandle<()>>,
}

impl SystemVoice {
    /// Connects to the system's voice.
    ///
    /// # Errors
    /// When there is no such voice, or it does not answer within ten seconds.
    pub fn start(to: MouthSender) -> Result<Self, SpeakError> {
        let (queue, asked) = PromptQueue::new();
        let watched = Arc::clone(&queue.cancellation);
        let (ready, readied) = mpsc::channel();
        let thread = std::thread::spawn(move || {
            let (report, events) = mpsc::channel();
            match connect(&report) {
                Ok(tts) => {
                    let _ = ready.send(Ok(()));
                    Speaker { to, tts, events, cancellation: watched, failed: false }.run(asked);
                }
                Err(error) => {
                    let _ = ready.send(Err(error.to_string()));
                }
            }
        });
        let answer = readied.recv_timeout(START).unwrap_or_else(|_| Err(String::from("it does not answer")));
        answer.map_err(|why| {
            SpeakError::NoDevice(format!(
                "the system's voice cannot be used ({why}); on Debian type 'apt-get install speech-dispatcher speech-dispatcher-espeak-ng', or use '--say printed'"
            ))
        })?;
        Ok(Self { queue, thread: Some(thread) })
    }
}

fn connect(report: &mpsc::Sender<VoiceEvent>) -> Result<Tts, tts::Error> {
    let tts = Tts::default()?;
    let callback = |what: VoiceEvent| -> Option<Box<dyn FnMut(UtteranceId)>> {
        let report = report.clone();
        Some(Box::new(move |_| {
            let _ = report.send(what);
        }))
    };
    tts.on_utterance_begin(callback(VoiceEvent::Began))?;
    tts.on_utterance_end(callback(VoiceEvent::Ended))?;
    tts.on_utterance_stop(callback(VoiceEvent::Stopped))?;
    Ok(tts)
}

struct Speaker {
    to: MouthSender,
    tts: Tts,
    events: mpsc::Receiver<VoiceEvent>,
    cancellation: Arc<PromptCancellation>,
    /// The voice failed at the last prompt.
    failed: bool,
}

impl Speaker {
    fn run(mut self, asked: mpsc::Receiver<QueuedSound>) {
        for queued in asked {
            let PromptOrTone::Say(say) = &queued.what else { continue };
            if queued.is_cancelled(&self.cancellation) {
                let _ = self.to.send(MouthEvent::PromptEnded { id: say.id, whole: false, samples: 0 });
                continue;
            }
            self.say(&queued, say);
        }
    }

    fn say(&mut self, queued: &QueuedSound, say: &Say) {
        while self.events.try_recv().is_ok() {}
        self.set_manner(say);
        let _ = self.to.send(MouthEvent::PromptBegan { id: say.id });
        let began = Instant::now();
        let reckoned = spoken_samples(&say.text, say.speed);
        let whole = match self.tts.speak(cleaned(&say.text), false) {
            Ok(_) => self.wait(queued, began + patience(reckoned)),
            Err(error) => Err(error.to_string()),
        };
        let (whole, samples) = match whole {
            Ok(whole) => {
                if whole && std::mem::take(&mut self.failed) {
                    let _ = self.to.send(MouthEvent::Back);
                }
                (whole, (began.elapsed().as_secs_f64() * f64::from(RATE)) as u64)
            }
            Err(why) => {
                let sentence = format!("The system's voice failed ({why}). Prompts may not be heard.");
                self.failed = true;
                let _ = self.to.send(MouthEvent::Lost(sentence));
                crate::terminal::outln!("{}", say.text);
                (true, reckoned)
            }
        };
        let _ = self.to.send(MouthEvent::PromptEnded { id: say.id, whole, samples });
    }

    /// Waits for the end of the prompt: true if the voice reports it, false if the prompt is cancelled.
    fn wait(&mut self, queued: &QueuedSound, until: Instant) -> Result<bool, String> {
        while Instant::now() < until {
            match self.events.recv_timeout(TICK) {
                Ok(VoiceEvent::Ended) => return Ok(true),
                Ok(VoiceEvent::Stopped) => return Ok(false),
                Ok(VoiceEvent::Began) | Err(mpsc::RecvTimeoutError::Timeout) => {}
                Err(mpsc::RecvTimeoutError::Disconnected) => return Err(String::from("its connection is gone")),
            }
            if queued.is_cancelled(&self.cancellation) {
                let _ = self.tts.stop();
                return Ok(false);
            }
        }
        let _ = self.tts.stop();
        Err(String::from("it never told the end of a prompt"))
    }

    /// Sets speed and volume on the scales of the system's voice.
    fn set_manner(&mut self, say: &Say) {
        let scaled = |factor: f32, low: f32, usual: f32, high: f32| {
            if factor >= 1.0 {
                usual + (high - usual) * (factor - 1.0).min(1.0)
            } else {
                usual - (usual - low) * (1.0 - factor)
            }
        };
        let (low, usual, high) = (self.tts.min_rate(), self.tts.normal_rate(), self.tts.max_rate());
        let _ = self.tts.set_rate(scaled(say.speed, low, usual, high));
        let (low, usual, high) = (self.tts.min_volume(), self.tts.normal_volume(), self.tts.max_volume());
        let _ = self.tts.set_volume(scaled(say.volume, low, usual, high));
    }
}

fn patience(reckoned: u64) -> Duration {
    Duration::from_secs_f32(PATIENCE * reckoned as f32 / RATE as f32) + PATIENCE_MORE
}

impl Mouth for SystemVoice {
    fn say(&mut self, say: Say) {
        self.queue.say(say);
    }

    fn cut(&mut self) {
        self.queue.cancellation.cut();
    }

    fn interrupt(&mut self) {
        self.queue.cancellation.interrupt();
    }

    fn is_live(&self) -> bool {
        true
    }
}

impl Drop for SystemVoice {
    fn drop(&mut self) {
        self.queue.close();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
