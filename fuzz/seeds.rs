//! What the fuzz targets start from: fixtures of the repository, read where they lie, and small files made here.

use std::path::{Path, PathBuf};

#[path = "../tests/support/zip_bytes.rs"]
mod zip_bytes;

/// Larger pictures only slow a fuzz target down.
const LARGEST: usize = 20_000;

/// Names and bytes of the seeds of a target.
pub(crate) fn of(target: &str) -> Vec<(String, Vec<u8>)> {
    let one = |name: &str, bytes: Vec<u8>| vec![(name.to_owned(), bytes)];
    match target {
        "decode" => {
            let mut seeds = files("hostile");
            seeds.extend(files("hostile/small"));
            seeds.retain(|(name, bytes)| {
                bytes.len() <= LARGEST && !name.ends_with(".py") && !name.ends_with(".md")
            });
            seeds
        }
        "exif" => one("block", exif()),
        "xmp" => one("packet", XMP.to_vec()),
        "job_sheet" => [files("job-sheets/good"), files("job-sheets/bad")].concat(),
        "waivers" => one("waivers", WAIVERS.to_vec()),
        "photos_csv" => one("table", TABLE.to_vec()),
        "stamp" => one("bars", bars()),
        "ledger_file" => one("ledger", ledger()),
        "cache_entry" => one("entry", cache_entry()),
        "zip" => one("job", archive()),
        other => panic!("no target {other}"),
    }
}

/// A place among the fixtures.
pub(crate) fn fixtures(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../fixtures")
        .join(folder)
}

/// The files of a folder of fixtures, sorted by name.
fn files(folder: &str) -> Vec<(String, Vec<u8>)> {
    let entries = std::fs::read_dir(fixtures(folder)).expect("fixtures");
    let mut found: Vec<(String, Vec<u8>)> = entries
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.is_file())
        .map(|path| {
            let name = path.file_name().expect("a name").to_string_lossy();
            (name.into_owned(), std::fs::read(&path).expect("a fixture"))
        })
        .collect();
    found.sort();
    found
}

/// An Exif block that names a time, a place and a camera: the one of the fixture.
fn exif() -> Vec<u8> {
    let photo = std::fs::read(fixtures("hostile/baseline.jpg")).expect("a fixture");
    let at = photo.windows(6).position(|six| six == b"Exif\0\0");
    let at = at.expect("an Exif block");
    let length = usize::from(u16::from_be_bytes([photo[at - 2], photo[at - 1]]));
    photo[at + 6..at - 2 + length].to_vec()
}

const XMP: &[u8] = br#"<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:exif="http://ns.adobe.com/exif/1.0/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 exif:DateTimeOriginal="2026-03-02T14:15:02.25-06:00" xmp:CreatorTool="Example &amp; Co"><exif:GPSLatitude>41,34.872N</exif:GPSLatitude>
</rdf:Description></rdf:RDF></x:xmpmeta>"#;

const WAIVERS: &[u8] = br#"[[waiver]]
check = "missing-angle"
area = "Kitchen"
who = "R. Example"
why = "locked"
until = 2026-04-01

[[waiver]]
check = "viewpoint-shift"
photos = ["Kitchen/after/a.jpg"]
who = "R. Example"
why = "a new wall"
until = "2026-04-01"
"#;

const TABLE: &[u8] = b"\xEF\xBB\xBFfile,area,phase,caption,view\r\na.jpg,Kitchen,before,\"sink, left\",corner-2\r\nb.jpg;x;;\r\n../c.jpg,,after\r\n";

/// Bright bars and dashes on grey, somewhat like print.
fn bars() -> Vec<u8> {
    let mut picture = vec![90_u8; 160 * 60];
    for x in (8..150).step_by(14) {
        for y in 30..48 {
            picture[y * 160 + x..y * 160 + x + 3].fill(250);
            picture[(29 + y % 3 * 8) * 160 + x..][..9].fill(250);
        }
    }
    picture
}

fn ledger() -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("ledger.db");
    let mut ledger = photoproof_core::ledger::open(&path.to_string_lossy()).expect("a ledger");
    let job = photoproof_core::ledger::JobRecord {
        job: "T-1".to_owned(),
        vendor: None,
        photos: Vec::new(),
    };
    ledger.record_job(&job).expect("recorded");
    drop(ledger);
    std::fs::read(&path).expect("a ledger")
}

/// The edits of the target, then the measures of a small photo as they are packed.
fn cache_entry() -> Vec<u8> {
    let photo = std::fs::read(fixtures("hostile/small/small.jpg")).expect("a fixture");
    let mut seed = b"\0\x60\x01\0\0\0".to_vec();
    seed.extend(photoproof_core::cache::trial::packed(&photo).expect("a photo"));
    seed
}

fn archive() -> Vec<u8> {
    let photo = std::fs::read(fixtures("hostile/gray.jpg")).expect("a fixture");
    zip_bytes::archive(&[
        zip_bytes::deflated("Kitchen/before/a.jpg", &photo),
        zip_bytes::stored("Kitchen/after/b.jpg", &photo),
        zip_bytes::stored("job.toml", b"[job]\nid = \"T-1\"\n"),
    ])
}
