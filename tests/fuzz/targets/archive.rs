//! Fuzz target: a session that is put into the archive.
//! For an hour: `sh tests/fuzz/run.sh archive 3600`. What it finds is kept in `tests/fuzz/found/archive` and opened in every test run.
#![no_main]

#[path = "../doors.rs"]
#[allow(dead_code)]
mod doors;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| doors::archive(bytes));
