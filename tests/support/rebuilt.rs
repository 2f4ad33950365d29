//! A journal that somebody altered who knows its format: numbers, hashes and the digest are made right again.

use probeside::session::{Digest, sha256_hex};
use serde_json::Value;

/// The journal with its chain made right, and the digest that fits it. A line that is no JSON object stays as it is.
pub fn rebuilt(journal: &[u8]) -> (Vec<u8>, Digest) {
    let (mut out, mut prev, mut count) = (Vec::new(), "0".repeat(64), 0_u64);
    for raw in journal.split_inclusive(|byte| *byte == b'\n') {
        let line = raw.strip_suffix(b"\n").unwrap_or(raw);
        let (line, end) = match serde_json::from_slice(line) {
            Ok(Value::Object(mut entry)) => {
                entry.insert("seq".to_owned(), count.into());
                entry.insert("prev".to_owned(), prev.into());
                (Value::Object(entry).to_string().into_bytes(), &b"\n"[..])
            }
            _ => (line.to_vec(), &raw[line.len()..]),
        };
        prev = sha256_hex(&line);
        out.extend(line);
        out.extend(end);
        count += 1;
    }
    (out, Digest::new(count.saturating_sub(1), &prev))
}
