//! Texts of the fault library as they are spoken.

use crate::bike::{Bike, Words};
use crate::phrase::Vocabulary;
use crate::walk::World;

/// A text with every terminal and every part as it is spoken.
pub(super) fn spoken(words: &str, world: &World) -> String {
    said(words, &world.bike, &world.vocabulary)
}

fn said(words: &str, bike: &Bike, vocabulary: &Vocabulary) -> String {
    let terminals = bike.terminals();
    let say = |word: &str| {
        let name = word.trim_end_matches([':', ',', '.']);
        let terminal = terminals.get(name).and_then(|name| vocabulary.terminal_words(name, bike).ok());
        // A part's id that is an ordinary word stays one.
        let part = || (name.contains('-') && bike.part(name).is_some()).then(|| vocabulary.part(name, bike));
        let said = terminal.or_else(part);
        said.map_or_else(|| word.to_owned(), |said| format!("the {said}{}", &word[name.len()..]))
    };
    // The library may have written the article itself.
    words.split(' ').map(say).collect::<Vec<_>>().join(" ").replace("the the ", "the ")
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
    use crate::bike;
    use crate::circuit::faults::Library;
    use std::path::Path;

    #[test]
    fn no_fault_of_any_bike_is_worded_with_a_word_twice() {
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures");
        let library = Library::load(&shipped.join("faults/ignition.yaml")).expect("the library");
        let mut seen = 0;
        for file in std::fs::read_dir(shipped.join("bikes")).expect("bikes").flatten() {
            let text = std::fs::read_to_string(file.path()).expect("a bike");
            let bike = bike::parse(&text, "bike.yaml").expect("a bike");
            for fault in library.for_bike(&bike).expect("it fits") {
                seen += 1;
                for text in [&fault.words, &fault.cure] {
                    let said = said(text, &bike, Vocabulary::english());
                    let words: Vec<&str> = said.split(' ').collect();
                    assert!(words.windows(2).all(|two| two[0] != two[1]), "{}: {said}", bike.name);
                }
            }
        }
        assert!(seen > 1_000, "{seen} faults");
    }

    #[test]
    fn a_sentence_begins_and_ends_as_one() {
        assert_eq!(sentence("charge the battery"), "Charge the battery.");
        assert_eq!(sentence("Done."), "Done.");
        assert_eq!(sentence(""), "");
    }
}
