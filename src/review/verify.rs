//! Checks that a session's folder is complete and unaltered: the chain, its digest, the copies, the clips, and any extra files.
//!
//! What this proves, and what it cannot:
//!
//! - The chain reveals every alteration of a line that another line follows. `digest.json` reveals an alteration of the last line, and
//!   lines missing after it. So a session that was ended, with its digest beside it, is unaltered unless somebody forged both.
//! - Whoever forges both, or cuts the journal back to an earlier end and restores the digest of that time, is only detected by a digest
//!   kept elsewhere: on paper, on the customer's page, in the archive.
//! - A session that was not ended is neither whole nor forged. It may be in progress or broken off, or its end may have been cut away
//!   together with its digest; these look the same. Nothing shows whether lines are missing at its end.
//! - A journal with an end but no digest is not whole: the digest was removed, or the program was killed between the two.

use super::{Review, plain};
use crate::session::chain::{self, State};
use crate::session::{
    CLIPS, Clip, DIGEST_FILE, Digest, Forgotten, JOURNAL_FILE, Kind, LOCK, Repair, SessionError, Storage, header_of,
    limits, read_journal, sha256_hex,
};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::io;

/// Most earlier ends of the session that are compared with a kept digest. Each short form takes some milliseconds.
const ENDS_COMPARED: usize = 100;

/// A finding with its place: `journal.jsonl:12`, `clips/a.wav`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The place.
    pub place: String,
    /// The finding, as a sentence.
    pub what: String,
}

/// The result of [`verify`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Verification {
    /// Whether no fault was found. The record is whole only if it was also ended.
    pub sound: bool,
    /// Whether its last line ends the session, with its digest beside the journal.
    pub ended: bool,
    /// Everything altered, removed, moved or added. The first is the most important.
    pub faults: Vec<Finding>,
    /// Findings that are not faults.
    pub notes: Vec<Finding>,
    /// Number of lines that fit the chain.
    pub entries: u64,
    /// Digest of these lines.
    pub digest: Digest,
}

#[derive(Default)]
struct Findings {
    faults: Vec<Finding>,
    notes: Vec<Finding>,
    known: BTreeSet<String>,
}

impl Findings {
    fn fault(&mut self, place: impl Into<String>, what: impl Into<String>) {
        self.faults.push(Finding { place: place.into(), what: what.into() });
    }

    fn note(&mut self, place: impl Into<String>, what: impl Into<String>) {
        self.notes.push(Finding { place: place.into(), what: what.into() });
    }

    /// Compares a file with its hash. `gone` says whether a missing file is a fault.
    fn file(&mut self, storage: &mut dyn Storage, name: &str, sha256: &str, limit: u64, gone: Option<&str>) {
        self.known.insert(name.to_owned());
        match storage.read(name, limit) {
            Ok(bytes) if sha256_hex(&bytes) == sha256 => {}
            Ok(_) => self.fault(name, "the file was altered: its hash is not the one in the journal"),
            Err(error) if error.kind() == io::ErrorKind::NotFound => match gone {
                Some(fine) => self.note(name, fine),
                None => self.fault(name, "the file was removed"),
            },
            Err(error) if error.kind() == io::ErrorKind::FileTooLarge => {
                self.fault(name, format!("the file was altered: it is larger than {limit} bytes"));
            }
            Err(error) => self.fault(name, format!("the file cannot be read: {error}")),
        }
    }
}

/// Checks a session's folder without a lock and without changes. `kept` is a digest kept elsewhere, in either form.
///
/// Fails if there is no journal to check. Everything else is a finding.
pub fn verify(storage: &mut dyn Storage, kept: Option<&str>) -> Result<Verification, SessionError> {
    let bytes = read_journal(storage)?;
    let (mut first, mut clips, mut repairs) = (None, BTreeMap::<String, (Clip, bool)>::new(), Vec::new());
    let (mut hashes, mut ends, mut forgotten) = (Vec::new(), Vec::new(), Vec::<Forgotten>::new());
    let scan = chain::scan(&bytes, |_, entry, hash, fits| {
        if !fits {
            return;
        }
        hashes.push(hash.to_owned());
        if entry.is(Kind::End) {
            ends.push(entry.seq);
        } else if entry.is(Kind::Clip) || entry.is(Kind::ClipStored) {
            if let Some(clip) = entry.body_as::<Clip>() {
                clips.insert(clip.file.clone(), (clip, entry.is(Kind::ClipStored)));
            }
        } else if entry.is(Kind::Forgotten) {
            forgotten.extend(entry.body_as::<Forgotten>());
        } else if entry.is(Kind::Repaired) {
            repairs.extend(entry.body_as::<Repair>());
        }
        if first.is_none() {
            first = Some(entry);
        }
    });
    let mut found = Findings::default();
    found.known.extend([JOURNAL_FILE, LOCK, DIGEST_FILE].map(String::from));
    let line = |line: u64| format!("{JOURNAL_FILE}:{line}");
    match &scan.state {
        State::Whole => {}
        State::Torn { line: at, why } => {
            let what = "the last write was cut short, or is under way, or the end was altered";
            found.fault(line(*at), format!("{why}: {what}; `probeside walk --resume` sets it aside"));
        }
        State::Broken { line: at, why } => found.fault(line(*at), why.clone()),
    }
    let digest = Digest::new(scan.lines.saturating_sub(1), &scan.digest);
    let written = digest_file(storage, &mut found, &hashes, &ends);
    let ended = written.as_ref().is_some_and(|digest| digest.seq.saturating_add(1) == scan.lines);
    if let Some(kept) = kept {
        against_kept(kept, &digest, written.as_ref(), &hashes, &ends, &mut found);
    }
    match header_of(&storage.place(), first.as_ref()) {
        Ok(header) => {
            for copy in &header.files {
                found.file(storage, &copy.name, &copy.sha256, limits::COPY, None);
            }
        }
        Err(error) => found.fault(line(1), error.to_string()),
    }
    for (clip, stored) in clips.values() {
        let wish = forgotten.iter().find(|f| f.clips.contains(&clip.file));
        let fine = match wish {
            Some(wish) => Some(format!("removed by {}: {}", wish.by, wish.why)),
            None if *stored => None,
            None => Some("announced, but never stored: the program was interrupted or the disk was full".to_owned()),
        };
        found.file(storage, &clip.file, &clip.sha256, limits::CLIP, fine.as_deref());
    }
    for repair in &repairs {
        found.file(storage, &repair.file, &repair.sha256, limits::JOURNAL, None);
    }
    let place = storage.place();
    let list = storage.list().map_err(|error| SessionError::from_io(&place, "looking into the folder", error))?;
    for name in list.iter().filter(|name| !found.known.contains(*name)).cloned().collect::<Vec<_>>() {
        if name.starts_with(CLIPS) {
            found.fault(name, "the file was added: the journal does not know it");
        } else {
            found.note(name, "not part of the session");
        }
    }
    let Findings { faults, notes, .. } = found;
    Ok(Verification { sound: faults.is_empty(), ended, faults, notes, entries: scan.lines, digest })
}

/// Reads `digest.json` and compares it with the journal.
fn digest_file(storage: &mut dyn Storage, found: &mut Findings, hashes: &[String], ends: &[u64]) -> Option<Digest> {
    let digest = match Digest::beside(storage) {
        Ok(Some(digest)) => digest,
        Ok(None) => {
            if ends.is_empty() {
                found.note(
                    DIGEST_FILE,
                    "not there, since the session was not ended: nothing tells whether lines are missing at its end",
                );
            } else {
                found.fault(
                    DIGEST_FILE,
                    "digest missing: the file was removed, or the program was interrupted in its very last step; \
                     `probeside walk --resume` ends the session anew",
                );
            }
            return None;
        }
        Err(SessionError::Digest { why, .. }) => {
            found.fault(DIGEST_FILE, why);
            return None;
        }
        Err(error) => {
            found.fault(DIGEST_FILE, error.to_string());
            return None;
        }
    };
    if Digest::new(digest.seq, &digest.sha256) != digest {
        found.fault(DIGEST_FILE, "the file was altered: its short digest is not that of the long one");
        return None;
    }
    match usize::try_from(digest.seq).ok().and_then(|seq| hashes.get(seq)) {
        None => found.fault(
            format!("{JOURNAL_FILE}:{}", hashes.len() + 1),
            format!("lines are missing: the digest is that of line {}", digest.seq.saturating_add(1)),
        ),
        Some(hash) if *hash != digest.sha256 => found.fault(
            format!("{JOURNAL_FILE}:{}", digest.seq + 1),
            format!("the line is not the one {DIGEST_FILE} was written for: one of the two was altered"),
        ),
        Some(_) if !ends.contains(&digest.seq) => {
            found.fault(DIGEST_FILE, "the file was altered: it is for a line that does not end the session");
        }
        Some(_) if ends.last() != Some(&digest.seq) => {
            found.fault(
                DIGEST_FILE,
                "digest missing: the file is for an earlier end of the session; it was put back, or writing it was interrupted; \
                 `probeside walk --resume` ends the session anew",
            );
        }
        Some(_) => {
            let later = hashes.len() as u64 - digest.seq - 1;
            if later > 0 {
                found.note(
                    JOURNAL_FILE,
                    format!(
                        "{later} lines were added after the session was ended, and it was not ended again: nothing tells whether lines \
                         are missing after them"
                    ),
                );
            }
        }
    }
    Some(digest)
}

/// What remains to be done with a session that was not ended with its digest, or whose end is torn. `None` if nothing remains or the
/// journal is broken.
pub fn to_be_done(review: &Review, storage: &mut dyn Storage) -> Option<String> {
    let place = storage.place();
    let digest = Digest::beside(storage).ok().flatten();
    let has_digest = digest.is_some_and(|digest| digest.sha256 == review.chain.digest.sha256);
    let what = match (review.chain.state, review.session.finished) {
        ("torn", _) => "The last write was cut short; to set it aside and go on, or to end the session",
        ("whole", true) if has_digest => return None,
        ("whole", true) => {
            "The session was ended, but its digest is missing, so nobody can prove that it is whole; to end it anew"
        }
        ("whole", false) => "The session was not ended; to go on with it, or to end it",
        _ => return None,
    };
    Some(format!("{what}, type: probeside walk --resume {}", plain(&place)))
}

fn against_kept(
    kept: &str,
    now: &Digest,
    written: Option<&Digest>,
    hashes: &[String],
    ends: &[u64],
    found: &mut Findings,
) {
    if now.matches(kept) {
        found.note(JOURNAL_FILE, "the digest kept elsewhere is that of its last line: nothing is altered or missing");
        return;
    }
    let earlier = ends
        .iter()
        .rev()
        .take(ENDS_COMPARED)
        .filter_map(|seq| hashes.get(usize::try_from(*seq).ok()?).map(|hash| (*seq, hash)));
    for (seq, hash) in earlier {
        if hash == kept || Digest::new(seq, hash).matches(kept) {
            let later = hashes.len() as u64 - seq - 1;
            found.note(
                JOURNAL_FILE,
                format!("the digest kept elsewhere is that of line {}; {later} lines came after it", seq + 1),
            );
            return;
        }
    }
    let same_as_file = written.is_some_and(|digest| digest.matches(kept));
    let hint = if same_as_file { format!(", though {DIGEST_FILE} names it") } else { String::new() };
    found.fault(
        JOURNAL_FILE,
        format!("the digest kept elsewhere is not that of this journal{hint}: the journal was rebuilt or cut"),
    );
}
