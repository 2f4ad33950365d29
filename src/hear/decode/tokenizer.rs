//! The model's token table: text to token ids and back, by byte-pair encoding.
//!
//! The file is 32,768 records: a length byte (two bytes from 128 up: `second * 128 + first - 128`), then the piece's bytes.
//! U+2581 stands for a space. Ids 3 to 258 are single bytes, for text that no piece covers. 95 byte strings occur twice, as such a byte
//! and as a proper piece; of equal pieces the model was trained to emit the one with the highest id.

use crate::hear::hear_error::HearError;
use std::collections::HashMap;
use std::path::Path;

/// A token's id.
pub(in crate::hear) type Token = u32;

/// Begins every decoding.
pub(in crate::hear) const BEGIN: Token = 1;
/// Ends every decoding.
pub(in crate::hear) const END: Token = 2;
/// Id of byte 0 among the single bytes.
const FIRST_BYTE: Token = 3;
/// Lowest id of a proper piece.
const FIRST_PIECE: Token = FIRST_BYTE + 256;
/// A space inside pieces.
const SPACE: &str = "\u{2581}";

/// The token table.
pub(in crate::hear) struct Tokenizer {
    pieces: Vec<Box<[u8]>>,
    ids: HashMap<Box<[u8]>, Token>,
}

impl Tokenizer {
    /// Reads the table from a file. Fails if the file is missing or truncated.
    pub(in crate::hear) fn load(path: &Path) -> Result<Self, HearError> {
        let bytes = std::fs::read(path).map_err(|e| HearError::damaged(path, e))?;
        Self::parse(&bytes).ok_or_else(|| HearError::damaged(path, "the token table is cut short"))
    }

    fn parse(bytes: &[u8]) -> Option<Self> {
        let mut pieces: Vec<Box<[u8]>> = Vec::new();
        let mut rest = bytes;
        while let Some((&first, after)) = rest.split_first() {
            let (length, after) = if first >= 128 {
                let (&second, after) = after.split_first()?;
                (second as usize * 128 + first as usize - 128, after)
            } else {
                (first as usize, after)
            };
            let (piece, after) = after.split_at_checked(length)?;
            pieces.push(piece.into());
            rest = after;
        }
        if pieces.len() <= FIRST_PIECE as usize {
            return None;
        }
        let mut ids = HashMap::with_capacity(pieces.len());
        for (id, piece) in pieces.iter().enumerate().skip(FIRST_PIECE as usize) {
            ids.insert(piece.clone(), id as Token);
        }
        Some(Tokenizer { pieces, ids })
    }

    /// Appends the ids of one word with its leading space. No piece has a space inside or at its end, so each word is encoded alone.
    pub(in crate::hear) fn encode_word(&self, word: &str, out: &mut Vec<Token>) {
        let marked = format!("{SPACE}{word}");
        let mut ends: Vec<usize> = marked.char_indices().skip(1).map(|(at, _)| at).collect();
        ends.push(marked.len());
        let bytes = marked.as_bytes();
        loop {
            let mut best: Option<(Token, usize)> = None;
            let mut from = 0;
            for i in 0..ends.len().saturating_sub(1) {
                if let Some(&id) = self.ids.get(&bytes[from..ends[i + 1]])
                    && best.is_none_or(|(lowest, _)| id < lowest)
                {
                    best = Some((id, i));
                }
                from = ends[i];
            }
            let Some((_, at)) = best else { break };
            ends.remove(at);
        }
        let mut from = 0;
        for end in ends {
            match self.ids.get(&bytes[from..end]) {
                Some(&id) => out.push(id),
                None => out.extend(bytes[from..end].iter().map(|&b| FIRST_BYTE + b as Token)),
            }
            from = end;
        }
    }

    /// Decodes ids to text without the leading space. Control tokens are dropped and invalid UTF-8 is replaced.
    pub(in crate::hear) fn decode(&self, ids: &[Token]) -> String {
        let mut bytes = Vec::new();
        for &id in ids.iter().filter(|&&id| id >= FIRST_BYTE && (id as usize) < self.pieces.len()) {
            bytes.extend_from_slice(&self.pieces[id as usize]);
        }
        String::from_utf8_lossy(&bytes).replace(SPACE, " ").trim_start().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::models;

    impl Tokenizer {
        /// The ids of words separated by single spaces.
        pub(in crate::hear) fn encode(&self, text: &str) -> Vec<Token> {
            let mut out = Vec::new();
            text.split(' ').for_each(|word| self.encode_word(word, &mut out));
            out
        }
    }

    fn table() -> Option<Tokenizer> {
        let found = models::find();
        if let Err(missing) = &found {
            eprintln!("skipped: {missing}");
        }
        found.ok().map(|m| Tokenizer::load(&m.folder.join("tokenizer.bin")).expect("the table loads"))
    }

    /// A table of single letters and the pieces given, to test merging without the model's files.
    fn small(pieces: &[&str]) -> Tokenizer {
        let mut bytes = vec![5, b'<', b'u', b'n', b'k', b'>', 1, b'B', 1, b'E'];
        for b in 0..=255u8 {
            bytes.extend([1, b]);
        }
        for p in pieces {
            bytes.push(p.len() as u8);
            bytes.extend(p.as_bytes());
        }
        Tokenizer::parse(&bytes).expect("a whole table")
    }

    #[test]
    fn merges_in_order_of_ids_and_prefers_the_piece_over_the_byte() {
        let t = small(&["on", "\u{2581}o", "\u{2581}", "o", "n", "."]);
        assert_eq!(t.encode("on."), [261, 259, 264], "\"on\" was learnt before \"\u{2581}o\"");
        assert_eq!(t.encode("z"), [261, FIRST_BYTE + b'z' as Token]);
        assert_eq!(t.decode(&t.encode("on. z")), "on. z");
    }

    #[test]
    fn long_records_have_a_second_length_byte_and_short_files_are_refused() {
        let mut bytes = vec![0; 259];
        bytes.extend([128 + 22, 1]);
        bytes.extend([b'x'; 150]);
        let t = Tokenizer::parse(&bytes).expect("a whole table");
        assert_eq!(t.pieces[259].len(), 150);
        bytes.pop();
        assert!(Tokenizer::parse(&bytes).is_none());
    }

    #[test]
    fn the_real_table_has_95_twins_and_takes_the_higher() {
        let Some(t) = table() else { return };
        assert_eq!(t.pieces.len(), 32_768);
        let twins = (FIRST_BYTE..FIRST_PIECE).filter(|&id| t.ids.contains_key(&t.pieces[id as usize])).count();
        assert_eq!(twins, 95);
        for text in ["Light on.", "12.45 volts.", "O.L.", "I changed something.", "a b c 0 9"] {
            let ids = t.encode(text);
            assert_eq!(t.decode(&ids), text);
            assert!(ids.iter().all(|&id| id >= FIRST_PIECE), "{text}: {ids:?}");
        }
        assert!(t.pieces.iter().all(|p| {
            let p = String::from_utf8_lossy(p);
            p.chars().all(|c| c == '\u{2581}') || !p.chars().skip(1).any(|c| c == '\u{2581}')
        }));
    }
}
