//! Every public item has a reader outside its room. An item used only in its own room is private, or public to the room.

use super::{ROOMS, code_only, files_under, root, sources};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;

/// The words that introduce an item, behind `pub`.
const ITEMS: [&str; 7] = ["fn", "struct", "enum", "trait", "const", "static", "type"];

/// The room of a file in `src`; the crate's own files are a room of their own.
fn room_of(path: &str) -> &str {
    path.split_once('/').map_or("", |(room, _)| room)
}

fn words(code: &str) -> BTreeSet<&str> {
    code.split(|c: char| !c.is_alphanumeric() && c != '_').filter(|word| !word.is_empty()).collect()
}

/// The examples in a file's doc comments.
fn examples(source: &str) -> String {
    let (mut out, mut inside) = (String::new(), false);
    for line in source.lines().map(str::trim_start) {
        let Some(text) = line.strip_prefix("///").or_else(|| line.strip_prefix("//!")) else { continue };
        if text.trim_start().starts_with("```") {
            inside = !inside;
        } else if inside {
            out += text.trim_start().trim_start_matches("# ");
            out.push('\n');
        }
    }
    out
}

/// Where the brace that is open at the beginning of `code` is closed.
fn end_of_body(code: &str) -> usize {
    let mut depth = 0;
    for (at, c) in code.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth <= 1 => return at,
            '}' => depth -= 1,
            _ => {}
        }
    }
    code.len()
}

/// Something public: where it stands, the item's kind and name (none for a field), and its signature.
type Public<'a> = (usize, Option<(&'a str, &'a str)>, &'a str);

/// Everything public in a file.
fn public(code: &str) -> Vec<Public<'_>> {
    let mut found = Vec::new();
    for (at, word) in code.match_indices("pub ") {
        if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_') {
            continue;
        }
        let after = &code[at + word.len()..];
        let mut heads = after.split_whitespace();
        let plain = |word: &&str| !["const", "async", "unsafe", "extern"].contains(word);
        let first = heads.next().unwrap_or_default();
        let (kind, name) = match first {
            "const" | "async" | "unsafe" | "extern" => {
                let next = heads.next().unwrap_or_default();
                // `pub const fn NAME`, or `pub const NAME`.
                match [next].iter().chain(heads.clone().take(3).collect::<Vec<_>>().iter()).position(|w| *w == "fn") {
                    Some(_) => ("fn", heads.find(|w| *w != "fn" && plain(w)).unwrap_or_default()),
                    None => (first, next),
                }
            }
            _ => (first, heads.next().unwrap_or_default()),
        };
        let name = name.split(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap_or_default();
        // What a macro makes has its name from there.
        if ["use", "mod"].contains(&kind) || name.is_empty() {
            continue;
        }
        let is_item = ITEMS.contains(&kind);
        let end = match kind {
            "enum" | "trait" => after.find('{').map_or(after.len(), |open| open + end_of_body(&after[open..])),
            _ if is_item => after.find(['{', ';', '=']).unwrap_or(after.len()),
            _ => after.find('\n').unwrap_or(after.len()),
        };
        // The right side of `pub type` is what readers get.
        let end = if kind == "type" { after.find(';').unwrap_or(end) } else { end };
        found.push((at, is_item.then_some((kind, name)), &after[..end]));
    }
    found
}

/// The public items of `sources` that neither another room nor anything in `outside` names. A type that stands in the signature of something
/// public has the readers of that.
fn without_reader(sources: &[(String, String)], outside: &[String]) -> Vec<String> {
    let code: Vec<(&str, String)> = sources.iter().map(|(path, source)| (path.as_str(), code_only(source))).collect();
    let shown: Vec<(&str, String)> =
        sources.iter().map(|(path, source)| (path.as_str(), code_only(&examples(source)))).collect();
    let mut readers: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (path, text) in &code {
        for word in words(text) {
            readers.entry(word).or_default().insert(room_of(path));
        }
    }
    let outside: BTreeSet<&str> = outside.iter().flat_map(|text| words(text)).collect();
    let mut found = Vec::new();
    for (path, text) in &code {
        let room = room_of(path);
        let own = text.split("mod tests {").next().unwrap_or_default();
        for (at, item, _) in public(own) {
            let Some((kind, name)) = item else { continue };
            let elsewhere = readers.get(name).is_some_and(|rooms| rooms.iter().any(|other| *other != room));
            let example = || shown.iter().any(|(other, text)| other != path && words(text).contains(name));
            let is_type = ["struct", "enum", "trait", "type"].contains(&kind);
            let handed_out = || {
                let same = code.iter().filter(|(other, _)| room_of(other) == room);
                same.flat_map(|(_, text)| public(text))
                    .any(|(_, one, signature)| one.is_none_or(|(_, of)| of != name) && words(signature).contains(name))
            };
            let read = elsewhere || outside.contains(name) || example() || is_type && handed_out();
            if !room.is_empty() && !read {
                let line = own[..at].matches('\n').count() + 1;
                found.push(format!("src/{path}:{line}: nobody outside of '{room}' reads the {kind} `{name}`"));
            }
        }
    }
    found
}

/// Tests, benches and measurements.
fn others() -> Vec<String> {
    let files = ["tests", "benches"].iter().flat_map(|folder| files_under(&root().join(folder)));
    let rust = files.filter(|path| path.extension().is_some_and(|extension| extension == "rs"));
    let texts: Vec<String> = rust.map(|path| code_only(&fs::read_to_string(path).expect("source is UTF-8"))).collect();
    assert!(texts.len() > ROOMS.len(), "only {} files were found", texts.len());
    texts
}

#[test]
fn every_public_item_has_a_reader_outside_its_room() {
    let found = without_reader(&sources(), &others());
    assert!(found.is_empty(), "{} items:\n{}", found.len(), found.join("\n"));
}

#[test]
fn the_scan_can_fail() {
    let file = |path: &str, text: &str| (path.to_owned(), text.to_owned());
    let oil = "pub struct Oil { pub kind: Kind }\npub enum Kind { Thin }\nimpl Oil { pub const fn pour(&self) {} }\n\
               pub const LEVEL: u32 = 1;\nmod tests { pub fn f() {} }";
    let found = |other: &str, outside: &str| {
        without_reader(&[file("bike/oil.rs", oil), file("walk/x.rs", other)], &[outside.into()])
    };
    let nobody = |line: u32, what: &str| format!("src/bike/oil.rs:{line}: nobody outside of 'bike' reads the {what}");
    // A kind is handed out by a public field.
    assert_eq!(found("", ""), [nobody(1, "struct `Oil`"), nobody(3, "fn `pour`"), nobody(4, "const `LEVEL`")]);
    assert_eq!(found("fn f(oil: Oil) { oil.pour() }", ""), [nobody(4, "const `LEVEL`")]);
    assert_eq!(found("fn f(oil: Oil) { oil.pour() }", "assert_eq!(LEVEL, 1)"), Vec::<String>::new());
    // A name in a comment or a string reads nothing, one in an example does.
    assert_eq!(found("// Oil\nfn f() -> &str { \"pour LEVEL\" }", "").len(), 3);
    assert_eq!(found("/// ```\n/// Oil.pour(LEVEL)\n/// ```\nfn f() {}", ""), Vec::<String>::new());
    // What is public to the room only needs no reader.
    assert_eq!(
        without_reader(&[file("bike/oil.rs", "pub(super) fn f() {}\npub(crate) struct S;")], &[]),
        Vec::<String>::new()
    );
}
