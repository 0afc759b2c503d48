//! What a file is by its content, and where its metadata lies. Reads bytes, allocates nothing large.

use std::borrow::Cow;

use crate::ingest::traces::{Quantisation, add_tables};
use crate::ingest::{isobmff, png};

/// A kind of file, told by its first bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    /// JPEG (ITU-T T.81).
    Jpeg,
    /// PNG.
    Png,
    /// WebP (RIFF).
    Webp,
    /// TIFF and raw formats built on it.
    Tiff,
    /// HEIC or another HEVC picture in an ISO base media file.
    Heic,
    /// AVIF.
    Avif,
    /// A picture format that is not read; the name.
    OtherPicture(&'static str),
    /// Not a picture; what it is, if known.
    NotPicture(&'static str),
}

impl Format {
    /// Tells the format by the first bytes (at least 32 if the file has them).
    pub(crate) fn sniff(head: &[u8]) -> Self {
        let starts = |magic: &[u8]| head.starts_with(magic);
        let riff = |kind: &[u8]| starts(b"RIFF") && head.get(8..12) == Some(kind);
        if starts(&[0xFF, 0xD8, 0xFF]) || head == [0xFF, 0xD8] {
            Format::Jpeg
        } else if starts(b"\x89PNG\r\n\x1a\n") {
            Format::Png
        } else if riff(b"WEBP") {
            Format::Webp
        } else if starts(b"II*\0") || starts(b"MM\0*") {
            Format::Tiff
        } else if head.get(4..8) == Some(b"ftyp") {
            Self::of_brands(head)
        } else if starts(b"GIF87a") || starts(b"GIF89a") {
            Format::OtherPicture("gif")
        } else if starts(b"BM") && head.len() > 26 && head.get(6..10) == Some(&[0, 0, 0, 0]) {
            Format::OtherPicture("bmp")
        } else if starts(&[0xFF, 0x0A]) || starts(b"\0\0\0\x0cJXL ") {
            Format::OtherPicture("jpeg xl")
        } else if starts(b"\0\0\0\x0cjP  ") {
            Format::OtherPicture("jpeg 2000")
        } else if starts(b"FUJIFILMCCD-RAW") {
            Format::OtherPicture("camera raw")
        } else if riff(b"AVI ") || starts(b"\x1aE\xdf\xa3") {
            Format::NotPicture("video")
        } else if starts(b"%PDF") {
            Format::NotPicture("PDF document")
        } else if starts(b"PK\x03\x04") {
            Format::NotPicture("zip archive or office document")
        } else {
            Format::NotPicture("not a picture")
        }
    }

    /// ISO base media files name what they hold in the brands of `ftyp` (ISO/IEC 14496-12, 4.3).
    fn of_brands(head: &[u8]) -> Self {
        let size = head
            .get(..4)
            .map_or(0, |b| be32(b) as usize)
            .min(head.len());
        let major = head.get(8..12).unwrap_or_default();
        let compatible = head.get(16..size).unwrap_or_default().chunks_exact(4);
        let brands: Vec<&[u8]> = std::iter::once(major).chain(compatible).collect();
        let any = |names: &[&[u8; 4]]| brands.iter().any(|b| names.iter().any(|n| n == b));
        if any(&[b"avif", b"avis"]) {
            Format::Avif
        } else if any(&[
            b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1",
        ]) {
            Format::Heic
        } else if major == b"crx " {
            Format::OtherPicture("camera raw")
        } else {
            Format::NotPicture("video")
        }
    }

    /// Lower-case name as in [`Photo::format`](crate::ingest::Photo).
    pub(crate) fn name(self) -> &'static str {
        match self {
            Format::Jpeg => "jpeg",
            Format::Png => "png",
            Format::Webp => "webp",
            Format::Tiff => "tiff",
            Format::Heic => "heic",
            Format::Avif => "avif",
            Format::OtherPicture(name) | Format::NotPicture(name) => name,
        }
    }

    /// Whether `extension` (lower case) is usual for this format.
    pub(crate) fn has_extension(self, extension: &str) -> bool {
        let usual: &[&str] = match self {
            Format::Jpeg => &["jpg", "jpeg", "jpe", "jfif", "mpo"],
            Format::Png => &["png"],
            Format::Webp => &["webp"],
            Format::Tiff => &[
                "tif", "tiff", "dng", "nef", "cr2", "arw", "pef", "srw", "orf", "rw2",
            ],
            Format::Heic => &["heic", "heif", "hif"],
            Format::Avif => &["avif", "avifs"],
            Format::OtherPicture(_) | Format::NotPicture(_) => return true,
        };
        usual.contains(&extension)
    }
}

/// Whether a file with this extension (lower case) claims to be a photo.
pub(crate) fn claims_photo(extension: &str) -> bool {
    const PHOTO: [&str; 29] = [
        "jpg", "jpeg", "jpe", "jfif", "mpo", "png", "webp", "tif", "tiff", "heic", "heif", "hif",
        "avif", "gif", "bmp", "jp2", "jxl", "dng", "nef", "cr2", "cr3", "arw", "raf", "orf", "rw2",
        "pef", "srw", "crw", "raw",
    ];
    PHOTO.contains(&extension)
}

/// Metadata blocks of a file, as slices of it where they lie in one piece.
#[derive(Debug, Default, Clone)]
pub(crate) struct Blocks<'a> {
    /// Exif: a TIFF structure, without the `Exif\0\0` header.
    pub(crate) exif: Option<Cow<'a, [u8]>>,
    /// XMP packet.
    pub(crate) xmp: Option<Cow<'a, [u8]>>,
    /// Text of PNG's `Creation Time` keyword.
    pub(crate) creation_text: Option<&'a [u8]>,
    /// Quantisation tables of a JPEG.
    pub(crate) quantisation: Option<Quantisation>,
    /// Whether Content Credentials are there.
    pub(crate) content_credentials: bool,
}

/// Finds the metadata blocks of a file; no block is longer than `bound`. (TIFF is Exif as a whole.)
pub(crate) fn blocks(format: Format, bytes: &[u8], bound: usize) -> Blocks<'_> {
    match format {
        Format::Jpeg => jpeg_blocks(bytes),
        Format::Png => png::blocks(bytes, bound),
        Format::Webp => webp_blocks(bytes),
        Format::Heic | Format::Avif => isobmff::blocks(bytes, bound),
        _ => Blocks::default(),
    }
}

/// Head of an XMP packet in APP1 (XMP specification part 3, 1.1.3).
pub(crate) const XMP_HEADER: &[u8] = b"http://ns.adobe.com/xap/1.0/\0";

fn jpeg_blocks(bytes: &[u8]) -> Blocks<'_> {
    let mut found = Blocks::default();
    let mut tables = [None, None];
    for segment in JpegSegments::new(bytes) {
        match segment.marker {
            0xE1 => {}
            0xDB => {
                add_tables(segment.payload, &mut tables);
                continue;
            }
            0xEB => {
                found.content_credentials |= is_credentials(segment.payload);
                continue;
            }
            _ => continue,
        }
        if let Some(exif) = segment.payload.strip_prefix(b"Exif\0\0") {
            found.exif = found.exif.or(Some(Cow::Borrowed(exif)));
        } else if let Some(xmp) = segment.payload.strip_prefix(XMP_HEADER) {
            found.xmp = found.xmp.or(Some(Cow::Borrowed(xmp)));
        }
    }
    let [luma, chroma] = tables;
    found.quantisation = luma.map(|luma| Quantisation { luma, chroma });
    found
}

/// Whether an APP11 segment begins a C2PA manifest store: identifier `JP`, box number, packet number, then a `jumb`
/// box whose first box, `jumd`, is of the type `c2pa` (ISO/IEC 19566-5; C2PA specification 2.2, A.3.1).
fn is_credentials(payload: &[u8]) -> bool {
    let is = |range: std::ops::Range<usize>, name: &[u8]| payload.get(range) == Some(name);
    is(0..2, b"JP") && is(12..16, b"jumb") && is(20..24, b"jumd") && is(24..28, b"c2pa")
}

/// Marker segments of a JPEG up to and including the first start of scan.
pub(crate) struct JpegSegments<'a> {
    bytes: &'a [u8],
    at: usize,
}

/// One marker segment.
pub(crate) struct JpegSegment<'a> {
    /// Second byte of the marker.
    pub(crate) marker: u8,
    /// Content after the length field.
    pub(crate) payload: &'a [u8],
    /// Offset of the first byte after the segment.
    pub(crate) end: usize,
}

impl<'a> JpegSegments<'a> {
    /// Starts after SOI.
    pub(crate) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 2 }
    }

    /// Starts at `at`, where a marker is expected.
    pub(crate) fn from(bytes: &'a [u8], at: usize) -> Self {
        Self { bytes, at }
    }
}

impl<'a> Iterator for JpegSegments<'a> {
    type Item = JpegSegment<'a>;

    fn next(&mut self) -> Option<JpegSegment<'a>> {
        // Stray bytes before a marker are skipped, as decoders do.
        let skip = self
            .bytes
            .get(self.at..)?
            .iter()
            .position(|&byte| byte == 0xFF)?;
        let mut at = self.at + skip;
        while self.bytes.get(at) == Some(&0xFF) {
            at += 1;
        }
        let marker = *self.bytes.get(at)?;
        at += 1;
        let standalone = matches!(marker, 0x00 | 0x01 | 0xD0..=0xD9);
        if standalone {
            self.at = if marker == 0xD9 { self.bytes.len() } else { at };
            return Some(JpegSegment {
                marker,
                payload: &[],
                end: at,
            });
        }
        let length = usize::from(u16::from_be_bytes([
            *self.bytes.get(at)?,
            *self.bytes.get(at + 1)?,
        ]));
        let end = at + length.max(2);
        let payload = self.bytes.get(at + 2..end)?;
        self.at = if marker == 0xDA {
            self.bytes.len()
        } else {
            end
        };
        Some(JpegSegment {
            marker,
            payload,
            end,
        })
    }
}

fn webp_blocks(bytes: &[u8]) -> Blocks<'_> {
    let mut found = Blocks::default();
    let mut at = 12;
    while let Some(header) = bytes.get(at..at + 8) {
        let length = u32::from_le_bytes([header[4], header[5], header[6], header[7]]) as usize;
        let Some(content) = at
            .checked_add(8 + length)
            .and_then(|end| bytes.get(at + 8..end))
        else {
            break;
        };
        match &header[..4] {
            b"EXIF" => {
                let exif = content.strip_prefix(b"Exif\0\0").unwrap_or(content);
                found.exif = found.exif.or(Some(Cow::Borrowed(exif)));
            }
            b"XMP " => found.xmp = found.xmp.or(Some(Cow::Borrowed(content))),
            // C2PA specification 2.2, annex A.
            b"C2PA" => found.content_credentials = true,
            _ => {}
        }
        at += 8 + length + (length & 1);
    }
    found
}

/// A big-endian number of the first four bytes.
pub(crate) fn be32(bytes: &[u8]) -> u32 {
    bytes
        .iter()
        .take(4)
        .fold(0, |value, &byte| (value << 8) | u32::from(byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A manifest store as the C2PA specification lays it out; the content of the boxes does not matter here.
    fn store() -> Vec<u8> {
        let mut store = b"JP\0\x01\0\0\0\x01\0\0\0\x30jumb\0\0\0\x1ejumd".to_vec();
        store.extend(b"c2pa\0\x11\0\x10\x80\0\0\xaa\0\x38\x9b\x71\x03c2pa\0");
        store
    }

    fn jpeg(marker: u8, payload: &[u8]) -> Vec<u8> {
        let mut file = vec![0xFF, 0xD8, 0xFF, marker];
        file.extend((payload.len() as u16 + 2).to_be_bytes());
        file.extend(payload);
        file.extend([0xFF, 0xD9]);
        file
    }

    #[test]
    fn content_credentials_of_a_jpeg_are_told_from_other_boxes() {
        let has = |file: &[u8]| blocks(Format::Jpeg, file, 1000).content_credentials;
        assert!(has(&jpeg(0xEB, &store())));
        assert!(!has(&jpeg(0xEC, &store())));
        let mut other = store();
        other[24] = b'x';
        assert!(!has(&jpeg(0xEB, &other)));
        for cut in 0..store().len().min(28) {
            assert!(!has(&jpeg(0xEB, &store()[..cut])), "{cut}");
        }
    }

    #[test]
    fn content_credentials_of_a_png_lie_in_a_chunk_of_their_own() {
        let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
        assert!(!blocks(Format::Png, &file, 1000).content_credentials);
        file.extend(b"\0\0\0\x02caBXab\0\0\0\0");
        assert!(blocks(Format::Png, &file, 1000).content_credentials);
    }
}
