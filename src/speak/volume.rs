//! Applies a gain with a soft limit near full scale, so that louder prompts do not clip.

/// Amplitude above which peaks are compressed, full scale 1.
const KNEE: f32 = 0.8;
/// Range of gains; others are clamped.
const GAINS: (f32, f32) = (0.05, 4.0);

/// Multiplies by `volume`. Above the knee, samples approach full scale and never exceed it.
pub fn louder(sound: &mut [f32], volume: f32) {
    let gain = if volume.is_finite() { volume.clamp(GAINS.0, GAINS.1) } else { 1.0 };
    for sample in sound {
        let loud = *sample * gain;
        let over = loud.abs() - KNEE;
        *sample = if over <= 0.0 || gain == 1.0 {
            loud
        } else {
            (KNEE + (1.0 - KNEE) * (over / (1.0 - KNEE)).tanh()).copysign(loud)
        };
    }
}

#[cfg(test)]
mod tests {
    use super::louder;

    #[test]
    fn quiet_sound_is_multiplied_and_loud_sound_is_bent_not_cut() {
        let mut sound = [0.1, 0.6, -0.9, 0.0];
        louder(&mut sound, 2.0);
        assert_eq!(sound[0], 0.2);
        assert!(sound[1] > 0.8 && sound[1] < 1.0 && sound[2] >= -1.0 && sound[2] < -sound[1]);
        let mut same = [0.95, -0.95];
        louder(&mut same, 1.0);
        assert_eq!(same, [0.95, -0.95]);
    }
}
