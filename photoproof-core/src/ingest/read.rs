//! One file to one [`Photo`] and its pixels, or to the reason why not.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use crate::hex::hex;
use sha2::{Digest, Sha256};

use crate::ingest::container::{self, Format, claims_photo};
use crate::ingest::decode::decode;
use crate::ingest::exif::{self, ExifFacts};
use crate::ingest::memory::{Held, MemoryGate};
use crate::ingest::options::IngestOptions;
use crate::ingest::traces::{ProgramSource, Traces};
use crate::ingest::walk::FilePlace;
use crate::ingest::{CaptureTime, Ignored, Label, Photo, Pixels, Rejected, TimeSource};
use crate::ingest::{credentials, earlier_save, embedded, file_name_time, xmp};

/// What one file turned out to be; `P` is its pixels, or what was made of them.
pub(crate) enum Outcome<P> {
    /// A readable photo.
    Photo(Box<Photo>, P),
    /// A file that should be a photo and is not usable.
    Rejected(Rejected),
    /// Another file.
    Ignored(Ignored),
}

/// A picture as it lies in its file.
pub(crate) struct Picture<'a> {
    format: Format,
    bytes: Vec<u8>,
    /// Room for `bytes`. Given back before the pixels are measured: measuring works on several files at once.
    _room: Held<'a>,
    orientation: Option<u16>,
    /// Bytes of the thumbnail that the file carries.
    thumbnail: Option<Vec<u8>>,
}

impl Picture<'_> {
    /// Decodes it, and tells `photo` what only that tells: its size and the stamp seen.
    pub(crate) fn decode(
        self,
        photo: &mut Photo,
        options: &IngestOptions,
        gate: &MemoryGate,
    ) -> Result<Pixels, String> {
        let (mut pixels, stamp) =
            decode(self.format, &self.bytes, self.orientation, options, gate)?;
        pixels.embedded = self
            .thumbnail
            .and_then(|bytes| embedded::decoded(&bytes, self.orientation, gate));
        if self.format == Format::Jpeg {
            let picture = (&pixels.rgb, self.orientation);
            (pixels.coded, pixels.earlier) = earlier_save::look(&self.bytes, picture, gate);
        }
        photo.stamp = stamp;
        photo.width = pixels.full_width;
        photo.height = pixels.full_height;
        Ok(pixels)
    }
}

/// Reads the file at `place`, shown as `shown`, when there is `room` for its bytes; `look` makes of a picture what is kept
/// of it, or says what is wrong.
pub(crate) fn read_file<P>(
    place: &FilePlace,
    shown: &str,
    options: &IngestOptions,
    room: &MemoryGate,
    look: impl FnOnce(&mut Photo, Picture<'_>) -> Result<P, String>,
) -> Outcome<P> {
    let extension = extension(shown);
    let reject = |sha256: Option<String>, reason: String, facts: Option<Box<Photo>>| {
        Outcome::Rejected(Rejected {
            path: shown.to_owned(),
            sha256,
            reason,
            label: Label::default(),
            facts,
        })
    };
    let content = match content(place, &extension, options, room) {
        Ok(content) => content,
        Err(Refusal::Unusable { sha256, reason }) => return reject(sha256, reason, None),
        Err(Refusal::NotPhoto(what)) => {
            return Outcome::Ignored(Ignored {
                path: shown.to_owned(),
                reason: what.to_owned(),
            });
        }
    };
    let sha256 = hex(&Sha256::digest(&content.bytes));
    let (mut facts, orientation) = facts(content.format, &content.bytes, options);
    let thumbnail = facts.thumbnail.take();
    let file = FileFacts {
        shown,
        extension: &extension,
        format: content.format,
        sha256,
        size: content.size,
        modified: content.modified,
    };
    let mut photo = photo(file, facts);
    let picture = Picture {
        format: content.format,
        bytes: content.bytes,
        _room: content.room,
        orientation,
        thumbnail,
    };
    match look(&mut photo, picture) {
        Ok(seen) => Outcome::Photo(Box::new(photo), seen),
        Err(reason) => reject(Some(photo.sha256.clone()), reason, Some(Box::new(photo))),
    }
}

/// The bytes of a file that claims to be a picture.
struct Content<'a> {
    room: Held<'a>,
    size: u64,
    modified: Option<CaptureTime>,
    format: Format,
    bytes: Vec<u8>,
}

/// Why a file is not read as a picture.
enum Refusal {
    /// It neither is nor claims to be one.
    NotPhoto(&'static str),
    /// It should be one.
    Unusable {
        sha256: Option<String>,
        reason: String,
    },
}

/// Opens a file, tells its format and reads it within the bounds.
fn content<'a>(
    place: &FilePlace,
    extension: &str,
    options: &IngestOptions,
    room: &'a MemoryGate,
) -> Result<Content<'a>, Refusal> {
    let read = |opened: Opened<'_>| content_of(opened, extension, options, room);
    let unreadable = |reason: String| Refusal::Unusable {
        sha256: None,
        reason,
    };
    with_opened(place, options, read).map_err(unreadable)?
}

/// Opens a file wherever it lies and hands it to `read`.
fn with_opened<T>(
    place: &FilePlace,
    options: &IngestOptions,
    read: impl FnOnce(Opened<'_>) -> T,
) -> Result<T, String> {
    match place {
        FilePlace::File(path) => {
            let (mut file, size, modified) = open(path, options)?;
            Ok(read(Opened {
                file: &mut file,
                size,
                modified,
            }))
        }
        FilePlace::Member(member) => {
            member.with_reader(|file, size| read(Opened::undated(file, size)))
        }
        #[cfg(feature = "object-storage")]
        FilePlace::Object(object) => {
            object.with_reader(|file, size| read(Opened::undated(file, size)))
        }
        FilePlace::Bytes(bytes) => {
            let size = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
            Ok(read(Opened::undated(&mut &bytes[..], size)))
        }
    }
}

fn content_of<'a>(
    mut opened: Opened<'_>,
    extension: &str,
    options: &IngestOptions,
    room: &'a MemoryGate,
) -> Result<Content<'a>, Refusal> {
    let unreadable = |reason: String| Refusal::Unusable {
        sha256: None,
        reason,
    };
    let head = opened.head().map_err(unreadable)?;
    let format = Format::sniff(&head);
    let reason = match format {
        Format::NotPicture(what) if !claims_photo(extension) => {
            return Err(Refusal::NotPhoto(what));
        }
        Format::NotPicture(_) if opened.size == 0 => Some("the file is empty".to_owned()),
        Format::NotPicture(what) => Some(format!("not a photo in spite of its name: {what}")),
        _ if opened.size > options.max_file_bytes => Some(format!(
            "file of {} MiB is larger than the bound of {} MiB",
            opened.size >> 20,
            options.max_file_bytes >> 20
        )),
        _ => None,
    };
    if let Some(reason) = reason {
        let sha256 = opened.digest(head).ok();
        return Err(Refusal::Unusable { sha256, reason });
    }
    let room = room.hold(opened.size);
    let bytes = opened
        .rest(head, options.max_file_bytes)
        .map_err(unreadable)?;
    Ok(Content {
        room,
        size: opened.size,
        modified: opened.modified,
        format,
        bytes,
    })
}

/// Exif and XMP of a file, and the orientation to apply.
fn facts(format: Format, bytes: &[u8], options: &IngestOptions) -> (ExifFacts, Option<u16>) {
    let blocks = container::blocks(format, bytes, options.max_metadata_bytes);
    let mut facts = exif::read(format, bytes, blocks.exif.as_deref(), options);
    xmp::complete(&mut facts, &blocks, options);
    facts.traces.quantisation = blocks.quantisation;
    facts.traces.content_credentials = blocks
        .content_credentials
        .then(|| credentials::verify(format.name(), bytes));
    let orientation = match format {
        // The container's own transforms hold and were applied by the decoder.
        Format::Heic | Format::Avif => None,
        _ => facts.orientation,
    };
    (facts, orientation)
}

struct FileFacts<'a> {
    shown: &'a str,
    extension: &'a str,
    format: Format,
    sha256: String,
    size: u64,
    modified: Option<CaptureTime>,
}

fn photo(file: FileFacts<'_>, facts: ExifFacts) -> Photo {
    let mut problems = facts.problems;
    if !file.format.has_extension(file.extension) {
        let name = file.format.name();
        problems.push(format!(
            "the content is {name}, the name ends in \".{}\"",
            file.extension
        ));
    }
    let mut all_times = facts.times;
    all_times.extend(file_name_time::read(file.shown));
    all_times.extend(file.modified);
    all_times.sort_by_key(|time| time.source);
    let mut photo = Photo {
        path: file.shown.to_owned(),
        format: file.format.name().to_owned(),
        width: 0,
        height: 0,
        orientation: facts.orientation,
        sha256: file.sha256,
        bytes: file.size,
        capture_time: None,
        all_times,
        gps: facts.gps,
        gps_zero: facts.gps_zero,
        direction_deg: facts.direction_deg,
        light_ev: facts.light_ev,
        camera: facts.camera,
        software: software(&facts.traces),
        traces: facts.traces,
        unique_id: facts.unique_id,
        label: Label::default(),
        stamp: None,
        problems,
    };
    photo.choose_time();
    if let Some(time) = &photo.capture_time
        && time.source == TimeSource::ExifModified
    {
        let only = "the only time in the file is that of its last change (DateTime)";
        photo.problems.push(only.to_owned());
    }
    photo
}

/// Software tags, each name once, else the program that XMP names first.
fn software(traces: &Traces) -> Option<String> {
    let named = |wanted: fn(ProgramSource) -> bool| {
        let programs = traces.programs.iter();
        let mut names: Vec<&str> = Vec::new();
        for program in programs.filter(|program| wanted(program.source)) {
            if !names.contains(&program.name.as_str()) {
                names.push(&program.name);
            }
        }
        (!names.is_empty()).then(|| names.join("; "))
    };
    named(|source| source < ProgramSource::CreatorTool)
        .or_else(|| named(|source| source == ProgramSource::CreatorTool))
}

/// Lower-case extension of a shown path, empty if none.
pub(crate) fn extension(shown: &str) -> String {
    let name = shown.rsplit('/').next().unwrap_or(shown);
    name.rsplit_once('.')
        .map_or_else(String::new, |(_, extension)| extension.to_lowercase())
}

/// An open file.
struct Opened<'a> {
    file: &'a mut dyn Read,
    size: u64,
    modified: Option<CaptureTime>,
}

/// Opens a regular file; anything else (a pipe would block) is refused before it is opened.
fn open(path: &Path, options: &IngestOptions) -> Result<(File, u64, Option<CaptureTime>), String> {
    let unreadable = |error: std::io::Error| format!("cannot be read: {error}");
    let facts = std::fs::metadata(path).map_err(unreadable)?;
    if !facts.is_file() {
        return Err("not a regular file".to_owned());
    }
    let file = File::open(path).map_err(unreadable)?;
    let facts = file.metadata().map_err(unreadable)?;
    let modified = facts
        .modified()
        .ok()
        .filter(|_| options.file_system_time)
        .map(|time| CaptureTime {
            civil: chrono::DateTime::<chrono::Utc>::from(time).naive_utc(),
            offset: chrono::FixedOffset::east_opt(0),
            source: TimeSource::FileSystem,
        });
    Ok((file, facts.len(), modified))
}

impl<'a> Opened<'a> {
    /// A file whose time in the file system is not known.
    fn undated(file: &'a mut dyn Read, size: u64) -> Self {
        Self {
            file,
            size,
            modified: None,
        }
    }

    /// The first bytes, enough to tell the format.
    fn head(&mut self) -> Result<Vec<u8>, String> {
        let mut head = Vec::new();
        let read = (&mut self.file).take(256).read_to_end(&mut head);
        read.map(|_| head)
            .map_err(|error| format!("cannot be read: {error}"))
    }

    /// The whole content after `head`, at most `bound` bytes even if the file grows meanwhile.
    fn rest(&mut self, head: Vec<u8>, bound: u64) -> Result<Vec<u8>, String> {
        let mut bytes = head;
        let read = (&mut self.file).take(bound).read_to_end(&mut bytes);
        read.map(|_| bytes)
            .map_err(|error| format!("cannot be read: {error}"))
    }

    /// SHA-256 of `head` and all that follows, in pieces.
    fn digest(&mut self, head: Vec<u8>) -> std::io::Result<String> {
        let mut digest = Sha256::new();
        digest.update(&head);
        let mut piece = vec![0; 1 << 16];
        loop {
            let count = self.file.read(&mut piece)?;
            if count == 0 {
                return Ok(hex(&digest.finalize()));
            }
            digest.update(piece.get(..count).unwrap_or_default());
        }
    }
}

/// Reads a small file whole, refusing one above `bound` bytes.
pub(crate) fn read_bounded(place: &FilePlace, bound: u64) -> Result<Vec<u8>, String> {
    with_opened(place, &IngestOptions::default(), |mut opened| {
        if opened.size > bound {
            return Err(format!("larger than the bound of {} MiB", bound >> 20));
        }
        opened.rest(Vec::new(), bound)
    })?
}
