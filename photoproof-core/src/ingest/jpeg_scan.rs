//! Telling a JPEG that was cut off from a whole one.
//!
//! Decoders fill what is missing with gray and say nothing. All-ones is never a Huffman code (ITU-T
//! T.81, C.2: no code consists of ones only), so a run of ones put in front of every marker that ends
//! coded data makes a decoder fail exactly when it needs data that are not there. Behind complete data
//! nobody reads them.

use crate::ingest::container::JpegSegments;

/// Three bytes of ones with their stuffed zeros (T.81, B.1.1.5): more than the longest code and the
/// longest run of extra bits before it leave unread, less than decoders read ahead.
const ONES: [u8; 6] = [0xFF, 0x00, 0xFF, 0x00, 0xFF, 0x00];

/// Most markers in front of which ones are put: restart markers of any real photo, and a bound on the
/// growth of a hostile file.
const MOST_MARKERS: usize = 1 << 18;

/// A copy of a JPEG whose coded data end in ones.
pub(crate) struct Guarded {
    /// The copy.
    pub(crate) bytes: Vec<u8>,
    /// Whether the end marker stands behind the last scan.
    pub(crate) has_end: bool,
    /// Number of scans.
    pub(crate) scans: usize,
}

/// Makes the guarded copy.
pub(crate) fn guard(bytes: &[u8]) -> Guarded {
    // Half a marker at the cut would make one with the ones behind it.
    let whole = bytes
        .iter()
        .rposition(|&byte| byte != 0xFF)
        .map_or(0, |at| at + 1);
    let bytes = bytes.get(..whole).unwrap_or_default();
    let mut copy = Vec::with_capacity(bytes.len() + bytes.len() / 64 + 64);
    let mut markers = 0;
    let mut done = 0;
    let mut at = 2;
    let mut has_end = false;
    let mut scans = 0;
    loop {
        let last = JpegSegments::from(bytes, at).last();
        match last {
            Some(segment) if segment.marker == 0xDA => {
                at = segment.end;
                scans += 1;
            }
            other => {
                has_end |= other.is_some_and(|segment| segment.marker == 0xD9);
                break;
            }
        }
        // Coded data: up to the first marker that is no restart marker.
        loop {
            let marker_at = next_marker(bytes, at);
            if markers < MOST_MARKERS {
                copy.extend_from_slice(bytes.get(done..marker_at).unwrap_or_default());
                copy.extend_from_slice(&ONES);
                done = marker_at;
                markers += 1;
            }
            at = marker_at;
            let restart = bytes
                .get(at + 1)
                .is_some_and(|byte| matches!(byte, 0xD0..=0xD7));
            if !restart {
                break;
            }
            at += 2;
        }
    }
    copy.extend_from_slice(bytes.get(done..).unwrap_or_default());
    if !has_end {
        copy.extend_from_slice(&[0xFF, 0xD9]);
    }
    Guarded {
        bytes: copy,
        has_end,
        scans,
    }
}

/// Offset of the next marker in coded data from `at` on, or the end of the file.
fn next_marker(bytes: &[u8], at: usize) -> usize {
    let data = bytes.get(at..).unwrap_or_default();
    let is_marker = |pair: &[u8]| matches!(pair, [0xFF, code] if !matches!(code, 0x00 | 0xFF));
    data.windows(2)
        .position(is_marker)
        .map_or(bytes.len(), |offset| at + offset)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SOI, a scan with one byte of header, coded data with a stuffed byte and a restart marker, EOI.
    const WHOLE: [u8; 15] = [
        0xFF, 0xD8, 0xFF, 0xDA, 0, 3, 9, 0x12, 0xFF, 0x00, 0xFF, 0xD0, 0x34, 0xFF, 0xD9,
    ];

    #[test]
    fn ones_stand_before_every_marker_of_the_scan() {
        let guarded = guard(&WHOLE);
        assert!(guarded.has_end);
        let mut expected = WHOLE[..10].to_vec();
        expected.extend(ONES);
        expected.extend([0xFF, 0xD0, 0x34]);
        expected.extend(ONES);
        expected.extend([0xFF, 0xD9]);
        assert_eq!(guarded.bytes, expected);
    }

    #[test]
    fn a_missing_end_is_seen_at_every_cut_and_closed() {
        for length in 7..WHOLE.len() {
            let guarded = guard(&WHOLE[..length]);
            assert!(!guarded.has_end, "{length}");
            assert!(
                guarded.bytes.ends_with(&[0xFF, 0x00, 0xFF, 0xD9]),
                "{length}"
            );
        }
        for length in 0..7 {
            assert!(!guard(&WHOLE[..length]).has_end);
        }
    }
}
