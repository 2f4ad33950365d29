//! Fuzz target: a session's journal.
//! For an hour: `sh tests/fuzz/run.sh journal 3600`. What it finds is kept in `tests/fuzz/found/journal` and opened in every test run.
#![no_main]

#[path = "../doors.rs"]
#[allow(dead_code)]
mod doors;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| doors::journal(bytes));
