//! Files and folders from strangers: nothing may crash, hang, eat the machine or go unaccounted for.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use photoproof_core::ErrorKind;
use photoproof_core::ingest::{IngestOptions, Intake, Photo, Pixels, Rejected, ingest, read_photo};
use photoproof_core::job::JobSheet;

fn fixtures() -> PathBuf {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/hostile")).to_path_buf()
}

fn read(name: &str) -> Vec<u8> {
    std::fs::read(fixtures().join(name)).unwrap()
}

/// Reads bytes as if they were a file of this name.
fn inspect(folder: &Path, name: &str, bytes: &[u8]) -> Result<(Photo, Pixels), Box<Rejected>> {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    let start = Instant::now();
    let read = read_photo(&path, name, &IngestOptions::default());
    let took = start.elapsed();
    assert!(took < Duration::from_secs(5), "{name} took {took:?}");
    read
}

fn take(root: &Path) -> Intake {
    ingest(
        root,
        &JobSheet::default(),
        &IngestOptions::default(),
        |_, _| (),
    )
    .unwrap()
    .0
}

const READABLE: [(&str, &str); 14] = [
    ("baseline.jpg", "jpeg"),
    ("progressive.jpg", "jpeg"),
    ("restart.jpg", "jpeg"),
    ("full_chroma.jpg", "jpeg"),
    ("gray.jpg", "jpeg"),
    ("cmyk.jpg", "jpeg"),
    ("rgb.png", "png"),
    ("palette.png", "png"),
    ("alpha.png", "png"),
    ("gray16.png", "png"),
    ("lossy.webp", "webp"),
    ("lossless.webp", "webp"),
    ("rgb.tif", "tiff"),
    ("cmyk.tif", "tiff"),
];

/// Mean colour of the middle of a quarter of the picture.
fn mean(pixels: &Pixels, right: bool, low: bool) -> [f64; 3] {
    let (width, height) = pixels.rgb.dimensions();
    let (x0, y0) = (
        width / 8 + if right { width / 2 } else { 0 },
        height / 8 + if low { height / 2 } else { 0 },
    );
    let mut sum = [0.0; 3];
    for y in y0..y0 + height / 4 {
        for x in x0..x0 + width / 4 {
            let pixel = pixels.rgb.get_pixel(x, y).0;
            for (total, value) in sum.iter_mut().zip(pixel) {
                *total += f64::from(value);
            }
        }
    }
    sum.map(|total| total / f64::from(width / 4 * (height / 4)))
}

/// The four quarters are red, green, blue and light gray by construction (fixtures/hostile/make.py).
#[test]
fn every_kind_of_picture_shows_its_colours() {
    let colours = [
        [200.0, 30.0, 40.0],
        [40.0, 180.0, 60.0],
        [30.0, 50.0, 190.0],
        [210.0; 3],
    ];
    for (name, format) in READABLE {
        let read = read_photo(&fixtures().join(name), name, &IngestOptions::default());
        let (photo, pixels) = read.unwrap_or_else(|rejected| panic!("{name}: {}", rejected.reason));
        assert_eq!(
            (photo.format.as_str(), photo.width, photo.height),
            (format, 160, 120),
            "{name}"
        );
        assert_eq!(photo.problems, Vec::<String>::new(), "{name}");
        let gray = name.starts_with("gray");
        for (index, expected) in colours.iter().enumerate() {
            let found = mean(&pixels, index % 2 == 1, index > 1);
            // BT.601 luma, as Pillow converts to gray.
            let luma = 0.299 * expected[0] + 0.587 * expected[1] + 0.114 * expected[2];
            let expected = if gray { [luma; 3] } else { *expected };
            for (found, expected) in found.iter().zip(expected) {
                assert!(
                    (found - expected).abs() < 6.0,
                    "{name} {index}: {found:.0} for {expected:.0}"
                );
            }
        }
    }
}

#[test]
fn metadata_of_every_container_is_read() {
    for name in [
        "baseline.jpg",
        "progressive.jpg",
        "rgb.png",
        "lossy.webp",
        "rgb.tif",
        "photo.heic",
        "photo.avif",
    ] {
        let read = read_photo(&fixtures().join(name), name, &IngestOptions::default());
        let photo = match read {
            Ok((photo, _)) => photo,
            Err(rejected) => *rejected
                .facts
                .unwrap_or_else(|| panic!("{name}: {}", rejected.reason)),
        };
        let time = photo
            .capture_time
            .unwrap_or_else(|| panic!("{name} has a time"));
        assert_eq!(time.to_text(), "2026-03-02T14:15:02.250-06:00", "{name}");
        assert_eq!(photo.camera.make.as_deref(), Some("Example"), "{name}");
        // AVIF turns pictures by a property of the container; the program that wrote the fixture left
        // the Exif tag out.
        let orientation = (name != "photo.avif").then_some(1);
        assert_eq!(photo.orientation, orientation, "{name}");
    }
}

#[test]
fn a_cut_off_photo_is_refused_as_truncated_wherever_it_is_cut() {
    let folder = tempfile::tempdir().unwrap();
    let mut wrong = Vec::new();
    for (name, _) in READABLE {
        let whole = read(name);
        for percent in (4..100).step_by(3) {
            let cut = &whole[..whole.len() * percent / 100];
            match inspect(folder.path(), name, cut) {
                Ok(_) => wrong.push(format!("{name} cut to {percent} % is taken for whole")),
                Err(rejected) => {
                    let reason = &rejected.reason;
                    let jpeg = name.ends_with("jpg");
                    let says =
                        reason.contains("truncated") || (!jpeg && reason.contains("damaged"));
                    if !says || rejected.sha256.is_none() {
                        wrong.push(format!("{name} cut to {percent} %: {reason}"));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// A copying program that closes a half-copied JPEG with an end marker hides the loss from decoders.
#[test]
fn a_jpeg_closed_after_the_cut_is_refused_too() {
    let folder = tempfile::tempdir().unwrap();
    for name in [
        "baseline.jpg",
        "restart.jpg",
        "full_chroma.jpg",
        "gray.jpg",
        "cmyk.jpg",
    ] {
        let whole = read(name);
        for percent in [30, 50, 70, 90, 97] {
            let mut cut = whole[..whole.len() * percent / 100].to_vec();
            if cut.last() == Some(&0xFF) {
                cut.pop();
            }
            cut.extend_from_slice(&[0xFF, 0xD9]);
            let read = inspect(folder.path(), name, &cut);
            assert!(
                read.is_err(),
                "{name} cut to {percent} % and closed is taken for whole"
            );
        }
    }
}

/// A PNG that declares a huge picture in a few bytes; header checksum by the PNG specification, annex D.
fn declared_png(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\x0d".to_vec();
    let mut header = b"IHDR".to_vec();
    header.extend(width.to_be_bytes());
    header.extend(height.to_be_bytes());
    header.extend([8, 6, 0, 0, 0]);
    let mut sum = u32::MAX;
    for byte in &header {
        sum ^= u32::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 {
                (sum >> 1) ^ 0xEDB8_8320
            } else {
                sum >> 1
            };
        }
    }
    bytes.extend(&header);
    bytes.extend((!sum).to_be_bytes());
    bytes.extend(b"\0\0\0\x01IDAT\0\0\0\0\0");
    bytes
}

#[test]
fn pictures_that_declare_too_much_are_refused_before_decoding() {
    let folder = tempfile::tempdir().unwrap();
    let refused =
        |name: &str, bytes: &[u8]| inspect(folder.path(), name, bytes).unwrap_err().reason;
    let reason = refused("bomb.png", &declared_png(60_000, 60_000));
    assert!(reason.contains("larger than the bound"), "{reason}");
    let reason = refused("wide.png", &declared_png(4_000_000_000, 1));
    assert!(reason.contains("larger than the bound"), "{reason}");
    let reason = refused("alpha.png", &declared_png(10_900, 10_900));
    assert!(reason.contains("memory"), "{reason}");
    // The frame header of a real JPEG, told to be 65 500 x 65 500.
    let mut jpeg = read("baseline.jpg");
    let at = jpeg
        .windows(2)
        .position(|pair| pair == [0xFF, 0xC0])
        .unwrap();
    jpeg[at + 5..at + 9].copy_from_slice(&[0xFF, 0xDC, 0xFF, 0xDC]);
    let reason = refused("bomb.jpg", &jpeg);
    assert!(reason.contains("larger than the bound"), "{reason}");
    jpeg[at + 5..at + 9].fill(0);
    assert!(refused("zero.jpg", &jpeg).contains("empty"));
}

#[test]
fn a_folder_of_odd_files_is_accounted_for_to_the_last() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let photo = read("baseline.jpg");
    let put = |name: &str, bytes: &[u8]| {
        let path = root.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    };
    put("Kitchen/before/good.jpg", &photo);
    put("Kitchen/before/png named.jpg", &read("rgb.png"));
    put("Kitchen/before/no extension", &photo);
    put("Kitchen/before/a\nb\u{202E}c.jpg", &photo);
    put("con.jpg", &photo);
    put(&format!("{}.jpg", "x".repeat(250)), &photo);
    put("case.jpg", &photo);
    put("CASE.JPG", &photo);
    put("caf\u{e9}.jpg", &photo);
    put("cafe\u{301}.jpg", &photo);
    put("empty.jpg", b"");
    put("text.jpg", b"this is no picture");
    put("zip.jpg", b"PK\x03\x04rest");
    put("picture.gif", &read("picture.gif"));
    put("half.jpg", &photo[..photo.len() / 2]);
    put("notes.txt", b"hello");
    put("clip.mp4", b"\0\0\0\x18ftypisom\0\0\0\0isommp42");
    put("Thumbs.db", b"x");
    put(".hidden.jpg", &photo);
    let large = std::fs::File::create(root.join("large.txt")).unwrap();
    large.set_len(5 << 30).unwrap();
    let mut large = std::fs::File::create(root.join("large.jpg")).unwrap();
    large.write_all(&photo).unwrap();
    large.set_len(150 << 20).unwrap();
    let intake = take(root);
    assert_eq!(intake.photos.len(), 10, "{:?}", paths(&intake));
    let reasons: Vec<String> = intake
        .rejected
        .iter()
        .map(|file| format!("{}: {}", file.path, file.reason))
        .collect();
    assert_eq!(reasons.len(), 6, "{reasons:#?}");
    assert!(
        reasons
            .iter()
            .any(|text| text.contains("the file is empty"))
    );
    assert!(reasons.iter().any(|text| text.contains("150 MiB")));
    assert!(intake.rejected.iter().all(|file| file.sha256.is_some()));
    assert_eq!(intake.ignored.len(), 5, "{:?}", intake.ignored);
    let named = intake
        .photos
        .iter()
        .find(|photo| photo.path.ends_with("png named.jpg"))
        .unwrap();
    assert!(
        named
            .problems
            .iter()
            .any(|text| text.contains("content is png"))
    );
}

fn paths(intake: &Intake) -> Vec<&str> {
    intake
        .photos
        .iter()
        .map(|photo| photo.path.as_str())
        .collect()
}

#[cfg(unix)]
#[test]
fn pipes_devices_and_links_are_left_out_with_a_reason() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("job");
    std::fs::create_dir(&root).unwrap();
    std::fs::write(root.join("good.jpg"), read("baseline.jpg")).unwrap();
    std::fs::write(folder.path().join("outside.jpg"), read("baseline.jpg")).unwrap();
    let pipe = root.join("pipe.jpg");
    assert!(
        std::process::Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap()
            .success()
    );
    std::os::unix::fs::symlink("..", root.join("loop")).unwrap();
    std::os::unix::fs::symlink("../outside.jpg", root.join("link.jpg")).unwrap();
    std::os::unix::fs::symlink("nowhere", root.join("dangling.jpg")).unwrap();
    let intake = take(&root);
    assert_eq!(paths(&intake), ["good.jpg"]);
    assert_eq!(intake.ignored.len(), 4, "{:?}", intake.ignored);
    // Named directly: a pipe is refused without waiting, a link to a photo is followed.
    let options = IngestOptions::default();
    assert!(read_photo(&pipe, "pipe.jpg", &options).is_err());
    assert!(read_photo(&root.join("loop"), "loop", &options).is_err());
    assert!(read_photo(Path::new("/dev/zero"), "zero.jpg", &options).is_err());
    assert!(read_photo(&root.join("link.jpg"), "link.jpg", &options).is_ok());
}

#[test]
fn one_photo_changes_nothing_about_another_and_threads_change_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    for index in 0..24 {
        let (name, _) = READABLE[index % READABLE.len()];
        let sub = root.join(["Kitchen/before", "Bath 1/after", "x"][index % 3]);
        std::fs::create_dir_all(&sub).unwrap();
        std::fs::write(sub.join(format!("{index}-{name}")), read(name)).unwrap();
    }
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| {
            let observe =
                |photo: &Photo, pixels: &Pixels| (photo.path.clone(), pixels.gray.as_raw().clone());
            ingest(
                root,
                &JobSheet::default(),
                &IngestOptions::default(),
                observe,
            )
            .unwrap()
        })
    };
    let (one, observed_one) = run(1);
    let (four, observed_four) = run(4);
    assert_eq!(format!("{one:?}"), format!("{four:?}"));
    assert_eq!(observed_one, observed_four);
    let order: Vec<&String> = observed_one.iter().map(|(path, _)| path).collect();
    assert!(order.windows(2).all(|pair| pair[0] < pair[1]));
    let alone = read_photo(
        &root.join("Kitchen/before/0-baseline.jpg"),
        "Kitchen/before/0-baseline.jpg",
        &IngestOptions::default(),
    );
    let together = one
        .photos
        .iter()
        .find(|photo| photo.path.ends_with("0-baseline.jpg"))
        .unwrap();
    assert_eq!(alone.unwrap().0.sha256, together.sha256);
}

#[test]
fn bounds_of_the_folder_are_errors_that_say_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    for index in 0..5 {
        std::fs::write(folder.path().join(format!("{index}.txt")), "x").unwrap();
    }
    let mut options = IngestOptions::default();
    options.max_files = 4;
    let error = ingest(folder.path(), &JobSheet::default(), &options, |_, _| ()).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::Bounds);
    assert!(error.to_string().contains("max_files"));
    let error = ingest(
        &folder.path().join("no"),
        &JobSheet::default(),
        &options,
        |_, _| (),
    )
    .unwrap_err();
    assert_eq!(error.kind(), ErrorKind::Io);
}

/// What must become of one odd file.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Answer {
    /// It is a photo like any other.
    Photo,
    /// It should be a photo and is none: a finding.
    Rejected,
    /// It is listed as another file.
    Ignored,
}

/// Name, content, what becomes of it, and a word of the reason.
type Odd = (&'static str, Vec<u8>, Answer, &'static str);

/// A TIFF whose length and width tags are told to be 1,000,000.
fn wide_tiff() -> Vec<u8> {
    let mut tiff = read("rgb.tif");
    for tag in [0x0100_u16, 0x0101] {
        let long = [&tag.to_le_bytes()[..], &[4, 0, 1, 0, 0, 0]].concat();
        let short = [&tag.to_le_bytes()[..], &[3, 0, 1, 0, 0, 0]].concat();
        let mut entries = tiff.windows(8);
        let at = entries.position(|eight| eight == long || eight == short);
        let at = at.expect("the tag");
        tiff[at + 2] = 4;
        tiff[at + 8..at + 12].copy_from_slice(&1_000_000_u32.to_le_bytes());
    }
    tiff
}

fn odd_pictures() -> Vec<Odd> {
    use Answer::{Photo, Rejected};
    let photo = read("baseline.jpg");
    let joined = |parts: &[&[u8]]| parts.concat();
    let noise = joined(&[&photo[..photo.len() - 400], &vec![0x55; 24 << 20]]);
    let fill = joined(&[&photo[..2], &vec![0xFF; 24 << 20]]);
    let segments = joined(&[&photo[..2], &b"\xFF\xEE\0\x02".repeat(4 << 20)]);
    // An extended WebP header that declares 16,777,216 pixels a side (RFC 9649, 2.7).
    let webp = joined(&[b"RIFF\x16\0\0\0WEBPVP8X\x0A\0\0\0\0\0\0\0", &[0xFF; 6]]);
    vec![
        ("endless scan.jpg", noise, Photo, ""),
        ("endless fill.jpg", fill, Rejected, ""),
        ("endless segments.jpg", segments, Rejected, ""),
        ("one byte.jpg", vec![0xFF], Rejected, ""),
        ("start only.jpg", vec![0xFF, 0xD8, 0xFF], Rejected, ""),
        ("wide.tif", wide_tiff(), Rejected, ""),
        ("wide.webp", webp, Rejected, ""),
        ("jpeg named.png", photo.clone(), Photo, ""),
        ("jpeg named.txt", photo, Photo, ""),
    ]
}

fn no_pictures() -> Vec<Odd> {
    use Answer::{Ignored, Photo, Rejected};
    let zip = b"PK\x03\x04\x14\0\0\0\0\0\0\0\0\0".repeat(40);
    let both = [read("baseline.jpg"), zip.clone()].concat();
    let page = b"<html><script>alert(1)</script>".to_vec();
    let bmp = b"BM\x3a\0\0\0\0\0\0\0\x36\0\0\0".to_vec();
    vec![
        ("picture and archive.jpg", both, Photo, ""),
        ("archive.jpg", zip.clone(), Rejected, "zip"),
        ("archive.txt", zip, Ignored, ""),
        ("page.jpg", page, Rejected, "in spite of its name"),
        ("nothing.jpg", Vec::new(), Rejected, "empty"),
        ("nothing.txt", Vec::new(), Ignored, ""),
        (
            "zeros.jpg",
            vec![0; 1 << 20],
            Rejected,
            "in spite of its name",
        ),
        ("old.bmp", bmp, Rejected, ""),
        ("photos.csv", vec![0xFF; 4096], Ignored, "label table"),
    ]
}

const ODD_NAMES: [&str; 10] = [
    "NUL.jpg",
    "COM1.before.jpg",
    "ends in a dot.jpg.",
    "a:b*c?d<e>f|g\".jpg",
    "back\\slash.jpg",
    "line\nbreak\r.jpg",
    "escape\u{1b}[31m.jpg",
    "right\u{202E}gpj.exe.jpg",
    "-rf.jpg",
    "~",
];

/// Each odd file alone beside a good photo: its list, a word of the reason, and the good photo untouched.
#[test]
fn every_odd_file_has_its_answer() {
    for (name, bytes, answer, word) in odd_pictures().into_iter().chain(no_pictures()) {
        check_alone(name, &bytes, (answer, word));
    }
    let photo = read("baseline.jpg");
    let long = format!("{}.jpg", "x".repeat(251));
    for name in ODD_NAMES.into_iter().chain([long.as_str()]) {
        check_alone(name, &photo, (Answer::Photo, ""));
    }
}

fn check_alone(name: &str, bytes: &[u8], (answer, word): (Answer, &str)) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("good.jpg"), read("baseline.jpg")).unwrap();
    let alone = format!("{:?}", take(folder.path()).photos[0]);
    std::fs::write(folder.path().join(name), bytes).unwrap();
    let start = Instant::now();
    let intake = take(folder.path());
    assert!(start.elapsed() < Duration::from_secs(5), "{name}");
    let good = intake.photos.iter().find(|photo| photo.path == "good.jpg");
    assert_eq!(
        format!("{:?}", good.unwrap()),
        alone,
        "{name} changed another photo"
    );
    let count = [
        intake.photos.len() - 1,
        intake.rejected.len(),
        intake.ignored.len(),
    ];
    let expected = match answer {
        Answer::Photo => [1, 0, 0],
        Answer::Rejected => [0, 1, 0],
        Answer::Ignored => [0, 0, 1],
    };
    let rejected = intake.rejected.iter().map(|file| file.reason.as_str());
    let ignored = intake.ignored.iter().map(|file| file.reason.as_str());
    let reason: String = rejected.chain(ignored).collect();
    assert_eq!(count, expected, "{name:?}: {reason}");
    assert!(reason.contains(word), "{name:?}: {reason}");
}

/// Only root may make a device node; elsewhere the command fails and the test says so.
#[cfg(target_os = "linux")]
#[test]
fn a_device_node_is_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let node = folder.path().join("zero.jpg");
    let made = std::process::Command::new("mknod")
        .arg(&node)
        .args(["c", "1", "5"])
        .output();
    if !made.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: device nodes cannot be made here");
        return;
    }
    let intake = take(folder.path());
    assert_eq!(intake.ignored.len(), 1);
    assert!(intake.ignored[0].reason.contains("not a regular file"));
}

/// The tables of faults name tests; each of them is there.
#[test]
fn every_fault_in_the_tables_names_a_test_that_exists() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut sources = String::new();
    for folder in ["tests", "photoproof-core/src"] {
        for entry in walkdir::WalkDir::new(root.join(folder)) {
            let path = entry.unwrap().into_path();
            if path.extension().is_some_and(|end| end == "rs") {
                sources.push_str(&std::fs::read_to_string(path).unwrap());
            }
        }
    }
    let document = std::fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let is_there = |name: &&str| {
        let places = ["", "photoproof-core/src", "fixtures"];
        let is_file = places.iter().any(|at| root.join(at).join(name).exists());
        is_file || sources.contains(&format!("fn {name}()"))
    };
    let mut rows = 0;
    for table in document.split("| fault | provoked by |").skip(1) {
        for row in table
            .lines()
            .skip(2)
            .take_while(|line| line.starts_with('|'))
        {
            let cell = row.split('|').nth(2).unwrap();
            let quoted = cell.split('`').skip(1).step_by(2);
            let names: Vec<&str> = quoted.filter(|name| name.contains(['_', '/'])).collect();
            assert!(!names.is_empty() || cell.contains("the same two"), "{row}");
            let targets = ["ledger_file"];
            let absent = names
                .iter()
                .find(|name| !targets.contains(name) && !is_there(name));
            assert_eq!(absent, None, "{row}");
            rows += 1;
        }
    }
    assert!(rows > 30, "{rows} rows");
}
