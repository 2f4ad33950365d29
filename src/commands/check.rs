//! `probeside check`: is this procedure, bike, fault library, vocabulary or story file sound? One run reports many findings, each with
//! file, line and column.
//!
//! `--json` prints one object, version 1 of this schema:
//! `{"schema": "probeside.check", "version": 1, "sound": bool, "files": [{"file", "kind": "procedure|bike|faults|vocabulary|story|unknown",
//! "errors": count, "warnings": count}], "findings": [{"file", "line", "column", "severity": "error|warning", "check", "message",
//! "help": text or null}]}`. Line and column count from 1; 0 means the file as a whole.

use crate::bike::{self, Bike, Words};
use crate::check::{self, Reserved, Surroundings};
use crate::circuit::faults::Library;
use crate::parts::Catalogue;
use crate::procedure::{self, Procedure};
use crate::source::tree::{self, Node};
use crate::source::{Diagnostic, Severity, read_text, whole_file};
use clap::Args;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::rc::Rc;

/// What `probeside check` is given.
#[derive(Debug, Clone, Args)]
pub struct CheckArgs {
    /// Name files to check; for a folder, every YAML file in it and below is checked
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Try procedures with this bike; repeat for more [default: those in bikes/ beside the procedure]
    #[arg(long, value_name = "FILE")]
    pub bike: Vec<PathBuf>,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// What the check needs from the vocabulary.
pub struct Spoken<'a> {
    /// Phrases that are accepted at every step.
    pub reserved: Vec<Reserved>,
    /// The spoken names of parts.
    pub words: &'a dyn Words,
    /// Checks a vocabulary, given its text and its name.
    pub vocabulary: &'a dyn Fn(&str, &str) -> Vec<Diagnostic>,
}

/// Checks every path and prints the findings to `out`. Returns the exit code: 0 all sound, 1 errors.
///
/// # Errors
/// `out` cannot be written.
pub fn run(args: &CheckArgs, spoken: &Spoken<'_>, out: &mut dyn std::io::Write) -> std::io::Result<u8> {
    let mut checker = Checker {
        spoken,
        bikes: BTreeMap::new(),
        procedures: BTreeMap::new(),
        report: Report::default(),
        named: args.paths.clone(),
    };
    let given: Vec<Bike> = args.bike.iter().filter_map(|path| checker.needed_bike(path)).collect();
    for path in &args.paths {
        for file in files_in(path) {
            checker.file(&file, &given);
        }
    }
    let Report { files, mut findings, gates } = checker.report;
    findings.sort();
    findings.dedup();
    let errors = findings.iter().filter(|finding| finding.severity == Severity::Error).count();
    if args.json {
        let object = as_json(&files, &findings, &gates);
        writeln!(out, "{object:#}")?;
    } else {
        for finding in &findings {
            writeln!(out, "{finding}")?;
        }
        print_gates(&gates, out)?;
        let warnings = findings.len() - errors;
        let of = if files.len() == 1 { files[0].1.to_owned() } else { format!("{} files", files.len()) };
        match (errors, warnings) {
            (0, 0) => writeln!(out, "{of}: sound")?,
            _ => writeln!(out, "{of}: {}, {}", counted(errors, "error"), counted(warnings, "warning"))?,
        }
    }
    Ok(u8::from(errors > 0))
}

fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

fn as_json(files: &[(String, &'static str)], findings: &[Diagnostic], gates: &[Gated]) -> Value {
    let of = |file: &str, severity: Severity| {
        findings.iter().filter(|f| &*f.place.file == file && f.severity == severity).count()
    };
    let files: Vec<Value> = files
        .iter()
        .map(|(file, kind)| {
            json!({"file": file, "kind": kind, "errors": of(file, Severity::Error), "warnings": of(file, Severity::Warning)})
        })
        .collect();
    let told: Vec<Value> = findings
        .iter()
        .map(|finding| {
            json!({
                "file": &*finding.place.file, "line": finding.place.line, "column": finding.place.column,
                "severity": finding.severity, "check": finding.check, "message": finding.message, "help": finding.help,
            })
        })
        .collect();
    let sound = findings.iter().all(|finding| finding.severity != Severity::Error);
    let gates: Vec<Value> = gates
        .iter()
        .map(
            |one| json!({"bike": one.bike, "procedure": one.procedure, "walkable": one.why.is_empty(), "why": one.why}),
        )
        .collect();
    json!({"schema": "probeside.check", "version": 1, "sound": sound, "files": files, "findings": told, "procedures": gates})
}

/// The procedures that a bike can be walked through, and why not the others. What keeps it from all of them is told once.
fn print_gates(gates: &[Gated], out: &mut dyn std::io::Write) -> std::io::Result<()> {
    let widest = gates.iter().map(|one| one.procedure.len()).max().unwrap_or_default();
    for of_bike in gates.chunk_by(|one, next| one.bike == next.bike) {
        let first = &of_bike[0];
        if of_bike.len() > 1 && !first.why.is_empty() && of_bike.iter().all(|one| one.why == first.why) {
            writeln!(out, "{} can be walked through no procedure: {}", first.bike, first.why.join("; "))?;
            continue;
        }
        writeln!(out, "{} can be walked through:", first.bike)?;
        for one in of_bike {
            let answer = match one.why.as_slice() {
                [] => "yes".to_owned(),
                some => format!("no: {}", some.join("; ")),
            };
            writeln!(out, "  {:widest$}  {answer}", one.procedure)?;
        }
    }
    Ok(())
}

/// Depth to which folders below the given one are searched.
const DEEPEST: usize = 4;

/// The path itself, or the YAML files in a folder and below it, sorted by name.
fn files_in(path: &Path) -> Vec<PathBuf> {
    fn collect(folder: &Path, depth: usize, to: &mut Vec<PathBuf>) {
        let Ok(entries) = std::fs::read_dir(folder) else { return };
        for entry in entries.flatten() {
            let path = entry.path();
            // A link may lead anywhere, even to itself.
            let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
            if is_folder && depth < DEEPEST {
                collect(&path, depth + 1, to);
            } else if path.is_file() && path.extension().is_some_and(|end| end == "yaml" || end == "yml") {
                to.push(path);
            }
        }
    }
    let mut files = Vec::new();
    collect(path, 0, &mut files);
    files.sort();
    if files.is_empty() { vec![path.to_owned()] } else { files }
}

/// A folder that can be listed: what a path without one is in is here.
fn folder(of: Option<&Path>) -> PathBuf {
    of.filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new(".")).to_owned()
}

/// The YAML files directly in a folder, sorted by name.
fn files_in_folder(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = files_in(folder);
    files.retain(|file| file.parent() == Some(folder));
    files
}

#[derive(Default)]
struct Report {
    files: Vec<(String, &'static str)>,
    findings: Vec<Diagnostic>,
    gates: Vec<Gated>,
}

/// A bike before a procedure's gate.
struct Gated {
    bike: String,
    procedure: String,
    /// Why it cannot be walked; empty if it can.
    why: Vec<String>,
}

struct Checker<'a, 'b> {
    spoken: &'a Spoken<'b>,
    bikes: BTreeMap<PathBuf, Option<Bike>>,
    procedures: BTreeMap<PathBuf, Option<Rc<Procedure>>>,
    report: Report,
    /// The files that were named one by one.
    named: Vec<PathBuf>,
}

impl Checker<'_, '_> {
    fn file(&mut self, path: &Path, bikes: &[Bike]) {
        let name = path.to_string_lossy().into_owned();
        let read = read_text(path).map_err(|error| vec![error]).and_then(|text| Ok((tree::parse(&text, &name)?, text)));
        let (tree, text) = match read {
            Ok(read) => read,
            Err(findings) => return self.done(name, "unknown", findings),
        };
        let kind = tree.entries().first().map_or("", |(key, _)| key.name.as_str());
        match kind {
            "procedure" => {
                let findings = self.procedure(path, bikes);
                self.done(name, "procedure", findings);
            }
            "bike" => {
                let named = self.named.iter().any(|one| one == path);
                let loaded = bike::beside(path).and_then(|catalogue| bike::from_tree(&tree, &catalogue));
                if let Ok(bike) = loaded.as_ref()
                    && named
                {
                    self.gates(path, bike);
                }
                let findings = loaded.map_or_else(|findings| findings, |bike| check::bike(&bike));
                self.done(name, "bike", findings);
            }
            "part" => {
                let findings = Catalogue::default().add(&text, &name).err().unwrap_or_default();
                self.done(name, "part", findings);
            }
            "faults" => {
                let findings =
                    Library::load(path).map_or_else(|findings| findings, |library| self.library(path, &library));
                self.done(name, "faults", findings);
            }
            "vocabulary" => {
                let findings = (self.spoken.vocabulary)(&text, &name);
                self.done(name, "vocabulary", findings);
            }
            "story" => {
                let findings = crate::run::demo::story::check(path, &text);
                self.done(name, "story", findings);
            }
            _ => self.done(name, "unknown", vec![no_kind(&tree)]),
        }
    }

    fn done(&mut self, file: String, kind: &'static str, findings: Vec<Diagnostic>) {
        self.report.files.push((file, kind));
        self.report.findings.extend(findings);
    }

    /// Asks the gate of every procedure beside a bike's folder, or of the shipped ones where there is none.
    fn gates(&mut self, path: &Path, bike: &Bike) {
        let beside = folder(path.parent().and_then(Path::parent));
        let is_procedure = |file: &PathBuf| procedure::load(file).is_ok();
        let mut files: Vec<PathBuf> = files_in_folder(&beside).into_iter().filter(is_procedure).collect();
        if files.is_empty() {
            files = files_in_folder(&crate::run::load::shipped()).into_iter().filter(is_procedure).collect();
        }
        for file in files {
            let folder = folder(file.parent());
            let procedures = std::cell::RefCell::new(std::mem::take(&mut self.procedures));
            let called = |id: &str| {
                let path = folder.join(format!("{id}.yaml"));
                let mut known = procedures.borrow_mut();
                known.entry(path.clone()).or_insert_with(|| procedure::load(&path).ok().map(Rc::new)).clone()
            };
            let id = file.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
            let why = called(&id).map(|procedure| {
                let around = Surroundings {
                    bikes: &[],
                    called: &called,
                    library: &[],
                    reserved: &[],
                    words: self.spoken.words,
                    faults: None,
                };
                check::gate(&procedure, bike, &around)
            });
            self.procedures = procedures.into_inner();
            self.report.gates.extend(why.map(|why| Gated { bike: bike.name.clone(), procedure: id, why }));
        }
    }

    /// Findings in a fault library for the bikes in the folder `bikes/` beside its own folder.
    fn library(&mut self, path: &Path, library: &Library) -> Vec<Diagnostic> {
        let beside = folder(path.parent().and_then(Path::parent));
        let bikes = self.bikes_beside(&beside);
        bikes.iter().filter_map(|bike| library.for_bike_in(bike, self.spoken.words).err()).flatten().collect()
    }

    fn procedure(&mut self, path: &Path, given: &[Bike]) -> Vec<Diagnostic> {
        let procedure = match procedure::load(path) {
            Ok(procedure) => procedure,
            Err(findings) => return findings,
        };
        let folder = folder(path.parent());
        let beside = if given.is_empty() { self.bikes_beside(&folder) } else { given.to_vec() };
        let procedures = std::cell::RefCell::new(std::mem::take(&mut self.procedures));
        let called = |id: &str| {
            let path = folder.join(format!("{id}.yaml"));
            let mut known = procedures.borrow_mut();
            known.entry(path.clone()).or_insert_with(|| procedure::load(&path).ok().map(Rc::new)).clone()
        };
        let beside_it = |file: &PathBuf| called(&file.file_stem()?.to_string_lossy());
        let all: Vec<Rc<Procedure>> = files_in_folder(&folder).iter().filter_map(beside_it).collect();
        let library = library_beside(&folder);
        let around = Surroundings {
            bikes: &beside,
            called: &called,
            library: &all,
            reserved: &self.spoken.reserved,
            words: self.spoken.words,
            faults: library.as_ref(),
        };
        let findings = check::procedure(&procedure, &around);
        self.procedures = procedures.into_inner();
        findings
    }

    /// A bike that was requested by name: findings in it are reported.
    fn needed_bike(&mut self, path: &Path) -> Option<Bike> {
        match bike::load(path) {
            Ok(bike) => Some(bike),
            Err(findings) => {
                self.report.findings.extend(findings);
                None
            }
        }
    }

    fn bikes_beside(&mut self, folder: &Path) -> Vec<Bike> {
        let bikes = folder.join("bikes");
        if !bikes.is_dir() {
            return Vec::new();
        }
        let files = files_in(&bikes).into_iter().filter(|file| file.is_file());
        files.filter_map(|file| self.bike_beside(file)).collect()
    }

    fn bike_beside(&mut self, file: PathBuf) -> Option<Bike> {
        if !self.bikes.contains_key(&file) {
            let bike = self.needed_bike(&file);
            self.bikes.insert(file.clone(), bike);
        }
        self.bikes.get(&file).cloned().flatten()
    }
}

/// The first fault library in the folder `faults/` beside a procedure. Findings in it are reported when it is checked itself.
fn library_beside(folder: &Path) -> Option<Library> {
    let faults = folder.join("faults");
    if !faults.is_dir() {
        return None;
    }
    files_in(&faults).iter().find_map(|file| Library::load(file).ok())
}

fn no_kind(tree: &Node) -> Diagnostic {
    let place = match tree.entries().first() {
        Some((key, _)) => key.name.place.clone(),
        None => whole_file(&tree.place.file),
    };
    let message = "this is neither a procedure, nor a bike, nor a kind of part, nor a fault library, nor a vocabulary, nor a story";
    let help = "The first field of the file says what it is: `procedure:`, `bike:`, `part:`, `faults:`, `vocabulary:` or `story:`.";
    Diagnostic::error(&place, "kind", message).help(help)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_here_is_found_like_what_lies_elsewhere() {
        let beside = |bike: &str| folder(Path::new(bike).parent().and_then(Path::parent));
        assert_eq!(beside("bikes/one.yaml"), Path::new("."));
        assert_eq!(beside("trade/bikes/one.yaml"), Path::new("trade"));
        assert!(files_in_folder(&beside("procedures/bikes/one.yaml")).len() > 10);
    }
}
