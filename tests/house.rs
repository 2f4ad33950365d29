//! The house keeps its shape: rooms import in one direction only, every file says what it owns and stays short, and no real maker's name
//! appears anywhere.

#[path = "house/readers.rs"]
mod readers;
#[path = "house/sentences.rs"]
mod sentences;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

/// Most lines in a source file.
const MOST_LINES: usize = 500;
/// Most lines in a room, and in each of its folders. The lines of its folders do not count for the room.
const MOST_LINES_OF_A_ROOM: usize = 4_000;

/// Rooms that every other room may use. They know only the machine.
const SEEN_BY_ALL: [&str; 1] = ["system"];

/// Each room, and the other rooms whose names may follow `crate::` in it.
const ROOMS: [(&str, &[&str]); 23] = [
    ("system", &[]),
    ("source", &[]),
    ("terminal", &["source"]),
    ("units", &["source"]),
    ("sums", &["source", "units"]),
    ("expression", &["source", "units", "sums"]),
    ("parts", &["source", "units", "sums", "expression"]),
    ("bike", &["source", "units", "sums", "expression", "parts"]),
    ("phrase", &["source", "units", "sums", "parts", "bike"]),
    ("procedure", &["source", "units", "sums", "expression", "bike", "phrase"]),
    ("circuit", &["source", "units", "sums", "expression", "parts", "bike", "phrase", "procedure"]),
    ("advice", &["bike"]),
    ("session", &["source", "units", "sums", "bike", "phrase", "procedure", "circuit", "advice"]),
    ("walk", &["source", "units", "sums", "expression", "bike", "phrase", "procedure", "circuit", "advice", "session"]),
    (
        "diagnose",
        &[
            "source",
            "units",
            "sums",
            "expression",
            "bike",
            "phrase",
            "procedure",
            "circuit",
            "advice",
            "session",
            "walk",
        ],
    ),
    (
        "check",
        &[
            "source",
            "units",
            "sums",
            "expression",
            "bike",
            "phrase",
            "procedure",
            "circuit",
            "advice",
            "session",
            "walk",
            "diagnose",
        ],
    ),
    ("hear", &["source", "units", "sums", "phrase"]),
    // `hear` owns the sound files and the resampling, which `speak` needs too.
    ("speak", &["source", "terminal", "units", "sums", "phrase", "hear"]),
    ("rehearse", &["source", "units", "sums", "bike", "phrase", "procedure", "walk", "check", "hear", "speak"]),
    ("review", &["source", "units", "sums", "parts", "bike", "phrase", "procedure", "circuit", "advice", "session"]),
    ("shop", &["source", "units", "sums", "bike", "phrase", "procedure", "circuit", "advice", "session", "review"]),
    // Only its tests use `review`, to read back what a walk over a failing disk left.
    (
        "run",
        &[
            "source",
            "terminal",
            "expression",
            "parts",
            "bike",
            "phrase",
            "procedure",
            "circuit",
            "advice",
            "session",
            "walk",
            "diagnose",
            "check",
            "hear",
            "speak",
            "review",
        ],
    ),
    (
        "commands",
        &[
            "source",
            "terminal",
            "units",
            "sums",
            "parts",
            "bike",
            "phrase",
            "procedure",
            "circuit",
            "advice",
            "session",
            "walk",
            "diagnose",
            "check",
            "hear",
            "speak",
            "rehearse",
            "review",
            "shop",
            "run",
        ],
    ),
];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every file under `folder`, sorted.
fn files_under(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(folder) = folders.pop() {
        let Ok(entries) = fs::read_dir(&folder) else { continue };
        for entry in entries {
            let path = entry.expect("a folder's entry can be read").path();
            if path.is_dir() { folders.push(path) } else { files.push(path) }
        }
    }
    files.sort();
    files
}

/// Rust source with comments and the contents of strings and character literals blanked, and line breaks kept.
fn code_only(source: &str) -> String {
    let chars: Vec<char> = source.chars().collect();
    let mut out = String::with_capacity(source.len());
    let mut at = 0;
    let blank = |from: usize, to: usize, out: &mut String| {
        out.extend(chars[from..to].iter().map(|c| if *c == '\n' { '\n' } else { ' ' }));
    };
    while at < chars.len() {
        let rest = &chars[at..];
        let starts = |what: &str| what.chars().enumerate().all(|(i, c)| rest.get(i) == Some(&c));
        let in_word = at > 0 && (chars[at - 1].is_alphanumeric() || chars[at - 1] == '_');
        let length = if starts("//") {
            rest.iter().position(|c| *c == '\n').unwrap_or(rest.len())
        } else if starts("/*") {
            block_comment(rest)
        } else if starts("\"") {
            quoted(rest, '"')
        } else if !in_word && (starts("r\"") || starts("r#")) {
            raw_string(rest)
        } else if starts("'") && (rest.get(1) == Some(&'\\') || rest.get(2) == Some(&'\'')) {
            quoted(rest, '\'')
        } else {
            0
        };
        if length == 0 {
            out.push(chars[at]);
            at += 1;
        } else {
            blank(at, at + length, &mut out);
            at += length;
        }
    }
    out
}

fn block_comment(rest: &[char]) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < rest.len() {
        match (rest[at], rest.get(at + 1)) {
            ('/', Some('*')) => (depth, at) = (depth + 1, at + 2),
            ('*', Some('/')) => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
        if depth == 0 {
            break;
        }
    }
    at.min(rest.len())
}

fn quoted(rest: &[char], quote: char) -> usize {
    let mut at = 1;
    while at < rest.len() && rest[at] != quote {
        at += if rest[at] == '\\' { 2 } else { 1 };
    }
    (at + 1).min(rest.len())
}

/// The length of `r"..."` or `r#"..."#`; 0 if it is a raw identifier (`r#type`).
fn raw_string(rest: &[char]) -> usize {
    let hashes = rest[1..].iter().take_while(|c| **c == '#').count();
    if rest.get(1 + hashes) != Some(&'"') {
        return 0;
    }
    let ends = |at: usize| rest[at] == '"' && (1..=hashes).all(|i| rest.get(at + i) == Some(&'#'));
    (2 + hashes..rest.len()).find(|at| ends(*at)).map_or(rest.len(), |at| at + hashes + 1)
}

/// The names after a path's prefix (`crate::`, `super::super::`): one, or the head of each path in a `{...}` group.
fn heads(after: &str) -> Vec<String> {
    let head = |path: &String| path.split('/').next().unwrap_or_default().to_owned();
    let mut heads: Vec<String> = spread("", after).iter().map(head).collect();
    heads.dedup();
    heads
}

/// The paths after `base`, with groups expanded: `a::{b, c::D}` after `room` gives `room/a/b` and `room/a/c/D`.
fn spread(base: &str, after: &str) -> Vec<String> {
    let after = after.trim_start();
    let Some(group) = after.strip_prefix('{') else {
        let end = after.find(|c: char| !c.is_alphanumeric() && c != '_' && c != '*').unwrap_or(after.len());
        let path = format!("{base}/{}", &after[..end]).trim_start_matches('/').to_owned();
        let more = after[end..].trim_start().strip_prefix("::");
        return more.map_or_else(|| vec![path.clone()], |more| spread(&path, more));
    };
    let (mut depth, mut items, mut item) = (1, Vec::new(), String::new());
    for c in group.chars() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            break;
        }
        if c == ',' && depth == 1 { items.push(std::mem::take(&mut item)) } else { item.push(c) }
    }
    items.push(item);
    items.iter().filter(|item| !item.trim().is_empty()).flat_map(|item| spread(base, item)).collect()
}

/// The forbidden imports in one file. `path` is its place under `src/`, such as `walk/mod.rs`.
fn wrong_imports(path: &str, source: &str) -> Vec<String> {
    let Some((room, inside)) = path.split_once('/') else { return Vec::new() };
    let Some((_, allowed)) = ROOMS.iter().find(|(name, _)| *name == room) else {
        return vec![format!("src/{path}: the room '{room}' is not in the order of rooms")];
    };
    let mut wrong = Vec::new();
    let code: String = code_only(source);
    let line_of = |at: usize| code[..at].matches('\n').count() + 1;
    for (at, prefix) in code.match_indices("crate") {
        let whole = !code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_');
        let after = code[at + prefix.len()..].trim_start();
        if whole && after.starts_with("as ") {
            wrong.push(format!(
                "src/{path}:{}: the crate has another name here; name rooms as crate::ROOM",
                line_of(at)
            ));
        }
        let Some(after) = after.strip_prefix("::").filter(|_| whole) else { continue };
        for head in heads(after) {
            if head != room && !allowed.contains(&head.as_str()) && !SEEN_BY_ALL.contains(&head.as_str()) {
                wrong.push(format!("src/{path}:{}: '{room}' may not see crate::{head}", line_of(at)));
            }
        }
    }
    // Two steps up from a room's module (one step from mod.rs) is the crate root, where only rooms have names.
    let up = if inside == "mod.rs" { "super::" } else { "super::super::" };
    for (at, prefix) in code.match_indices(up) {
        for head in heads(code[at + prefix.len()..].trim_start_matches("super::")) {
            let own = head == room || root().join("src").join(room).join(&head).exists();
            let own_file = root().join("src").join(room).join(format!("{head}.rs")).exists();
            if ROOMS.iter().any(|(name, _)| *name == head) && !own && !own_file {
                wrong.push(format!("src/{path}:{}: name the room as crate::{head}, not by way of super", line_of(at)));
            }
        }
    }
    wrong
}

fn sources() -> Vec<(String, String)> {
    let src = root().join("src");
    let sources: Vec<_> = files_under(&src)
        .into_iter()
        .filter(|path| path.extension().is_some_and(|extension| extension == "rs"))
        .map(|path| {
            let place = path.strip_prefix(&src).unwrap().to_string_lossy().replace('\\', "/");
            (place, fs::read_to_string(&path).expect("source is UTF-8"))
        })
        .collect();
    assert!(sources.len() > ROOMS.len(), "only {} source files were found", sources.len());
    sources
}

#[test]
fn rooms_see_only_the_rooms_below_them() {
    let wrong: Vec<_> = sources().iter().flat_map(|(path, source)| wrong_imports(path, source)).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The module that a path leads to: down through the modules, then to the module that re-exports the next name.
fn leads_to(path: &str, modules: &BTreeMap<String, String>) -> Option<String> {
    let mut parts = path.match_indices('/').map(|(at, _)| &path[..at]).chain([path]);
    let module = parts.rfind(|part| modules.contains_key(*part))?;
    let Some(name) = path[module.len()..].split('/').nth(1) else { return Some(module.to_owned()) };
    let mut given = modules[module].split("use ").skip(1).flat_map(|text| spread(module, text));
    let is_it = |(of, last): (&str, &str)| last == name && of != module && modules.contains_key(of);
    given
        .find(|one| one.rsplit_once('/').is_some_and(is_it))
        .map_or(Some(module.to_owned()), |one| leads_to(&one, modules))
}

/// The modules of its room that a module uses. Pure re-exports (`pub use`) do not count.
fn uses(module: &str, modules: &BTreeMap<String, String>) -> BTreeSet<String> {
    let own = modules[module].split(';').filter(|text| !text.contains("pub use ") && !text.contains(") use "));
    let code = own.collect::<Vec<_>>().join(";");
    let children = modules.keys().filter_map(|one| one.strip_prefix(module)?.strip_prefix('/'));
    let mut paths = Vec::new();
    for head in ["crate", "super"].into_iter().chain(children) {
        for (at, _) in code.match_indices(&format!("{head}::")) {
            let (mut base, mut after) = (if head == "crate" { "" } else { module }, &code[at..]);
            while let Some(more) = after.strip_prefix("super::") {
                (base, after) = (base.rsplit_once('/').unwrap_or_default().0, more);
            }
            let whole = !code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == ':');
            paths.extend(spread(base, after).into_iter().filter(|_| whole));
        }
    }
    let room = |of: &str| of.split('/').nth(1).map(str::to_owned);
    let used = paths.iter().filter_map(|path| leads_to(path, modules));
    used.filter(|one| one != module && room(one) == room(module)).collect()
}

type Used = BTreeMap<String, BTreeSet<String>>;

/// The code of each module, and the modules of its room that it uses. Tests at the end of a file may use anything.
fn used_by_each<S: AsRef<str>>(sources: &[(S, S)]) -> (BTreeMap<String, String>, Used) {
    let module = |path: &str| format!("crate/{}", path.trim_end_matches(".rs").trim_end_matches("/mod"));
    let code = |text: &str| code_only(text).split("mod tests {").next().unwrap_or_default().to_owned();
    let modules = sources.iter().map(|(path, text)| (module(path.as_ref()), code(text.as_ref()))).collect();
    let used = BTreeMap::keys(&modules).map(|module| (module.clone(), uses(module, &modules))).collect();
    (modules, used)
}

/// The nodes that lie on a cycle.
fn in_a_circle(used: &Used) -> Vec<String> {
    let comes_back = |module: &&String| {
        let (mut known, mut open) = (BTreeSet::new(), vec![*module]);
        while let Some(next) = open.pop() {
            open.extend(used.get(next).into_iter().flatten().filter(|one| known.insert(*one)));
        }
        known.contains(module)
    };
    used.keys().filter(comes_back).cloned().collect()
}

/// The modules that use each other in a cycle.
fn circles<S: AsRef<str>>(sources: &[(S, S)]) -> Vec<String> {
    in_a_circle(&used_by_each(sources).1)
}

#[test]
fn the_files_of_a_room_use_each_other_in_no_circle() {
    assert_eq!(circles(&sources()), Vec::<String>::new());
}

/// The immediate folders of a room that use each other in a cycle, each taken as one node.
fn circles_of_folders<S: AsRef<str>>(sources: &[(S, S)]) -> Vec<String> {
    let (modules, used) = used_by_each(sources);
    // A module's node is its first folder below the room. A module outside any folder is its own node.
    let node = |module: &str| {
        let ends: Vec<usize> = module.match_indices('/').map(|(at, _)| at).chain([module.len()]).collect();
        let folder = &module[..ends.get(2).copied().unwrap_or(module.len())];
        let inside = format!("{folder}/");
        if modules.keys().any(|one| one.starts_with(&inside)) { folder.to_owned() } else { module.to_owned() }
    };
    let mut nodes: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (module, used) in &used {
        let from = node(module);
        let others = used.iter().map(|one| node(one)).filter(|one| *one != from).collect::<Vec<_>>();
        nodes.entry(from).or_default().extend(others);
    }
    in_a_circle(&nodes)
}

#[test]
fn the_folders_of_hearing_use_each_other_in_no_circle() {
    let hear: Vec<_> = sources().into_iter().filter(|(path, _)| path.starts_with("hear/")).collect();
    assert!(hear.iter().filter(|(path, _)| path.ends_with("/mod.rs")).count() > 8, "where are its folders?");
    assert_eq!(circles_of_folders(&hear), Vec::<String>::new());
}

/// Lines of each room and of each of its immediate folders, counted separately.
fn lines_of_rooms<S: AsRef<str>>(sources: &[(S, S)]) -> BTreeMap<String, usize> {
    let mut lines = BTreeMap::new();
    for (path, source) in sources {
        let parts: Vec<&str> = path.as_ref().split('/').collect();
        let room = parts[..parts.len().saturating_sub(1).min(2)].join("/");
        *lines.entry(room).or_default() += source.as_ref().lines().count();
    }
    lines
}

#[test]
fn no_room_is_long() {
    let lines = lines_of_rooms(&sources());
    let long: Vec<&str> =
        lines.iter().filter(|(_, lines)| **lines > MOST_LINES_OF_A_ROOM).map(|(room, _)| room.as_str()).collect();
    assert!(long.is_empty(), "{long:?}: {MOST_LINES_OF_A_ROOM} lines at most; give a longer room folders: {lines:?}");
}

/// Code that writes to a terminal, outside the room that may and the tests at the end of a file.
fn prints(path: &str, source: &str) -> Vec<String> {
    /// It answers its parent program through a pipe, not a person.
    const TO_A_PIPE: &str = "hear/engines/vosk_process.rs";
    let code = code_only(source).split("mod tests {").next().unwrap_or_default().to_owned();
    let ways = ["print!(", "println!(", "eprint!(", "eprintln!(", "dbg!(", "stdout()", "stderr()"];
    let mut found = Vec::new();
    for (number, line) in code.lines().enumerate().filter(|_| !path.starts_with("terminal/")) {
        for way in ways {
            let whole = |at: usize| !line[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_');
            let there = line.match_indices(way).any(|(at, _)| whole(at));
            if there && !(path == TO_A_PIPE && way == "stdout()") {
                found.push(format!("src/{path}:{}: {way} prints; use crate::terminal", number + 1));
            }
        }
    }
    found
}

#[test]
fn everything_that_is_printed_leaves_through_one_room() {
    let wrong: Vec<_> = sources().iter().flat_map(|(path, source)| prints(path, source)).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    for bad in ["println!(\"a\");", "x; eprint!(\"a\")", "let out = io::stdout();", "std::io::stderr().lock()"] {
        assert_eq!(prints("commands/x.rs", bad).len(), 1, "{bad}");
    }
    for good in ["outln!(\"println!(\")", "child.stdout(Stdio::piped())", "// println!()", "mod tests { println!() }"] {
        assert_eq!(prints("commands/x.rs", good), Vec::<String>::new(), "{good}");
    }
}

#[test]
fn every_room_has_its_place_in_the_order() {
    let known: BTreeSet<_> = ROOMS.iter().map(|(room, _)| (*room).to_owned()).collect();
    let lib = code_only(&fs::read_to_string(root().join("src/lib.rs")).unwrap());
    let declared: BTreeSet<_> = lib
        .lines()
        .filter_map(|line| {
            line.trim().trim_start_matches("pub ").trim_start_matches("pub(crate) ").strip_prefix("mod ")
        })
        .map(|name| name.trim_end_matches([';', '{', ' ']).to_owned())
        .collect();
    let strangers: Vec<_> = declared.difference(&known).collect();
    assert!(!declared.is_empty() && strangers.is_empty(), "not in the order of rooms: {strangers:?}");
    // The table itself runs in one direction: a room's dependencies come before it.
    for (place, (room, allowed)) in ROOMS.iter().enumerate() {
        for below in *allowed {
            assert!(ROOMS[..place].iter().any(|(name, _)| name == below), "'{room}' may see '{below}', not below it");
        }
    }
}

/// Code that opens or creates files or starts programs, and the files outside the room `system` that may do so: models are the program's
/// own.
const SYSTEMS_OWN: [&str; 8] = [
    "File::open(",
    "File::create(",
    "fs::write(",
    "fs::read(",
    "fs::read_to_string(",
    "create_dir",
    "WavWriter::create(",
    "Stdio::piped(",
];
const READERS_OF_MODELS: [&str; 4] =
    ["hear/segment/detector.rs", "hear/decode/letters.rs", "hear/decode/network.rs", "hear/decode/tokenizer.rs"];

/// The places in a file that bypass `system`.
fn past_the_system(path: &str, source: &str) -> Vec<String> {
    let code = code_only(source);
    let code = code.split("mod tests {").next().unwrap_or_default();
    let exempt = path.starts_with("system/") || path.ends_with("tests.rs") || READERS_OF_MODELS.contains(&path);
    let found = SYSTEMS_OWN.iter().filter(|_| !exempt).flat_map(|what| code.match_indices(what));
    found.map(|(at, what)| format!("src/{path}:{}: {what}", code[..at].matches('\n').count() + 1)).collect()
}

#[test]
fn files_and_programs_go_through_the_system() {
    // The storage double, and the writer of recordings for tests and measurements.
    let known = ["run/power_bench.rs", "hear/wav.rs"];
    let found: Vec<String> = sources()
        .iter()
        .filter(|(path, _)| !known.contains(&path.as_str()))
        .flat_map(|(path, source)| past_the_system(path, source))
        .collect();
    assert!(found.is_empty(), "use crate::system instead:\n{}", found.join("\n"));
    let bad = "fn f() { std::fs::write(p, b) }\n// fs::read(\nfn g() { File::open(p) }";
    assert_eq!(past_the_system("walk/x.rs", bad), ["src/walk/x.rs:3: File::open(", "src/walk/x.rs:1: fs::write("]);
    assert_eq!(past_the_system("system/x.rs", bad), Vec::<String>::new());
}

#[test]
fn every_errors_sentence_has_the_one_form() {
    let mut wrong = Vec::new();
    for (path, source) in sources() {
        let faults = sentences::sentences(&source).into_iter().filter_map(|(line, sentence)| {
            sentences::fault(&sentence).map(|fault| format!("src/{path}:{line}: \"{sentence}\" {fault}"))
        });
        wrong.extend(faults);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_says_what_it_owns_and_is_short() {
    let mut wrong = Vec::new();
    for (path, source) in sources() {
        if !source.starts_with("//! ") {
            wrong.push(format!("src/{path}: does not begin with a '//!' header"));
        }
        let lines = source.lines().count();
        if lines > MOST_LINES {
            wrong.push(format!("src/{path}: {lines} lines, {MOST_LINES} at most"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The words in `text` whose lower-case sha256 is in `banned`, with their lines.
fn banned_words(text: &str, banned: &BTreeSet<String>) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for (number, line) in text.lines().enumerate() {
        for word in line.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()) {
            if banned.contains(&sum(word)) {
                found.push((number + 1, word.to_owned()));
            }
        }
    }
    found
}

fn sum(word: &str) -> String {
    Sha256::digest(word.to_lowercase()).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn no_real_maker_is_named() {
    let list = fs::read_to_string(root().join("tests/makers.sha256")).unwrap();
    let banned: BTreeSet<String> = list.lines().filter(|line| !line.starts_with('#')).map(str::to_owned).collect();
    assert!(banned.len() > 50 && banned.iter().all(|sum| sum.len() == 64), "tests/makers.sha256 is damaged");
    let mut places: Vec<_> =
        ["src", "tests", "procedures"].iter().flat_map(|folder| files_under(&root().join(folder))).collect();
    places.extend(["README.md", "DEVELOPERS.md", "models/README.md"].map(|name| root().join(name)));
    let mut found = Vec::new();
    for path in places {
        let Ok(text) = fs::read_to_string(&path) else { continue };
        for (line, word) in banned_words(&text, &banned) {
            found.push(format!("{}:{line}: '{word}' is a real maker's name; invent one", path.display()));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn the_scans_can_fail() {
    let upward = "//! x\nuse crate::walk::Walker;\nfn f() -> crate::hear::Ear { todo!() }\nuse crate::{units, walk::{A, check}};\n";
    assert_eq!(
        wrong_imports("bike/profile.rs", upward),
        [
            "src/bike/profile.rs:2: 'bike' may not see crate::walk",
            "src/bike/profile.rs:3: 'bike' may not see crate::hear",
            "src/bike/profile.rs:4: 'bike' may not see crate::walk",
        ]
    );
    for bad in [
        "use crate::*;",
        "use crate::\n    walk;",
        "use crate::Thing;",
        "use crate as house;",
        "use super::super::walk::Walker;",
        "let c = '\"'; use crate::walk; let d = '\"';",
        "let s = r#\"a\"b\"#; use crate::walk;",
        "fn f<'a>(x: &'a str) -> crate::walk::W<'a> {}",
    ] {
        assert_eq!(wrong_imports("bike/profile.rs", bad).len(), 1, "{bad}");
    }
    assert_eq!(wrong_imports("bike/mod.rs", "use super::walk::Walker;").len(), 1);
    assert_eq!(wrong_imports("cellar/mod.rs", "").len(), 1);
    for good in [
        "use crate::units::Unit;",
        "use crate::bike::Profile;",
        "//! [`crate::walk`] asks.\n/* crate::walk /* crate::hear */ */",
        "let s = \"crate::walk\"; let r = r#\"use \"crate::walk\" \"#;",
        "use super::super::state;",
        "pub(crate) fn r#crate() {}",
        "use subcrate::walk;",
    ] {
        assert_eq!(wrong_imports("bike/profile.rs", good), Vec::<String>::new(), "{good}");
    }
    let files = [("bike/mod.rs", "pub use oil::{A, Oil};"), ("bike/oil.rs", "use super::{tank::{Tank}};")];
    let with = |tank| circles(&[files[0], files[1], ("bike/tank.rs", tank)]);
    assert_eq!(with("use crate::bike::Oil;"), ["crate/bike/oil", "crate/bike/tank"]);
    assert_eq!(with("mod tests { use super::super::Oil;"), Vec::<String>::new());
    assert_eq!(circles(&[("bike/mod.rs", "oil::f()"), ("bike/oil.rs", "super::g()")]).len(), 2);
    // No file here uses itself through others, and yet the folders do.
    let folders = [("bike/mod.rs", ""), ("bike/a/mod.rs", "pub use x::X;"), ("bike/b/mod.rs", "pub use y::Y;")];
    let files =
        [("bike/a/x.rs", ""), ("bike/a/z.rs", "use super::super::b::Y;"), ("bike/b/y.rs", "use crate::bike::a::X;")];
    let all = [&folders[..], &files[..]].concat();
    assert_eq!(circles(&all), Vec::<String>::new());
    assert_eq!(circles_of_folders(&all), ["crate/bike/a", "crate/bike/b"]);
    assert_eq!(circles_of_folders(&all[..5]), Vec::<String>::new());
    let lines = lines_of_rooms(&[
        ("main.rs", "1"),
        ("bike/oil.rs", "1\n2"),
        ("bike/a/x.rs", "1"),
        ("bike/a/deep/y.rs", "1\n2"),
    ]);
    assert_eq!(lines, BTreeMap::from([(String::new(), 1), ("bike".into(), 2), ("bike/a".into(), 3)]));
    let invented = BTreeSet::from([sum("quillbrook")]);
    let found = banned_words("a fine bike\nthe QUILLBROOK-250's left_points", &invented);
    assert_eq!(found, [(2, "QUILLBROOK".to_owned())]);
    assert_eq!(banned_words("quillbrooks", &invented), []);
}
