//! Sessions, voices and caches are private, whatever the umask.

use super::{Bench, walk};
use probeside::hear::{PersonalVoice, Take, UtteranceShape};
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Set for a copy of this test program that keeps a voice under another umask; its value is the voice's file.
const VOICE: &str = "PROBESIDE_TEST_VOICE";

/// Umasks: none, the usual one, the strictest, and one that forbids the owner himself.
const UMASKS: [&str; 4] = ["000", "022", "077", "777"];

fn mode(path: &Path) -> u32 {
    fs::symlink_metadata(path).unwrap().permissions().mode() & 0o777
}

/// Everything under a folder and itself.
fn all(folder: &Path) -> Vec<PathBuf> {
    let mut found = vec![folder.to_owned()];
    let mut at = 0;
    while at < found.len() {
        if found[at].is_dir() {
            found.extend(fs::read_dir(&found[at]).unwrap().map(|entry| entry.unwrap().path()));
        }
        at += 1;
    }
    found
}

fn is_private(folder: &Path, least: usize) {
    let found = all(folder);
    assert!(found.len() >= least, "{found:?}");
    for path in found {
        let wanted = if path.is_dir() { 0o700 } else { 0o600 };
        assert_eq!(mode(&path), wanted, "{}: {:o}", path.display(), mode(&path));
    }
}

#[test]
fn a_session_is_its_owners_alone() {
    for umask in UMASKS {
        let bench = Bench::new();
        let first = format!("umask {umask};");
        let did = bench.run_with(&first, "ready\nhelp me\n", &walk(&[]));
        assert_eq!(did.code, Some(1), "{}", did.said);
        // sessions/, the session, its journal, digest, lock, three copies and their folders.
        is_private(&bench.path("sessions"), 10);
        let session = fs::read_dir(bench.path("sessions")).unwrap().next().unwrap().unwrap().path();
        let name = session.to_str().unwrap();
        let resume = ["walk", "--resume", name, "--hear", "typed", "--say", "printed"];
        let did = bench.run_with(&first, "ready\n", &resume);
        assert!(did.code == Some(1) && !did.said.contains("can be read by others"), "{}", did.said);
        assert_eq!(bench.run_with(&first, "", &["amend", name, "--by", "Ida", "a remark"]).code, Some(0));
        is_private(&bench.path("sessions"), 10);
    }
}

/// A folder of somebody's own stays as it is; what is put into it is private all the same.
#[test]
fn a_folder_that_was_there_keeps_its_mode_and_wide_records_are_said_with_the_mending_command() {
    let bench = Bench::new();
    fs::create_dir(bench.path("s")).unwrap();
    fs::set_permissions(bench.path("s"), fs::Permissions::from_mode(0o755)).unwrap();
    let session = bench.session("s");
    assert_eq!(mode(&session), 0o755);
    assert!(all(&session).iter().skip(1).all(|path| mode(path) & 0o077 == 0));
    let resume = ["walk", "--resume", "s", "--hear", "typed", "--say", "printed"];
    assert!(!bench.run(&resume).said.contains("can be read by others"));
    for path in all(&session) {
        fs::set_permissions(&path, fs::Permissions::from_mode(if path.is_dir() { 0o755 } else { 0o644 })).unwrap();
    }
    for arguments in [&resume[..], &["amend", "s", "--by", "Ida", "a remark"]] {
        let did = bench.run(arguments);
        let said: Vec<&str> = did.said.lines().filter(|line| line.contains("can be read by others")).collect();
        assert_eq!(said, ["s can be read by others on this machine; type: chmod -R go-rwx s"], "once");
    }
    assert!(
        Command::new("chmod").args(["-R", "go-rwx", "s"]).current_dir(bench.folder.path()).status().unwrap().success()
    );
    assert!(!bench.run(&resume).said.contains("can be read by others"), "the command mends it");
}

/// Not a test by itself: keeps a voice in the process of the test below.
#[test]
fn the_other_process() {
    let Some(path) = std::env::var_os(VOICE) else { return };
    let mut voice = PersonalVoice::new("Ada", "model");
    voice.add(Take { words: "light on".into(), shape: UtteranceShape::new(&[0.5; 64], 8) });
    voice.keep(Path::new(&path)).unwrap();
    voice.keep(Path::new(&path)).unwrap();
}

#[test]
fn a_voice_is_its_owners_alone() {
    for umask in UMASKS {
        let bench = Bench::new();
        let path = bench.path("data/voices/ada.voice");
        let script = format!("umask {umask}; exec \"$0\" --exact owner::the_other_process");
        let kept =
            Command::new("sh").args(["-c", &script]).arg(std::env::current_exe().unwrap()).env(VOICE, &path).output();
        assert!(kept.unwrap().status.success());
        is_private(&bench.path("data"), 3);
        assert_eq!(PersonalVoice::read(&path).unwrap().takes().len(), 1);
    }
}

#[test]
fn the_noise_preference_is_its_owners_alone() {
    if !super::hears() {
        return;
    }
    let bench = Bench::new();
    let sound: Vec<f32> =
        match probeside::speak::Voice::synthesise(&mut probeside::speak::Espeak::new("en"), "light on", 1.0) {
            Ok(pcm) => probeside::hear::resample::resample(&pcm.samples, pcm.rate, 16_000),
            Err(why) => {
                assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{why}");
                return eprintln!("left out: {why}");
            }
        };
    probeside::hear::write_wav(&bench.path("said.wav"), &sound, 16_000).unwrap();
    let did = bench.run_with("umask 000;", "", &["hear", "said.wav", "--expect", "light on|stays dark"]);
    assert_eq!(did.code, Some(0), "{}", did.said);
    is_private(&bench.path("cache"), 3);
    // A voice that others can read is said, once.
    fs::create_dir(bench.path("voices")).unwrap();
    let mut voice = PersonalVoice::new("Ada", "model");
    voice.add(Take { words: "light on".into(), shape: UtteranceShape::new(&[0.5; 64], 8) });
    let file = bench.path("voices/ada.voice");
    voice.keep(&file).unwrap();
    let hear = ["hear", "said.wav", "--expect", "light on", "--voice-of", "Ada"];
    assert!(!bench.run(&hear).said.contains("can be read by others"));
    fs::set_permissions(&file, fs::Permissions::from_mode(0o644)).unwrap();
    assert_eq!(bench.run(&hear).said.matches("can be read by others").count(), 1);
}
