//! Fuzz target: a WAV file.
//! For an hour: `sh tests/fuzz/run.sh wav 3600`. What it finds is kept in `tests/fuzz/found/wav` and opened in every test run.
#![no_main]

#[path = "../doors.rs"]
#[allow(dead_code)]
mod doors;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| doors::wav(bytes));
