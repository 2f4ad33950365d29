//! Measures and wraps text. No font is read. The widths are those of a wide sans-serif face, rounded up, so text in another font tends to
//! be shorter than its box.

/// Width of a character relative to the font size. Measured on a common free sans-serif face, rounded up for each class of characters.
fn advance(c: char) -> f64 {
    match c {
        'i' | 'j' | 'l' | '\'' | '|' => 0.29,
        ' ' | ',' | '.' | ':' | ';' | '!' | '(' | ')' | '[' | ']' | '/' | '-' | 'f' | 't' | 'r' | 'I' | 'J' => 0.42,
        'm' | 'w' | 'M' | 'W' | '@' | '%' | '&' => 1.0,
        'A'..='Z' => 0.79,
        c if c.is_ascii() => 0.65,
        c if (c as u32) < 0x1100 => 0.8,
        _ => 1.1,
    }
}

/// Width of `text` at a font size, in the font size's unit.
pub fn width(text: &str, size: f64) -> f64 {
    text.chars().map(advance).sum::<f64>() * size
}

/// Wraps `text` into lines no wider than `room`. A word that does not fit is broken. Returns at most `most` lines; the last ends in an
/// ellipsis if text was cut.
pub fn wrap(text: &str, size: f64, room: f64, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split(|c: char| c.is_whitespace() || c.is_control()).filter(|w| !w.is_empty()) {
        let joined = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&joined, size) <= room {
            line = joined;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            if !line.is_empty() && width(&line, size) + advance(c) * size > room {
                lines.push(std::mem::take(&mut line));
            }
            line.push(c);
        }
        if lines.len() > most {
            break;
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            while !last.is_empty() && width(last, size) + size > room {
                last.pop();
            }
            last.push('…');
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn nothing_is_lost_and_no_line_too_wide(text in "[a-zäöW .]{0,300}", room in 30.0f64..300.0) {
            let lines = wrap(&text, 13.0, room, usize::MAX - 1);
            prop_assert!(lines.iter().all(|line| width(line, 13.0) <= room));
            let bare = |s: &str| s.chars().filter(|c| !c.is_whitespace()).collect::<String>();
            prop_assert_eq!(bare(&lines.concat()), bare(&text));
        }

        #[test]
        fn any_text_is_wrapped(text in "\\PC{0,400}", most in 1usize..6) {
            prop_assert!(wrap(&text, 12.0, 90.0, most).len() <= most);
        }
    }
}
