//! The mechanic's ears in the sound tests. Records one side of the sound loop live, detects the listening tone, and tells when it was
//! quiet. Counts samples; each recorder knows when its first sample arrived.

use std::io::Read;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::time::{Duration, Instant};

/// Samples per second.
pub const RATE: u32 = 16_000;
/// Step of the tone search: 10 ms, over windows of 20 ms.
const HOP: usize = 160;
const WINDOW: usize = 320;
/// The listening tone's two notes, in hertz, as in `src/speak/tones.rs`.
const NOTES: [f32; 2] = [660.0, 990.0];
/// A window is a note if it is as loud as a tone and this share of its power is at the note's frequency.
const NOTE_SHARE: f32 = 0.8;
const NOTE_LOUD: std::ops::Range<f32> = 0.1..0.25;
/// Windows of each note in a tone.
const NOTE_WINDOWS: usize = 5;
/// Root mean square above which the sound is not silence.
pub const SOUNDS: f32 = 0.003;

#[derive(Default)]
struct Heard {
    samples: Vec<f32>,
    first: Option<Instant>,
    /// Ends of the listening tones.
    tones: Vec<usize>,
    ended: bool,
}

/// A recording in progress.
pub struct Listener {
    child: Child,
    heard: Arc<(Mutex<Heard>, Condvar)>,
}

impl Listener {
    /// Listens to a source of the sound server, such as `ear.monitor`.
    pub fn at(source: &str) -> Self {
        let mut child = Command::new("parec")
            .args(["--raw", "--format=s16le", "--channels=1", "--latency-msec=20"])
            .arg(format!("--rate={RATE}"))
            .arg(format!("--device={source}"))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("parec starts");
        let mut out = child.stdout.take().expect("a pipe");
        let heard = Arc::new((Mutex::new(Heard::default()), Condvar::new()));
        let shared = Arc::clone(&heard);
        std::thread::spawn(move || {
            let (mut bytes, mut odd, mut tone) = ([0; 4096], Vec::new(), ToneFinder::default());
            loop {
                let read = out.read(&mut bytes).unwrap_or(0);
                let mut heard = shared.0.lock().expect("no panic in the recorder");
                heard.ended = read == 0;
                heard.first.get_or_insert_with(Instant::now);
                odd.extend_from_slice(&bytes[..read]);
                let whole = odd.len() / 2 * 2;
                let new = odd[..whole].chunks_exact(2).map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0);
                heard.samples.extend(new);
                odd.drain(..whole);
                let Heard { samples, tones, .. } = &mut *heard;
                tone.look(samples, tones);
                shared.1.notify_all();
                if read == 0 {
                    return;
                }
            }
        });
        let listener = Self { child, heard };
        listener.until(Duration::from_secs(20), |heard| (!heard.samples.is_empty()).then_some(()));
        listener
    }

    fn until<T>(&self, patience: Duration, mut look: impl FnMut(&Heard) -> Option<T>) -> Option<T> {
        let deadline = Instant::now() + patience;
        let mut heard = self.heard.0.lock().expect("no panic in the recorder");
        loop {
            if let Some(found) = look(&heard) {
                return Some(found);
            }
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() || heard.ended {
                return None;
            }
            heard = self.heard.1.wait_timeout(heard, left).expect("no panic in the recorder").0;
        }
    }

    /// The end of the next listening tone after a sample. `None` if none arrives in time.
    pub fn tone_after(&self, from: usize, patience: Duration) -> Option<usize> {
        self.until(patience, |heard| heard.tones.iter().copied().find(|at| *at > from))
    }

    /// Number of samples so far.
    pub fn length(&self) -> usize {
        self.heard.0.lock().expect("no panic in the recorder").samples.len()
    }

    /// Everything heard, the ends of the listening tones, and the time of the first sample.
    pub fn all(&self) -> (Vec<f32>, Vec<usize>, Instant) {
        let heard = self.heard.0.lock().expect("no panic in the recorder");
        (heard.samples.clone(), heard.tones.clone(), heard.first.unwrap_or_else(Instant::now))
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Detects the listening tone as samples arrive.
#[derive(Default)]
struct ToneFinder {
    at: usize,
    first: usize,
    second: usize,
    gap: usize,
}

impl ToneFinder {
    fn look(&mut self, samples: &[f32], tones: &mut Vec<usize>) {
        while self.at + WINDOW <= samples.len() {
            let window = &samples[self.at..self.at + WINDOW];
            match NOTES.iter().position(|hertz| is_note(window, *hertz)) {
                Some(0) => (self.first, self.second, self.gap) = (self.first + 1, 0, 0),
                Some(_) if self.first >= NOTE_WINDOWS => {
                    self.second += 1;
                    if self.second == NOTE_WINDOWS {
                        // The rest of the second note, and its fade.
                        tones.push(self.at + WINDOW + HOP * 3);
                        *self = Self { at: self.at, ..Self::default() };
                    }
                }
                _ => {
                    self.gap += 1;
                    if self.gap > 3 {
                        *self = Self { at: self.at, ..Self::default() };
                    }
                }
            }
            self.at += HOP;
        }
    }
}

/// Whether a window is a pure tone (Goertzel's algorithm).
fn is_note(window: &[f32], hertz: f32) -> bool {
    let power = window.iter().map(|s| s * s).sum::<f32>();
    if !NOTE_LOUD.contains(&(power / window.len() as f32).sqrt()) {
        return false;
    }
    let turn = 2.0 * (std::f32::consts::TAU * hertz / RATE as f32).cos();
    let (mut a, mut b) = (0.0_f32, 0.0_f32);
    for sample in window {
        (a, b) = (sample + turn * a - b, a);
    }
    let at_note = (a * a + b * b - turn * a * b) * 2.0 / window.len() as f32;
    at_note > NOTE_SHARE * power
}

/// First and last audible sample in a range.
pub fn sounding(samples: &[f32], between: std::ops::Range<usize>) -> Option<(usize, usize)> {
    let end = between.end.min(samples.len());
    let hops = (between.start..end.saturating_sub(HOP)).step_by(HOP);
    let loud = |at: &usize| {
        let hop = &samples[*at..*at + HOP];
        (hop.iter().map(|s| s * s).sum::<f32>() / HOP as f32).sqrt() > SOUNDS
    };
    let first = hops.clone().find(loud)?;
    let last = hops.rev().find(loud)?;
    Some((first, last + HOP))
}

/// Stretches of sound separated by pauses of at least a quarter of a second. None is longer than `longest` samples if it has a pause to cut
/// at.
pub fn stretches(samples: &[f32], longest: usize) -> Vec<std::ops::Range<usize>> {
    const PAUSE: usize = RATE as usize / 4;
    let mut found: Vec<std::ops::Range<usize>> = Vec::new();
    for at in (0..samples.len().saturating_sub(HOP)).step_by(HOP) {
        if sounding(samples, at..at + HOP + 1).is_none() {
            continue;
        }
        match found.last_mut() {
            Some(last) if at < last.end + PAUSE => last.end = at + HOP,
            _ => found.push(at..at + HOP),
        }
    }
    let mut joined: Vec<std::ops::Range<usize>> = Vec::new();
    for next in found {
        match joined.last_mut() {
            Some(last) if next.end - last.start <= longest && next.start < last.end + 3 * PAUSE => last.end = next.end,
            _ => joined.push(next),
        }
    }
    joined
}
