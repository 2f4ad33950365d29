//! The digest of a journal, long and short.
//!
//! Long: the SHA-256 of the last line, in hexadecimal, which by the chain stands for every byte before it. Short: eight decimal digits
//! to be spoken and written on paper, taken from the long one after 65536 further rounds of SHA-256. Two journals share the short form
//! by accident once in 100 million (10^8). Whoever rebuilds the chain on purpose can look for an alteration with the same eight digits:
//! half of 10^8 tries on average, each some milliseconds because of the rounds, so days of computing, not seconds. In a
//! dispute compare the long form.

use super::error::SessionError;
use super::storage::Storage;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use std::io;

/// File in the session's folder that holds the digest of a finished session.
pub const DIGEST_FILE: &str = "digest.json";
/// Largest file that is read as one, bytes.
const LARGEST: u64 = 4096;
/// Rounds between the long and the short form.
const ROUNDS: u32 = 1 << 16;
/// The short form is below this.
const SHORT: u64 = 100_000_000;

/// The digest of a journal up to a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Digest {
    /// Number of that line, from 0.
    pub seq: u64,
    /// SHA-256 of that line, hexadecimal.
    pub sha256: String,
    /// Eight digits, in two groups: `4712 9038`.
    pub short: String,
}

impl Digest {
    /// The digest for a line's hash.
    pub fn new(seq: u64, sha256: &str) -> Self {
        Digest { seq, sha256: sha256.to_owned(), short: short(sha256) }
    }

    /// The digest beside a journal; nothing where the session was not ended. Whether its two forms belong together is not checked: that
    /// takes some milliseconds.
    pub fn beside(storage: &mut dyn Storage) -> Result<Option<Self>, SessionError> {
        let place = storage.place();
        let refuse = |why: String| SessionError::Digest { place, why };
        let altered = || "it is not a digest as probeside writes it, so it was altered or damaged".to_owned();
        match storage.read(DIGEST_FILE, LARGEST) {
            Ok(bytes) => {
                let digest = serde_json::from_slice::<Self>(&bytes).ok();
                let digest = digest.filter(|d| serde_json::to_vec_pretty(d).is_ok_and(|written| written == bytes));
                digest.map(Some).ok_or_else(|| refuse(altered()))
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) if error.kind() == io::ErrorKind::FileTooLarge => Err(refuse(altered())),
            Err(error) => Err(refuse(format!("it cannot be read ({error})"))),
        }
    }

    /// What is wrong where the lines of a journal, given by their hashes, are not those that it was made for.
    pub(super) fn misfit(&self, hashes: &[String]) -> Option<String> {
        match usize::try_from(self.seq).ok().and_then(|seq| hashes.get(seq)) {
            None => Some(format!("it is missing, or damaged: {DIGEST_FILE} was written when it was there")),
            Some(hash) if *hash != self.sha256 => {
                Some(format!("it is not the line that {DIGEST_FILE} was written for: one of the two was altered"))
            }
            Some(_) => None,
        }
    }

    /// Whether what a person kept, in either form, with or without spaces, names this digest.
    pub fn matches(&self, kept: &str) -> bool {
        let kept: String = kept.chars().filter(|c| !c.is_whitespace() && *c != '-').collect::<String>().to_lowercase();
        !kept.is_empty() && (kept == self.sha256 || kept == self.short.replace(' ', ""))
    }
}

/// The eight digits for a hash.
fn short(sha256: &str) -> String {
    let mut hash = Sha256::digest(sha256.as_bytes());
    for _ in 1..ROUNDS {
        hash = Sha256::digest(hash);
    }
    let number = hash.iter().take(8).fold(0u64, |sum, byte| (sum << 8) | u64::from(*byte)) % SHORT;
    format!("{:04} {:04}", number / 10_000, number % 10_000)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn either_form_is_known_again() {
        let digest = Digest::new(3, &"ab".repeat(32));
        assert_eq!(digest.short.len(), 9);
        assert!(digest.matches(&digest.short) && digest.matches(&digest.short.replace(' ', "")));
        assert!(digest.matches(&"AB".repeat(32)));
        assert!(!digest.matches("") && !digest.matches("0000 0000"));
        assert_ne!(digest.short, Digest::new(3, &"ac".repeat(32)).short);
    }
}
