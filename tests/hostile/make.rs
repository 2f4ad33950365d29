//! The verbs that make a case.

use super::table::Step;
use super::{record, sound};
use std::fs;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The repository.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A text with `\xNN` for a byte, `\u{N}` for a character, `\n`, `\t` and `\\`.
pub fn bytes(text: &str) -> Result<Vec<u8>, String> {
    let (mut out, mut rest) = (Vec::new(), text);
    while let Some(at) = rest.find('\\') {
        out.extend(&rest.as_bytes()[..at]);
        rest = &rest[at + 1..];
        let used = match rest.as_bytes().first() {
            Some(b'n') => (out.push(b'\n'), 1).1,
            Some(b'r') => (out.push(b'\r'), 1).1,
            Some(b't') => (out.push(b'\t'), 1).1,
            Some(b'\\') => (out.push(b'\\'), 1).1,
            Some(b'x') => {
                let hex = rest.get(1..3).ok_or("two digits after \\x")?;
                out.push(u8::from_str_radix(hex, 16).map_err(|error| error.to_string())?);
                3
            }
            Some(b'u') => {
                let end = rest.find('}').ok_or("no end of \\u{")?;
                let code = u32::from_str_radix(&rest[2..end], 16).map_err(|error| error.to_string())?;
                let c = char::from_u32(code).ok_or("no such character")?;
                out.extend(c.to_string().as_bytes());
                end + 1
            }
            _ => return Err(format!("\\ before {rest:.5}")),
        };
        rest = &rest[used..];
    }
    out.extend(rest.as_bytes());
    Ok(out)
}

fn number(word: &str) -> Result<usize, String> {
    word.replace('_', "").parse().map_err(|_| format!("{word} is no number"))
}

/// Carries a step out in `here`.
pub fn make(here: &Path, step: &Step) -> Result<(), String> {
    let words: Vec<&str> = step.words.iter().map(String::as_str).collect();
    let said = |error: std::io::Error| error.to_string();
    let at = |name: &str| here.join(name.replace("\\s", " "));
    let change = |name: &str, with: &dyn Fn(&mut Vec<u8>) -> Result<(), String>| {
        let mut all = fs::read(at(name)).map_err(said)?;
        with(&mut all)?;
        fs::write(at(name), all).map_err(said)
    };
    let under: Vec<u8> =
        step.under.iter().filter(|(mark, _)| *mark == '|').try_fold(Vec::new(), |mut all, (_, line)| {
            all.extend(bytes(line)?);
            all.push(b'\n');
            Ok::<_, String>(all)
        })?;
    match words[..] {
        // A text file of the lines under it.
        ["file", name] => fs::write(at(name), under).map_err(said),
        // The lines under it without the last line's end.
        ["bytes", name] => fs::write(at(name), &under[..under.len().saturating_sub(1)]).map_err(said),
        // A file of the repository.
        ["copy", name, from] => fs::copy(root().join(from), at(name)).map(drop).map_err(said),
        // The small sound procedure and its bike.
        ["small"] => ["small.yaml", "twin.yaml"]
            .iter()
            .try_for_each(|name| fs::copy(root().join("tests/sound").join(name), here.join(name)).map(drop))
            .map_err(said),
        // All shipped procedures, bikes and vocabularies, as links.
        ["shipped"] => fs::read_dir(root().join("procedures")).map_err(said)?.try_for_each(|entry| {
            let entry = entry.map_err(said)?;
            if here.join(entry.file_name()).exists() {
                return Ok(());
            }
            symlink(entry.path(), here.join(entry.file_name())).map_err(said)
        }),
        // What stands once in it and what takes its place: `- ` and `+ ` lines under it, each a part of a line.
        ["edit", name] => change(name, &|all| {
            let mut text = String::from_utf8(std::mem::take(all)).map_err(|error| error.to_string())?;
            for pair in step.under.chunks(2) {
                let [('-', old), ('+', new)] = pair else { return Err("- and + come in pairs".to_owned()) };
                if text.matches(old).count() != 1 {
                    return Err(format!("{old:?} stands {} times in it", text.matches(old).count()));
                }
                text = text.replace(old, &String::from_utf8(bytes(new)?).map_err(|error| error.to_string())?);
            }
            *all = text.into_bytes();
            Ok(())
        }),
        // Adds a text so many times, `#` in it being the count.
        ["fill", name, times, ..] => {
            let text = step.rest.splitn(3, ' ').nth(2).unwrap_or("x");
            let mut all = fs::read(at(name)).unwrap_or_default();
            for n in 0..number(times)? {
                all.extend(bytes(&text.replace("#+", &(n + 1).to_string()).replace('#', &n.to_string()))?);
            }
            fs::write(at(name), all).map_err(said)
        }
        // Adds mappings, each in the one before.
        ["stairs", name, deep] => {
            let mut all = fs::read(at(name)).unwrap_or_default();
            (0..number(deep)?).for_each(|level| all.extend(format!("{}a:\n", " ".repeat(level)).bytes()));
            fs::write(at(name), all).map_err(said)
        }
        // In `name`, `word` is replaced by `text` so many times over.
        ["swell", name, word, times, ..] => {
            let text =
                String::from_utf8(bytes(step.rest.splitn(4, ' ').nth(3).unwrap_or("x"))?).map_err(|e| e.to_string())?;
            let times = number(times)?;
            change(name, &|all| {
                let whole = String::from_utf8(std::mem::take(all)).map_err(|error| error.to_string())?;
                if whole.matches(word).count() != 1 {
                    return Err(format!("{word} stands {} times in it", whole.matches(word).count()));
                }
                *all = whole.replace(word, &text.repeat(times)).into_bytes();
                Ok(())
            })
        }
        // The file in another encoding.
        ["utf16", name] => change(name, &|all| {
            let text = String::from_utf8_lossy(all).into_owned();
            *all = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
            Ok(())
        }),
        // Bytes, in hexadecimal, in the place of those there.
        ["patch", name, place, hex] => change(name, &|all| {
            let place = number(place)?;
            for (n, pair) in hex.as_bytes().chunks(2).enumerate() {
                let pair = std::str::from_utf8(pair).map_err(|error| error.to_string())?;
                *all.get_mut(place + n).ok_or("beyond its end")? =
                    u8::from_str_radix(pair, 16).map_err(|e| e.to_string())?;
            }
            Ok(())
        }),
        // Only so many bytes stay of it.
        ["cut", name, stay] => change(name, &|all| {
            all.truncate(number(stay)?);
            Ok(())
        }),
        // So many bytes without any on the disk.
        ["size", name, size] => {
            let file = fs::OpenOptions::new().create(true).truncate(false).write(true).open(at(name)).map_err(said)?;
            file.set_len(number(size)? as u64).map_err(said)
        }
        ["folder", name] => fs::create_dir_all(at(name)).map_err(said),
        ["link", name, to] => symlink(to, at(name)).map_err(said),
        ["fifo", name] => {
            let made = Command::new("mkfifo").arg(at(name)).status().map_err(said)?;
            if made.success() { Ok(()) } else { Err("mkfifo failed".to_owned()) }
        }
        ["gone", name] => fs::remove_file(at(name)).or_else(|_| fs::remove_dir_all(at(name))).map_err(said),
        ["move", name, to] => fs::rename(at(name), at(to)).map_err(said),
        ["wav", name, ..] => sound::wav(&at(name), &words[2..]),
        ["clip", name, samples] => sound::clip(&at(name), number(samples)?),
        ["session", name] => record::session(&at(name)),
        [verb, name, ..] => record::damage(verb, &at(name), &words[2..], step, under),
        _ => Err("no such verb".to_owned()),
    }
}
