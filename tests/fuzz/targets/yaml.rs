//! Fuzz target: a procedure and a bike, with their expressions and templates.
//! For an hour: `sh tests/fuzz/run.sh yaml 3600`. What it finds is kept in `tests/fuzz/found/yaml` and opened in every test run.
#![no_main]

#[path = "../doors.rs"]
#[allow(dead_code)]
mod doors;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| doors::yaml(bytes));
