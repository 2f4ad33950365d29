//! A cheap estimate of how alike two phrases sound: rules turn letters into rough phonemes, and an edit distance compares them. It is good
//! enough to warn the author of a procedure; "rehearse" tests with the real recogniser. In a language without rules it compares letters.
//!
//! The costs are a founder's estimate from which sounds share voice, place and manner (common practice, no source).

use super::words::normalise;
use std::fmt;

/// Why two phrases are too close to be used together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// They sound identical.
    Same,
    /// They differ by less than one clear sound. Carries the distance, where 1 is one unrelated consonant.
    Near(f64),
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Why::Same => f.write_str("they sound the same"),
            Why::Near(distance) => write!(f, "they differ by {distance:.1} of a clear sound"),
        }
    }
}

/// Phrases closer than this are too close.
const CLOSE: f64 = 1.0;
/// In phrases with at most this many sounds, `CLOSE_WHEN_SHORT` is the limit.
const SHORT: usize = 4;
const CLOSE_WHEN_SHORT: f64 = 1.6;

/// Whether two phrases of a language (`en`) sound too alike to tell apart reliably, and why.
///
/// ```
/// use probeside::phrase::sound::{Why, too_close};
/// assert_eq!(too_close("right", "write", "en"), Some(Why::Same));
/// assert!(too_close("lit", "left", "en").is_some());
/// assert_eq!(too_close("stays dark", "goes on and off", "en"), None);
/// ```
pub fn too_close(a: &str, b: &str, language: &str) -> Option<Why> {
    let (a, b) = (phonemes(a, language), phonemes(b, language));
    let apart = distance(&a, &b);
    let limit = if a.len().max(b.len()) <= SHORT { CLOSE_WHEN_SHORT } else { CLOSE };
    match apart {
        _ if a == b => Some(Why::Same),
        near if near < limit => Some(Why::Near(near)),
        _ => None,
    }
}

/// The distance between the sounds of two phrases. 1 is one unrelated consonant, 0 means identical sounds.
///
/// ```
/// use probeside::phrase::sound::apart;
/// assert!(apart("light on", "light off", "en") < apart("light on", "stays dark", "en"));
/// ```
pub fn apart(a: &str, b: &str, language: &str) -> f64 {
    distance(&phonemes(a, language), &phonemes(b, language))
}

/// The rough phonemes of a phrase, one character each. Letters if the language has no rules.
pub fn phonemes(phrase: &str, language: &str) -> Vec<char> {
    let words = normalise(phrase);
    if language.split('-').next() == Some("en") {
        words.split(' ').flat_map(|w| english(w).chars().collect::<Vec<_>>()).collect()
    } else {
        words.chars().filter(|c| *c != ' ').collect()
    }
}

/// Common words that the rules get wrong.
const IRREGULAR: &[(&str, &str)] = &[
    ("a", "u"),
    ("are", "ar"),
    ("come", "kum"),
    ("does", "duz"),
    ("done", "dun"),
    ("eight", "At"),
    ("four", "for"),
    ("goes", "gOz"),
    ("good", "gud"),
    ("have", "hav"),
    ("how", "hW"),
    ("know", "nO"),
    ("live", "lIv"),
    ("none", "nun"),
    ("now", "nW"),
    ("oh", "O"),
    ("one", "wun"),
    ("read", "red"),
    ("ready", "redE"),
    ("said", "sed"),
    ("some", "sum"),
    ("the", "Tu"),
    ("to", "tU"),
    ("two", "tU"),
    ("was", "woz"),
    ("what", "wot"),
    ("you", "yU"),
    ("your", "yor"),
];

/// Letter groups and their sounds, longest first where one begins another. Capitals: A as in day, E see, I light, O go, U too,
/// W now, Y boy, R her, S ship, Z vision, C chip, J jam, T thin, N sing.
const GROUPS: &[(&str, &str)] = &[
    ("eigh", "A"),
    ("ough", "O"),
    ("augh", "o"),
    ("tion", "Sun"),
    ("sion", "Zun"),
    ("igh", "I"),
    ("tch", "C"),
    ("dge", "J"),
    ("ear", "Er"),
    ("air", "Ar"),
    ("ch", "C"),
    ("sh", "S"),
    ("th", "T"),
    ("ph", "f"),
    ("gh", ""),
    ("ck", "k"),
    ("ng", "N"),
    ("wh", "w"),
    ("qu", "kw"),
    ("kn", "n"),
    ("wr", "r"),
    ("ee", "E"),
    ("ea", "E"),
    ("oo", "U"),
    ("ou", "W"),
    ("ow", "O"),
    ("oa", "O"),
    ("ai", "A"),
    ("ay", "A"),
    ("oi", "Y"),
    ("oy", "Y"),
    ("au", "o"),
    ("aw", "o"),
    ("ew", "U"),
    ("ie", "E"),
    ("er", "R"),
    ("ir", "R"),
    ("ur", "R"),
    ("x", "ks"),
    ("j", "J"),
];

fn english(word: &str) -> String {
    if let Some((_, sounds)) = IRREGULAR.iter().find(|(w, _)| *w == word) {
        return (*sounds).to_owned();
    }
    let mut out = String::new();
    let letters: Vec<char> = word.chars().filter(|c| c.is_alphanumeric()).collect();
    let mut at = 0;
    while at < letters.len() {
        let rest: String = letters[at..].iter().collect();
        if let Some((group, sounds)) = GROUPS.iter().find(|(group, _)| rest.starts_with(group)) {
            out.push_str(sounds);
            at += group.len();
            continue;
        }
        let (c, next) = (letters[at], letters.get(at + 1).copied());
        let last = at + 1 == letters.len();
        let magic_e = letters.len() == at + 3 && letters[at + 2] == 'e' && !is_vowel_letter(letters[at + 1]);
        match c {
            'e' if last && out.chars().any(is_vowel) => {}
            'a' | 'e' | 'i' | 'o' | 'u' if magic_e || (last && letters.len() <= 2) => out.push(c.to_ascii_uppercase()),
            'o' if last => out.push('O'),
            'y' if last => out.push(if out.chars().any(is_vowel) { 'E' } else { 'I' }),
            'y' if at > 0 => out.push('i'),
            'c' => out.push(if matches!(next, Some('e' | 'i' | 'y')) { 's' } else { 'k' }),
            'g' if next == Some('e') && at + 2 == letters.len() => out.push('J'),
            _ if next == Some(c) && !is_vowel_letter(c) => {}
            _ => out.push(c),
        }
        at += 1;
    }
    out
}

fn is_vowel_letter(c: char) -> bool {
    matches!(c, 'a' | 'e' | 'i' | 'o' | 'u')
}

fn is_vowel(c: char) -> bool {
    matches!(c, 'a' | 'e' | 'i' | 'o' | 'u' | 'A' | 'E' | 'I' | 'O' | 'U' | 'W' | 'Y' | 'R')
}

/// Sounds that are easily confused, and the cost of confusing them.
const ALIKE: &[(&str, f64)] = &[
    ("pb", 0.3),
    ("td", 0.3),
    ("kg", 0.3),
    ("fv", 0.3),
    ("sz", 0.3),
    ("SZ", 0.3),
    ("CJ", 0.3),
    ("mnN", 0.4),
    ("lrwy", 0.5),
    ("fTsS", 0.5),
    ("vTz", 0.5),
    ("CSJZ", 0.5),
    ("ptk", 0.7),
    ("bdg", 0.7),
];

fn replace_cost(a: char, b: char) -> f64 {
    const VOWELS: f64 = 0.5;
    const VOWEL_AND_CONSONANT: f64 = 1.2;
    match (is_vowel(a), is_vowel(b)) {
        _ if a == b => 0.0,
        (true, true) => VOWELS,
        (false, false) => {
            let alike = ALIKE.iter().filter(|(group, _)| group.contains(a) && group.contains(b));
            alike.map(|(_, cost)| *cost).fold(1.0, f64::min)
        }
        _ => VOWEL_AND_CONSONANT,
    }
}

/// Cost of an extra or missing sound. A final s, z, t or d is easily lost.
fn drop_cost(sounds: &[char], at: usize) -> f64 {
    const WEAK: f64 = 0.5;
    let ending = at + 1 == sounds.len() && matches!(sounds[at], 's' | 'z' | 't' | 'd');
    if ending || sounds[at] == 'h' { WEAK } else { 1.0 }
}

/// Weighted edit distance.
fn distance(a: &[char], b: &[char]) -> f64 {
    let mut row = vec![0.0];
    for j in 0..b.len() {
        row.push(row[j] + drop_cost(b, j));
    }
    for i in 0..a.len() {
        let mut next = vec![row[0] + drop_cost(a, i)];
        for j in 0..b.len() {
            let replaced = row[j] + replace_cost(a[i], b[j]);
            let dropped = (row[j + 1] + drop_cost(a, i)).min(next[j] + drop_cost(b, j));
            next.push(replaced.min(dropped));
        }
        row = next;
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Vocabulary;
    use proptest::prelude::*;

    #[test]
    fn known_confusions_are_found() {
        for (a, b) in [
            ("oh", "o"),
            ("to", "two"),
            ("bad", "bat"),
            ("spark", "sparks"),
            ("on", "off"),
            ("dim", "dime"),
            ("rite", "right"),
        ] {
            assert!(too_close(a, b, "en").is_some(), "{a} / {b}: {:?} {:?}", phonemes(a, "en"), phonemes(b, "en"));
        }
        for (a, b) in
            [("dark", "spark"), ("stays lit", "stays dark"), ("goes on and off", "stays lit"), ("left", "right")]
        {
            assert_eq!(too_close(a, b, "en"), None, "{a} / {b}");
        }
    }

    #[test]
    fn the_built_in_phrases_are_unlike_each_other() {
        let words = Vocabulary::english();
        let mut all = words.command_phrases();
        all.extend(words.escape_phrases());
        all.extend(words.done_phrases());
        for (i, a) in all.iter().enumerate() {
            for b in all[..i].iter().filter(|b| b.answer != a.answer) {
                assert_eq!(too_close(&a.words, &b.words, "en"), None, "{} / {}", a.words, b.words);
            }
        }
    }

    #[test]
    fn other_languages_compare_letters() {
        assert_eq!(too_close("dunkel", "dunkel", "de"), Some(Why::Same));
        assert_eq!(too_close("dunkel", "leuchtet", "de"), None);
    }

    proptest! {
        #[test]
        fn distance_is_symmetric(a in "[a-z ]{0,12}", b in "[a-z ]{0,12}") {
            let (x, y) = (phonemes(&a, "en"), phonemes(&b, "en"));
            prop_assert!((distance(&x, &y) - distance(&y, &x)).abs() < 1e-9);
            prop_assert_eq!(distance(&x, &x), 0.0);
        }
    }
}
