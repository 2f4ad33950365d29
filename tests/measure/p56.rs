//! Active speech level by ITU-T P.56 (12/2011), method B: the level during speech, excluding pauses.
//!
//! The envelope is the rectified signal after two exponential averages. For each of a row of thresholds, the time is counted during which
//! the envelope is above it, or was above it less than the hangover ago. The result is the level at which the active level exceeds its
//! threshold by the margin. Constants from memory of the Recommendation.

/// Time constant of each of the two averages, seconds.
const TIME_CONSTANT: f64 = 0.03;
/// Hangover, seconds.
const HANGOVER: f64 = 0.2;
/// Active level above the threshold, decibels.
const MARGIN: f64 = 15.9;
/// Number of thresholds. Each is half the previous one, from full scale down.
const THRESHOLDS: usize = 15;

/// The reading of the speech voltmeter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Active speech level, root mean square of full scale. Zero for silence.
    pub active: f64,
    /// Share of the time that is active.
    pub activity: f64,
}

/// Measures `sound`, full scale 1, at `rate` samples per second.
pub fn measure(sound: &[f32], rate: f64) -> Level {
    let nothing = Level { active: 0.0, activity: 0.0 };
    let keep = (-1.0 / (rate * TIME_CONSTANT)).exp();
    let hang = (rate * HANGOVER).ceil() as usize;
    let thresholds: Vec<f64> = (1..=THRESHOLDS).map(|j| 0.5f64.powi((THRESHOLDS + 1 - j) as i32)).collect();
    let mut counts = [0usize; THRESHOLDS];
    let mut since = [usize::MAX; THRESHOLDS];
    let (mut first, mut envelope, mut squares) = (0.0, 0.0, 0.0);
    for &x in sound {
        let x = f64::from(x);
        squares += x * x;
        first = keep * first + (1.0 - keep) * x.abs();
        envelope = keep * envelope + (1.0 - keep) * first;
        for ((threshold, count), since) in thresholds.iter().zip(&mut counts).zip(&mut since) {
            if envelope >= *threshold {
                *since = 0;
            } else if *since < hang {
                *since += 1;
            } else {
                break;
            }
            *count += 1;
        }
    }
    if counts[0] == 0 || squares == 0.0 {
        return nothing;
    }
    let decibel = |j: usize| 10.0 * (squares / counts[j] as f64).log10();
    let over = |j: usize| decibel(j) - 20.0 * thresholds[j].log10();
    let mut level = decibel(0);
    for j in (0..THRESHOLDS).take_while(|&j| counts[j] > 0) {
        level = decibel(j);
        if over(j) <= MARGIN {
            if j > 0 {
                // Between two thresholds both the level and its margin are interpolated linearly in decibels.
                let share = (over(j - 1) - MARGIN) / (over(j - 1) - over(j)).max(1e-9);
                level = decibel(j - 1) + share * (decibel(j) - decibel(j - 1));
            }
            break;
        }
    }
    let active = 10f64.powf(level / 20.0);
    Level { active, activity: (squares / sound.len() as f64 / (active * active)).min(1.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 16_000.0;

    fn tone(seconds: f64, amplitude: f64) -> Vec<f32> {
        let count = (seconds * RATE) as usize;
        (0..count).map(|i| (amplitude * (i as f64 * std::f64::consts::TAU * 440.0 / RATE).sin()) as f32).collect()
    }

    fn decibels(x: f64) -> f64 {
        20.0 * x.log10()
    }

    #[test]
    fn a_steady_tone_has_its_own_level_and_is_always_active() {
        for amplitude in [0.5, 0.05, 0.005] {
            let shown = measure(&tone(10.0, amplitude), RATE);
            assert!((decibels(shown.active) - decibels(amplitude / 2f64.sqrt())).abs() < 0.1, "{shown:?}");
            assert!(shown.activity > 0.98, "{shown:?}");
        }
    }

    #[test]
    fn pauses_do_not_lower_it_but_for_the_hangover() {
        // A second of tone and three of silence, repeated. Active time: the tone, the hangover, and the time the envelope takes to fall to
        // the threshold 15.9 dB below, about three time constants.
        let mut sound = Vec::new();
        for _ in 0..5 {
            sound.extend(tone(1.0, 0.2));
            sound.resize(sound.len() + (3.0 * RATE) as usize, 0.0);
        }
        let shown = measure(&sound, RATE);
        let expected = decibels(0.2 / 2f64.sqrt()) - 10.0 * (1.0 + HANGOVER + 0.1f64).log10();
        assert!((decibels(shown.active) - expected).abs() < 0.3, "{} {expected}", decibels(shown.active));
        assert!((shown.activity - 1.3 / 4.0).abs() < 0.03, "{shown:?}");
    }

    #[test]
    fn twice_as_loud_is_six_decibels_more_and_silence_is_nothing() {
        let quiet = measure(&tone(2.0, 0.1), RATE).active;
        let loud = measure(&tone(2.0, 0.2), RATE).active;
        assert!((decibels(loud / quiet) - 6.02).abs() < 0.15);
        assert_eq!(measure(&[0.0; 16_000], RATE), Level { active: 0.0, activity: 0.0 });
        assert_eq!(measure(&[], RATE).active, 0.0);
    }
}
