//! The form of an error's sentence: what is wrong, and after a semicolon what to do. It starts lower-case, or with the file, name or option
//! that it is about. It is one sentence, without a full stop at its end.

/// What an error's sentence follows in the source.
const BEFORE: [&str; 6] =
    ["#[error(", "Failure::Input(", "Failure::Usage(", "Failure::Lacks(", "SpeakError::NoDevice(", "SpeakError::File("];
/// What may stand between it and the literal.
const WRAPPERS: [&str; 2] = ["format!(", "String::from("];

/// The string literal that a text starts with, without its quotes and line continuations. `None` if it starts with anything else.
fn literal(text: &str) -> Option<String> {
    let mut text = text.trim_start();
    for wrapper in WRAPPERS {
        text = text.strip_prefix(wrapper).unwrap_or(text).trim_start();
    }
    let (mut out, mut rest) = (String::new(), text.strip_prefix('"')?.chars().peekable());
    while let Some(next) = rest.next() {
        match next {
            '"' => return Some(out),
            '\\' if rest.next_if_eq(&'\n').is_some() => while rest.next_if(|next| next.is_whitespace()).is_some() {},
            '\\' => out.extend(rest.next()),
            other => out.push(other),
        }
    }
    None
}

/// The sentences of errors in a source file, each with its line.
pub fn sentences(source: &str) -> Vec<(usize, String)> {
    let starts = BEFORE.iter().flat_map(|before| source.match_indices(before).map(|(at, _)| (at, at + before.len())));
    let found = starts.filter_map(|(at, end)| Some((at, literal(&source[end..])?)));
    found.map(|(at, sentence)| (source[..at].matches('\n').count() + 1, sentence)).collect()
}

/// How a sentence differs from the form. `None` if it has it.
pub fn fault(sentence: &str) -> Option<&'static str> {
    let starts_anew = |after: &str| after.trim_start().starts_with(|c: char| c.is_uppercase());
    match sentence.trim() {
        "" => Some("is empty"),
        text if text.ends_with(['.', '!', '?']) => Some("ends with a full stop"),
        text if text.starts_with(|c: char| c.is_uppercase()) => Some("starts with a capital"),
        text if text.split(". ").skip(1).any(starts_anew) => Some("is more than one sentence"),
        _ => None,
    }
}

#[test]
fn sentences_are_found_and_faults_are_named() {
    let source = "#[error(\n  \"There is \\\"{0}\\\" \\\n   here.\"\n)]\nErr(Failure::Usage(format!(\"--at {x}; go on\")))\n#[error(transparent)]";
    assert_eq!(sentences(source), [(1, "There is \"{0}\" here.".to_owned()), (5, "--at {x}; go on".to_owned())]);
    for (sentence, wanted) in [
        ("", Some("is empty")),
        ("it is gone.", Some("ends with a full stop")),
        ("It is gone", Some("starts with a capital")),
        ("it is gone. Put it back", Some("is more than one sentence")),
        ("{path}: it is gone, e.g. moved; put it back", None),
    ] {
        assert_eq!(fault(sentence), wanted, "{sentence:?}");
    }
}
