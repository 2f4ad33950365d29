//! The process of the second recogniser. It loads the Vosk library at run time, so that a missing or crashing library becomes an error of the
//! calling program and never ends it.
//!
//! Its arguments are the library's file and the model's folder. It writes `{"ready": true}` when the model is loaded. Then each request is a
//! line of JSON, and so is each answer:
//!
//! - `{"words": [...]}` gives `{"unknown": [...]}`, the words that the model does not know;
//! - `{"phrases": [...], "samples": N}`, followed by N little-endian 16-bit samples at 16 kHz, gives `{"pieces": [...]}`, the library's
//!   results in order. Empty `phrases` mean free speech.
//!
//! A failure gives `{"error": "..."}`.

use libloading::{Library, Symbol};
use serde_json::{Value, json};
use std::ffi::{CStr, CString, c_char, c_float, c_int, c_short, c_void};
use std::io::{BufRead, Read, Write};
use std::process::ExitCode;

/// Sample rate of all sound, in hertz.
const RATE: c_float = 16_000.0;
/// Samples passed to the library at once, and most samples of one request: two minutes.
const CHUNK: usize = 4_000;
const MOST_SAMPLES: u64 = 2 * 60 * 16_000;
/// Longest request in bytes: 3,000 numbers in words take some 200 kB.
const LONGEST_REQUEST: u64 = 64 << 20;
/// Symbols for unknown words, as different models name them.
const OTHER: [&str; 2] = ["[unk]", "<UNK>"];

type Handle = *mut c_void;

/// The library's functions, as its header `vosk_api.h` (version 0.3.45) declares them.
struct Vosk {
    library: Library,
    model: Handle,
}

impl Vosk {
    fn open(library: &str, model: &str) -> Result<Self, String> {
        let name = CString::new(model).map_err(|e| e.to_string())?;
        // The library is the one that the user installed; loading it runs its initialisers.
        let library = unsafe { Library::new(library) }.map_err(|e| format!("the library does not load: {e}"))?;
        let model = unsafe {
            let quiet: Symbol<unsafe extern "C" fn(c_int)> = symbol(&library, "vosk_set_log_level")?;
            quiet(-1);
            let open: Symbol<unsafe extern "C" fn(*const c_char) -> Handle> = symbol(&library, "vosk_model_new")?;
            open(name.as_ptr())
        };
        if model.is_null() {
            return Err(format!("the model in {} does not load", name.to_string_lossy()));
        }
        Ok(Self { library, model })
    }

    fn knows(&self, word: &str) -> Result<bool, String> {
        let word = CString::new(word).map_err(|e| e.to_string())?;
        unsafe {
            let find: Symbol<unsafe extern "C" fn(Handle, *const c_char) -> c_int> =
                symbol(&self.library, "vosk_model_find_word")?;
            Ok(find(self.model, word.as_ptr()) >= 0)
        }
    }

    /// All results of one utterance. Each utterance gets a new recogniser.
    fn hear(&self, phrases: &[String], sound: &[i16]) -> Result<Vec<Value>, String> {
        let grammar = match phrases {
            [] => None,
            some => {
                let other = OTHER.iter().find(|w| self.knows(w).unwrap_or(false)).unwrap_or(&OTHER[0]);
                let list: Vec<&str> = some.iter().map(String::as_str).chain([*other]).collect();
                Some(CString::new(json!(list).to_string()).map_err(|e| e.to_string())?)
            }
        };
        unsafe {
            let library = &self.library;
            let free: Symbol<unsafe extern "C" fn(Handle)> = symbol(library, "vosk_recognizer_free")?;
            let words: Symbol<unsafe extern "C" fn(Handle, c_int)> = symbol(library, "vosk_recognizer_set_words")?;
            let accept: Symbol<unsafe extern "C" fn(Handle, *const c_short, c_int) -> c_int> =
                symbol(library, "vosk_recognizer_accept_waveform_s")?;
            let result: Symbol<unsafe extern "C" fn(Handle) -> *const c_char> =
                symbol(library, "vosk_recognizer_result")?;
            let last: Symbol<unsafe extern "C" fn(Handle) -> *const c_char> =
                symbol(library, "vosk_recognizer_final_result")?;
            let recogniser = match &grammar {
                Some(grammar) => {
                    let new: Symbol<unsafe extern "C" fn(Handle, c_float, *const c_char) -> Handle> =
                        symbol(library, "vosk_recognizer_new_grm")?;
                    new(self.model, RATE, grammar.as_ptr())
                }
                None => {
                    let new: Symbol<unsafe extern "C" fn(Handle, c_float) -> Handle> =
                        symbol(library, "vosk_recognizer_new")?;
                    new(self.model, RATE)
                }
            };
            if recogniser.is_null() {
                return Err("the library refuses these phrases".to_owned());
            }
            words(recogniser, 1);
            let mut pieces = Vec::new();
            let mut read = |text: *const c_char| {
                if !text.is_null() {
                    pieces.extend(serde_json::from_slice::<Value>(CStr::from_ptr(text).to_bytes()));
                }
            };
            for chunk in sound.chunks(CHUNK) {
                // The library found an end of speech: read the result so far and go on.
                if accept(recogniser, chunk.as_ptr(), chunk.len() as c_int) == 1 {
                    read(result(recogniser));
                }
            }
            read(last(recogniser));
            free(recogniser);
            Ok(pieces)
        }
    }
}

unsafe fn symbol<'l, T>(library: &'l Library, name: &str) -> Result<Symbol<'l, T>, String> {
    unsafe { library.get(name.as_bytes()) }.map_err(|e| format!("the library lacks {name}: {e}"))
}

fn strings(value: &Value) -> Vec<String> {
    value.as_array().into_iter().flatten().filter_map(|v| v.as_str().map(str::to_owned)).collect()
}

fn answer(vosk: &Vosk, line: &str, input: &mut impl Read) -> Result<Value, String> {
    let asked: Value = serde_json::from_str(line).map_err(|e| e.to_string())?;
    if let Some(words) = asked.get("words") {
        let mut unknown = Vec::new();
        for word in strings(words) {
            if !vosk.knows(&word)? {
                unknown.push(word);
            }
        }
        return Ok(json!({ "unknown": unknown }));
    }
    let sound = sound(asked["samples"].as_u64().ok_or("neither words nor samples")?, input)?;
    Ok(json!({ "pieces": vosk.hear(&strings(&asked["phrases"]), &sound)? }))
}

/// Reads `count` samples from the input. If there are too many, they are read and discarded, so that the next request is found.
fn sound(count: u64, input: &mut impl Read) -> Result<Vec<i16>, String> {
    if count > MOST_SAMPLES {
        std::io::copy(&mut input.take(count.saturating_mul(2)), &mut std::io::sink()).map_err(|e| e.to_string())?;
        return Err(format!("more than {MOST_SAMPLES} samples at once are not heard"));
    }
    let mut bytes = vec![0; count as usize * 2];
    input.read_exact(&mut bytes).map_err(|e| e.to_string())?;
    Ok(bytes.chunks_exact(2).map(|b| i16::from_le_bytes([b[0], b[1]])).collect())
}

fn say(value: &Value) -> bool {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{value}").and_then(|()| out.flush()).is_ok()
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [library, model] = &arguments[..] else {
        probeside::terminal::complain(
            "probeside-vosk is started by probeside, with the library's file and the model's folder.\n",
        );
        return ExitCode::from(2);
    };
    let vosk = match Vosk::open(library, model) {
        Ok(vosk) => vosk,
        Err(why) => {
            say(&json!({ "error": why }));
            return ExitCode::from(3);
        }
    };
    say(&json!({ "ready": true }));
    let mut input = std::io::stdin().lock();
    let mut line = String::new();
    loop {
        line.clear();
        match input.by_ref().take(LONGEST_REQUEST).read_line(&mut line) {
            Ok(1..) => {}
            Ok(0) | Err(_) => return ExitCode::SUCCESS,
        }
        let said = answer(&vosk, &line, &mut input).unwrap_or_else(|why| json!({ "error": why }));
        if !say(&said) {
            return ExitCode::SUCCESS;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sound_that_is_too_long_is_refused_and_taken_out_of_the_way() {
        let mut input = std::io::repeat(1).take(2 * (MOST_SAMPLES + 1)).chain(&b"{}"[..]);
        assert!(sound(MOST_SAMPLES + 1, &mut input).unwrap_err().contains("not heard"));
        let mut rest = String::new();
        input.read_to_string(&mut rest).unwrap();
        assert_eq!(rest, "{}", "the next request is read as such");
        assert_eq!(sound(2, &mut &[1, 0, 255, 255, 9][..]).unwrap(), [1, -1]);
        assert!(sound(2, &mut &[1, 0][..]).is_err());
        assert!(sound(u64::MAX, &mut &[1, 0][..]).is_err(), "no such memory is asked for");
    }
}
