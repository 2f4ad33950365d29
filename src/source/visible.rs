//! Makes text harmless for a screen: characters that would control the screen are shown instead.

use std::borrow::Cow;
use std::fmt::Write;

/// Whether a screen obeys `c` instead of showing it: control characters (ISO/IEC 6429), marks that change the writing direction (Unicode
/// Standard Annex 9), and zero-width characters, which hide a difference.
pub fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
        || matches!(c, '\u{e0000}'..='\u{e007f}')
}

/// `text` with everything hidden written out, as `\u{1b}`. Line feeds and tabs stay.
pub fn visible(text: &str) -> Cow<'_, str> {
    escaped(text, |c| is_hidden(c) && c != '\n' && c != '\t', |c, out| out.extend(c.escape_unicode()))
}

/// `text` as one line, with everything hidden written out, including line feeds and tabs.
pub(super) fn visible_line(text: &str) -> Cow<'_, str> {
    escaped(text, is_hidden, |c, out| out.extend(c.escape_unicode()))
}

/// JSON with all hidden characters in its texts escaped (RFC 8259, section 7). Its value is unchanged.
pub fn visible_json(json: &str) -> Cow<'_, str> {
    let hidden = |c| is_hidden(c) && c != '\n';
    escaped(json, hidden, |c, out| {
        for unit in c.encode_utf16(&mut [0; 2]) {
            // Writing to a String cannot fail.
            let _ = write!(out, "\\u{unit:04x}");
        }
    })
}

fn escaped(text: &str, hidden: impl Fn(char) -> bool, escape: impl Fn(char, &mut String)) -> Cow<'_, str> {
    if !text.contains(&hidden) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if hidden(c) { escape(c, &mut out) } else { out.push(c) }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_a_screen_would_obey_is_shown() {
        assert_eq!(
            visible("a\tb\n\u{1b}[31m\r\u{9b}2J\u{202e}\u{200f}\u{7}"),
            "a\tb\n\\u{1b}[31m\\u{d}\\u{9b}2J\\u{202e}\\u{200f}\\u{7}"
        );
        assert_eq!(visible_line("a\nb"), "a\\u{a}b");
        assert!(matches!(visible("Öl, 12 Ω, 1,5 mm² – „gut“"), Cow::Borrowed(_)));
        assert_eq!(visible_json("{\"a\": \"\u{202e}\u{7f}\u{e0041}\"}"), r#"{"a": "\u202e\u007f\udb40\udc41"}"#);
    }

    proptest! {
        #[test]
        fn json_keeps_its_value_and_nothing_hidden_is_left(text in r"[ab\x00-\x1f\x7f-\u{9f}\u{200b}-\u{2069}\u{feff}\u{e0000}-\u{e0080}]{0,40}") {
            prop_assert!(!visible_line(&text).contains(is_hidden));
            let json = serde_json::json!({ "text": text });
            for written in [format!("{json}"), format!("{json:#}")] {
                let shown = visible_json(&written);
                prop_assert!(!shown.contains(|c| is_hidden(c) && c != '\n'));
                prop_assert_eq!(&serde_json::from_str::<serde_json::Value>(&shown).unwrap(), &json);
            }
        }
    }
}
