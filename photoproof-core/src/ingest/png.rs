//! Metadata chunks of PNG: eXIf, XMP in iTXt, and the older way to keep Exif as text.

use std::borrow::Cow;
use std::io::Read;

use crate::ingest::container::{Blocks, XMP_HEADER, be32};

/// Finds the metadata blocks of a PNG; what is packed is unpacked to at most `bound` bytes.
pub(crate) fn blocks(bytes: &[u8], bound: usize) -> Blocks<'_> {
    let mut found = Blocks::default();
    let mut raw = Blocks::default();
    let mut at = 8_usize;
    while let Some(header) = bytes.get(at..at.saturating_add(8)) {
        let length = be32(header) as usize;
        let end = at.saturating_add(8).saturating_add(length);
        let Some(content) = bytes.get(at + 8..end) else {
            break;
        };
        match header.get(4..8) {
            // C2PA specification 2.2, A.3.2.
            Some(b"caBX") => found.content_credentials = true,
            Some(b"eXIf") => found.exif = found.exif.or(Some(Cow::Borrowed(content))),
            Some(b"iTXt") => found.xmp = found.xmp.or_else(|| international_xmp(content, bound)),
            Some(b"tEXt") => {
                let text = content.strip_prefix(b"Creation Time\0");
                found.creation_text = found.creation_text.or(text);
                raw_profile(content, Packing::Plain, bound, &mut raw);
            }
            Some(b"zTXt") => raw_profile(content, Packing::Zlib, bound, &mut raw),
            Some(b"IEND") => break,
            _ => {}
        }
        at = end.saturating_add(4);
    }
    found.exif = found.exif.or(raw.exif);
    found.xmp = found.xmp.or(raw.xmp);
    found
}

/// XMP of an iTXt chunk: keyword, NUL, packed or not, method, language, NUL, translation, NUL, text.
fn international_xmp(content: &[u8], bound: usize) -> Option<Cow<'_, [u8]>> {
    let rest = content.strip_prefix(b"XML:com.adobe.xmp\0")?;
    let (flags, rest) = rest.split_at_checked(2)?;
    let text = rest.splitn(3, |&byte| byte == 0).nth(2)?;
    match flags {
        [1, 0] => unpack(text, bound).map(Cow::Owned),
        _ => Some(Cow::Borrowed(text)),
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Packing {
    Plain,
    Zlib,
}

/// Text chunks named `Raw profile type exif`, `APP1` or `xmp`, as several programs wrote before eXIf
/// existed: a name, a length and the bytes in hexadecimal, each on lines of their own (common practice,
/// no source).
fn raw_profile(content: &[u8], packing: Packing, bound: usize, found: &mut Blocks<'_>) {
    let Some(rest) = content.strip_prefix(b"Raw profile type ") else {
        return;
    };
    let mut parts = rest.splitn(2, |&byte| byte == 0);
    let (Some(name), Some(text)) = (parts.next(), parts.next()) else {
        return;
    };
    let text = match (packing, text.split_first()) {
        (Packing::Plain, _) => Some(text.to_vec()),
        (Packing::Zlib, Some((0, packed))) => unpack(packed, bound.saturating_mul(3)),
        _ => None,
    };
    let Some(profile) = text.and_then(|text| hexadecimal(&text, bound)) else {
        return;
    };
    if let Some(exif) = profile.strip_prefix(b"Exif\0\0") {
        found.exif = Some(Cow::Owned(exif.to_vec()));
    } else if let Some(xmp) = profile.strip_prefix(XMP_HEADER) {
        found.xmp = Some(Cow::Owned(xmp.to_vec()));
    } else if name == b"exif" {
        found.exif = Some(Cow::Owned(profile));
    } else if name == b"xmp" {
        found.xmp = Some(Cow::Owned(profile));
    }
}

/// Unpacks zlib data; `None` if broken or longer than `bound`.
fn unpack(packed: &[u8], bound: usize) -> Option<Vec<u8>> {
    let mut text = Vec::new();
    let limit = bound as u64 + 1;
    flate2::read::ZlibDecoder::new(packed)
        .take(limit)
        .read_to_end(&mut text)
        .ok()?;
    (text.len() <= bound).then_some(text)
}

/// Reads name, length and as many pairs of hexadecimal digits; what follows them is left alone.
fn hexadecimal(text: &[u8], bound: usize) -> Option<Vec<u8>> {
    let mut lines = text.splitn(4, |&byte| byte == b'\n').skip(2);
    let length: usize = std::str::from_utf8(lines.next()?)
        .ok()?
        .trim()
        .parse()
        .ok()?;
    if length > bound {
        return None;
    }
    let digits = lines
        .next()?
        .iter()
        .filter(|byte| !byte.is_ascii_whitespace());
    let values: Option<Vec<u8>> = digits
        .take(2 * length)
        .map(|&digit| char::from(digit).to_digit(16).map(|value| value as u8))
        .collect();
    let bytes: Vec<u8> = values?
        .chunks_exact(2)
        .map(|pair| (pair[0] << 4) | pair[1])
        .collect();
    (bytes.len() == length).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chunk(kind: &[u8; 4], content: &[u8]) -> Vec<u8> {
        let mut bytes = (content.len() as u32).to_be_bytes().to_vec();
        bytes.extend(kind);
        bytes.extend(content);
        bytes.extend([0; 4]);
        bytes
    }

    #[test]
    fn profiles_written_as_text_are_read_and_what_follows_is_not() {
        let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
        png.extend(chunk(
            b"tEXt",
            b"Raw profile type exif\0\nexif\n  4\n4949\n2a00\nzz",
        ));
        png.extend(chunk(b"tEXt", b"Creation Time\x002026-03-02T14:15:02"));
        png.extend(chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0en\0t\0<x/>"));
        let found = blocks(&png, 1000);
        assert_eq!(found.exif.as_deref(), Some(&b"II*\0"[..]));
        assert_eq!(found.xmp.as_deref(), Some(&b"<x/>"[..]));
        assert_eq!(found.creation_text, Some(&b"2026-03-02T14:15:02"[..]));
    }

    #[test]
    fn broken_or_overlong_profiles_give_nothing() {
        assert_eq!(hexadecimal(b"\nexif\n4\n4949", 10), None);
        assert_eq!(hexadecimal(b"\nexif\n99\n4949", 10), None);
        assert_eq!(hexadecimal(b"\nexif", 10), None);
        assert_eq!(unpack(b"no zlib", 10), None);
        for length in 0..40 {
            let _ = blocks(&chunk(b"zTXt", &vec![0; length]), 10);
        }
    }
}
