//! The command line: parse, dispatch, exit code. No logic.

fn main() {}
