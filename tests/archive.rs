//! A .zip of a job folder: read like the folder, and nothing in it crashes, hangs, leads out or gets lost.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "support/zip_bytes.rs"]
mod zip_bytes;

use std::path::{Path, PathBuf};

use photoproof_core::ingest::{IngestOptions, Intake, ingest, job_sheet_text};
use photoproof_core::job::JobSheet;
use photoproof_core::{Error, ErrorKind};
use zip_bytes::{Member, archive, deflated, stored};

fn photo() -> Vec<u8> {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../fixtures/hostile/baseline.jpg"
    );
    std::fs::read(path).unwrap()
}

fn read(path: &Path, options: &IngestOptions) -> Result<Intake, Error> {
    ingest(path, &JobSheet::default(), options, |_, _| ()).map(|(intake, _)| intake)
}

fn saved(folder: &tempfile::TempDir, members: &[Member]) -> PathBuf {
    let path = folder.path().join("job.zip");
    std::fs::write(&path, archive(members)).unwrap();
    path
}

fn take(members: &[Member]) -> Intake {
    let folder = tempfile::tempdir().unwrap();
    let intake = read(&saved(&folder, members), &IngestOptions::default()).unwrap();
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
    assert_eq!(left.len(), 1, "nothing was written");
    intake
}

/// Paths of photos, of rejected and of ignored files.
fn listed(intake: &Intake) -> (Vec<&str>, Vec<&str>, Vec<&str>) {
    (
        intake
            .photos
            .iter()
            .map(|file| file.path.as_str())
            .collect(),
        intake
            .rejected
            .iter()
            .map(|file| file.path.as_str())
            .collect(),
        intake
            .ignored
            .iter()
            .map(|file| file.path.as_str())
            .collect(),
    )
}

#[test]
fn an_archive_is_read_as_the_folder_it_was_made_of() {
    let whole = photo();
    let files: [(&str, &[u8]); 9] = [
        ("Kitchen/before/a.jpg", &whole),
        ("Kitchen/after/b.JPG", &whole),
        ("Kitchen/after/half.jpg", &whole[..whole.len() / 2]),
        ("Kitchen/after/empty.jpg", b""),
        ("Caf\u{e9}/before/c\nd.jpg", &whole),
        (
            "photos.csv",
            b"file,area,phase\nKitchen/before/a.jpg,Pantry,after\n",
        ),
        ("notes.txt", b"hello"),
        (".hidden/x.jpg", &whole),
        ("a/b/c/d/e/f/g/h/i/j/k/l/m/n/o/p/q/x.jpg", &whole),
    ];
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        let path = folder.path().join("job").join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
    let expected = read(&folder.path().join("job"), &IngestOptions::default()).unwrap();
    assert_eq!(expected.photos.len(), 3);
    for top in ["", "job/", "other/"] {
        let mut members = vec![stored("__MACOSX/", b"")];
        for (index, (name, bytes)) in files.iter().enumerate() {
            let name = format!("{top}{name}");
            members.push(match index % 2 {
                0 => deflated(&name, bytes),
                _ => stored(&name, bytes),
            });
        }
        members.remove(0);
        let found = take(&members);
        assert_eq!(format!("{found:?}"), format!("{expected:?}"), "{top}");
    }
}

#[test]
fn one_area_alone_keeps_its_folder() {
    let intake = take(&[stored("Kitchen/before/a.jpg", &photo())]);
    assert_eq!(intake.photos[0].path, "Kitchen/before/a.jpg");
    assert_eq!(intake.photos[0].label.area.as_deref(), Some("Kitchen"));
}

/// Entries in an archive, and a word of the reason why they are not read.
type Odd = (Vec<Member>, &'static str);

fn encrypted(name: &str) -> Member {
    Member {
        flags: 0x801,
        ..stored(name, &photo())
    }
}

fn of_mode(name: &str, mode: u32) -> Member {
    Member {
        mode,
        ..stored(name, b"/etc/passwd")
    }
}

fn odd_names() -> Vec<Odd> {
    let whole = photo();
    let mut odd: Vec<Odd> = [
        "../out.jpg",
        "a/../../out.jpg",
        "..\\out.jpg",
        "/etc/out.jpg",
        "C:\\out.jpg",
        "out.jpg\0.jpg",
    ]
    .map(|name| (vec![stored(name, &whole)], "leads out"))
    .to_vec();
    let pair = |first: &str, second: &str| vec![stored(first, &whole), stored(second, b"x")];
    odd.push((pair("two.jpg", "two.jpg"), "2 files of this name"));
    odd.push((pair("two.jpg", "./two.jpg"), "2 files of this name"));
    odd.push((pair("both.jpg", "both.jpg/x.txt"), "a file and a folder"));
    odd
}

fn odd_contents() -> Vec<Odd> {
    let whole = photo();
    let lzma = Member {
        method: 14,
        ..stored("lzma.jpg", &whole)
    };
    let sum = Member {
        crc: 1,
        ..stored("crc.jpg", &whole)
    };
    let less = Member {
        size: 9_000,
        ..deflated("less.jpg", &whole[..2_000])
    };
    let more = Member {
        size: 1_000,
        ..deflated("more.jpg", &whole)
    };
    let sizes = Member {
        size: 7,
        ..stored("two sizes.jpg", &whole)
    };
    let noise = Member {
        packed: vec![0xFF; 90],
        ..deflated("noise.jpg", &whole)
    };
    let inner = stored("inner.jpg", &archive(&[stored("a.jpg", &whole)]));
    let odd = [
        (encrypted("secret.jpg"), "encrypted"),
        (deflated("bomb.jpg", &vec![0; 3 << 20]), "250 times"),
        (lzma, "is not read"),
        (sum, "cannot be read"),
        (less, "to less than"),
        (more, "larger than its declared"),
        (sizes, "two sizes"),
        (noise, "cannot be read"),
        (stored("empty.jpg", b""), "empty"),
        (inner, "zip"),
    ];
    odd.map(|(member, word)| (vec![member], word)).to_vec()
}

#[test]
fn every_photo_that_is_not_read_is_a_finding() {
    for (members, word) in odd_names().into_iter().chain(odd_contents()) {
        let intake = take(&members);
        let name = String::from_utf8_lossy(&members[0].name).into_owned();
        assert_eq!(intake.photos.len(), 0, "{name}");
        assert_eq!(intake.rejected.len(), 1, "{name}: {:?}", listed(&intake));
        let reason = &intake.rejected[0].reason;
        assert!(reason.contains(word), "{name}: {reason}");
    }
}

#[test]
fn every_other_entry_is_listed() {
    let ignored: Vec<(Member, &str)> = vec![
        (of_mode("link.jpg", 0o120_777), "link"),
        (of_mode("pipe.jpg", 0o010_644), "not a regular file"),
        (of_mode("device.jpg", 0o020_644), "not a regular file"),
        (stored("../out.txt", b"x"), "leads out"),
        (encrypted("secret.txt"), "encrypted"),
        (stored("inner.zip", &archive(&[])), "not a picture"),
        (stored("__MACOSX/._a.jpg", b"x"), "system"),
        (stored("", b"x"), "leads out"),
    ];
    for (member, word) in ignored {
        let name = String::from_utf8_lossy(&member.name).into_owned();
        let intake = take(&[stored("good.jpg", &photo()), member]);
        assert_eq!(listed(&intake).0, ["good.jpg"], "{name}");
        assert_eq!(intake.ignored.len(), 1, "{name}: {:?}", listed(&intake));
        let reason = &intake.ignored[0].reason;
        assert!(reason.contains(word), "{name}: {reason}");
    }
}

#[test]
fn odd_names_are_read_and_stay_apart() {
    let whole = photo();
    let names: [&[u8]; 7] = [
        b"a\xFF.jpg",
        b"caf\x82.jpg",
        "cafe\u{301}.jpg".as_bytes(),
        b"case.jpg",
        b"CASE.jpg",
        b"sub\\win.jpg",
        b"x.jpg ",
    ];
    let members: Vec<Member> = names
        .iter()
        .map(|name| Member {
            flags: 0,
            ..stored(name, &whole)
        })
        .collect();
    let intake = take(&members);
    let (photos, _, _) = listed(&intake);
    // Code page 437: 0x82 is e with acute, 0xFF a no-break space.
    let expected = [
        "CASE.jpg",
        "a\u{a0}.jpg",
        "cafe\u{301}.jpg",
        "caf\u{e9}.jpg",
        "case.jpg",
        "sub/win.jpg",
        "x.jpg ",
    ];
    assert_eq!(photos, expected);
}

#[test]
fn archives_beyond_the_bounds_are_refused_before_anything_is_unpacked() {
    let whole = photo();
    let folder = tempfile::tempdir().unwrap();
    let path = saved(&folder, &[stored("a.jpg", &whole), stored("b.jpg", &whole)]);
    let refused = |change: fn(&mut IngestOptions)| {
        let mut options = IngestOptions::default();
        change(&mut options);
        read(&path, &options).unwrap_err()
    };
    assert_eq!(
        refused(|options| options.max_files = 1).kind(),
        ErrorKind::Bounds
    );
    assert_eq!(
        refused(|options| options.max_archive_bytes = 1000).kind(),
        ErrorKind::Bounds
    );
    assert_eq!(
        refused(|options| options.max_archive_directory_bytes = 10).kind(),
        ErrorKind::Bounds
    );
    // Entries that share their packed bytes (Fifield, "A better zip bomb", 2019) declare more than there is.
    let mut members = vec![deflated("a.jpg", &vec![0; 1 << 20]); 40];
    for (index, member) in members.iter_mut().enumerate() {
        member.name = format!("{index:04}.jpg").into_bytes();
    }
    let mut bytes = archive(&members);
    let first = bytes
        .windows(4)
        .position(|four| four == b"PK\x01\x02")
        .unwrap();
    let size = 30 + 8 + members[0].packed.len();
    bytes.drain(size..first);
    let end = bytes.len() - 6;
    bytes[end..end + 4].copy_from_slice(&u32::try_from(size).unwrap().to_le_bytes());
    let mut at = size;
    while bytes[at..].starts_with(b"PK\x01\x02") {
        bytes[at + 42..at + 46].fill(0);
        at += 46 + 8;
    }
    std::fs::write(&path, bytes).unwrap();
    let error = read(&path, &IngestOptions::default())
        .unwrap_err()
        .to_string();
    assert!(error.contains("over one another"), "{error}");
}

#[test]
fn damaged_archives_are_errors_and_never_panic() {
    let whole = photo();
    let members = [
        deflated("Kitchen/before/a.jpg", &whole),
        stored("job.toml", b"[job]\n"),
    ];
    let bytes = archive(&members);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.zip");
    for cut in (0..bytes.len()).step_by(97) {
        std::fs::write(&path, &bytes[..cut]).unwrap();
        assert!(read(&path, &IngestOptions::default()).is_err(), "{cut}");
    }
    // One byte after another of what is not packed data.
    let (local, directory) = (50, bytes.len() - 200);
    for at in (0..local).chain(directory..bytes.len()) {
        for value in [0x00, 0x7F, 0xFF] {
            let mut changed = bytes.clone();
            changed[at] = value;
            std::fs::write(&path, &changed).unwrap();
            if let Ok(intake) = read(&path, &IngestOptions::default()) {
                let (photos, rejected, ignored) = listed(&intake);
                assert!(photos.len() + rejected.len() + ignored.len() <= 2);
            }
            let _ = job_sheet_text(&path, 1 << 20);
        }
    }
    for bytes in [&b""[..], b"PK", b"PK\x05\x06", b"hello, this is text"] {
        std::fs::write(&path, bytes).unwrap();
        assert!(read(&path, &IngestOptions::default()).is_err());
    }
    let text = folder.path().join("a.txt");
    std::fs::write(&text, "hello").unwrap();
    let error = read(&text, &IngestOptions::default()).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::Usage);
}

#[test]
fn the_job_sheet_is_found_in_the_archive() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = "[job]\nid = \"T-1\"\n".as_bytes();
    let text = |members: &[Member]| job_sheet_text(&saved(&folder, members), 1 << 20);
    assert_eq!(text(&[stored("a.txt", b"")]).unwrap(), None);
    for name in ["job.toml", "any/job.toml"] {
        assert!(
            text(&[deflated(name, sheet)])
                .unwrap()
                .unwrap()
                .contains("T-1")
        );
    }
    let link = Member {
        mode: 0o120_777,
        ..stored("job.toml", b"/etc/passwd")
    };
    let encrypted = Member {
        flags: 0x801,
        ..stored("job.toml", sheet)
    };
    for member in [
        link,
        encrypted,
        stored("job.toml", b"\xFF"),
        stored("job.toml", &vec![b' '; 2 << 20]),
    ] {
        assert_eq!(text(&[member]).unwrap_err().kind(), ErrorKind::JobSheet);
    }
}
