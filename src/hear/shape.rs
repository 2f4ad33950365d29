//! Shape of an utterance: the recogniser's frames, less their mean and scaled to unit length, so that room, microphone and level cancel out.
//! Two shapes are compared by dynamic time warping.

/// Width of the band around the diagonal that the warping path stays in (Sakoe and Chiba 1978): a share of the longer shape, and at least so
/// many frames.
const BAND: f64 = 0.35;
const LEAST_BAND: usize = 12;

/// Frames of one utterance, each of unit length.
#[derive(Debug, Clone, PartialEq)]
pub struct UtteranceShape {
    /// Size of a frame.
    pub(super) size: usize,
    pub(super) frames: Vec<f32>,
}

impl UtteranceShape {
    /// Subtracts the mean of `frames` (rows of `size` numbers) and scales each row to unit length.
    pub fn new(frames: &[f32], size: usize) -> Self {
        let count = (frames.len() / size.max(1)).max(1);
        let mut mean = vec![0.0f32; size];
        for row in frames.chunks_exact(size) {
            row.iter().zip(&mut mean).for_each(|(x, m)| *m += x / count as f32);
        }
        let mut out = Vec::with_capacity(frames.len());
        for row in frames.chunks_exact(size) {
            let begin = out.len();
            out.extend(row.iter().zip(&mean).map(|(x, m)| x - m));
            let length = out[begin..].iter().map(|x| x * x).sum::<f32>().sqrt().max(1e-9);
            out[begin..].iter_mut().for_each(|x| *x /= length);
        }
        Self { size, frames: out }
    }

    pub(super) fn count(&self) -> usize {
        self.frames.len() / self.size.max(1)
    }

    fn row(&self, at: usize) -> &[f32] {
        &self.frames[at * self.size..(at + 1) * self.size]
    }

    /// Distance of two utterances: the mean of 1 - cosine along the best warping path; 0 for equal ones.
    pub fn apart(&self, other: &UtteranceShape) -> f32 {
        let (n, m) = (self.count(), other.count());
        if n == 0 || m == 0 || self.size != other.size {
            return 1.0;
        }
        let band = ((n.max(m) as f64 * BAND) as usize).max(LEAST_BAND).max(n.abs_diff(m));
        let mut above = vec![f32::INFINITY; m + 1];
        above[0] = 0.0;
        for i in 1..=n {
            let mut row = vec![f32::INFINITY; m + 1];
            let middle = i * m / n;
            for j in middle.saturating_sub(band).max(1)..=(middle + band).min(m) {
                let cosine: f32 = self.row(i - 1).iter().zip(other.row(j - 1)).map(|(a, b)| a * b).sum();
                let cost = 1.0 - cosine;
                row[j] = (above[j - 1] + 2.0 * cost).min(above[j] + cost).min(row[j - 1] + cost);
            }
            above = row;
        }
        above[m] / (n + m) as f32
    }
}

/// For tests: a path through eight directions, drawn with `slow` frames for each.
#[cfg(test)]
pub(in crate::hear) fn drawn(path: &[usize], slow: usize) -> UtteranceShape {
    let mut frames = Vec::new();
    for at in path {
        for n in 0..slow {
            let mut row = [0.0f32; 8];
            row[*at] = 1.0;
            row[(*at + 1) % 8] = 0.05 * n as f32;
            frames.extend(row);
        }
    }
    UtteranceShape::new(&frames, 8)
}

#[cfg(test)]
mod tests {
    use super::{UtteranceShape, drawn as shape};

    #[test]
    fn slower_speech_is_near_and_another_word_is_far() {
        let word = shape(&[0, 3, 5, 1], 4);
        assert!(word.apart(&word) < 1e-5);
        let (slow, other) = (shape(&[0, 3, 5, 1], 6), shape(&[2, 4, 6, 7], 4));
        assert!(word.apart(&slow) < 0.05, "{}", word.apart(&slow));
        assert!(word.apart(&other) > 0.5, "{}", word.apart(&other));
        assert!((word.apart(&slow) - slow.apart(&word)).abs() < 1e-4);
        assert_eq!(word.apart(&UtteranceShape::new(&[], 8)), 1.0);
    }
}
