//! Reads a text file with bounded memory. Any defect of the file itself (missing, a folder, too large, not UTF-8, not text at all) becomes
//! one diagnostic with a place.

use super::{Diagnostic, Place};
use crate::system::{Links, read};
use std::io::ErrorKind;
use std::path::Path;
use std::sync::Arc;

/// Largest file that is read, bytes. A long procedure has about 100 kB.
pub(super) const MAX_BYTES: u64 = 2_000_000;

/// The place that means the file as a whole.
pub fn whole_file(file: &str) -> Place {
    Place { file: Arc::from(file), line: 0, column: 0 }
}

/// Reads the text in `path`, at most `MAX_BYTES`. Drops a UTF-8 byte order mark.
///
/// # Errors
/// One diagnostic named `file`: missing, not a plain file, too large, or not UTF-8 text.
pub fn read_text(path: &Path) -> Result<String, Diagnostic> {
    decode_text(read_bytes(path)?, &path.to_string_lossy())
}

/// Reads the raw bytes of `path`, at most `MAX_BYTES`.
///
/// # Errors
/// One diagnostic named `file`: missing, not a plain file, or too large.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, Diagnostic> {
    let place = whole_file(&path.to_string_lossy());
    let fail = |message: &str, help: &str| Err(Diagnostic::error(&place, "file", message).help(help));
    let error = match read(path, MAX_BYTES, Links::Follow) {
        Ok(bytes) => return Ok(bytes),
        Err(error) => error,
    };
    match error.kind() {
        ErrorKind::NotFound => fail("there is no such file", "Check the spelling of the path."),
        ErrorKind::IsADirectory => fail("this is a folder, not a file", "Name the YAML files in it."),
        ErrorKind::FileTooLarge => {
            let message = format!("the file is larger than {} MB and was not read further", MAX_BYTES / 1_000_000);
            fail(&message, "A procedure or a bike is far smaller; is this the right file?")
        }
        // A pipe, a socket, a device.
        ErrorKind::InvalidInput => fail(&error.to_string(), "Name a YAML file."),
        _ => fail(&format!("cannot be read: {error}"), "Check the path and its permissions."),
    }
}

/// Decodes `bytes` as the UTF-8 text of `file`.
///
/// # Errors
/// As [`read_text`], for defects that the bytes alone show.
pub fn decode_text(bytes: Vec<u8>, file: &str) -> Result<String, Diagnostic> {
    const UTF8_MARK: &[u8] = &[0xEF, 0xBB, 0xBF];
    let place = whole_file(file);
    let save = "Save it as UTF-8 in your editor.";
    let utf16 = bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]);
    let wide = bytes.len() >= 4 && (bytes[..4].iter().filter(|b| **b == 0).count() >= 2);
    if utf16 || wide {
        return Err(Diagnostic::error(&place, "file", "the file is in UTF-16 or UTF-32, not in UTF-8").help(save));
    }
    let bytes = match bytes.strip_prefix(UTF8_MARK) {
        Some(rest) => rest.to_vec(),
        None => bytes,
    };
    if let Some(at) = bytes.iter().position(|b| is_control(*b)) {
        let message = format!("the file holds the control byte 0x{:02X}, so it is not a text file", bytes[at]);
        return Err(Diagnostic::error(&place_in(&bytes, at, file), "file", message).help("Is this the right file?"));
    }
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let place = place_in(error.as_bytes(), at, file);
        let message = format!("the byte 0x{:02X} is not UTF-8", error.as_bytes()[at]);
        Diagnostic::error(&place, "file", message).help(save)
    })
}

/// Control bytes that no text file contains: all but tab, line feed and carriage return.
fn is_control(byte: u8) -> bool {
    byte == 0x7F || (byte < 0x20 && !matches!(byte, b'\t' | b'\n' | b'\r'))
}

fn place_in(bytes: &[u8], at: usize, file: &str) -> Place {
    let before = &bytes[..at];
    let line_start = before.iter().rposition(|b| *b == b'\n').map_or(0, |newline| newline + 1);
    let line = before.iter().filter(|b| **b == b'\n').count() + 1;
    let column = String::from_utf8_lossy(&before[line_start..]).chars().count() + 1;
    Place { file: Arc::from(file), line: line as u32, column: column as u32 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn refusal(bytes: &[u8]) -> String {
        decode_text(bytes.to_vec(), "f").unwrap_err().to_string()
    }

    #[test]
    fn encodings() {
        assert_eq!(decode_text(b"\xEF\xBB\xBFa: b".to_vec(), "f").unwrap(), "a: b");
        assert!(refusal(b"\xFF\xFEa\0:\0").contains("UTF-16"));
        assert!(refusal(b"a\0:\0 \0b\0").contains("UTF-16"));
        assert!(refusal(b"a: \xE4rger").starts_with("f:1:4: error [file] the byte 0xE4 is not UTF-8"));
        assert!(
            refusal("ä: x\nö: \0".as_bytes()).starts_with("f:2:4: error [file] the file holds the control byte 0x00")
        );
    }

    #[test]
    fn files_that_are_none() {
        let folder = tempfile::tempdir().unwrap();
        let text = |path: &Path| read_text(path).unwrap_err().message;
        assert_eq!(text(folder.path()), "this is a folder, not a file");
        assert_eq!(text(&folder.path().join("none.yaml")), "there is no such file");
        let large = folder.path().join("large.yaml");
        std::fs::File::create(&large).unwrap().set_len(100_000_000).unwrap();
        assert!(text(&large).contains("larger than 2 MB"));
        #[cfg(unix)]
        assert_eq!(text(Path::new("/dev/zero")), "it is a device, not a plain file");
    }

    proptest! {
        #[test]
        fn any_bytes_are_text_or_a_sentence(bytes: Vec<u8>) {
            let _ = decode_text(bytes, "f");
        }
    }
}
