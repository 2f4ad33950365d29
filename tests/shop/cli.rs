//! The command: its output, its exit codes, and its published JSON.

use super::fits::fits;
use super::sessions::Made;
use probeside::review::gather;
use probeside::session::Folder;
use serde_json::Value;
use std::path::Path;
use std::process::Command;

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn run(&self, arguments: &[&str]) -> (i32, String, String) {
        let out = Command::new(env!("CARGO_BIN_EXE_probeside"))
            .arg("shop")
            .args(arguments)
            .env("PROBESIDE_ARCHIVE", self.folder.path().join("kept/archive.db"))
            .output()
            .unwrap();
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (out.status.code().unwrap(), text(&out.stdout), text(&out.stderr))
    }

    fn json(&self, arguments: &[&str]) -> Value {
        let (code, out, said) = self.run(arguments);
        assert_eq!(code, 0, "{said}");
        serde_json::from_str(&out).unwrap()
    }
}

fn schema(name: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/schema").join(name);
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

#[test]
fn a_mechanic_uses_it() {
    let bench = Bench { folder: tempfile::tempdir().unwrap() };
    let at = bench.folder.path();
    let (code, _, said) = bench.run(&["find"]);
    assert!(code == 1 && said.contains("probeside shop add"), "{said}");

    let first = Made { day: "2025-03-01".into(), drops: vec![0.05], ..Made::default() }.write(at, "first");
    let second = Made::default().write(at, "second");
    let (first, second) = (first.to_str().unwrap(), second.to_str().unwrap());
    let (code, out, said) = bench.run(&["add", first, second, "/nowhere"]);
    assert_eq!((code, out.lines().count()), (1, 2), "{out}{said}");
    assert!(out.contains(": added") && said.contains("/nowhere is not a session"), "{out}{said}");
    let (code, out, _) = bench.run(&["add", first]);
    assert!(code == 0 && out.contains("nothing changed"), "{out}");
    let mode =
        std::os::unix::fs::PermissionsExt::mode(&std::fs::metadata(at.join("kept/archive.db")).unwrap().permissions());
    assert_eq!(mode & 0o077, 0, "only its owner reads it");

    let (code, out, _) = bench.run(&["find", "--bike", "borage", "--out", "--from", "2026"]);
    assert!(code == 0 && out.contains("2026-11-25") && !out.contains("2025-03-01"), "{out}");
    assert!(out.contains("1 of 2 readings out of their limits"), "{out}");
    let (code, _, said) = bench.run(&["find", "--from", "soon"]);
    assert!(code == 2 && said.contains("2026-11-25, 2026-11 or 2026"), "{said}");
    let (code, out, _) = bench.run(&["find", "--bike", "fennel"]);
    assert!(code == 0 && out.contains("Nothing fits"));

    let mark = bench.json(&["find", "--json", "--limit", "1"])["sessions"][0]["mark"].as_str().unwrap().to_owned();
    for name in [mark.as_str(), "2026-11-25T100000-second"] {
        let (code, out, _) = bench.run(&["show", name]);
        assert!(
            code == 0 && out.contains("verified when it was added") && out.contains("The key switch loses"),
            "{out}"
        );
    }
    let (code, out, _) = bench.run(&["show", "--bike", "borage twin"]);
    assert!(code == 0 && out.contains("part drop, key: rises from 0.05 to 0.7 V (good up to 0.18 V)"), "{out}");
    for absent in [&["show", "nothing"][..], &["show", "--bike", "Borage"]] {
        let (code, _, said) = bench.run(absent);
        assert!(code == 1 && said.contains("shop find"), "{said}");
    }
    for wrong in ["mysql://a/b", "/proc/none/archive.db", "/"] {
        let (code, _, said) = bench.run(&["add", first, "--archive", wrong]);
        assert!(code == 3 && said.contains("cannot be the archive"), "{wrong}: {code} {said}");
    }
    std::fs::write(at.join("text"), "no database").unwrap();
    let (code, _, said) = bench.run(&["find", "--archive", at.join("text").to_str().unwrap()]);
    assert!(code == 1 && said.contains("is no archive of probeside: it is no SQLite database"), "{said}");
}

#[test]
fn json_is_as_published() {
    let bench = Bench { folder: tempfile::tempdir().unwrap() };
    let at = bench.folder.path();
    for (day, drops) in [("2024-03-01", vec![0.05]), ("2025-03-01", vec![0.1]), ("2026-11-25", vec![0.7, 0.04])] {
        let folder = Made { day: day.into(), drops, ..Made::default() }.write(at, day);
        assert_eq!(bench.run(&["add", folder.to_str().unwrap()]).0, 0);
    }
    let schema = (schema("shop.json"), schema("review.json"));
    let mut faults = Vec::new();
    for arguments in [
        &["find", "--json", "--out", "--from", "2024", "--limit", "9"][..],
        &["show", "--json", "--bike", "borage twin"],
    ] {
        fits(&bench.json(arguments), &schema.0, &schema.0, arguments[0], &mut faults);
    }
    let mut one = bench.json(&["show", "--json", "2026-11-25T100000-2026-11-25"]);
    let review = one.as_object_mut().unwrap().remove("review").unwrap();
    fits(&one, &schema.0, &schema.0, "show", &mut faults);
    fits(&review, &schema.1, &schema.1, "review", &mut faults);
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    let same = serde_json::to_value(gather(&mut Folder::at(at.join("2026-11-25"))).unwrap()).unwrap();
    assert_eq!(review, same, "what is kept is what the folder says");
    fits(
        &serde_json::json!({"schema": "x", "sessions": [{}], "colour": 1}),
        &schema.0,
        &schema.0,
        "wrong",
        &mut faults,
    );
    assert!(faults.len() > 10, "the check can fail");
}

/// Killed at any moment, adding leaves a whole archive: the session is in it with everything, or not at all, and adding it again works.
#[test]
fn killed_while_adding() {
    let bench = Bench { folder: tempfile::tempdir().unwrap() };
    let at = bench.folder.path();
    let drops: Vec<f64> = (0..60).map(|n| f64::from(n % 40) / 100.0).collect();
    let first = Made { day: "2025-03-01".into(), drops: drops.clone(), ..Made::default() }.write(at, "first");
    let began = std::time::Instant::now();
    assert_eq!(bench.run(&["add", first.to_str().unwrap()]).0, 0);
    let whole = began.elapsed();
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(|| fastrand::u64(..));
    eprintln!("PROBESIDE_SEED={seed}");
    let mut dice = fastrand::Rng::with_seed(seed);
    let (mut gone, mut there) = (0, 0);
    for n in 0..10 {
        let name = format!("s{n}");
        let folder =
            Made { day: format!("2026-01-{:02}", n + 1), drops: drops.clone(), ..Made::default() }.write(at, &name);
        let mut child = Command::new(env!("CARGO_BIN_EXE_probeside"))
            .args(["shop", "add"])
            .arg(&folder)
            .env("PROBESIDE_ARCHIVE", at.join("kept/archive.db"))
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(whole.mul_f64(dice.f64() * 1.2));
        child.kill().unwrap();
        child.wait().unwrap();
        let id = format!("2026-01-{:02}T100000-{name}", n + 1);
        let (code, out, said) = bench.run(&["show", &id]);
        match code {
            0 => {
                there += 1;
                assert_eq!(out.matches(". part_drop at").count(), 60, "{id}");
            }
            _ => {
                gone += 1;
                assert!(said.contains("holds no session"), "{said}");
            }
        }
        let (code, out, said) = bench.run(&["add", folder.to_str().unwrap()]);
        assert!(code == 0, "{out}{said}");
        let compared = bench.json(&["show", "--json", &id]);
        assert_eq!(compared["session"]["readings"], 61);
        std::fs::remove_dir_all(&folder).unwrap();
    }
    eprintln!("killed before it was there: {gone}, after: {there}");
    assert!(gone > 0, "no kill came in time");
    assert_eq!(bench.json(&["find", "--json"])["sessions"].as_array().unwrap().len(), 11);
}
