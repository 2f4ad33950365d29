//! How somebody speaks, and from where: processing of a voice before it is mixed with noise. All of it is synthetic.

use super::noises::Random;
use super::voices::resample;
use probeside::hear::SAMPLE_RATE;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    AtTheMicrophone,
    /// Two metres away in a room of 54 m³ with a reverberation time of 0.5 s.
    TwoMetres,
    /// At arm's length in a bare garage of 100 m³ with a reverberation time of 1.2 s.
    Reverberant,
    /// Higher, with more treble, and limited.
    Shouted,
    /// A sixth faster and higher, uneven, with a breath first.
    Breathless,
}

/// A room: cubic metres, reverberation time in seconds, metres to the microphone.
struct Room {
    volume: f32,
    falls: f32,
    distance: f32,
}

impl Room {
    /// The room's impulse response: the direct sound, and noise that decays from 3 ms on. The direct sound is as strong as all the rest at
    /// the critical distance, 0.057 times the root of volume over reverberation time (Kuttruff, Room Acoustics; from memory).
    fn response(&self, random: &mut Random) -> Vec<f32> {
        let rate = SAMPLE_RATE as f32;
        let critical = 0.057 * (self.volume / self.falls).sqrt();
        let count = (self.falls * rate) as usize;
        let first = (0.003 * rate) as usize;
        let mut out: Vec<f32> = (0..count)
            .map(|i| if i < first { 0.0 } else { random.white() * (-6.908 * i as f32 / (self.falls * rate)).exp() })
            .collect();
        let energy: f32 = out.iter().map(|x| x * x).sum();
        let scale = self.distance / critical / energy.sqrt().max(1e-9);
        out.iter_mut().for_each(|x| *x *= scale);
        out[0] = 1.0;
        out
    }

    fn around(&self, sound: &[f32], random: &mut Random) -> Vec<f32> {
        let response = self.response(random);
        let mut out = vec![0.0; sound.len() + response.len()];
        for (i, x) in sound.iter().enumerate().filter(|(_, x)| x.abs() > 1e-5) {
            out[i..].iter_mut().zip(&response).for_each(|(y, r)| *y += x * r);
        }
        // The reverberation after the last word is cut where an end-of-speech detector would end the utterance.
        out.truncate(sound.len() + SAMPLE_RATE / 4);
        out
    }
}

impl Way {
    pub fn label(self) -> &'static str {
        match self {
            Way::AtTheMicrophone => "at the microphone",
            Way::TwoMetres => "two metres away",
            Way::Reverberant => "in a bare garage",
            Way::Shouted => "shouted",
            Way::Breathless => "breathless",
        }
    }

    /// The voice as it arrives at the microphone.
    pub fn of(self, voice: Vec<f32>, random: &mut Random) -> Vec<f32> {
        match self {
            Way::AtTheMicrophone => voice,
            Way::TwoMetres => Room { volume: 54.0, falls: 0.5, distance: 2.0 }.around(&voice, random),
            Way::Reverberant => Room { volume: 100.0, falls: 1.2, distance: 0.6 }.around(&voice, random),
            Way::Shouted => {
                let higher = resample(&voice, SAMPLE_RATE * 6 / 5, SAMPLE_RATE);
                let peak = higher.iter().fold(1e-9f32, |m, x| m.max(x.abs()));
                let mut before = 0.0;
                let brighter = higher.iter().map(|&x| {
                    let y = x - 0.7 * before;
                    before = x;
                    y / peak
                });
                brighter.map(|y| (4.0 * y).tanh()).collect()
            }
            Way::Breathless => {
                let faster = resample(&voice, SAMPLE_RATE * 7 / 6, SAMPLE_RATE);
                let level = (faster.iter().map(|x| x * x).sum::<f32>() / faster.len().max(1) as f32).sqrt();
                let (breath, mut low) = (SAMPLE_RATE * 3 / 10, 0.0);
                let mut out: Vec<f32> = (0..breath)
                    .map(|i| {
                        low += 0.3 * (random.white() - low);
                        let shape = (std::f32::consts::PI * i as f32 / breath as f32).sin();
                        0.5 * level * shape * low
                    })
                    .collect();
                let turn = std::f32::consts::TAU * 3.5 / SAMPLE_RATE as f32;
                out.extend(faster.iter().enumerate().map(|(i, x)| x * (1.0 - 0.4 * (turn * i as f32).sin().abs())));
                out
            }
        }
    }
}
