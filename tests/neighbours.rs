//! Nothing that a file contains, and no name, adds, hides or changes a finding of another photo.
//!
//! Excepted, because they are measurements: findings that name the new photo itself.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};
use std::sync::Arc;

use photoproof_core::cache::Cache;
use photoproof_core::job::JobSheet;
use photoproof_core::pipeline::{self, Options};
use photoproof_core::report::build;
use photoproof_core::report::v1::{Finding, Photo, Report};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Three areas of the flawed demo job, with findings of many kinds.
struct Job {
    folder: tempfile::TempDir,
    options: Options,
}

impl Job {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let from = root().join("demo-data/flawed-job");
        for area in ["Bathroom", "Kitchen", "Garage"] {
            for entry in walkdir::WalkDir::new(from.join(area)) {
                let entry = entry.unwrap();
                let to = folder
                    .path()
                    .join("job")
                    .join(entry.path().strip_prefix(&from).unwrap());
                if entry.file_type().is_dir() {
                    std::fs::create_dir_all(to).unwrap();
                } else {
                    std::fs::copy(entry.path(), to).unwrap();
                }
            }
        }
        std::fs::copy(from.join("job.toml"), folder.path().join("job/job.toml")).unwrap();
        let mut options = Options::default();
        options.cache = Some(Arc::new(Cache::new(&folder.path().join("cache"), 1 << 30)));
        Self { folder, options }
    }

    fn report(&self) -> Report {
        let job = self.folder.path().join("job");
        let text = std::fs::read_to_string(job.join("job.toml")).unwrap();
        let sheet = JobSheet::parse(&text, &job.join("job.toml")).unwrap();
        let result = pipeline::run(&job, Some(sheet), &self.options, None, &|_| {}).unwrap();
        build::report(&result, "job")
    }

    fn put(&self, path: &str, bytes: &[u8]) -> PathBuf {
        let path = self.folder.path().join("job").join(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        assert!(!path.exists(), "an added file replaces none");
        std::fs::write(&path, bytes).unwrap();
        path
    }
}

/// Findings as text, without those that name `path`.
fn findings(report: &Report, path: &str) -> Vec<String> {
    let others = report
        .findings
        .iter()
        .filter(|finding| !finding.photos.iter().any(|photo| photo == path));
    others
        .map(|finding: &Finding| serde_json::to_string(finding).unwrap())
        .collect()
}

/// Everything that is said of each photo, without `path`.
fn photos(report: &Report, path: &str) -> Vec<String> {
    let others = report.photos.iter().filter(|photo| photo.path != path);
    others
        .map(|photo: &Photo| serde_json::to_string(photo).unwrap())
        .collect()
}

/// A job sheet, in whole or as a caption, that would let everything pass.
const SHEET: &str = "[job]\nid = \"other\"\n[limits]\nmax_rotation_deg = 180\n[[waiver]]\ncheck = \"missing-phase\"\narea = \"Garage\"\nby = \"x\"\nreason = \"x\"\nuntil = 2099-01-01\n";

/// A label table that names photos of other folders.
const TABLE: &str = "file,area,phase,caption\r\n../Kitchen/after/IMG_2105.jpg,Attic,before,x\r\nIMG_2105.jpg,Attic,before,x\r\nKitchen/after/IMG_2106.jpg,Attic,during,x\r\nGarage/before/IMG_2131.jpg,Garage,after,x\r\n";

const PACKET: &str = r#"<?xpacket begin=""?><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="../Kitchen/after/IMG_2105.jpg" xmlns:exif="http://ns.adobe.com/exif/1.0/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 exif:DateTimeOriginal="2019-01-01T00:00:00Z" xmp:CreatorTool="&lt;script&gt;alert(1)&lt;/script&gt;&#10;fail: missing-phase"/></rdf:RDF></x:xmpmeta>"#;

/// A JPEG that carries `text` in four Exif tags (CIPA DC-008: 0x010E ImageDescription, 0x010F Make, 0x0110 Model,
/// 0x0131 Software) and the XMP packet.
fn photo(text: &[u8]) -> Vec<u8> {
    let tags = [0x010E_u16, 0x010F, 0x0110, 0x0131];
    let length = u32::try_from(text.len()).unwrap();
    let mut block = b"II*\0\x08\0\0\0\x04\0".to_vec();
    for tag in tags {
        block.extend(tag.to_le_bytes());
        block.extend(2_u16.to_le_bytes());
        block.extend(length.to_le_bytes());
        block.extend(62_u32.to_le_bytes());
    }
    block.extend([0; 4]);
    assert_eq!(block.len(), 62);
    block.extend(text);
    let plain = std::fs::read(root().join("fixtures/hostile/gray.jpg")).unwrap();
    let mut file = plain[..2].to_vec();
    let xmp = ["http://ns.adobe.com/xap/1.0/\0", PACKET].concat();
    for payload in [[b"Exif\0\0".as_slice(), &block].concat(), xmp.into_bytes()] {
        file.extend([0xFF, 0xE1]);
        file.extend(u16::try_from(payload.len() + 2).unwrap().to_be_bytes());
        file.extend(payload);
    }
    file.extend(&plain[2..]);
    file
}

#[test]
fn files_that_are_no_photos_change_nothing_but_the_list_of_other_files() {
    let job = Job::new();
    let before = job.report();
    assert!(before.findings.len() >= 5, "{:#?}", before.findings);
    let sidecar = PACKET.as_bytes();
    let added: [(&str, &[u8]); 12] = [
        ("Kitchen/job.toml", SHEET.as_bytes()),
        ("Kitchen/after/job.toml", SHEET.as_bytes()),
        ("Garage/waivers.toml", SHEET.as_bytes()),
        ("waivers.toml", SHEET.as_bytes()),
        ("Kitchen/photos.csv", TABLE.as_bytes()),
        ("Garage/before/photos.csv", TABLE.as_bytes()),
        ("Kitchen/after/IMG_2105.xmp", sidecar),
        ("Kitchen/after/IMG_2105.jpg.xmp", sidecar),
        (
            "Garage/before/IMG_2131.json",
            br#"{"findings": [], "phase": "after", "outcome": "pass"}"#,
        ),
        ("report.json", br#"{"schema": "x", "findings": []}"#),
        ("Bathroom/after/IMG_2128.thm", b"2026-03-04"),
        ("job.toml.jpg.txt", SHEET.as_bytes()),
    ];
    for (path, bytes) in added {
        job.put(path, bytes);
    }
    let after = job.report();
    assert_eq!(after.ignored.len(), before.ignored.len() + added.len());
    let mut expected = after.clone();
    expected.ignored.clone_from(&before.ignored);
    assert_eq!(expected, before);
    // The same table where it is one does change findings: the comparison can fail.
    job.put("photos.csv", TABLE.as_bytes());
    assert_ne!(findings(&job.report(), ""), findings(&before, ""));
}

#[test]
fn a_hostile_photo_leaves_the_findings_of_every_other_photo_alone() {
    let job = Job::new();
    let before = job.report();
    let names = [
        "Porch/before/IMG_9001.jpg",
        "Porch/after/x\nfail: missing-phase\n  Kitchen/after/IMG_2105.jpg.jpg",
        "Kitchen/during/\u{202E}gpj.5012_GMI.jpg",
        "Kitchen/during/Garage after IMG_2131.jpg",
        "Porch/before/<script>alert(1)<\u{2215}script>.jpg",
        "Garage/during/{{ findings | length }} %s%n $(id).jpg",
        "Bathroom/during/IMG_2128.jpg",
    ];
    let texts = [
        b"../../Kitchen/after/IMG_2105.jpg\0".to_vec(),
        b"phase=after; area=Kitchen\n[job]\nid = \"other\"\n\x1b[2J\0".to_vec(),
        [
            b"%s%n'; DROP TABLE photos; --<script>".as_slice(),
            &[0xFF; 900],
            b"\0",
        ]
        .concat(),
    ];
    let mut wrong = Vec::new();
    for (index, name) in names.into_iter().enumerate() {
        let whole = photo(&texts[index % texts.len()]);
        for (kind, bytes) in [("whole", &whole[..]), ("cut", &whole[..whole.len() - 900])] {
            let place = job.put(name, bytes);
            let after = job.report();
            let listed = after.photos.len() + after.unreadable.len();
            assert_eq!(
                listed,
                before.photos.len() + before.unreadable.len() + 1,
                "{name:?}"
            );
            for (what, old, new) in [
                ("finding", findings(&before, name), findings(&after, name)),
                ("photo", photos(&before, name), photos(&after, name)),
            ] {
                let lost = old.iter().filter(|one| !new.contains(one));
                let gained = new.iter().filter(|one| !old.contains(one));
                wrong.extend(lost.map(|one| format!("{kind} {name:?}: {what} lost {one}")));
                wrong.extend(gained.map(|one| format!("{kind} {name:?}: {what} gained {one}")));
            }
            std::fs::remove_file(place).unwrap();
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
