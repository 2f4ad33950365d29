//! The end of a walk: closes its record, then says and prints what is actually on disk.

use super::outcome::Failure;
use super::recogniser_thread::Delay;
use super::signals::Interrupts;
use super::sources::Sources;
use crate::session::{Digest, NotKept, Now, Writer};
use crate::speak::{Mouth, MouthEvent, Say};
use crate::walk::World;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::sync::mpsc::UnboundedReceiver;

/// The closing words must finish within this time.
const LAST_WORDS: Duration = Duration::from_secs(30);

/// Closes the record of a walk that ended with this exit code and reason, then says and prints what is kept. Returns the overall exit code:
/// a walk without a kept record never succeeds.
pub async fn end(
    (code, why): (u8, String),
    writer: Writer,
    now: &Now,
    folder: &Path,
    world: &World,
    mouth: &mut dyn Mouth,
    sources: &mut Sources,
) -> u8 {
    let place = folder.display().to_string();
    let ended = writer.end(now);
    // A user who interrupts does not wait for the spoken digest; it is on the screen.
    let words = last_words(&ended, code, &place, world).filter(|_| code != 0 || !sources.interrupts.has_come());
    if let Some(text) = words {
        say(text, mouth, &mut sources.mouth, &mut sources.interrupts).await;
    }
    let again = format!("Go on with: probeside walk --resume {place}");
    match ended {
        Ok(digest) => {
            if code != 0 {
                crate::terminal::errln!("The walk is not finished: {why}. {again}");
            }
            crate::terminal::errln!("{}", digest_line(folder, &digest));
            code
        }
        Err(NotKept { why, there }) => {
            crate::terminal::errln!("The record of this walk could not be kept: {why}.");
            match there.entries {
                0 => crate::terminal::errln!("Nothing of it is to be found in {place}."),
                entries => {
                    crate::terminal::errln!(
                        "In {place} are its first {entries} entries, with {} readings. {again}",
                        there.readings
                    )
                }
            }
            1
        }
    }
}

/// The closing words.
fn last_words(ended: &Result<Digest, NotKept>, code: u8, place: &str, world: &World) -> Option<String> {
    let (key, given) = match ended {
        Ok(digest) if code == 0 => return digest_words(digest, world),
        Ok(_) => ("record-kept", serde_json::json!({})),
        Err(NotKept { why, there }) => (
            "record-not-kept",
            serde_json::json!({ "why": why.to_string(), "readings": there.readings, "place": place }),
        ),
    };
    world.vocabulary.sentence(key, &given).ok()
}

/// Says the digest of a record that was closed only now, although its walk had ended earlier.
///
/// # Errors
/// The system provides no event loop.
pub fn say_digest(
    digest: &Digest,
    world: &World,
    mouth: &mut dyn Mouth,
    from_mouth: &mut UnboundedReceiver<MouthEvent>,
) -> Result<(), Failure> {
    let events = event_loop()?;
    if let Some(text) = digest_words(digest, world) {
        events.block_on(say(text, mouth, from_mouth, &mut Interrupts::listen()));
    }
    Ok(())
}

/// The digest's short form, for writing on paper. It stands for the whole record and thus cannot be part of it.
fn digest_words(digest: &Digest, world: &World) -> Option<String> {
    let given = serde_json::json!({ "digits": world.vocabulary.say_figures(&digest.short), "figures": digest.short });
    world.vocabulary.sentence("digest", &given).ok()
}

/// Says it to its end, unless interrupted.
async fn say(
    text: String,
    mouth: &mut dyn Mouth,
    from_mouth: &mut UnboundedReceiver<MouthEvent>,
    interrupts: &mut Interrupts,
) {
    const ID: u64 = u64::MAX;
    mouth.say(Say { id: ID, text, interruptible: true, volume: 1.0, speed: 1.0 });
    let ended = async {
        loop {
            tokio::select! {
                _ = interrupts.next() => return mouth.cut(),
                event = from_mouth.recv() => match event {
                    Some(MouthEvent::PromptEnded { id: ID, .. }) | None => return,
                    Some(_) => {}
                },
            }
        }
    };
    if tokio::time::timeout(LAST_WORDS, ended).await.is_err() {
        tracing::warn!("the loudspeaker did not tell the end of the last words");
    }
}

/// The single-threaded event loop of a walk.
pub(super) fn event_loop() -> Result<tokio::runtime::Runtime, Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Failure::Lacks(format!("the system gives no event loop: {e}")))
}

/// The session's folder and its digest, for the screen.
pub fn digest_line(folder: &Path, digest: &Digest) -> String {
    format!("Session {}, digest {} ({}).", folder.display(), digest.short, digest.sha256)
}

/// How a walk ended.
pub struct End {
    /// The exit code.
    pub code: u8,
    pub(super) delays: Vec<Delay>,
    /// Number of answers accepted from audio.
    pub spoken_answers: u32,
    /// The session's folder.
    pub folder: PathBuf,
}

impl End {
    /// Delay from the end of speech to the decision: median and 95th percentile, silence and computing apart.
    pub fn delays_in_words(&self) -> Option<String> {
        let at = |mut all: Vec<f64>, share: f64| {
            all.sort_by(f64::total_cmp);
            all[((all.len() - 1) as f64 * share).round() as usize]
        };
        if self.delays.is_empty() {
            return None;
        }
        let waited: Vec<f64> = self.delays.iter().map(|d| d.waited.as_secs_f64() * 1e3).collect();
        let computed: Vec<f64> = self.delays.iter().map(|d| d.computed.as_secs_f64() * 1e3).collect();
        Some(format!(
            "From end of speech to decision over {} utterances: silence waited for {:.0} ms median, {:.0} ms at the 95th percentile; \
             computing {:.0} ms and {:.0} ms.",
            self.delays.len(),
            at(waited.clone(), 0.5),
            at(waited, 0.95),
            at(computed.clone(), 0.5),
            at(computed, 0.95),
        ))
    }
}
