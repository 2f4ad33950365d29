//! Fuzz target: the lines that the second recogniser's program says.
//! For an hour: `sh tests/fuzz/run.sh vosk 3600`. What it finds is kept in `tests/fuzz/found/vosk` and opened in every test run.
#![no_main]

#[path = "../doors.rs"]
#[allow(dead_code)]
mod doors;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| doors::vosk(bytes));
