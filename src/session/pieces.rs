//! Cuts the audio of a whole session into pieces for the record, each with the session time of its start, so that a kill loses at most the
//! open piece.
//!
//! Audio may be delivered late but never early, so the least delayed part of a piece determines the start of the piece.

use super::clip::CLIP_RATE;

/// Most audio in a piece, in samples: half a minute.
pub const PIECE: usize = 30 * CLIP_RATE as usize;
/// Audio that would start this much after the end of the audio before it belongs to another piece, milliseconds: in real time, where a busy
/// loop delivers it late (chosen, no source), and in counted time.
const GAP_MS: u64 = 2_000;
const COUNTED_GAP_MS: u64 = 20;

/// A complete piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Session time of its first sample, milliseconds.
    pub began_ms: u64,
    /// The audio, at [`CLIP_RATE`], full scale 1.0.
    pub sound: Vec<f32>,
}

impl Piece {
    /// The id of its clip. Unique in a session, because no piece starts before another one ends.
    pub fn id(&self) -> String {
        format!("whole-{:09}", self.began_ms)
    }
}

/// Cuts the microphone's audio into pieces.
///
/// ```
/// use probeside::session::{PIECE, Pieces};
/// let mut pieces = Pieces::after(0, true);
/// assert_eq!(pieces.push(&vec![0.1; PIECE], 30_040), []);
/// assert_eq!(pieces.push(&[0.1; 160], 30_060)[0].began_ms, 40);
/// assert_eq!(pieces.close().unwrap().sound.len(), 160);
/// ```
#[derive(Debug)]
pub struct Pieces {
    sound: Vec<f32>,
    began_ms: u64,
    /// Earliest start of the next piece.
    least_ms: u64,
    gap_ms: u64,
}

fn length_ms(samples: usize) -> u64 {
    samples as u64 * 1000 / u64::from(CLIP_RATE)
}

impl Pieces {
    /// Pieces for a session at session time `now_ms` that continues in real or counted time.
    pub fn after(now_ms: u64, real: bool) -> Self {
        let gap_ms = if real { GAP_MS } else { COUNTED_GAP_MS };
        Pieces { sound: Vec::new(), began_ms: u64::MAX, least_ms: now_ms, gap_ms }
    }

    /// Takes audio that ended at `now_ms` or a little earlier. Returns the pieces that it completes.
    pub fn push(&mut self, sound: &[f32], now_ms: u64) -> Vec<Piece> {
        let mut whole = Vec::new();
        let begins_ms = now_ms.saturating_sub(length_ms(sound.len()));
        if !self.sound.is_empty() && begins_ms > self.ends_ms() + self.gap_ms {
            whole.extend(self.close());
        }
        let mut rest = sound;
        while !rest.is_empty() {
            if self.sound.len() == PIECE {
                whole.extend(self.close());
            }
            let (now, later) = rest.split_at(rest.len().min(PIECE - self.sound.len()));
            self.sound.extend_from_slice(now);
            rest = later;
            let begins_ms = now_ms.saturating_sub(length_ms(rest.len() + self.sound.len()));
            self.began_ms = self.began_ms.min(begins_ms).max(self.least_ms);
        }
        whole
    }

    /// Ends the open piece, if any. Audio after it is not contiguous.
    pub fn close(&mut self) -> Option<Piece> {
        if self.sound.is_empty() {
            return None;
        }
        self.least_ms = self.ends_ms();
        let began_ms = std::mem::replace(&mut self.began_ms, u64::MAX);
        Some(Piece { began_ms, sound: std::mem::take(&mut self.sound) })
    }

    /// The end of a piece is at least one millisecond after its start, so the next piece cannot start in the same millisecond.
    fn ends_ms(&self) -> u64 {
        self.began_ms + length_ms(self.sound.len()).max(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Parts of audio delivered with various delays, some with pauses of the source between them. Nothing is lost, no piece is too
        /// long, none overlaps another, and each starts no later than the least delay of its parts.
        #[test]
        fn nothing_is_lost_and_nothing_overlaps(parts in proptest::collection::vec((1usize..40_000, 0u64..500, 0u64..6_000, any::<bool>()), 1..80)) {
            let mut pieces = Pieces::after(0, true);
            let (mut whole, mut fed, mut true_ms, mut late_ms) = (Vec::new(), Vec::new(), 0, 0);
            for (samples, late, silence, pauses) in parts {
                if pauses {
                    true_ms += silence;
                }
                true_ms += length_ms(samples);
                // Delivered in order.
                late_ms = (true_ms + late).max(late_ms);
                let value = (fed.len() % 1000) as f32 / 1000.0;
                fed.extend(std::iter::repeat_n(value, samples));
                whole.extend(pieces.push(&fed[fed.len() - samples..], late_ms));
            }
            whole.extend(pieces.close());
            prop_assert_eq!(whole.iter().flat_map(|p| p.sound.iter().copied()).collect::<Vec<_>>(), fed);
            for pair in whole.windows(2) {
                prop_assert!(pair[0].sound.len() <= PIECE);
                prop_assert!(pair[1].began_ms >= pair[0].began_ms + length_ms(pair[0].sound.len()));
                prop_assert!(pair[0].id() != pair[1].id());
            }
        }
    }

    #[test]
    fn a_piece_begins_where_its_least_late_part_says() {
        let mut pieces = Pieces::after(1_000, true);
        // Ten parts of 100 ms from 5,000 ms on. All but the fourth are delivered late.
        for part in 0..10u64 {
            let late = if part == 3 { 0 } else { 300 };
            assert_eq!(pieces.push(&[0.2; 1_600], 5_000 + (part + 1) * 100 + late), []);
        }
        assert_eq!(pieces.close().unwrap().began_ms, 5_000);
        assert_eq!(pieces.close(), None);
    }

    #[test]
    fn sound_after_a_silence_of_the_source_is_another_piece() {
        let mut pieces = Pieces::after(0, true);
        pieces.push(&[0.2; 16_000], 1_000);
        let first = pieces.push(&[0.2; 16_000], 9_000);
        assert_eq!((first[0].began_ms, first[0].sound.len()), (0, 16_000));
        assert_eq!(pieces.close().unwrap().began_ms, 8_000);
    }
}
