//! How a walk ended, and the last words: the digest.

use super::listener::Delay;
use super::outcome::Failure;
use crate::session::Digest;
use crate::speak::{self, Mouth};
use crate::walk::World;
use std::path::{Path, PathBuf};

/// The digest is said within this time, or not at all.
const LAST_WORDS: std::time::Duration = std::time::Duration::from_secs(30);

/// The event loop of one thread that a walk runs in.
pub(super) fn event_loop() -> Result<tokio::runtime::Runtime, Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Failure::Lacks(format!("The system gives no event loop: {e}.")))
}

/// The session and its digest, for the screen.
pub(super) fn digest_line(folder: &Path, digest: &Digest) -> String {
    format!("Session {}, digest {} ({}).", folder.display(), digest.short, digest.sha256)
}

/// Says the digest's short form, to be written on paper; it stands for the whole record and so cannot be in it.
pub(super) async fn say_digest(
    digest: &Digest,
    world: &World,
    mouth: &mut dyn Mouth,
    mut from_mouth: tokio::sync::mpsc::UnboundedReceiver<speak::MouthEvent>,
) {
    const ID: u64 = u64::MAX;
    let words = &world.vocabulary;
    let digits = words.say_figures(&digest.short);
    let Ok(text) = words.sentence("digest", &serde_json::json!({ "digits": digits, "figures": digest.short })) else {
        return;
    };
    mouth.say(speak::Say { id: ID, text, interruptible: true, volume: 1.0, speed: 1.0 });
    let ended = async {
        while let Some(event) = from_mouth.recv().await {
            if matches!(event, speak::MouthEvent::PromptEnded { id: ID, .. }) {
                return;
            }
        }
    };
    if tokio::time::timeout(LAST_WORDS, ended).await.is_err() {
        tracing::warn!("the loudspeaker did not tell the end of the digest");
    }
}

/// How a walk ended.
pub struct End {
    pub code: u8,
    pub delays: Vec<Delay>,
    pub heard_by_sound: u32,
    pub folder: PathBuf,
}

impl End {
    /// From the end of speech to the decision: median and 95th percentile, the silence waited for and the computing apart.
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
