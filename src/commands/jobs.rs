//! The open jobs: sessions whose record was not ended, with what they wait for. `walk --resume` lists them and finds one by its words.

use crate::review::{Review, gather};
use crate::run::{Failure, Outcome};
use crate::session::Folder;
use crate::terminal::outln;
use std::path::{Path, PathBuf};

/// Where sessions lie if no folder was named.
const SESSIONS: &str = "sessions";

/// A session that can be resumed.
struct OpenJob {
    folder: PathBuf,
    review: Review,
}

impl OpenJob {
    /// Number or registration, bike and person, as far as they were given.
    fn name(&self) -> String {
        let job = &self.review.session.job;
        let given = [&job.number, &job.bike, &job.person].into_iter().filter(|one| !one.is_empty());
        given.map(String::as_str).collect::<Vec<_>>().join(", ")
    }

    /// Whether all of these words occur in its name, its complaint or its folder.
    fn has(&self, words: &str) -> bool {
        let complaint = &self.review.session.job.complaint;
        let all = format!("{} {complaint} {}", self.name(), self.folder.display()).to_lowercase();
        words.split_whitespace().all(|word| all.contains(&word.to_lowercase()))
    }

    fn show(&self) {
        let session = &self.review.session;
        let began = session.began.chars().take("2026-11-30T10:14".len()).collect::<String>().replace('T', " ");
        outln!("{}, since {began}", self.name());
        let stopped = self.review.interruptions.last().map(|one| one.what.as_str());
        let asked = self.review.path.last().map_or("", |last| last.asked.as_str());
        let waits = stopped.filter(|what| what.contains(crate::walk::FOR_PARTS)).map(|_| "waiting for parts; ");
        outln!("  {}asked last: {asked}", waits.unwrap_or_default());
        outln!("  probeside walk --resume {}", self.folder.display());
    }
}

/// The open jobs in a folder of sessions, the latest first.
fn open_jobs(sessions: &Path) -> Vec<OpenJob> {
    let Ok(entries) = std::fs::read_dir(sessions) else { return Vec::new() };
    let mut folders: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    folders.sort();
    folders.reverse();
    // What is no session is none of the jobs.
    let open = |folder: PathBuf| {
        let review = gather(&mut Folder::at(&folder)).ok()?;
        (!review.session.finished || review.conclusion.is_none()).then_some(OpenJob { folder, review })
    };
    folders.into_iter().filter_map(open).collect()
}

/// Lists the open jobs.
pub fn list() -> Outcome {
    let jobs = open_jobs(Path::new(SESSIONS));
    if jobs.is_empty() {
        outln!("There is no open job in {SESSIONS}/ here.");
    }
    jobs.iter().for_each(OpenJob::show);
    Ok(0)
}

/// The folder of a session: this folder, or the one open job with these words.
///
/// # Errors
/// Several open jobs have these words.
pub fn find(wanted: &Path) -> Result<PathBuf, Failure> {
    if wanted.exists() {
        return Ok(wanted.to_path_buf());
    }
    let words = wanted.display().to_string();
    let mut jobs = open_jobs(Path::new(SESSIONS));
    jobs.retain(|job| job.has(&words));
    match &jobs[..] {
        [one] => Ok(one.folder.clone()),
        // The session's own sentence says that there is none.
        [] => Ok(wanted.to_path_buf()),
        several => {
            several.iter().for_each(OpenJob::show);
            Err(Failure::Usage(format!(
                "{} open jobs have the words \"{words}\"; name one of these folders",
                several.len()
            )))
        }
    }
}
