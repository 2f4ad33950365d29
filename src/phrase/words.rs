//! Normalises words for comparison: lower case, single spaces, no punctuation, numbers kept whole.

/// The text in lower-case words separated by single spaces.
///
/// Punctuation becomes a space, except an apostrophe inside a word, a point or comma between digits, and a sign before a digit.
///
/// ```
/// use probeside::phrase::words::normalise;
/// assert_eq!(normalise("  On-and-off,  I can’t tell! "), "on and off i can't tell");
/// assert_eq!(normalise("-12.45V."), "-12.45v");
/// ```
pub fn normalise(text: &str) -> String {
    let letters: Vec<char> = text.chars().flat_map(char::to_lowercase).collect();
    let mut out = String::with_capacity(text.len());
    for (i, &c) in letters.iter().enumerate() {
        let before = i.checked_sub(1).map(|j| letters[j]);
        let after = letters.get(i + 1).copied();
        let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
        let letter = |c: Option<char>| c.is_some_and(char::is_alphabetic);
        let kept = match c {
            '\'' | '\u{2019}' if letter(before) && letter(after) => Some('\''),
            '.' if digit(after) && (digit(before) || before.is_none_or(|b| b.is_whitespace() || is_minus(b))) => {
                Some('.')
            }
            ',' if digit(before) && digit(after) => Some(','),
            _ if is_minus(c)
                && before.is_none_or(|b| b.is_whitespace() || is_minus(b))
                && (digit(after) || (after == Some('.') && digit(letters.get(i + 2).copied()))) =>
            {
                Some('-')
            }
            '%' | '°' => Some(c),
            _ if c.is_alphanumeric() || is_mark(c) => Some(c),
            _ => None,
        };
        match kept {
            Some(kept) => out.push(kept),
            None if out.ends_with(' ') || out.is_empty() => {}
            None => out.push(' '),
        }
    }
    out.truncate(out.trim_end().len());
    out
}

fn is_minus(c: char) -> bool {
    matches!(c, '-' | '\u{2212}' | '\u{2013}')
}

/// A combining mark, as used in decomposed accents and several scripts.
fn is_mark(c: char) -> bool {
    matches!(c, '\u{0300}'..='\u{036f}' | '\u{0900}'..='\u{0dff}' | '\u{0e31}'..='\u{0e4e}')
}

/// The text without apostrophes, so that a hasty "cant" matches "can't".
pub(super) fn without_apostrophes(words: &str) -> String {
    words.replace('\'', "")
}

/// Whether two texts differ by one typing slip: one letter missing, added or wrong, or two neighbours swapped. Short words and anything
/// with a digit never do.
pub(super) fn one_slip(a: &str, b: &str) -> bool {
    const SHORTEST: usize = 5;
    let long_enough = a.chars().count().min(b.chars().count()) >= SHORTEST;
    let digits = a.chars().chain(b.chars()).any(|c| c.is_ascii_digit());
    long_enough && !digits && strsim::osa_distance(a, b) == 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_stay_whole() {
        assert_eq!(normalise("12,4 volts"), "12,4 volts");
        assert_eq!(normalise(".5 V"), ".5 v");
        assert_eq!(normalise("\u{2212}.5"), "-.5");
        assert_eq!(normalise("twelve, four."), "twelve four");
        assert_eq!(normalise("ready."), "ready");
        assert_eq!(normalise("-."), "");
        assert_eq!(normalise("10-15"), "10 15");
        assert_eq!(normalise("2.2 kΩ"), "2.2 kω");
    }

    #[test]
    fn slips_of_one_letter_only() {
        assert!(one_slip("stays drak", "stays dark"));
        assert!(!one_slip("lit", "lift"));
        assert!(!one_slip("stays lit", "stays out"));
        assert!(!one_slip("stays dark", "stays dark"));
    }

    proptest! {
        #[test]
        fn normalising_twice_changes_nothing(text in any::<String>()) {
            let once = normalise(&text);
            prop_assert_eq!(&normalise(&once), &once);
            prop_assert!(!once.contains("  ") && once.trim() == once);
        }
    }
}
