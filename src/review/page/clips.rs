//! The audio of answers as data URIs, so that the page needs no other file. A clip that differs from its entry in the journal is not
//! played.

use crate::review::Review;
use crate::session::{Storage, limits, sha256_hex};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use std::collections::BTreeMap;
use std::io::ErrorKind;

/// Most audio in one page, bytes. Chosen so that the page still opens at once on a phone.
pub const MOST_BYTES: usize = 24 << 20;

/// A clip on the page.
#[derive(Debug, Clone, PartialEq)]
pub enum Sound {
    /// Playable from this URI.
    Plays(String),
    /// Not playable, with the reason.
    Silent(String),
}

/// Returns clips by their ids until the page is full.
pub struct Clips<'a> {
    storage: &'a mut dyn Storage,
    known: BTreeMap<&'a str, (&'a str, &'a str)>,
    room: usize,
}

impl<'a> Clips<'a> {
    /// The clips in the journal, of which as many can be played as fit into `room` bytes.
    pub fn new(review: &'a Review, storage: &'a mut dyn Storage, room: usize) -> Self {
        let known =
            review.clips.iter().map(|clip| (clip.id.as_str(), (clip.file.as_str(), clip.sha256.as_str()))).collect();
        Clips { storage, known, room }
    }

    /// The audio with this id.
    pub fn sound(&mut self, id: &str) -> Sound {
        let Some((file, sha256)) = self.known.get(id) else {
            return Sound::Silent("its sound was not kept".to_owned());
        };
        match self.storage.read(file, limits::CLIP) {
            Ok(bytes) if sha256_hex(&bytes) != *sha256 => {
                Sound::Silent("its sound was altered after the walk and is not played".to_owned())
            }
            Ok(bytes) if bytes.len() > self.room => {
                Sound::Silent(format!("its sound is in the session's folder: {file}"))
            }
            Ok(bytes) => {
                self.room -= bytes.len();
                let kind = if file.ends_with(".flac") { "audio/flac" } else { "audio/wav" };
                Sound::Plays(format!("data:{kind};base64,{}", STANDARD.encode(bytes)))
            }
            Err(error) if error.kind() == ErrorKind::NotFound => Sound::Silent("its sound was removed".to_owned()),
            Err(_) => Sound::Silent("its sound cannot be read".to_owned()),
        }
    }
}
