//! Writes what was said and heard as WebVTT (W3C, Web Video Text Tracks), in session time.

use super::Review;
use crate::system::Kind;

/// The transcript as an output file.
pub const CAPTIONS: Kind =
    Kind { name: "transcript", begins: "WEBVTT\n", goes_on: &["\n<v Probeside>", "\n<v Person>"] };

/// The transcript, one cue per line, with the speaker as its voice.
pub fn vtt(review: &Review) -> String {
    cues(review, |ms| ms)
}

/// The cues in a file's own time: `time` converts session time to it, milliseconds.
pub(super) fn cues(review: &Review, time: impl Fn(u64) -> u64) -> String {
    let mut out = String::from("WEBVTT\n");
    for line in &review.transcript {
        let began = time(line.began_ms);
        let end = time(line.ended_ms).max(began.saturating_add(1));
        let who = if line.who == "program" { "Probeside" } else { "Person" };
        let text = cue_text(&line.text);
        out += &format!("\n{} --> {}\n<v {who}>{text}</v>\n", timestamp(began), timestamp(end));
    }
    out
}

/// `00:00:01.500`, with more than two digits of hours if needed.
fn timestamp(ms: u64) -> String {
    format!("{:02}:{:02}:{:02}.{:03}", ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000)
}

/// Words as cue text: no line breaks or control characters, and `&`, `<` and `>` escaped, so that no `-->` can remain.
fn cue_text(text: &str) -> String {
    let words: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || c.is_control()).filter(|w| !w.is_empty()).collect();
    words.join(" ").replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Parses a WebVTT timestamp (section 4.1 of the W3C's text) into milliseconds: two or more digits of hours and a colon (optional if
    /// the hours are zero), two digits 00 to 59, a colon, two digits 00 to 59, a full stop, three digits.
    fn read_timestamp(text: &str) -> Option<u64> {
        let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit()).then(|| part.parse::<u64>().ok()).flatten();
        let (time, thousandths) = text.split_once('.')?;
        let parts: Vec<&str> = time.split(':').collect();
        let (hours, minutes, seconds) = match parts[..] {
            [h, m, s] if h.len() >= 2 => (digits(h)?, m, s),
            [m, s] => (0, m, s),
            _ => return None,
        };
        if minutes.len() != 2 || seconds.len() != 2 || thousandths.len() != 3 {
            return None;
        }
        let (m, s) = (digits(minutes)?, digits(seconds)?);
        (m <= 59 && s <= 59).then_some(((hours * 60 + m) * 60 + s) * 1000 + digits(thousandths)?)
    }

    #[test]
    fn the_reader_follows_the_standard() {
        assert_eq!(read_timestamp("00:11.000"), Some(11_000));
        assert_eq!(read_timestamp("100:00:00.001"), Some(360_000_001));
        for bad in ["1:00:00.000", "00:60.000", "00:00,000", "00:00.00", "00:0.000"] {
            assert_eq!(read_timestamp(bad), None, "{bad}");
        }
    }

    proptest! {
        #[test]
        fn timestamps_follow_the_syntax(ms in 0u64..1_000_000_000_000) {
            prop_assert_eq!(read_timestamp(&timestamp(ms)), Some(ms));
        }

        /// Section 4.1: a cue payload has no empty line, no `-->`; section 4.2.2: no bare `&` or `<`.
        #[test]
        fn text_stays_in_its_cue(text in "\\PC*|[-<>&\n\r\0 a]*") {
            let cue = cue_text(&text);
            prop_assert!(!cue.contains(['\n', '\r', '\0', '<', '>']) && !cue.contains("-->"));
            prop_assert_eq!(cue.replace("&lt;", "").replace("&gt;", "").replace("&amp;", "").contains('&'), false);
        }
    }
}
