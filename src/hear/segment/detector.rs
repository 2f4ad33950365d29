//! Voice detector: the Silero network scores each moment of sound as voice or not.
//!
//! The network takes 32 ms at a time and carries state from step to step. `models/setup` fetches it; the ONNX Runtime runs it in about
//! 0.15 ms a step on one core.

use crate::hear::hear_error::HearError;
use crate::hear::models::known_sound;
use crate::hear::models::pinned;
use crate::hear::models::runtime::open_small;
use crate::hear::models::{self, DetectorFiles};
use ort::session::Session;
use ort::value::TensorRef;

/// Samples of one step of the network, and of the preceding sound that the step sees again.
const STEP: usize = 512;
const SEEN_AGAIN: usize = 64;
/// Steps of the known recording, of 27, that must score as voice.
const LEAST_VOICED: usize = 10;
/// Size of the hidden state and of the cell state.
const MEMORY: usize = 128;

/// The loaded network with its state for one stream of sound.
pub(in crate::hear) struct Detector {
    session: Session,
    hidden: Vec<f32>,
    cell: Vec<f32>,
    /// Sound for the next step, after the part seen again.
    window: Vec<f32>,
    /// Score of the last whole step.
    score: f32,
    /// The network failed, and the failure was logged.
    failed: bool,
}

impl std::fmt::Debug for Detector {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Detector").field("score", &self.score).finish_non_exhaustive()
    }
}

impl Detector {
    /// Loads the network from the model folder.
    ///
    /// # Errors
    /// When the network or the runtime is missing or unusable.
    pub(in crate::hear) fn load() -> Result<Self, HearError> {
        let DetectorFiles { runtime, network } = models::find_detector()?;
        pinned::check(&network)?;
        let bytes = std::fs::read(&network).map_err(|e| HearError::damaged(&network, e))?;
        let mut detector = Detector {
            session: open_small(&runtime, &network, &bytes)?,
            hidden: vec![0.0; MEMORY],
            cell: vec![0.0; MEMORY],
            window: vec![0.0; SEEN_AGAIN + STEP],
            score: 0.0,
            failed: false,
        };
        // A different network under this name must fail now, not during a walk.
        detector.step().map_err(|e| HearError::damaged(&network, e))?;
        detector.restart();
        let voiced = known_sound::sound().chunks_exact(STEP).filter(|step| detector.score(step) >= 0.5).count();
        detector.restart();
        let silent = detector.score(&[0.0; 4 * STEP]);
        detector.restart();
        // A NaN score fails both tests.
        if voiced < LEAST_VOICED || !(0.0..0.5).contains(&silent) {
            return Err(HearError::damaged(&network, "it does not tell a known voice from silence"));
        }
        Ok(detector)
    }

    /// Resets the state for another stream of sound.
    pub(in crate::hear) fn restart(&mut self) {
        self.hidden.fill(0.0);
        self.cell.fill(0.0);
        self.window.clear();
        self.window.resize(SEEN_AGAIN, 0.0);
        self.score = 0.0;
    }

    /// Takes the next 16 kHz sound and returns the score of the latest whole step, 0 to 1.
    pub(in crate::hear) fn score(&mut self, mut sound: &[f32]) -> f32 {
        while !sound.is_empty() {
            let (now, later) = sound.split_at(sound.len().min(SEEN_AGAIN + STEP - self.window.len()));
            self.window.extend_from_slice(now);
            sound = later;
            if self.window.len() == SEEN_AGAIN + STEP
                && let Err(error) = self.step()
            {
                if !self.failed {
                    tracing::error!(
                        "the voice detector failed, so whatever is louder than the room counts as voice: {error}"
                    );
                }
                (self.failed, self.score) = (true, 1.0);
                self.window.drain(..STEP);
            }
        }
        self.score
    }

    fn step(&mut self) -> Result<(), ort::Error> {
        let memory = [1, 1, MEMORY];
        let out = self.session.run(ort::inputs! {
            "input" => TensorRef::from_array_view(([1, SEEN_AGAIN + STEP], self.window.as_slice()))?,
            "h" => TensorRef::from_array_view((memory, self.hidden.as_slice()))?,
            "c" => TensorRef::from_array_view((memory, self.cell.as_slice()))?,
        })?;
        let (_, score) = out["speech_probs"].try_extract_tensor::<f32>()?;
        let (_, hidden) = out["hn"].try_extract_tensor::<f32>()?;
        let (_, cell) = out["cn"].try_extract_tensor::<f32>()?;
        if [score.len(), hidden.len(), cell.len()] != [1, MEMORY, MEMORY] {
            return Err(ort::Error::new("this is another network"));
        }
        self.score = score[0];
        self.hidden.copy_from_slice(hidden);
        self.cell.copy_from_slice(cell);
        self.window.drain(..STEP);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::level::rms;

    /// Share of steps that score as voice.
    fn voiced(sound: &[f32]) -> f32 {
        let mut detector = Detector::load().expect("models/setup was run");
        let steps = sound.chunks_exact(STEP).filter(|step| detector.score(step) >= 0.5).count();
        steps as f32 / (sound.len() / STEP) as f32
    }

    /// The recording comes with the speech model; the bursts are synthetic.
    #[test]
    fn a_recorded_reader_is_voice_and_bursts_of_noise_are_not() {
        let models = models::find().expect("models/setup was run");
        let read = crate::hear::read_wav(&models.folder.join("two_cities.wav")).expect("a recording");
        assert!(voiced(&read) > 0.7, "{}", voiced(&read));
        let mut random = fastrand::Rng::with_seed(5);
        // Nine bursts a second, at the reader's level.
        let level = rms(&read);
        let beat = 16_000 / 9;
        let burst = |n: usize| 4.0 * level * (-9.0 * (n % beat) as f32 / beat as f32).exp();
        let noise: Vec<f32> = (0..160_000).map(|n| burst(n) * (random.f32() * 2.0 - 1.0)).collect();
        assert!(voiced(&noise) < 0.01, "{}", voiced(&noise));
    }
}
