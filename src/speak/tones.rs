//! Generates the three tones: rising for "listening", one high note for "accepted", low and falling for "not understood".

use super::say::Tone;

/// Frequencies of the notes in hertz, in order. They are far apart, so that they differ even for an ear with high-frequency loss.
const LISTENING: [f32; 2] = [660.0, 990.0];
const ACCEPTED: [f32; 1] = [1320.0];
const NOT_UNDERSTOOD: [f32; 2] = [440.0, 294.0];
/// Length of a note and of its fade in and out, in seconds.
const NOTE_SECONDS: f32 = 0.08;
const FADE_SECONDS: f32 = 0.01;
/// Amplitude, full scale 1.
const AMPLITUDE: f32 = 0.25;

/// Samples of a tone, -1 to 1, at `rate` samples a second.
pub fn tone_samples(tone: Tone, rate: u32) -> Vec<f32> {
    let notes: &[f32] = match tone {
        Tone::Listening => &LISTENING,
        Tone::Accepted => &ACCEPTED,
        Tone::NotUnderstood => &NOT_UNDERSTOOD,
    };
    let rate = rate as f32;
    let length = (NOTE_SECONDS * rate) as usize;
    let fade = FADE_SECONDS * rate;
    let mut sound = Vec::with_capacity(length * notes.len());
    for hertz in notes {
        sound.extend((0..length).map(|n| {
            let edge = (n as f32 / fade).min((length - n) as f32 / fade).min(1.0);
            AMPLITUDE * edge * (std::f32::consts::TAU * hertz * n as f32 / rate).sin()
        }));
    }
    sound
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reference: a sine crosses zero upwards once per period, so a note has as many crossings as its frequency times its length.
    #[test]
    fn notes_have_the_frequencies_they_are_named_for() {
        let sound = tone_samples(Tone::NotUnderstood, 48_000);
        let note = sound.len() / 2;
        for (part, hertz) in [(&sound[..note], NOT_UNDERSTOOD[0]), (&sound[note..], NOT_UNDERSTOOD[1])] {
            let crossings = part.windows(2).filter(|w| w[0] <= 0.0 && w[1] > 0.0).count() as f32;
            assert!((crossings - hertz * NOTE_SECONDS).abs() <= 1.5, "{crossings} crossings at {hertz} Hz");
        }
        assert!(sound.iter().all(|s| s.abs() <= AMPLITUDE));
    }

    #[test]
    fn the_three_differ_and_are_short() {
        let all = [Tone::Listening, Tone::Accepted, Tone::NotUnderstood].map(|t| tone_samples(t, 16_000));
        assert!(all.iter().all(|s| s.len() <= 16_000 / 5));
        assert_ne!(all[0], all[2]);
        assert_ne!(all[0].len(), all[1].len());
    }
}
