//! What each fuzz target does with its bytes, and what must hold whatever they are. Shared by the targets here and by
//! `tests/mutations.rs`, which feeds them seeded mutations without any tool.

pub(crate) mod seeds;

use std::path::Path;

use image::RgbImage;
use photoproof_core::cache::trial;
use photoproof_core::hex::hex;
use photoproof_core::ingest::pixels::WORKING_LONG_SIDE;
use photoproof_core::ingest::stamp::read_stamp;
use photoproof_core::ingest::{IngestOptions, Label, ingest, job_sheet_text, read_photo_bytes};
use photoproof_core::job::JobSheet;
use photoproof_core::judge::{Reach, Subject, Waiver, WaiverSet};
use photoproof_core::ledger;
use photoproof_core::measure::Quality;
use photoproof_core::measure::Shelf;
use photoproof_core::report::inspect::InspectLine;
use photoproof_core::shots::ShotList;
use photoproof_core::volume::tally;
use sha2::{Digest, Sha256};

/// A target's name and body.
pub(crate) type Target = (&'static str, fn(&[u8]));

/// Every target; one file in `fuzz_targets/` each.
pub(crate) const TARGETS: [Target; 10] = [
    ("decode", decode),
    ("exif", exif),
    ("xmp", xmp),
    ("job_sheet", job_sheet),
    ("waivers", waivers),
    ("photos_csv", photos_csv),
    ("stamp", stamp),
    ("ledger_file", ledger_file),
    ("cache_entry", cache_entry),
    ("zip", zip),
];

/// Writes the seeds of a target into the folder `PHOTOPROOF_SEEDS`, if that is set.
pub(crate) fn plant(target: &str) {
    let Some(folder) = std::env::var_os("PHOTOPROOF_SEEDS") else {
        return;
    };
    for (name, bytes) in seeds::of(target) {
        let path = Path::new(&folder).join(name.replace('/', "-"));
        std::fs::write(path, bytes).expect("a folder for seeds");
    }
}

/// Nothing in it moves a cursor or changes the direction of writing (Unicode Standard Annex 9).
fn assert_inert(text: &str) {
    let acts = |letter: char| {
        (letter.is_control() && letter != '\n')
            || matches!(letter, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
    };
    assert!(!text.contains(acts), "{text:?}");
}

/// A picture file of any kind, as far as `inspect` goes.
pub(crate) fn decode(bytes: &[u8]) {
    let options = IngestOptions::default();
    let line = match read_photo_bytes(bytes, "IMG_1.jpg", &options) {
        Ok((photo, pixels)) => {
            assert_eq!(photo.sha256, hex(&Sha256::digest(bytes)));
            let area = u64::from(photo.width) * u64::from(photo.height);
            assert!((1..=options.max_pixels).contains(&area), "{area} pixels");
            let (width, height) = pixels.rgb.dimensions();
            assert!(width.max(height) <= WORKING_LONG_SIDE, "{width} x {height}");
            InspectLine::of_photo(&photo, &Quality::new(&pixels))
        }
        Err(rejected) => {
            assert!(!rejected.reason.is_empty(), "a refusal says why");
            if let Some(stated) = &rejected.sha256 {
                assert_eq!(*stated, hex(&Sha256::digest(bytes)));
            }
            InspectLine::of_rejected(&rejected)
        }
    };
    assert_inert(&line.to_text());
    let text = line.to_json();
    assert_eq!(text.trim_end().lines().count(), 1, "one line a photo");
    let again: InspectLine = serde_json::from_str(&text).expect("what is written can be read");
    assert_eq!(again, line);
}

const SMALL: &[u8] = include_bytes!("../fixtures/hostile/small/small.jpg");

/// The small photo with one APP1 segment more, up to its picture, so that no time goes into decoding that.
fn with_segment(header: &[u8], bytes: &[u8]) -> Vec<u8> {
    let bytes = bytes.get(..65_000).unwrap_or(bytes);
    let length = u16::try_from(2 + header.len() + bytes.len()).unwrap_or(u16::MAX);
    let mut file = vec![0xFF, 0xD8, 0xFF, 0xE1];
    file.extend(length.to_be_bytes());
    file.extend(header);
    file.extend(bytes);
    let scan = SMALL.windows(2).position(|two| two == [0xFF, 0xDA]);
    file.extend(
        SMALL
            .get(2..scan.unwrap_or(SMALL.len()))
            .unwrap_or_default(),
    );
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

/// `job.toml`, and all that is printed of it before there are photos. A remark at the end changes nothing.
pub(crate) fn job_sheet(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    // Beside the fixtures, whose profile a sheet may name.
    let path = seeds::fixtures("job-sheets/good/job.toml");
    let sheet = match JobSheet::parse(&text, &path) {
        Ok(sheet) => sheet,
        Err(error) => {
            let said = error.to_string();
            assert!(!said.is_empty(), "a refusal says why");
            assert_inert(&said);
            return;
        }
    };
    let longer = JobSheet::parse(&format!("{text}\n# end\n"), &path).expect("a remark");
    assert_eq!(format!("{sheet:?}"), format!("{longer:?}"));
    let list = ShotList::for_job(&sheet);
    assert_inert(&list.to_text());
    assert!(list.to_json().is_ok() && list.to_html().is_ok());
    let tally = tally(&sheet, &["Kitchen/before/a.jpg".to_owned()]);
    assert_inert(&tally.to_text());
    let _ = tally.to_json();
}

/// The text of a file that holds this waiver.
fn written(waiver: &Waiver) -> String {
    let mut entry = toml::Table::new();
    for (name, text) in [
        ("check", &waiver.check),
        ("who", &waiver.who),
        ("why", &waiver.why),
    ] {
        entry.insert(name.to_owned(), text.clone().into());
    }
    entry.insert("until".to_owned(), waiver.until.to_string().into());
    match &waiver.reach {
        Reach::WholeJob => entry.insert("whole_job".to_owned(), true.into()),
        Reach::Area(area) => entry.insert("area".to_owned(), area.clone().into()),
        Reach::Photos(photos) => {
            let photos: Vec<String> = photos.iter().cloned().collect();
            entry.insert("photos".to_owned(), photos.into())
        }
    };
    let mut file = toml::Table::new();
    file.insert("waiver".to_owned(), vec![toml::Value::Table(entry)].into());
    file.to_string()
}

/// `waivers.toml`: names its lines, accepts nothing of another check, and comes back when written down again.
pub(crate) fn waivers(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let path = Path::new("waivers.toml");
    let set = match WaiverSet::parse(&text, path) {
        Ok(set) => set,
        Err(error) => {
            assert_inert(&error.to_string());
            return;
        }
    };
    let lines = text.split('\n').count();
    for waiver in set.waivers {
        assert!((1..=lines).contains(&waiver.line), "line {}", waiver.line);
        let other = Subject {
            check: &format!("{}-", waiver.check),
            area: Some("Kitchen"),
            photos: &["Kitchen/before/a.jpg"],
        };
        assert!(!waiver.covers(&other), "{waiver:?}");
        let mut again = WaiverSet::parse(&written(&waiver), path).expect("what is written");
        let mut again = again.waivers.pop().expect("one waiver");
        again.line = waiver.line;
        assert_eq!(again, waiver);
    }
}

/// A folder whose photos are `a.jpg` and `b.jpg`, with a label table; their labels.
fn labelled(table: &[u8]) -> Vec<Label> {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["a.jpg", "b.jpg"] {
        std::fs::write(folder.path().join(name), b"no picture").expect("written");
    }
    std::fs::write(folder.path().join("photos.csv"), table).expect("written");
    let read = ingest(
        folder.path(),
        &JobSheet::default(),
        &IngestOptions::default(),
        |_, _| (),
    );
    let (intake, _) = read.expect("a label table is never an error");
    assert_eq!((intake.rejected.len(), intake.ignored.len()), (2, 1));
    intake.rejected.into_iter().map(|file| file.label).collect()
}

/// `photos.csv` beside files of the names it may mention. The labels come back when written down again.
pub(crate) fn photos_csv(bytes: &[u8]) {
    let labels = labelled(bytes);
    let mut table = csv::Writer::from_writer(Vec::new());
    let mut row = |cells: [&str; 5]| table.write_record(cells).expect("memory");
    row(["file", "area", "phase", "caption", "view"]);
    for (name, label) in ["a.jpg", "b.jpg"].into_iter().zip(&labels) {
        let cell = |text: &Option<String>| text.clone().unwrap_or_default();
        let phase = label.phase.map_or("", |phase| phase.name());
        let [area, caption, view] = [&label.area, &label.caption, &label.view].map(cell);
        for text in [&area, &caption, &view] {
            assert_inert(text);
        }
        row([name, &area, phase, &caption, &view]);
    }
    let again = labelled(&table.into_inner().expect("memory"));
    assert_eq!(format!("{again:?}"), format!("{labels:?}"));
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
        assert_inert(&stamp.to_text().unwrap_or_default());
        if let Some(moment) = stamp.civil() {
            assert_eq!(stamp.date(), Some(moment.date()));
        }
    }
}

/// A ledger file: opened, listed, counted, searched, written to. What is no ledger keeps its bytes; what is recorded is found.
pub(crate) fn ledger_file(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("ledger.db");
    std::fs::write(&path, bytes).expect("written");
    let Ok(mut ledger) = ledger::open(&path.to_string_lossy()) else {
        let left = std::fs::read(&path).expect("it is still there");
        assert!(left == bytes, "a refused file is left as it is");
        return;
    };
    for job in ledger.jobs().unwrap_or_default() {
        let _ = ledger.photos(&job.job);
    }
    let _ = ledger.stats();
    let _ = ledger.find(&Shelf::default(), None);
    let job = ledger::JobRecord {
        job: "fuzz".to_owned(),
        vendor: None,
        photos: Vec::new(),
    };
    if ledger.record_job(&job).is_ok()
        && let Ok(jobs) = ledger.jobs()
    {
        assert!(jobs.iter().any(|entry| entry.job == "fuzz"), "{jobs:?}");
    }
}

/// An entry of the cache: a changed one is never believed, and measures that are decoded come back when written again.
pub(crate) fn cache_entry(bytes: &[u8]) {
    assert!(trial::believed(bytes).is_none(), "another key");
    let (edits, content) = bytes.split_at(bytes.len().min(6));
    let entry = trial::entry(content);
    assert_eq!(trial::believed(&entry).as_deref(), Some(content));
    let mut changed = entry.clone();
    for edit in edits.chunks_exact(3) {
        let [high, low, value] = [0, 1, 2].map(|at| usize::from(edit[at]));
        let at = (256 * high + low) % changed.len();
        changed[at] ^= u8::try_from(value).unwrap_or_default();
    }
    if changed != entry {
        assert_eq!(trial::believed(&changed), None, "a changed entry");
    }
    if let Some(once) = trial::measures(content) {
        assert_eq!(trial::measures(&once).as_ref(), Some(&once));
    }
}

/// Paths that stay below the job folder.
fn assert_inside(path: &str) {
    let leads_out = |part: &str| matches!(part, "" | "." | "..");
    assert!(!path.split('/').any(leads_out), "{path:?}");
    assert!(!path.contains(['\\', '\0']), "{path:?}");
}

/// A .zip of a job folder: every entry stands in one list, and no path that is read leads out.
pub(crate) fn zip(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("job.zip");
    std::fs::write(&path, bytes).expect("written");
    let _ = job_sheet_text(&path, 1 << 20);
    let read = ingest(
        &path,
        &JobSheet::default(),
        &IngestOptions::default(),
        |photo, _| photo.path.clone(),
    );
    if let Ok((intake, seen)) = read {
        let photos: Vec<&String> = intake.photos.iter().map(|photo| &photo.path).collect();
        assert_eq!(photos, seen.iter().collect::<Vec<_>>());
        assert!(
            photos.is_sorted_by(|a, b| a < b),
            "no path twice: {photos:?}"
        );
        photos.into_iter().for_each(|path| assert_inside(path));
        for file in intake.rejected.iter().filter(|file| file.sha256.is_some()) {
            assert_inside(&file.path);
        }
    }
    let left = std::fs::read_dir(folder.path()).expect("a folder").count();
    assert_eq!(left, 1, "nothing is unpacked to disk");
}
