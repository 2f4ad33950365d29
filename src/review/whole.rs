//! The audio of the whole session as one file, and its words as WebVTT in that file's time, so that any player shows the words as they are
//! spoken.
//!
//! The file starts with the session. Missing audio is replaced by silence of the same length, but at most a minute: a walk that was resumed
//! the next day does not become a day long. A missing piece, or one that differs from its entry in the journal, becomes silence.

use super::Review;
use super::vtt::cues;
use crate::session::{CLIP_RATE, Clip, PIECE, Storage, clip_sound, flac, limits, sha256_hex};
use crate::system::Kind;

/// The session's audio as an output file.
pub const SOUND: Kind = Kind { name: "session's sound", begins: "fLaC", goes_on: &[VENDOR] };
/// The vendor string in the file.
const VENDOR: &str = env!("CARGO_PKG_NAME");

/// Longest silence in place of missing audio, milliseconds. Chosen, no source.
const SILENCE_MS: u64 = 60_000;
/// Most audio in one file, milliseconds: 24 hours.
const MOST_MS: u64 = 24 * 3_600_000;

/// The audio and words of a whole session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Whole {
    /// A FLAC file.
    pub sound: Vec<u8>,
    /// The words in the file's time.
    pub vtt: String,
    /// Number of pieces.
    pub pieces: usize,
    /// Pieces replaced by silence, each with the reason.
    pub silent: Vec<String>,
}

/// A piece of the session's audio and its position in the file.
struct Span<'a> {
    clip: &'a Clip,
    began_ms: u64,
    /// Samples of silence before it.
    silence: usize,
    samples: usize,
    /// Its start in the file, milliseconds.
    at_ms: u64,
}

/// The pieces of the session's audio by start time.
pub fn pieces(review: &Review) -> Vec<&Clip> {
    let mut pieces: Vec<&Clip> = review.clips.iter().filter(|clip| clip.began_ms.is_some()).collect();
    pieces.sort_by_key(|clip| clip.began_ms);
    pieces
}

/// The pieces in words. `None` if none of the session's audio was kept.
pub(super) fn pieces_in_words(review: &Review) -> Option<String> {
    let pieces = pieces(review);
    let samples: u64 = pieces.iter().map(|clip| clip.samples.min(PIECE as u64)).sum();
    let minutes = samples.div_ceil(60 * u64::from(CLIP_RATE));
    let counted = if pieces.len() == 1 { "one piece".to_owned() } else { format!("{} pieces", pieces.len()) };
    (!pieces.is_empty())
        .then(|| format!("the whole session's, {minutes} min in {counted}; review --sound FILE writes it as one"))
}

fn samples(ms: u64) -> usize {
    (ms * u64::from(CLIP_RATE) / 1000) as usize
}

fn spans(review: &Review) -> Result<Vec<Span<'_>>, String> {
    let (mut end_ms, mut at) = (0u64, 0usize);
    let mut spans = Vec::new();
    for clip in pieces(review) {
        let began_ms = clip.began_ms.unwrap_or_default();
        let silence = samples(began_ms.saturating_sub(end_ms).min(SILENCE_MS));
        let length = usize::try_from(clip.samples).unwrap_or(usize::MAX).min(PIECE);
        at += silence;
        let ms = |samples: usize| samples as u64 * 1000 / u64::from(CLIP_RATE);
        spans.push(Span { clip, began_ms, silence, samples: length, at_ms: ms(at) });
        at += length;
        if ms(at) > MOST_MS {
            return Err(format!("the session's sound is longer than {} hours", MOST_MS / 3_600_000));
        }
        end_ms = end_ms.max(began_ms.saturating_add(ms(length)));
    }
    Ok(spans)
}

/// Converts session time to the file's time. A time in a shortened silence is moved into it.
fn in_file(spans: &[Span<'_>], ms: u64) -> u64 {
    let next = spans.partition_point(|span| span.began_ms <= ms);
    let (began_ms, at_ms) = next.checked_sub(1).map_or((0, 0), |last| (spans[last].began_ms, spans[last].at_ms));
    let most_ms = spans.get(next).map_or(u64::MAX, |span| span.at_ms - at_ms);
    at_ms.saturating_add((ms - began_ms).min(most_ms))
}

/// The session's audio, if it was kept, with its words.
///
/// # Errors
/// A sentence: no audio was kept, or it is too long.
pub fn whole(review: &Review, storage: &mut dyn Storage) -> Result<Whole, String> {
    let spans = spans(review)?;
    if spans.is_empty() {
        return Err(
            "the sound of the whole session was not kept: probeside walk --keep-sound everything keeps it".into()
        );
    }
    let mut silent = Vec::new();
    let sound = spans.iter().flat_map(|span| {
        let mut heard = read(storage, span.clip).unwrap_or_else(|why| {
            silent.push(format!("{}: {why}", span.clip.file));
            Vec::new()
        });
        heard.resize(span.samples, 0.0);
        std::iter::repeat_n(0.0, span.silence).chain(heard)
    });
    let sound = signed(flac(sound)?);
    if silent.len() == spans.len() {
        return Err(format!("nothing of the whole session's sound can be heard; {}", silent[0]));
    }
    let vtt = cues(review, |ms| in_file(&spans, ms));
    Ok(Whole { sound, vtt, pieces: spans.len(), silent })
}

/// Adds the vendor string to the file: a VORBIS_COMMENT block (RFC 9639, 8.6) after the STREAMINFO, which comes first and has 34 bytes
/// (8.2).
fn signed(mut file: Vec<u8>) -> Vec<u8> {
    const AT: usize = 4;
    const AFTER: usize = AT + 4 + 34;
    const LAST: u8 = 0x80;
    const COMMENT: u8 = 4;
    let Some(first) = file.get_mut(AT) else { return file };
    let last = *first & LAST;
    *first &= !LAST;
    // The length and text of the vendor string, and the number of further comments: none.
    let vendor = [&(VENDOR.len() as u32).to_le_bytes()[..], VENDOR.as_bytes(), &[0; 4]].concat();
    let header = [&[last | COMMENT][..], &(vendor.len() as u32).to_be_bytes()[1..]].concat();
    file.splice(AFTER.min(file.len())..AFTER.min(file.len()), [header, vendor].concat());
    file
}

fn read(storage: &mut dyn Storage, clip: &Clip) -> Result<Vec<f32>, String> {
    let bytes = storage.read(&clip.file, limits::CLIP).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => "it is not there".to_owned(),
        _ => format!("it cannot be read ({error})"),
    })?;
    if sha256_hex(&bytes) != clip.sha256 {
        return Err("it was altered after the walk".into());
    }
    clip_sound(&bytes, PIECE)
}
