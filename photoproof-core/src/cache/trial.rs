//! A door for tests that damage entries: what is believed of them, and whether their content can be decoded.

use super::photos::Seen;
use super::{Key, entry};
use crate::ingest::{IngestOptions, read_photo_bytes};
use crate::measure::measure_photo;
use crate::thumbnail::Thumbnail;

fn key() -> Key {
    Key::new("trial", &[])
}

/// The file of an entry that holds `content`.
#[must_use]
pub fn entry(content: &[u8]) -> Vec<u8> {
    entry::sealed(content, &key())
}

/// The content of an entry's file, if it is believed.
#[must_use]
pub fn believed(file: &[u8]) -> Option<Vec<u8>> {
    entry::opened(file, &key()).map(<[u8]>::to_vec)
}

/// Decodes the content of a photo's entry and packs it again; `None` if it holds no measures.
#[must_use]
pub fn measures(content: &[u8]) -> Option<Vec<u8>> {
    let seen: Seen = postcard::from_bytes(content).ok()?;
    postcard::to_allocvec(&seen).ok()
}

/// The content of the entry of the photo with these bytes; `None` if it is none.
#[must_use]
pub fn packed(photo: &[u8]) -> Option<Vec<u8>> {
    let (photo, pixels) = read_photo_bytes(photo, "a.jpg", &IngestOptions::default()).ok()?;
    let measures = measure_photo(&photo, &pixels);
    let seen = Seen::new(&photo, measures, Thumbnail::new(&pixels));
    postcard::to_allocvec(&seen).ok()
}
