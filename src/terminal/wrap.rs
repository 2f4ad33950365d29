//! Wraps lines at words.

use textwrap::core::display_width;
use textwrap::{Options, WordSplitter, WrapAlgorithm};

/// On narrower terminals nothing is wrapped, because no sentence would be readable.
const LEAST_COLUMNS: usize = 20;

/// Wraps every line of `text` wider than `columns` at words, with continuation lines indented like the first. A word wider than a line
/// stays whole, so that a path can be copied.
pub(super) fn wrapped(text: &str, columns: usize) -> String {
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let words = line.trim_end_matches('\n');
        if columns < LEAST_COLUMNS || display_width(words) <= columns {
            out += line;
            continue;
        }
        let indent = &words[..words.len() - words.trim_start_matches(' ').len()];
        let indent = if indent.len() > columns / 2 { "" } else { indent };
        let options = Options::new(columns)
            .subsequent_indent(indent)
            .break_words(false)
            .word_splitter(WordSplitter::NoHyphenation)
            .wrap_algorithm(WrapAlgorithm::FirstFit);
        out += &textwrap::fill(words, options);
        out += &line[words.len()..];
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wide_lines_are_wrapped_at_words_and_keep_their_indent() {
        let text = "short\n    clip the black lead to the frame, bare metal\n/a/very/long/path/without/a/space end\n";
        let expected = "short\n    clip the black\n    lead to the\n    frame, bare\n    metal\n/a/very/long/path/without/a/space\nend\n";
        assert_eq!(wrapped(text, 20), expected);
        assert_eq!(wrapped(text, 100), text);
        assert_eq!(wrapped(text, 5), text);
    }
}
