//! Keeps the noise prior between runs, in a file of the user's cache folder. A file that is unreadable or of another model counts as absent.
//!
//! The file holds a line that names the format, the model's size and modification time, the prefixes with the log probabilities of their
//! tokens, and the SHA-256 of all that.

use super::tokenizer::Token;
use crate::hear::models::cache::{cache_file, keep};
use crate::system::{Links, read};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

/// Changes with the format and with the way of measuring.
const FORMAT: &[u8] = b"probeside noise preference 1\n";
const FILE: &str = "noise-preference";
/// Most prefixes stored, the shortest ones first: some megabytes.
const MOST_KEPT: usize = 60_000;
/// Largest file in bytes; a larger one was not written by this program.
const MOST_BYTES: u64 = 256 << 20;
const SUM: usize = 32;

/// Log probabilities of tokens by prefix.
pub(in crate::hear) type NoisePrior = HashMap<Vec<Token>, HashMap<Token, f32>>;

/// The cache file, and the model that its contents belong to.
pub(in crate::hear) struct NoisePriorCache {
    file: PathBuf,
    model: [u8; 16],
}

impl NoisePriorCache {
    /// The cache for the model in this file; none if the user has no cache folder.
    pub(in crate::hear) fn of(model: &Path) -> Option<Self> {
        let file = cache_file(FILE)?;
        let about = model.metadata().ok()?;
        let changed = about.modified().ok()?.duration_since(UNIX_EPOCH).ok()?.as_millis() as u64;
        let mut of = [0; 16];
        of[..8].copy_from_slice(&about.len().to_le_bytes());
        of[8..].copy_from_slice(&changed.to_le_bytes());
        Some(NoisePriorCache { file, model: of })
    }

    /// Loads what was stored; empty if nothing fits.
    pub(in crate::hear) fn load(&self) -> NoisePrior {
        let bytes = read(&self.file, MOST_BYTES, Links::Refuse).ok();
        bytes.and_then(|bytes| unpack(&bytes, &self.model)).unwrap_or_default()
    }

    /// Stores the prior. A failure costs only time.
    pub(in crate::hear) fn store(&self, known: &NoisePrior) {
        keep(&self.file, &pack(known, &self.model));
    }
}

fn pack(known: &NoisePrior, model: &[u8; 16]) -> Vec<u8> {
    let mut all: Vec<_> = known.iter().filter(|(prefix, tokens)| prefix.len() < 256 && tokens.len() < 65_536).collect();
    all.sort_unstable_by(|a, b| a.0.len().cmp(&b.0.len()).then(a.0.cmp(b.0)));
    let mut out = [FORMAT, model].concat();
    for (prefix, tokens) in all.into_iter().take(MOST_KEPT) {
        out.push(prefix.len() as u8);
        prefix.iter().for_each(|t| out.extend(t.to_le_bytes()));
        out.extend((tokens.len() as u16).to_le_bytes());
        for (token, score) in tokens {
            out.extend(token.to_le_bytes());
            out.extend(score.to_le_bytes());
        }
    }
    let sum = Sha256::digest(&out);
    out.extend(sum);
    out
}

fn unpack(bytes: &[u8], model: &[u8; 16]) -> Option<NoisePrior> {
    let (body, sum) = bytes.split_at_checked(bytes.len().checked_sub(SUM)?)?;
    if Sha256::digest(body).as_slice() != sum {
        return None;
    }
    let mut rest = body.strip_prefix(FORMAT)?.strip_prefix(model)?;
    let mut known = NoisePrior::new();
    while !rest.is_empty() {
        let length = usize::from(take::<1>(&mut rest)?[0]);
        let mut prefix = Vec::with_capacity(length);
        for _ in 0..length {
            prefix.push(Token::from_le_bytes(take(&mut rest)?));
        }
        let count = u16::from_le_bytes(take(&mut rest)?);
        let tokens = known.entry(prefix).or_default();
        for _ in 0..count {
            let token = Token::from_le_bytes(take(&mut rest)?);
            tokens.insert(token, f32::from_le_bytes(take(&mut rest)?));
        }
    }
    Some(known)
}

fn take<const N: usize>(rest: &mut &[u8]) -> Option<[u8; N]> {
    let (head, tail) = rest.split_first_chunk::<N>()?;
    *rest = tail;
    Some(*head)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_comes_back_and_nothing_else_does() {
        let model = [7; 16];
        let mut known = NoisePrior::new();
        known.entry(vec![1]).or_default().extend([(5, -0.5), (9, -3.25)]);
        known.entry(vec![1, 5]).or_default().insert(2, -1.0);
        let packed = pack(&known, &model);
        assert_eq!(unpack(&packed, &model), Some(known));
        assert_eq!(unpack(&packed, &[8; 16]), None, "another model");
        for cut in 0..packed.len() {
            assert_eq!(unpack(&packed[..cut], &model), None, "cut at {cut}");
            let mut bent = packed.clone();
            bent[cut] ^= 1;
            assert_eq!(unpack(&bent, &model), None, "bent at {cut}");
        }
    }
}
