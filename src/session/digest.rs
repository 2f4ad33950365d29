//! The digest of a journal, in long and short form.
//!
//! The long form is the SHA-256 of the last line, in hexadecimal. Through the chain it stands for every byte before it. The short form is
//! eight decimal digits for speech and paper, derived from the long one by 65536 further rounds of SHA-256. Two journals share the short
//! form by accident once in 100 million (10^8). A forger who rebuilds the chain can search for an alteration with the same eight digits:
//! half of 10^8 tries on average, each some milliseconds because of the rounds, which means days of computing, not seconds. In a dispute
//! compare the long form.

use super::error::SessionError;
use super::storage::Storage;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use std::io;

/// File in the session's folder with the digest of a finished session.
pub const DIGEST_FILE: &str = "digest.json";
/// Largest digest file that is read, bytes.
const LARGEST: u64 = 4096;
/// Rounds between the long and the short form.
const ROUNDS: u32 = 1 << 16;
/// Upper limit of the short form.
const SHORT: u64 = 100_000_000;

/// The digest of a journal up to one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Digest {
    /// The line's number, from 0.
    pub seq: u64,
    /// SHA-256 of the line, hexadecimal.
    pub sha256: String,
    /// The eight digits in two groups: `4712 9038`.
    pub short: String,
}

impl Digest {
    /// The digest for a line with this hash.
    pub fn new(seq: u64, sha256: &str) -> Self {
        Digest { seq, sha256: sha256.to_owned(), short: short(sha256) }
    }

    /// Reads the digest beside a journal. `None` if the session was not ended. Does not check that the two forms match, which would take
    /// some milliseconds.
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

    /// Describes the mismatch if the digest was not made for the journal whose lines have these hashes.
    pub(super) fn misfit(&self, hashes: &[String]) -> Option<String> {
        match usize::try_from(self.seq).ok().and_then(|seq| hashes.get(seq)) {
            None => Some(format!("it is missing, or damaged: {DIGEST_FILE} was written when it was there")),
            Some(hash) if *hash != self.sha256 => {
                Some(format!("it is not the line that {DIGEST_FILE} was written for: one of the two was altered"))
            }
            Some(_) => None,
        }
    }

    /// Whether a digest that somebody kept, in either form, with or without spaces, is this one.
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
