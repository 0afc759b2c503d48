//! The ledger: exact search, replacing, forgetting, many writers, killed writers.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use image::{RgbImage, imageops};
use photoproof_core::ingest::Pixels;
use photoproof_core::ledger::{JobRecord, Ledger, MAX_DISTANCE, PhotoRecord, SqliteLedger, open};
use photoproof_core::measure::{CopyKind, PhotoMeasures, measure_pixels};

fn draw(state: &mut u64) -> u64 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    *state
}

fn picture(seed: u64) -> RgbImage {
    let mut state = seed * 977 + 3;
    let mut out = RgbImage::from_pixel(400, 300, image::Rgb([180, 175, 160]));
    for _ in 0..120 {
        let (x, y) = (draw(&mut state) % 370, draw(&mut state) % 270);
        let (w, h) = (8 + draw(&mut state) % 40, 8 + draw(&mut state) % 40);
        let value = (draw(&mut state) % 230) as u8;
        for py in y..(y + h).min(300) {
            for px in x..(x + w).min(400) {
                out.put_pixel(
                    px as u32,
                    py as u32,
                    image::Rgb([value, value / 2 + 40, 90]),
                );
            }
        }
    }
    out
}

fn measures(picture: RgbImage, name: &str) -> PhotoMeasures {
    let (width, height) = picture.dimensions();
    measure_pixels(name.to_owned(), &Pixels::new(picture, width, height))
}

fn job(id: &str, photos: &[(&str, &PhotoMeasures)]) -> JobRecord {
    JobRecord {
        job: id.to_owned(),
        vendor: Some("Wren & Bracken Field Crew".to_owned()),
        photos: photos
            .iter()
            .map(|(path, m)| PhotoRecord::of_measures(path, m))
            .collect(),
    }
}

#[test]
fn a_copy_from_another_job_is_found_and_confirmed() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = SqliteLedger::open(&folder.path().join("used.db")).unwrap();
    let (a, b) = (measures(picture(1), "a"), measures(picture(2), "b"));
    ledger
        .record_job(&job(
            "WB-1",
            &[("kitchen/1.jpg", &a), ("kitchen/2.jpg", &b)],
        ))
        .unwrap();
    let same = ledger.find(&[&a], None).unwrap();
    assert_eq!(same.len(), 1);
    assert_eq!(
        (same[0].job.as_str(), same[0].photo.path.as_str()),
        ("WB-1", "kitchen/1.jpg")
    );
    assert_eq!(same[0].measure.as_ref().unwrap().kind, CopyKind::SameBytes);
    for (turned, transform) in [
        (imageops::flip_horizontal(&picture(2)), "mirrored"),
        (imageops::rotate90(&picture(2)), "turned 90"),
    ] {
        let leads = ledger.find(&[&measures(turned, "x")], None).unwrap();
        let measure = leads[0].measure.as_ref().unwrap();
        assert_eq!(leads[0].photo.path, "kitchen/2.jpg");
        assert_eq!(measure.transform, transform);
        assert!(measure.crop > 0.97 && measure.confidence > 0.5);
    }
    assert!(
        ledger
            .find(&[&measures(picture(3), "c")], None)
            .unwrap()
            .is_empty()
    );
}

#[test]
fn a_job_does_not_accuse_itself_and_is_replaced_as_a_whole() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = SqliteLedger::open(&folder.path().join("used.db")).unwrap();
    let (a, b) = (measures(picture(1), "a"), measures(picture(2), "b"));
    ledger
        .record_job(&job("WB-1", &[("1.jpg", &a), ("2.jpg", &b)]))
        .unwrap();
    let seen = ledger.photos("WB-1").unwrap()[0].first_seen.clone();
    assert!(ledger.find(&[&a, &b], Some("WB-1")).unwrap().is_empty());
    ledger
        .record_job(&job("WB-1", &[("renamed.jpg", &a)]))
        .unwrap();
    let photos = ledger.photos("WB-1").unwrap();
    assert_eq!(photos.len(), 1);
    assert_eq!(
        (photos[0].path.as_str(), &photos[0].first_seen),
        ("renamed.jpg", &seen)
    );
    assert_eq!(photos[0].hash, a.fingerprint.hashes[0]);
    assert!(ledger.find(&[&b], None).unwrap().is_empty());
    let stats = ledger.stats().unwrap();
    assert_eq!((stats.jobs, stats.photos), (1, 1));
}

#[test]
fn a_removed_job_is_forgotten() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let a = measures(picture(1), "5ec0ded1ge57");
    {
        let mut ledger = SqliteLedger::open(&path).unwrap();
        ledger
            .record_job(&job("WB-1", &[("secret-path.jpg", &a)]))
            .unwrap();
        assert!(ledger.remove_job("WB-1").unwrap());
        assert!(!ledger.remove_job("WB-1").unwrap());
        assert!(ledger.find(&[&a], None).unwrap().is_empty());
        assert!(ledger.jobs().unwrap().is_empty());
    }
    // Closing folds the log into the file; nothing of the job is left in it.
    let bytes = std::fs::read(&path).unwrap();
    for word in ["secret-path.jpg", "5ec0ded1ge57"] {
        assert!(
            !bytes.windows(word.len()).any(|w| w == word.as_bytes()),
            "{word} is left"
        );
    }
}

#[test]
fn the_search_equals_an_exhaustive_scan() {
    let folder = tempfile::tempdir().unwrap();
    let mut ledger = SqliteLedger::open(&folder.path().join("used.db")).unwrap();
    let base = measures(picture(5), "base");
    let mut state = 4242;
    let mut records = Vec::new();
    for i in 0..400usize {
        let mut record = PhotoRecord::of_measures(&format!("{i:04}.jpg"), &base);
        record.file_sha256 = format!("file {i}");
        record.pixel_sha256 = format!("pixels {i}");
        for _ in 0..i % 60 {
            let (bit, other) = (draw(&mut state) % 256, draw(&mut state) % 256);
            record.hash.gradient[(bit / 64) as usize] ^= 1 << (bit % 64);
            record.hash.cosine[(other / 64) as usize] ^= 1 << (other % 64);
        }
        records.push(record);
    }
    let expected: Vec<(String, u32)> = records
        .iter()
        .filter_map(|r| {
            let nearest = base
                .fingerprint
                .hashes
                .iter()
                .map(|h| h.distance(&r.hash))
                .min()?;
            (nearest <= MAX_DISTANCE).then(|| (r.path.clone(), nearest))
        })
        .collect();
    for (i, photos) in records.chunks(90).enumerate() {
        let photos = photos.to_vec();
        ledger
            .record_job(&JobRecord {
                job: format!("J{i}"),
                vendor: None,
                photos,
            })
            .unwrap();
    }
    let mut found: Vec<(String, u32)> = ledger
        .find(&[&base], None)
        .unwrap()
        .into_iter()
        .map(|lead| (lead.photo.path, lead.distance))
        .collect();
    found.sort();
    assert!(expected.len() > 100 && expected.len() < 400);
    assert_eq!(found, expected);
}

#[test]
fn sixteen_writers_at_once_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let base = measures(picture(7), "base");
    std::thread::scope(|scope| {
        for writer in 0..16 {
            let (path, base) = (&path, &base);
            scope.spawn(move || {
                let mut ledger = SqliteLedger::open(path).unwrap();
                for n in 0..3 {
                    ledger
                        .record_job(&job(
                            &format!("W{writer}-{n}"),
                            &[("1.jpg", base), ("2.jpg", base)],
                        ))
                        .unwrap();
                }
            });
        }
    });
    let ledger = SqliteLedger::open(&path).unwrap();
    let stats = ledger.stats().unwrap();
    assert_eq!((stats.jobs, stats.photos), (48, 96));
    for entry in ledger.jobs().unwrap() {
        assert_eq!(ledger.photos(&entry.job).unwrap().len(), 2);
    }
}

/// Not a test of its own: the writer that `killed_writers_leave_whole_jobs` starts and kills.
#[test]
fn writer_process() {
    let Some(path) = std::env::var_os("LEDGER_UNDER_TEST") else {
        return;
    };
    let name = std::env::var("LEDGER_WRITER").unwrap();
    let base = measures(picture(8), "base");
    let mut ledger = SqliteLedger::open(Path::new(&path)).unwrap();
    let photos: Vec<(&str, &PhotoMeasures)> = (0..40).map(|_| ("x.jpg", &base)).collect();
    for n in 0.. {
        ledger
            .record_job(&job(&format!("{name}-{n}"), &photos))
            .unwrap();
        println!("recorded {name}-{n}");
    }
}

#[test]
fn killed_writers_leave_whole_jobs() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let mut writers: Vec<_> = (0..4)
        .map(|i| {
            Command::new(std::env::current_exe().unwrap())
                .args(["--exact", "writer_process", "--nocapture"])
                .env("LEDGER_UNDER_TEST", &path)
                .env("LEDGER_WRITER", format!("K{i}"))
                .stdout(Stdio::piped())
                .stderr(Stdio::null())
                .spawn()
                .unwrap()
        })
        .collect();
    // Wait until all have had time to write, however slow the machine, then kill them one by one.
    let started = std::time::Instant::now();
    loop {
        let jobs = SqliteLedger::open(&path).unwrap().stats().unwrap().jobs;
        if jobs >= 12 {
            break;
        }
        assert!(
            started.elapsed() < Duration::from_secs(120),
            "the writers wrote nothing"
        );
        std::thread::sleep(Duration::from_millis(50));
    }
    for writer in &mut writers {
        std::thread::sleep(Duration::from_millis(37));
        writer.kill().unwrap();
    }
    let mut confirmed = Vec::new();
    for writer in writers {
        let output = writer.wait_with_output().unwrap();
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        // The last line may be cut off; whole lines were printed after the job was recorded.
        let whole = text.rsplit_once('\n').map_or("", |(whole, _)| whole);
        confirmed.extend(
            whole
                .lines()
                .filter_map(|l| l.strip_prefix("recorded "))
                .map(str::to_owned),
        );
    }
    let mut ledger = SqliteLedger::open(&path).unwrap();
    let jobs = ledger.jobs().unwrap();
    for name in &confirmed {
        assert!(jobs.iter().any(|j| &j.job == name), "{name} is lost");
    }
    for entry in &jobs {
        assert_eq!(
            ledger.photos(&entry.job).unwrap().len(),
            40,
            "{} is not whole",
            entry.job
        );
    }
    ledger
        .record_job(&job("after", &[("1.jpg", &measures(picture(9), "z"))]))
        .unwrap();
    assert!(!confirmed.is_empty());
}

#[test]
fn what_is_no_ledger_is_refused_and_kept() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("notes.txt");
    std::fs::write(
        &text,
        "not a database, but long enough to look at twice or more often".repeat(40),
    )
    .unwrap();
    let message = SqliteLedger::open(&text).unwrap_err().to_string();
    assert!(
        message.contains("notes.txt") && message.contains("not a ledger"),
        "{message}"
    );
    assert!(
        std::fs::read_to_string(&text)
            .unwrap()
            .starts_with("not a database")
    );
    assert!(open("postgres://nowhere/ledger").is_err());
    assert!(open(&folder.path().join("no/such/folder.db").to_string_lossy()).is_err());
}
