//! The measures of the photos of one job: those of some photos in memory, those of the others in a temporary file.
//!
//! Keypoints and small pictures take 0.6 MiB a photo. The file has no name, so nothing is left of it when the process
//! ends, however it ends. Where none can be written, everything stays in memory.

use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::error::{Error, ErrorKind};
use crate::measure::{PhotoFacts, PhotoMeasures};

/// Photos whose measures stay in memory; the file is for jobs that have more.
const HELD: usize = 128;
/// Photos of the file that stay in memory after they were asked for.
const RECENT: usize = 48;

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes the measures of photos, in any order and from any thread.
#[derive(Debug)]
pub struct Spool {
    folder: Option<PathBuf>,
    most_held: usize,
    taken: AtomicUsize,
    file: Mutex<Opened>,
}

#[derive(Debug)]
enum Opened {
    NotYet,
    /// The file and its length.
    Yes(File, u64),
    Failed,
}

/// Where the measures of one photo are.
#[derive(Debug)]
enum Place {
    Held(Arc<PhotoMeasures>),
    InFile { at: u64, length: usize },
}

/// The measures of one photo, put away.
#[derive(Debug)]
pub struct Placed {
    facts: PhotoFacts,
    place: Place,
}

impl Default for Spool {
    fn default() -> Self {
        Self::new(None)
    }
}

impl Spool {
    /// One that writes into `folder`, if given, else or if that cannot be written into the system's folder for temporary
    /// files.
    #[must_use]
    pub fn new(folder: Option<&Path>) -> Self {
        Self {
            folder: folder.map(Path::to_path_buf),
            most_held: HELD,
            taken: AtomicUsize::new(0),
            file: Mutex::new(Opened::NotYet),
        }
    }

    /// Puts away the measures of one photo.
    #[must_use]
    pub fn put(&self, measures: PhotoMeasures) -> Placed {
        let facts = measures.facts.clone();
        let is_held = self.taken.fetch_add(1, Ordering::Relaxed) < self.most_held;
        let written = if is_held { None } else { self.write(&measures) };
        let place = written.unwrap_or_else(|| Place::Held(Arc::new(measures)));
        Placed { facts, place }
    }

    /// `None` if they cannot be written.
    fn write(&self, measures: &PhotoMeasures) -> Option<Place> {
        let bytes = postcard::to_allocvec(measures).ok()?;
        let mut opened = locked(&self.file);
        if matches!(*opened, Opened::NotYet) {
            let file = self.open();
            *opened = file.map_or(Opened::Failed, |file| Opened::Yes(file, 0));
        }
        let Opened::Yes(file, end) = &mut *opened else {
            return None;
        };
        let at = *end;
        let written = file
            .seek(SeekFrom::Start(at))
            .and_then(|_| file.write_all(&bytes));
        if written.is_err() {
            // What is in the file stays readable, as far as it was written.
            return None;
        }
        *end += bytes.len() as u64;
        Some(Place::InFile {
            at,
            length: bytes.len(),
        })
    }

    fn open(&self) -> io::Result<File> {
        let own = self.folder.as_deref().map(tempfile::tempfile_in);
        match own {
            Some(Ok(file)) => Ok(file),
            _ => tempfile::tempfile(),
        }
    }

    fn read(&self, at: u64, length: usize) -> io::Result<PhotoMeasures> {
        let mut bytes = vec![0; length];
        if let Opened::Yes(file, _) = &mut *locked(&self.file) {
            file.seek(SeekFrom::Start(at))?;
            file.read_exact(&mut bytes)?;
        }
        postcard::from_bytes(&bytes).map_err(io::Error::other)
    }
}

/// The measures of the photos of one job, by [`PhotoId`](crate::ingest::PhotoId).
#[derive(Debug, Default)]
pub struct Shelf {
    spool: Spool,
    facts: Vec<PhotoFacts>,
    places: Vec<Place>,
    /// Of those in the file, the ones asked for last, the latest first.
    recent: Mutex<VecDeque<(usize, Arc<PhotoMeasures>)>>,
}

impl Shelf {
    /// The photos that `spool` took, in the order of the job.
    #[must_use]
    pub fn new(spool: Spool, photos: impl IntoIterator<Item = Placed>) -> Self {
        let photos = photos.into_iter().map(|photo| (photo.facts, photo.place));
        let (facts, places) = photos.unzip();
        Self {
            spool,
            facts,
            places,
            recent: Mutex::default(),
        }
    }

    /// What is in memory of every photo.
    #[must_use]
    pub fn facts(&self) -> &[PhotoFacts] {
        &self.facts
    }

    /// Number of photos.
    #[must_use]
    pub fn len(&self) -> usize {
        self.facts.len()
    }

    /// Whether there is no photo.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.facts.is_empty()
    }

    /// All measures of one photo.
    ///
    /// # Errors
    /// If there is no such photo, or the temporary file cannot be read.
    pub fn get(&self, photo: usize) -> Result<Arc<PhotoMeasures>, Error> {
        match self.places.get(photo) {
            Some(Place::Held(measures)) => Ok(Arc::clone(measures)),
            Some(Place::InFile { at, length }) => self.read_back(photo, *at, *length),
            None => Err(Error::new(
                ErrorKind::Usage,
                format!("there is no photo {photo} among {}", self.len()),
            )),
        }
    }

    fn read_back(&self, photo: usize, at: u64, length: usize) -> Result<Arc<PhotoMeasures>, Error> {
        {
            let mut recent = locked(&self.recent);
            let known = recent.iter().position(|(known, _)| *known == photo);
            if let Some(found) = known.and_then(|known| recent.remove(known)) {
                let measures = Arc::clone(&found.1);
                recent.push_front(found);
                return Ok(measures);
            }
        }
        let measures = self.spool.read(at, length).map_err(|error| {
            let message = format!(
                "cannot read back from the temporary file what was measured on photo {} of the job: {error}; check the disk that holds temporary files, then run again",
                photo + 1
            );
            Error::new(ErrorKind::Io, message).with_source(error)
        })?;
        let measures = Arc::new(measures);
        let mut recent = locked(&self.recent);
        recent.push_front((photo, Arc::clone(&measures)));
        recent.truncate(RECENT);
        Ok(measures)
    }
}

/// Photos that are all in memory.
impl FromIterator<PhotoMeasures> for Shelf {
    fn from_iter<I: IntoIterator<Item = PhotoMeasures>>(photos: I) -> Self {
        let spool = Spool {
            most_held: usize::MAX,
            ..Spool::default()
        };
        let placed: Vec<Placed> = photos.into_iter().map(|photo| spool.put(photo)).collect();
        Self::new(spool, placed)
    }
}

/// Copies of photos, all in memory.
impl<'a> FromIterator<&'a PhotoMeasures> for Shelf {
    fn from_iter<I: IntoIterator<Item = &'a PhotoMeasures>>(photos: I) -> Self {
        photos.into_iter().cloned().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::Pixels;
    use crate::measure::measure_pixels;

    fn measures(seed: u32) -> PhotoMeasures {
        let picture = image::RgbImage::from_fn(96, 72, |x, y| {
            image::Rgb([(x * seed) as u8, (y * 3 * seed) as u8, (x ^ y) as u8])
        });
        measure_pixels(format!("photo {seed}"), &Pixels::new(picture, 96, 72))
    }

    fn spool(folder: Option<&Path>, most_held: usize) -> Spool {
        Spool {
            most_held,
            ..Spool::new(folder)
        }
    }

    #[test]
    fn what_went_to_the_file_comes_back_as_it_was_in_any_order() {
        let folder = tempfile::tempdir().unwrap();
        let spool = spool(Some(folder.path()), 2);
        let all: Vec<PhotoMeasures> = (1..=60).map(measures).collect();
        let placed: Vec<Placed> = all.iter().map(|m| spool.put(m.clone())).collect();
        let in_file = placed
            .iter()
            .filter(|p| matches!(p.place, Place::InFile { .. }));
        assert_eq!(in_file.count(), 58);
        // Unnamed: there is nothing that a killed process would leave.
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
        let shelf = Shelf::new(spool, placed);
        for round in 0..3 {
            for (i, expected) in all.iter().enumerate().rev() {
                assert_eq!(*shelf.get(i).unwrap(), *expected, "{i} in round {round}");
                assert_eq!(shelf.facts()[i], expected.facts);
            }
        }
        assert!(locked(&shelf.recent).len() <= RECENT);
        assert!(shelf.get(60).is_err());
    }

    #[test]
    fn where_no_file_can_be_written_they_stay_in_memory() {
        let spool = Spool {
            file: Mutex::new(Opened::Failed),
            ..spool(None, 0)
        };
        let placed = spool.put(measures(5));
        assert!(matches!(placed.place, Place::Held(_)));
        let shelf = Shelf::new(spool, [placed]);
        assert_eq!(*shelf.get(0).unwrap(), measures(5));
    }

    #[test]
    fn a_file_that_was_cut_off_is_an_error() {
        let spool = spool(None, 0);
        let placed = [spool.put(measures(5)), spool.put(measures(7))];
        if let Opened::Yes(file, end) = &*locked(&spool.file) {
            file.set_len(*end - 1).unwrap();
        }
        let shelf = Shelf::new(spool, placed);
        assert_eq!(*shelf.get(0).unwrap(), measures(5));
        let error = shelf.get(1).unwrap_err().to_string();
        assert!(error.contains("photo 2 of the job"), "{error}");
    }
}
