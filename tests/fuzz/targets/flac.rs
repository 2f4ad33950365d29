//! Fuzz target: a clip of a session.
//! For an hour: `sh tests/fuzz/run.sh flac 3600`. What it finds is kept in `tests/fuzz/found/flac` and opened in every test run.
#![no_main]

#[path = "../doors.rs"]
#[allow(dead_code)]
mod doors;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| doors::flac(bytes));
