//! The system's own voice (speech-dispatcher, SAPI, AVSpeech) through the `tts` crate. It sounds by itself, so there are no
//! samples here: its callbacks only send on a channel, and a watchdog ends a prompt whose end is never told, as happens when
//! the sound server dies. It has no tones.

use super::printed::spoken_samples;
use super::program::cleaned;
use super::say::{Mouth, MouthEvent, MouthSender, RATE, Say};
use super::voice::SpeakError;
use super::wishes::{Job, Queue, What, Wishes};
use std::sync::{Arc, mpsc};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tts::{Tts, UtteranceId};

/// How often the thread looks for cuts.
const TICK: Duration = Duration::from_millis(5);
/// The system's voice gets this long to answer at the start.
const START: Duration = Duration::from_secs(10);
/// A prompt may take this many times as long as reckoned from its text, and this much more, before the watchdog ends it.
const PATIENCE: f32 = 2.0;
const PATIENCE_MORE: Duration = Duration::from_secs(4);

/// What the callbacks tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Told {
    Began,
    Ended,
    Stopped,
}

/// A mouth that lets the system speak.
#[derive(Debug)]
pub struct SystemVoice {
    queue: Queue,
    thread: Option<JoinHandle<()>>,
}

impl SystemVoice {
    /// Connects to the system's voice.
    ///
    /// # Errors
    /// When there is none, or it does not answer within ten seconds.
    pub fn start(to: MouthSender) -> Result<Self, SpeakError> {
        let (queue, asked) = Queue::new();
        let watched = Arc::clone(&queue.wishes);
        let (ready, readied) = mpsc::channel();
        let thread = std::thread::spawn(move || {
            let (tell, told) = mpsc::channel();
            match connect(&tell) {
                Ok(tts) => {
                    let _ = ready.send(Ok(()));
                    Speaker { to, tts, told, wishes: watched, failed: false }.run(asked);
                }
                Err(error) => {
                    let _ = ready.send(Err(error.to_string()));
                }
            }
        });
        let answer = readied.recv_timeout(START).unwrap_or_else(|_| Err(String::from("it does not answer")));
        answer.map_err(|why| {
            SpeakError::NoDevice(format!(
                "The system's voice cannot be used ({why}). On Debian: 'apt-get install speech-dispatcher \
                 speech-dispatcher-espeak-ng'. Or use '--say printed'."
            ))
        })?;
        Ok(Self { queue, thread: Some(thread) })
    }
}

fn connect(tell: &mpsc::Sender<Told>) -> Result<Tts, tts::Error> {
    let tts = Tts::default()?;
    let callback = |what: Told| -> Option<Box<dyn FnMut(UtteranceId)>> {
        let tell = tell.clone();
        Some(Box::new(move |_| {
            let _ = tell.send(what);
        }))
    };
    tts.on_utterance_begin(callback(Told::Began))?;
    tts.on_utterance_end(callback(Told::Ended))?;
    tts.on_utterance_stop(callback(Told::Stopped))?;
    Ok(tts)
}

struct Speaker {
    to: MouthSender,
    tts: Tts,
    told: mpsc::Receiver<Told>,
    wishes: Arc<Wishes>,
    /// It failed at the last prompt.
    failed: bool,
}

impl Speaker {
    fn run(mut self, asked: mpsc::Receiver<Job>) {
        for job in asked {
            let What::Say(say) = &job.what else { continue };
            if job.is_unwanted(&self.wishes) {
                let _ = self.to.send(MouthEvent::PromptEnded { id: say.id, whole: false, samples: 0 });
                continue;
            }
            self.say(&job, say);
        }
    }

    fn say(&mut self, job: &Job, say: &Say) {
        while self.told.try_recv().is_ok() {}
        self.set_manner(say);
        let _ = self.to.send(MouthEvent::PromptBegan { id: say.id });
        let began = Instant::now();
        let reckoned = spoken_samples(&say.text, say.speed);
        let whole = match self.tts.speak(cleaned(&say.text), false) {
            Ok(_) => self.wait(job, began + patience(reckoned)),
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

    /// Until the voice tells the end (true), or the prompt is unwanted (false).
    fn wait(&mut self, job: &Job, until: Instant) -> Result<bool, String> {
        while Instant::now() < until {
            match self.told.recv_timeout(TICK) {
                Ok(Told::Ended) => return Ok(true),
                Ok(Told::Stopped) => return Ok(false),
                Ok(Told::Began) | Err(mpsc::RecvTimeoutError::Timeout) => {}
                Err(mpsc::RecvTimeoutError::Disconnected) => return Err(String::from("its connection is gone")),
            }
            if job.is_unwanted(&self.wishes) {
                let _ = self.tts.stop();
                return Ok(false);
            }
        }
        let _ = self.tts.stop();
        Err(String::from("it never told the end of a prompt"))
    }

    /// Speed and volume, on whatever scales the system's voice has.
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
        self.queue.wishes.cut();
    }

    fn interrupt(&mut self) {
        self.queue.wishes.interrupt();
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
