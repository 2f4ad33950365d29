//! Prompts through the loudspeaker. One thread synthesises, one plays: it keeps a lock-free ring filled, which is all that the
//! audio callback touches. A prompt is over when the callback has been asked for all samples that the device holds back.
//! Without a device, prompts are printed until it is back.

use super::device::{Line, MUTE, Watch};
use super::printed::spoken_samples;
use super::say::{Mouth, MouthEvent, MouthSender, RATE, Say, Tone};
use super::tones::tone_samples;
use super::voice::{Pcm, SpeakError, Voice};
use super::volume::louder;
use super::wishes::{Job, Queue, What, Wishes};
use crate::hear::PlayedTo;
use crate::hear::resample::resample;
use std::io::Write;
use std::sync::atomic::Ordering;
use std::sync::{Arc, mpsc};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How often the player looks at the ring.
const TICK: Duration = Duration::from_millis(5);
/// A lost loudspeaker is tried again this often.
const RETRY: Duration = Duration::from_secs(1);

/// A mouth that sounds.
#[derive(Debug)]
pub struct Aloud {
    queue: Queue,
    threads: Vec<JoinHandle<()>>,
}

impl Aloud {
    /// Opens the system's default loudspeaker. Lost, prompts are printed to standard output.
    ///
    /// # Errors
    /// When no loudspeaker opens now, or the voice says nothing (tried with one word).
    pub fn start(to: MouthSender, voice: Box<dyn Voice>) -> Result<Self, SpeakError> {
        Self::start_printing_to(to, voice, crate::terminal::Lines::new())
    }

    /// As [`Aloud::start`], telling a microphone what is played.
    ///
    /// # Errors
    /// As [`Aloud::start`].
    pub fn start_heard(to: MouthSender, voice: Box<dyn Voice>, played: PlayedTo) -> Result<Self, SpeakError> {
        Self::start_with(to, voice, crate::terminal::Lines::new(), Some(played))
    }

    /// As [`Aloud::start`], printing elsewhere while the loudspeaker is lost.
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
        let (queue, asked) = Queue::new();
        let (made, ready) = mpsc::channel();
        let (opened, open) = mpsc::channel();
        let watched = Arc::clone(&queue.wishes);
        let player = std::thread::spawn(move || {
            let line = match Line::open(played.as_ref()) {
                Ok(line) => line,
                Err(why) => {
                    let _ = opened.send(Err(why));
                    return;
                }
            };
            let _ = opened.send(Ok(()));
            let out = Box::new(out);
            let fresh =
                Player { to, ready, wishes: watched, out, line: None, lost_at: None, voice_gone: false, played };
            fresh.run(line);
        });
        let answer = open.recv().unwrap_or_else(|_| Err(String::from("the sound system ended the thread")));
        answer.map_err(|why| {
            SpeakError::NoDevice(format!(
                "There is no loudspeaker that opens ({why}). Connect one and see that the sound server runs, or use \
                 '--say printed'."
            ))
        })?;
        let watched = Arc::clone(&queue.wishes);
        let synthesiser = std::thread::spawn(move || {
            for job in asked {
                let sound = match &job.what {
                    What::Say(say) if !job.is_unwanted(&watched) => Some(voice.synthesise(&say.text, say.speed)),
                    _ => None,
                };
                if made.send((job, sound)).is_err() {
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
        self.queue.wishes.cut();
    }

    fn interrupt(&mut self) {
        self.queue.wishes.interrupt();
    }

    fn latency(&self) -> Duration {
        Duration::from_micros(self.queue.wishes.latency_us.load(Ordering::Relaxed))
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

type Made = (Job, Option<Result<Pcm, SpeakError>>);

struct Player {
    to: MouthSender,
    ready: mpsc::Receiver<Made>,
    wishes: Arc<Wishes>,
    out: Box<dyn Write>,
    line: Option<Line>,
    /// When the line was lost or last tried.
    lost_at: Option<Instant>,
    /// The voice failed at the last prompt.
    voice_gone: bool,
    /// Who hears what is played.
    played: Option<PlayedTo>,
}

impl Player {
    fn run(mut self, line: Line) {
        self.line = Some(line);
        loop {
            match self.ready.recv_timeout(TICK) {
                Ok((job, sound)) => self.do_job(job, sound),
                Err(mpsc::RecvTimeoutError::Timeout) => {}
                Err(mpsc::RecvTimeoutError::Disconnected) => return,
            }
            self.watch_line();
        }
    }

    fn tell(&self, event: MouthEvent) {
        let _ = self.to.send(event);
    }

    fn ended(&self, job: &Job, whole: bool, samples: u64) {
        if let What::Say(say) = &job.what {
            self.tell(MouthEvent::PromptEnded { id: say.id, whole, samples });
        }
    }

    fn do_job(&mut self, job: Job, sound: Option<Result<Pcm, SpeakError>>) {
        if job.is_unwanted(&self.wishes) {
            return self.ended(&job, false, 0);
        }
        match (&job.what, sound) {
            (What::Tone(tone), _) => {
                let rate = self.line.as_ref().map_or(RATE, |l| l.rate);
                self.play(&job, &tone_samples(*tone, rate));
            }
            (What::Say(say), Some(Ok(pcm))) if self.line.is_some() => {
                let rate = self.line.as_ref().map_or(RATE, |l| l.rate);
                let mut sound = resample(&pcm.samples, pcm.rate, rate);
                louder(&mut sound, say.volume);
                if std::mem::take(&mut self.voice_gone) {
                    self.tell(MouthEvent::Back);
                }
                self.tell(MouthEvent::PromptBegan { id: say.id });
                self.play(&job, &sound);
            }
            (What::Say(say), sound) => {
                self.tell(MouthEvent::PromptBegan { id: say.id });
                if let Some(Err(error)) = sound {
                    self.voice_gone = true;
                    self.tell(MouthEvent::Lost(error.to_string()));
                }
                self.print(&job);
            }
        }
    }

    fn print(&mut self, job: &Job) {
        let What::Say(say) = &job.what else { return };
        let _ = writeln!(self.out, "{}", say.text).and_then(|()| self.out.flush());
        self.ended(job, true, spoken_samples(&say.text, say.speed));
    }

    /// Plays to the last sample that the device holds, or until it is unwanted or the line is lost.
    fn play(&mut self, job: &Job, sound: &[f32]) {
        let Some(mut line) = self.line.take() else { return };
        let start = line.told.taken.load(Ordering::Acquire);
        let target = start + sound.len() as u64;
        let rate = u64::from(line.rate.max(1));
        let heard = |taken: u64| taken.saturating_sub(start) * u64::from(RATE) / rate;
        let (mut written, mut all_taken_at) = (0, None);
        let mut watch = Watch::new(&line.told);
        loop {
            written += line.push(&sound[written..]);
            self.wishes.latency_us.store(line.latency_us(), Ordering::Relaxed);
            let taken = line.told.taken.load(Ordering::Acquire);
            if job.is_unwanted(&self.wishes) {
                let before = heard(taken);
                let gone = !line.silence(MUTE);
                self.line = Some(line);
                self.ended(job, false, before);
                if gone {
                    self.lose(None);
                }
                return;
            }
            let asked = line.told.asked.load(Ordering::Acquire);
            if taken >= target && all_taken_at.is_none() {
                all_taken_at = Some(asked);
            }
            let held = line.latency_us() * rate / 1_000_000;
            if all_taken_at.is_some_and(|at| asked >= at + held) {
                let samples = heard(taken);
                self.line = Some(line);
                return self.ended(job, true, samples);
            }
            if watch.is_lost(&line.told) {
                self.line = Some(line);
                return self.lose(Some(job));
            }
            std::thread::sleep(TICK);
        }
    }

    /// The line is gone: says so, prints what was being said.
    fn lose(&mut self, job: Option<&Job>) {
        self.line = None;
        self.lost_at = Some(Instant::now());
        self.tell(MouthEvent::Lost(String::from(
            "The loudspeaker is gone. Prompts are printed until it is back; the walk goes on.",
        )));
        if let Some(job) = job {
            self.print(job);
        }
    }

    /// Between prompts: notices a lost line, and tries a lost one again.
    fn watch_line(&mut self) {
        let gone = self.line.as_mut().is_some_and(Line::is_idle_lost);
        if gone {
            return self.lose(None);
        }
        if let Some(line) = &self.line {
            self.wishes.latency_us.store(line.latency_us(), Ordering::Relaxed);
        }
        if self.line.is_none() && self.lost_at.is_none_or(|at| at.elapsed() >= RETRY) {
            self.lost_at = Some(Instant::now());
            if let Ok(line) = Line::open(self.played.as_ref())
                && line.starts_within(MUTE)
            {
                self.line = Some(line);
                self.lost_at = None;
                self.tell(MouthEvent::Back);
            }
        }
    }
}
