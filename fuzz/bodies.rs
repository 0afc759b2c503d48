//! What each fuzz target does with its bytes. Shared by the targets here and by `tests/mutations.rs`, which
//! feeds them seeded mutations without any tool.

use std::path::Path;

use image::RgbImage;
use photoproof_core::ingest::stamp::read_stamp;
use photoproof_core::ingest::{IngestOptions, ingest, job_sheet_text, read_photo_bytes};
use photoproof_core::job::JobSheet;
use photoproof_core::judge::WaiverSet;
use photoproof_core::ledger;
use photoproof_core::measure::Quality;
use photoproof_core::report::inspect::InspectLine;

/// A target's name and body.
pub(crate) type Target = (&'static str, fn(&[u8]));

/// Every target; one file in `fuzz_targets/` each.
pub(crate) const TARGETS: [Target; 9] = [
    ("decode", decode),
    ("exif", exif),
    ("xmp", xmp),
    ("job_sheet", job_sheet),
    ("waivers", waivers),
    ("photos_csv", photos_csv),
    ("stamp", stamp),
    ("ledger_file", ledger_file),
    ("zip", zip),
];

/// A picture file of any kind, as far as `inspect` goes.
pub(crate) fn decode(bytes: &[u8]) {
    let line = match read_photo_bytes(bytes, "IMG_1.jpg", &IngestOptions::default()) {
        Ok((photo, pixels)) => InspectLine::of_photo(&photo, &Quality::new(&pixels)),
        Err(rejected) => {
            assert!(!rejected.reason.is_empty(), "a refusal says why");
            InspectLine::of_rejected(&rejected)
        }
    };
    let text = line.to_json();
    assert_eq!(text.trim_end().lines().count(), 1, "one line a photo");
}

const SMALL: &[u8] = include_bytes!("../fixtures/hostile/gray.jpg");

/// The small photo with one APP1 segment more.
fn with_segment(header: &[u8], bytes: &[u8]) -> Vec<u8> {
    let bytes = bytes.get(..65_000).unwrap_or(bytes);
    let length = u16::try_from(2 + header.len() + bytes.len()).unwrap_or(u16::MAX);
    let mut file = vec![0xFF, 0xD8, 0xFF, 0xE1];
    file.extend(length.to_be_bytes());
    file.extend(header);
    file.extend(bytes);
    file.extend(SMALL.get(2..).unwrap_or_default());
    file
}

/// The Exif block of a JPEG (CIPA DC-008): a TIFF header and what follows.
pub(crate) fn exif(bytes: &[u8]) {
    decode(&with_segment(b"Exif\0\0", bytes));
}

/// The XMP packet of a JPEG.
pub(crate) fn xmp(bytes: &[u8]) {
    decode(&with_segment(b"http://ns.adobe.com/xap/1.0/\0", bytes));
}

/// `job.toml`.
pub(crate) fn job_sheet(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Err(error) = JobSheet::parse(&text, Path::new("absent/job.toml")) {
        assert!(!error.to_string().is_empty(), "a refusal says why");
    }
}

/// `waivers.toml`.
pub(crate) fn waivers(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let _ = WaiverSet::parse(&text, Path::new("waivers.toml"));
}

/// `photos.csv` beside files of the names it may mention.
pub(crate) fn photos_csv(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["a.jpg", "b.jpg"] {
        std::fs::write(folder.path().join(name), b"no picture").expect("written");
    }
    std::fs::write(folder.path().join("photos.csv"), bytes).expect("written");
    let read = ingest(
        folder.path(),
        &JobSheet::default(),
        &IngestOptions::default(),
        |_, _| (),
    );
    let (intake, _) = read.expect("a label table is never an error");
    assert_eq!((intake.rejected.len(), intake.ignored.len()), (2, 1));
}

/// The stamp reader on a picture of 160 pixels a row, gray as the bytes say.
pub(crate) fn stamp(bytes: &[u8]) {
    const WIDTH: u32 = 160;
    let rows = u32::try_from(bytes.len()).unwrap_or(u32::MAX) / WIDTH;
    let rows = rows.clamp(1, 240);
    let picture = RgbImage::from_fn(WIDTH, rows, |x, y| {
        let at = usize::try_from(y * WIDTH + x).unwrap_or(usize::MAX);
        let gray = bytes.get(at).copied().unwrap_or(0);
        image::Rgb([gray, gray.wrapping_add(gray >> 3), gray])
    });
    if let Some(stamp) = read_stamp(&picture, || None) {
        assert!((0.0..=1.0).contains(&stamp.confidence), "a probability");
        let _ = stamp.to_text();
    }
}

/// A ledger file: opened, listed, counted, searched by job.
pub(crate) fn ledger_file(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("ledger.db");
    std::fs::write(&path, bytes).expect("written");
    if let Ok(ledger) = ledger::open(&path.to_string_lossy()) {
        for job in ledger.jobs().unwrap_or_default() {
            let _ = ledger.photos(&job.job);
        }
        let _ = ledger.stats();
        let _ = ledger.find(&[], None);
    }
}

/// A .zip of a job folder.
pub(crate) fn zip(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("job.zip");
    std::fs::write(&path, bytes).expect("written");
    let _ = job_sheet_text(&path, 1 << 20);
    let _ = ingest(
        &path,
        &JobSheet::default(),
        &IngestOptions::default(),
        |_, _| (),
    );
    let left = std::fs::read_dir(folder.path()).expect("a folder").count();
    assert_eq!(left, 1, "nothing is unpacked to disk");
}
