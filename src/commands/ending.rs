//! The end of a walk: its record is ended, and what is said and printed of it is what is on the disk.

use super::drive::Sources;
use crate::session::{Digest, NotKept, Now, Writer};
use crate::speak::{Mouth, MouthEvent, Say};
use crate::walk::World;
use std::path::Path;
use std::time::Duration;

/// The last words are said within this time, or not at all.
const LAST_WORDS: Duration = Duration::from_secs(30);

/// Ends the record of a walk that came to its end with this exit code and for this reason, and says and prints what is kept. Gives the exit
/// code of the whole: nothing is well whose record is not kept.
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
    if let Some(text) = last_words(&ended, code, &place, world) {
        say(text, mouth, sources).await;
    }
    let again = format!("Go on with: probeside walk --resume {place}");
    match ended {
        Ok(digest) => {
            if code != 0 {
                eprintln!("The walk is not finished: {why}. {again}");
            }
            eprintln!("Session {place}, digest {} ({}).", digest.short, digest.sha256);
            code
        }
        Err(NotKept { why, there }) => {
            eprintln!("The record of this walk could not be kept: {why}.");
            match there.entries {
                0 => eprintln!("Nothing of it is to be found in {place}."),
                entries => {
                    eprintln!("In {place} are its first {entries} entries, with {} readings. {again}", there.readings)
                }
            }
            1
        }
    }
}

/// What is said last. A finished walk's digest is to be written on paper: it stands for the whole record and so cannot be in it.
fn last_words(ended: &Result<Digest, NotKept>, code: u8, place: &str, world: &World) -> Option<String> {
    let words = &world.vocabulary;
    let (key, given) = match ended {
        Ok(digest) if code == 0 => {
            let digits = words.say_figures(&digest.short);
            ("digest", serde_json::json!({ "digits": digits, "figures": digest.short }))
        }
        Ok(_) => ("record-kept", serde_json::json!({})),
        Err(NotKept { why, there }) => (
            "record-not-kept",
            serde_json::json!({ "why": why.to_string(), "readings": there.readings, "place": place }),
        ),
    };
    words.sentence(key, &given).ok()
}

async fn say(text: String, mouth: &mut dyn Mouth, sources: &mut Sources) {
    const ID: u64 = u64::MAX;
    mouth.say(Say { id: ID, text, interruptible: true, volume: 1.0, speed: 1.0 });
    let ended = async {
        while let Some(event) = sources.mouth.recv().await {
            if matches!(event, MouthEvent::PromptEnded { id: ID, .. }) {
                return;
            }
        }
    };
    if tokio::time::timeout(LAST_WORDS, ended).await.is_err() {
        tracing::warn!("the loudspeaker did not tell the end of the last words");
    }
}
