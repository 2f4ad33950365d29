//! Prompt text to sound, print or WAV.

mod printed;
mod say;
mod voice;

pub use printed::{Printed, spoken_samples};
pub use say::{Mouth, MouthEvent, MouthSender, RATE, Say, Tone};
pub use voice::{Pcm, SpeakError, Voice};
