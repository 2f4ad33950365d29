//! Texts of the fault library as they are spoken.

use crate::bike::Words;
use crate::walk::World;

/// A text with every terminal and every part as it is spoken.
pub(super) fn spoken(words: &str, world: &World) -> String {
    let terminals = world.bike.terminals();
    let say = |word: &str| {
        let name = word.trim_end_matches([':', ',', '.']);
        let terminal = terminals.get(name).and_then(|name| world.vocabulary.terminal_words(name, &world.bike).ok());
        // A part's id that is an ordinary word stays one.
        let part = || {
            (name.contains('-') && world.bike.part(name).is_some()).then(|| world.vocabulary.part(name, &world.bike))
        };
        let said = terminal.or_else(part);
        said.map_or_else(|| word.to_owned(), |said| format!("the {said}{}", &word[name.len()..]))
    };
    words.split(' ').map(say).collect::<Vec<_>>().join(" ")
}

/// A text as a sentence: it begins with a capital letter and ends with a full stop.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().collect::<String>()).unwrap_or_default();
    let end = if text.is_empty() || text.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_begins_and_ends_as_one() {
        assert_eq!(sentence("charge the battery"), "Charge the battery.");
        assert_eq!(sentence("Done."), "Done.");
        assert_eq!(sentence(""), "");
    }
}
