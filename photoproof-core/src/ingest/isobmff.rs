//! Exif and XMP of HEIC and AVIF files: items of an ISO base media file (ISO/IEC 14496-12, 8.11) that
//! describe the primary picture (ISO/IEC 23008-12, annex A: reference type `cdsc`).

use std::borrow::Cow;

use crate::ingest::container::{Blocks, be32};

/// Boxes looked at in one container, a bound for hostile files.
const MOST_BOXES: usize = 20_000;
/// Kind of the `uuid` box with Content Credentials (C2PA specification 2.2, annex A).
const CREDENTIALS: [u8; 16] = [
    0xD8, 0xFE, 0xC3, 0xD6, 0x1B, 0x0E, 0x48, 0x3C, 0x92, 0x97, 0x58, 0x28, 0x87, 0x7E, 0xC4, 0x81,
];

/// Finds the metadata of the primary picture; of another one only if the primary has none.
pub(crate) fn blocks(bytes: &[u8], bound: usize) -> Blocks<'static> {
    let content_credentials =
        boxes(bytes).any(|(kind, content)| kind == *b"uuid" && content.starts_with(&CREDENTIALS));
    let Some(meta) = boxes(bytes).find(|(kind, _)| kind == b"meta") else {
        return Blocks {
            content_credentials,
            ..Blocks::default()
        };
    };
    let meta = Meta::read(meta.1.get(4..).unwrap_or_default());
    let pick = |kind: &[u8; 4], start: &[u8]| {
        let mut best: Option<Vec<u8>> = None;
        for item in meta.items.iter().filter(|item| item.kind == *kind) {
            let Some(content) = meta.content(item.id, bytes, bound) else {
                continue;
            };
            if !start.is_empty() && !contains(&content, start) {
                continue;
            }
            if meta.describes_primary(item.id) {
                return Some(content);
            }
            best = best.or(Some(content));
        }
        best
    };
    let exif = pick(b"Exif", b"").and_then(|content| {
        let skip = be32(content.get(..4)?) as usize;
        Some(content.get(4_usize.checked_add(skip)?..)?.to_vec())
    });
    Blocks {
        exif: exif.map(Cow::Owned),
        xmp: pick(b"mime", b"xmpmeta").map(Cow::Owned),
        content_credentials,
        ..Blocks::default()
    }
}

fn contains(content: &[u8], part: &[u8]) -> bool {
    content
        .windows(part.len())
        .take(4096)
        .any(|window| window == part)
}

struct Item {
    id: u32,
    kind: [u8; 4],
}

/// Where the pieces of an item lie: offsets into the file, or into `idat`.
struct Location {
    id: u32,
    in_idat: bool,
    extents: Vec<(u64, u64)>,
}

#[derive(Default)]
struct Meta<'a> {
    primary: Option<u32>,
    items: Vec<Item>,
    locations: Vec<Location>,
    /// Item and the item that it describes.
    describes: Vec<(u32, u32)>,
    idat: &'a [u8],
}

impl<'a> Meta<'a> {
    fn read(content: &'a [u8]) -> Self {
        let mut meta = Self::default();
        for (kind, content) in boxes(content) {
            let mut fields = Fields(content);
            match &kind {
                b"pitm" => meta.primary = primary(&mut fields),
                b"iinf" => meta.items = items(&mut fields).unwrap_or_default(),
                b"iloc" => locations(&mut fields, &mut meta.locations).unwrap_or_default(),
                b"iref" => descriptions(&mut fields, &mut meta.describes).unwrap_or_default(),
                b"idat" => meta.idat = content,
                _ => {}
            }
        }
        meta
    }

    fn describes_primary(&self, id: u32) -> bool {
        self.primary
            .is_some_and(|primary| self.describes.contains(&(id, primary)))
    }

    fn content(&self, id: u32, bytes: &[u8], bound: usize) -> Option<Vec<u8>> {
        let location = self.locations.iter().find(|location| location.id == id)?;
        let source = if location.in_idat { self.idat } else { bytes };
        let mut content = Vec::new();
        for &(offset, length) in &location.extents {
            let start = usize::try_from(offset).ok()?;
            let end = match length {
                0 => source.len(),
                length => start.checked_add(usize::try_from(length).ok()?)?,
            };
            let piece = source.get(start..end)?;
            if content.len() + piece.len() > bound {
                return None;
            }
            content.extend_from_slice(piece);
        }
        Some(content)
    }
}

fn primary(fields: &mut Fields<'_>) -> Option<u32> {
    let version = fields.version()?;
    fields.id(version >= 1)
}

fn items(fields: &mut Fields<'_>) -> Option<Vec<Item>> {
    let version = fields.version()?;
    fields.id(version >= 1)?;
    let entry = |content: &[u8]| {
        let mut fields = Fields(content);
        let version = fields.version().filter(|version| *version >= 2)?;
        let id = fields.id(version >= 3)?;
        fields.number(2)?;
        let kind = fields.take(4)?.try_into().ok()?;
        Some(Item { id, kind })
    };
    Some(
        boxes(fields.0)
            .filter_map(|(_, content)| entry(content))
            .collect(),
    )
}

fn locations(fields: &mut Fields<'_>, list: &mut Vec<Location>) -> Option<()> {
    let version = fields.version().filter(|version| *version <= 2)?;
    let sizes = fields.number(2)?;
    let size = |shift: u32| ((sizes >> shift) & 0xF) as usize;
    let (offset_size, length_size, base_size) = (size(12), size(8), size(4));
    let index_size = if version >= 1 { size(0) } else { 0 };
    let count = fields.id(version >= 2)?;
    for _ in 0..count {
        let id = fields.id(version >= 2)?;
        let method = if version >= 1 {
            fields.number(2)? & 0xF
        } else {
            0
        };
        fields.number(2)?;
        let base = fields.number(base_size)?;
        let extents = fields.number(2)?;
        let mut location = Location {
            id,
            in_idat: method == 1,
            extents: Vec::new(),
        };
        for _ in 0..extents {
            fields.number(index_size)?;
            let offset = base.checked_add(fields.number(offset_size)?)?;
            location.extents.push((offset, fields.number(length_size)?));
        }
        if method <= 1 {
            list.push(location);
        }
    }
    Some(())
}

fn descriptions(fields: &mut Fields<'_>, list: &mut Vec<(u32, u32)>) -> Option<()> {
    let wide = fields.version()? >= 1;
    for (_, content) in boxes(fields.0).filter(|(kind, _)| kind == b"cdsc") {
        let mut fields = Fields(content);
        let from = fields.id(wide)?;
        for _ in 0..fields.number(2)? {
            list.push((from, fields.id(wide)?));
        }
    }
    Some(())
}

/// Big-endian numbers one after the other. Every read consumes bytes or ends, so loops over claimed
/// counts end with the data.
struct Fields<'a>(&'a [u8]);

impl<'a> Fields<'a> {
    fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(taken)
    }

    /// A number of 0, 1, 2, 4 or 8 bytes.
    fn number(&mut self, size: usize) -> Option<u64> {
        let bytes = self.take(size.min(8))?;
        Some(
            bytes
                .iter()
                .fold(0, |value, &byte| (value << 8) | u64::from(byte)),
        )
    }

    /// Version of a full box; skips the flags.
    fn version(&mut self) -> Option<u8> {
        self.take(4)?.first().copied()
    }

    /// An item's id or a count: 32 bits if `wide`, else 16.
    fn id(&mut self, wide: bool) -> Option<u32> {
        u32::try_from(self.number(if wide { 4 } else { 2 })?).ok()
    }
}

/// Boxes of `content`: type and payload.
fn boxes(content: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    let mut rest = content;
    std::iter::from_fn(move || {
        let size = be32(rest.get(..4)?) as usize;
        let kind: [u8; 4] = rest.get(4..8)?.try_into().ok()?;
        let (header, size) = match size {
            0 => (8, rest.len()),
            1 => {
                let large: [u8; 8] = rest.get(8..16)?.try_into().ok()?;
                (16, usize::try_from(u64::from_be_bytes(large)).ok()?)
            }
            size => (8, size),
        };
        let payload = rest.get(header..size)?;
        rest = rest.get(size..)?;
        Some((kind, payload))
    })
    .take(MOST_BOXES)
}
