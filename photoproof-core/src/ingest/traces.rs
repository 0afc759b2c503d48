//! What a file tells of its making apart from the picture: programs, coding, stated size.

use serde::Serialize;

use crate::ingest::Credentials;

/// Traces of a photo's making.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct Traces {
    /// Programs that the file names, in the order of [`ProgramSource`]; at most 40.
    pub programs: Vec<Program>,
    /// Whether the file holds readable Exif.
    pub has_exif: bool,
    /// Width and height that Exif states (PixelXDimension and PixelYDimension), pixels.
    pub exif_size: Option<(u32, u32)>,
    /// Quantisation tables of a JPEG.
    pub quantisation: Option<Quantisation>,
    /// Content Credentials (a C2PA manifest) in the file; their absence means nothing.
    pub content_credentials: Option<Credentials>,
}

/// A program that a file names.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Program {
    /// Where it is named.
    pub source: ProgramSource,
    /// As written, at most 200 characters.
    pub name: String,
}

/// Where a program is named.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ProgramSource {
    /// Exif Software: of a camera its firmware, of an edited file often the editing program.
    Software,
    /// CameraFirmware of Exif 3.0.
    CameraFirmware,
    /// RAWDevelopingSoftware of Exif 3.0.
    RawDeveloping,
    /// ImageEditingSoftware of Exif 3.0.
    ImageEditing,
    /// MetadataEditingSoftware of Exif 3.0.
    MetadataEditing,
    /// xmp:CreatorTool: the first program that is known to have written the file.
    CreatorTool,
    /// stEvt:softwareAgent of xmpMM:History.
    History,
}

/// Quantisation tables of a JPEG in the order of the file (zigzag, ITU-T T.81, B.2.4.1).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Quantisation {
    /// Table 0, by common practice that of luma.
    pub luma: [u16; 64],
    /// Table 1, by common practice that of chroma.
    pub chroma: Option<[u16; 64]>,
}

/// Table K.1 of ITU-T T.81 in zigzag order.
const K1: [u16; 64] = [
    16, 11, 12, 14, 12, 10, 16, 14, 13, 14, 18, 17, 16, 19, 24, 40, 26, 24, 22, 22, 24, 49, 35, 37,
    29, 40, 58, 51, 61, 60, 57, 51, 56, 55, 64, 72, 92, 78, 64, 68, 87, 69, 55, 56, 80, 109, 81,
    87, 95, 98, 103, 104, 103, 62, 77, 113, 121, 112, 100, 120, 92, 101, 103, 99,
];

impl Quantisation {
    /// The quality, 1..=100, whose scaling of table K.1 as in the Independent JPEG Group's library gives the luma
    /// table; `None` for tables of other makers.
    #[must_use]
    pub fn quality(&self) -> Option<u8> {
        (1..=100).find(|&quality| {
            let scaled = scaled_k1(quality);
            let mut pairs = scaled.iter().zip(&self.luma);
            pairs.all(|(&scaled, &luma)| scaled == u32::from(luma))
        })
    }
}

/// Table K.1, zigzag, scaled to a quality, 1..=100, as the Independent JPEG Group's library does.
pub(crate) fn scaled_k1(quality: u8) -> [u32; 64] {
    let percent = match u32::from(quality) {
        low @ ..50 => 5000 / low.max(1),
        high => 200 - 2 * high.min(100),
    };
    K1.map(|value| ((u32::from(value) * percent + 50) / 100).clamp(1, 255))
}

/// Adds the tables of one DQT segment (ITU-T T.81, B.2.4.1) to `tables`, by their number; stops at what is no
/// table.
pub(crate) fn add_tables(mut payload: &[u8], tables: &mut [Option<[u16; 64]>; 2]) {
    while let Some((&head, rest)) = payload.split_first() {
        let wide = head >> 4 != 0;
        let Some((values, rest)) = rest.split_at_checked(if wide { 128 } else { 64 }) else {
            return;
        };
        let mut table = [0; 64];
        for (index, value) in table.iter_mut().enumerate() {
            *value = match values.get(2 * index..2 * index + 2) {
                Some(&[high, low]) if wide => u16::from_be_bytes([high, low]),
                _ => values.get(index).copied().map_or(0, u16::from),
            };
        }
        if let Some(slot) = tables.get_mut(usize::from(head & 0xF)) {
            *slot = Some(table);
        }
        payload = rest;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_of_both_widths_are_read_and_cut_ones_are_not() {
        let mut payload = vec![0x00];
        payload.extend(1..=64_u8);
        payload.push(0x11);
        payload.extend((0..64_u16).flat_map(|value| (value + 256).to_be_bytes()));
        let mut tables = [None, None];
        add_tables(&payload, &mut tables);
        assert_eq!(tables[0].map(|t| t[63]), Some(64));
        assert_eq!(tables[1].map(|t| (t[0], t[63])), Some((256, 319)));
        let mut cut = [None, None];
        add_tables(&payload[..100], &mut cut);
        assert!(cut[0].is_some() && cut[1].is_none());
        add_tables(&[0x0F], &mut cut);
    }

    /// Quality 50 is table K.1 itself; quality 100 is all ones (jpeg_quality_scaling of the library).
    #[test]
    fn quality_by_the_usual_scaling() {
        let of = |luma| Quantisation { luma, chroma: None }.quality();
        assert_eq!(of(K1), Some(50));
        assert_eq!(of([1; 64]), Some(100));
        assert_eq!(of([3; 64]), None);
    }
}
