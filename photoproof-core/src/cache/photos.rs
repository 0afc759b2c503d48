//! Photos measured before.

use serde::{Deserialize, Serialize};

use super::{Cache, Key};
use crate::ingest::{IngestOptions, Observer, Photo, Pixels, Stamp};
use crate::measure::{PhotoMeasures, Placed, Spool, measure_photo};
use crate::pipeline::Pictures;
use crate::thumbnail::Thumbnail;

/// All that needs a photo's pixels.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Seen {
    width: u32,
    height: u32,
    stamp: Option<Stamp>,
    measures: PhotoMeasures,
    thumbnail: Option<Thumbnail>,
}

impl Seen {
    pub(super) fn new(
        photo: &Photo,
        measures: PhotoMeasures,
        thumbnail: Option<Thumbnail>,
    ) -> Self {
        Self {
            width: photo.width,
            height: photo.height,
            stamp: photo.stamp.clone(),
            measures,
            thumbnail,
        }
    }
}

/// Measures the photos of a job, or remembers them.
pub(crate) struct Onlooker<'a> {
    cache: Option<&'a Cache>,
    pictures: Pictures,
    spool: &'a Spool,
    /// The options as text: with others a photo may be measured otherwise.
    options: String,
}

impl<'a> Onlooker<'a> {
    /// One that looks into `cache` first, if there is one, and puts what it measured into `spool`.
    pub(crate) fn new(
        cache: Option<&'a Cache>,
        pictures: Pictures,
        spool: &'a Spool,
        options: &IngestOptions,
    ) -> Self {
        Self {
            cache,
            pictures,
            spool,
            options: format!("{options:?}"),
        }
    }

    /// The file's bytes, and what reading them told that measures depend on.
    fn key(&self, photo: &Photo) -> Key {
        let focal = photo.camera.focal_35mm.map(f64::to_bits);
        let read = format!("{:?} {focal:?}", photo.orientation);
        let heic = [u8::from(cfg!(feature = "heic"))];
        let parts = [
            photo.sha256.as_bytes(),
            read.as_bytes(),
            self.options.as_bytes(),
            &heic,
        ];
        Key::new("photo", &parts)
    }

    fn wanted(&self, thumbnail: Option<Thumbnail>) -> Option<Thumbnail> {
        thumbnail.filter(|_| self.pictures == Pictures::Keep)
    }
}

impl Observer for Onlooker<'_> {
    type Seen = (Placed, Option<Thumbnail>);

    fn observe(&self, photo: &Photo, pixels: &Pixels) -> Self::Seen {
        let measures = measure_photo(photo, pixels);
        // A later run may want the picture that this one does not.
        let wanted = self.cache.is_some() || self.pictures == Pictures::Keep;
        let thumbnail = wanted.then(|| Thumbnail::new(pixels)).flatten();
        let Some(cache) = self.cache else {
            return (self.spool.put(measures), thumbnail);
        };
        let seen = Seen::new(photo, measures, thumbnail);
        cache.put(&self.key(photo), &seen);
        (self.spool.put(seen.measures), self.wanted(seen.thumbnail))
    }

    fn recall(&self, photo: &mut Photo) -> Option<Self::Seen> {
        let seen: Seen = self.cache?.get(&self.key(photo))?;
        if seen.measures.facts.fingerprint.file_sha256 != photo.sha256 {
            return None;
        }
        photo.width = seen.width;
        photo.height = seen.height;
        photo.stamp = seen.stamp;
        Some((self.spool.put(seen.measures), self.wanted(seen.thumbnail)))
    }
}
