//! Every dependency, on every platform and with every feature, is available under a licence that an MIT program may ship with.
//!
//! Each package's SPDX expression (SPDX 2.3, Annex D: `WITH` binds closest, then `AND`, then `OR`; the old "/" counts as `OR`) is evaluated
//! against the list below. GPL programs that probeside runs but does not link are not dependencies.

use std::process::Command;

/// SPDX identifiers, with any exception, of licences that an MIT program may ship with.
const PERMISSIVE: [&str; 13] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Whether an SPDX expression can be satisfied from [`PERMISSIVE`]. An expression that cannot be parsed is an error.
fn permissive(expression: &str) -> Result<bool, String> {
    let spaced = expression.replace('(', " ( ").replace(')', " ) ").replace('/', " OR ");
    let mut words = spaced.split_whitespace().peekable();
    let answer = any_of(&mut words)?;
    match words.next() {
        None => Ok(answer),
        Some(word) => Err(format!("'{word}' is out of place in '{expression}'")),
    }
}

type Words<'a> = std::iter::Peekable<std::str::SplitWhitespace<'a>>;

fn any_of(words: &mut Words) -> Result<bool, String> {
    let mut answer = all_of(words)?;
    while words.next_if_eq(&"OR").is_some() {
        answer |= all_of(words)?;
    }
    Ok(answer)
}

fn all_of(words: &mut Words) -> Result<bool, String> {
    let mut answer = one(words)?;
    while words.next_if_eq(&"AND").is_some() {
        answer &= one(words)?;
    }
    Ok(answer)
}

fn one(words: &mut Words) -> Result<bool, String> {
    match words.next() {
        Some("(") => {
            let answer = any_of(words)?;
            words.next_if_eq(&")").map(|_| answer).ok_or_else(|| "a '(' is never closed".to_owned())
        }
        None => Err("the expression ends too early".to_owned()),
        Some(word @ (")" | "OR" | "AND" | "WITH")) => Err(format!("'{word}' stands where a licence should")),
        Some(licence) => {
            let mut name = licence.to_owned();
            if words.next_if_eq(&"WITH").is_some() {
                name = format!("{name} WITH {}", words.next().ok_or("WITH names no exception")?);
            }
            Ok(PERMISSIVE.contains(&name.as_str()))
        }
    }
}

/// The packages that may not ship, each with the reason. `metadata` is the output of `cargo metadata`.
fn refused(metadata: &serde_json::Value) -> Vec<String> {
    let mut refused = Vec::new();
    for package in metadata["packages"].as_array().expect("cargo metadata lists packages") {
        let name = format!("{} {}", package["name"].as_str().unwrap(), package["version"].as_str().unwrap());
        match package["license"].as_str() {
            None => refused.push(format!("{name}: states no licence")),
            Some(expression) => match permissive(expression) {
                Ok(true) => {}
                Ok(false) => refused.push(format!("{name}: {expression} cannot be met by the permissive list")),
                Err(why) => refused.push(format!("{name}: {why}")),
            },
        }
    }
    refused
}

#[test]
fn every_dependency_may_ship_in_an_mit_program() {
    let cargo = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--locked", "--format-version", "1", "--all-features"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(
        cargo.status.success(),
        "cargo metadata failed; other platforms' packages may never have been fetched: type 'cargo fetch --locked'.\n{}",
        String::from_utf8_lossy(&cargo.stderr)
    );
    let metadata: serde_json::Value = serde_json::from_slice(&cargo.stdout).expect("cargo metadata prints JSON");
    let named = |name: &str| metadata["packages"].as_array().unwrap().iter().any(|package| package["name"] == name);
    for optional_or_foreign in ["probeside", "cpal", "tts", "windows-sys"] {
        assert!(named(optional_or_foreign), "'{optional_or_foreign}' is not among the packages looked at");
    }
    let refused = refused(&metadata);
    assert!(refused.is_empty(), "these may not ship:\n{}", refused.join("\n"));
}

#[test]
fn expressions_are_evaluated_as_spdx_says() {
    for good in [
        "MIT",
        "MIT OR GPL-3.0-only",
        "GPL-3.0-only OR MIT",
        "MIT/Apache-2.0",
        "Unlicense / GPL-2.0",
        "(MIT OR GPL-3.0-only) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception",
        "GPL-2.0-only AND MPL-2.0 OR MIT",
        "((ISC))",
    ] {
        assert_eq!(permissive(good), Ok(true), "{good}");
    }
    for bad in [
        "GPL-3.0-only",
        "MIT AND GPL-3.0-only",
        "MIT AND (GPL-3.0-only OR LGPL-2.1-only)",
        "GPL-2.0-only WITH Classpath-exception-2.0",
        "MIT WITH Bison-exception-2.2",
        "AGPL-3.0-or-later/SSPL-1.0",
        "LicenseRef-proprietary",
        "mit",
    ] {
        assert_eq!(permissive(bad), Ok(false), "{bad}");
    }
    for unreadable in ["", "MIT OR", "AND MIT", "(MIT", "MIT)", "MIT ISC", "MIT WITH", "()", "OR"] {
        assert!(permissive(unreadable).is_err(), "{unreadable}");
    }
}

#[test]
fn a_package_that_may_not_ship_is_named() {
    let metadata = serde_json::json!({"packages": [
        {"name": "good", "version": "1.0.0", "license": "MIT"},
        {"name": "silent", "version": "2.0.0", "license": null},
        {"name": "strict", "version": "3.0.0", "license": "MIT AND GPL-3.0-only"},
        {"name": "muddled", "version": "4.0.0", "license": "MIT AND"},
    ]});
    let refused = refused(&metadata);
    assert_eq!(refused.len(), 3, "{refused:?}");
    for (line, name) in refused.iter().zip(["silent 2.0.0: ", "strict 3.0.0: ", "muddled 4.0.0: "]) {
        assert!(line.starts_with(name), "{line}");
    }
}
