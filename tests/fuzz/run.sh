#!/bin/sh
# Runs a fuzz target: sh tests/fuzz/run.sh TARGET SECONDS. libFuzzer, guided by coverage, on the stable toolchain: the instrumentation is LLVM's
# own pass, which rustc takes by -C passes; only sanitizers would need a nightly one, and the parsers have no unsafe code. The corpus grows in
# target/fuzz/corpus (not kept); an input that crashes, hangs or takes 2 GB is written to tests/fuzz/found/TARGET, to be committed.
set -eu
target=$1
seconds=${2:-3600}
here=$(cd "$(dirname "$0")" && pwd)
triple=$(rustc -vV | sed -n 's/^host: //p')
cover="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 -Cllvm-args=-sanitizer-coverage-inline-8bit-counters"
cover="$cover -Cllvm-args=-sanitizer-coverage-pc-table -Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1"
built=$(cd "$here/../.." && pwd)/target/fuzz
cd "$here"
RUSTFLAGS="$cover" CARGO_TARGET_DIR="$built" cargo build --release --target "$triple" --bin "$target"
mkdir -p "$built/corpus/$target" "found/$target"
# The program ignores a reader that has gone away, as every Rust program does; libFuzzer's own main does not, and would end without a word.
trap '' PIPE
exec "$built/$triple/release/$target" "$built/corpus/$target" "found/$target" -artifact_prefix="found/$target/" -max_total_time="$seconds" \
    -timeout=20 -rss_limit_mb=2048 -max_len=65536 -print_final_stats=1
