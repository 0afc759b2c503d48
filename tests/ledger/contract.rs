//! What every ledger promises, tested on each back end.

use std::time::Duration;

use image::imageops;
use photoproof_core::ledger::{
    Claim, JobRecord, Ledger, MAX_DISTANCE, PhotoRecord, SqliteLedger, open,
};
use photoproof_core::measure::phash::{PerceptualHash, TurnedHashes};
use photoproof_core::measure::{CopyKind, PhotoMeasures, Shelf};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

use super::{draw, job, measures, picture};

/// Runs `test` with the location of an empty ledger of each kind.
fn on_each(name: &str, test: impl Fn(&str)) {
    let folder = tempfile::tempdir().unwrap();
    test(&folder.path().join(name).to_string_lossy());
    #[cfg(feature = "postgres")]
    if let Some(server) = super::server::shared() {
        test(&server.database(name));
    }
}

#[test]
fn a_copy_from_another_job_is_found_and_confirmed() {
    on_each("copy", |location| {
        let mut ledger = open(location).unwrap();
        let (a, b) = (measures(picture(1), "a"), measures(picture(2), "b"));
        let photos = [("kitchen/1.jpg", &a), ("kitchen/2.jpg", &b)];
        ledger.record_job(&job("WB-1", &photos)).unwrap();
        let same = ledger.find(&[&a].into_iter().collect(), None).unwrap();
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
            let leads = ledger
                .find(&[&measures(turned, "x")].into_iter().collect(), None)
                .unwrap();
            let measure = leads[0].measure.as_ref().unwrap();
            assert_eq!(leads[0].photo.path, "kitchen/2.jpg");
            assert_eq!(measure.transform, transform);
            assert!(measure.crop > 0.97 && measure.confidence > 0.5);
        }
        let other = measures(picture(3), "c");
        assert!(
            ledger
                .find(&[&other].into_iter().collect(), None)
                .unwrap()
                .is_empty()
        );
        assert!(ledger.find(&Shelf::default(), None).unwrap().is_empty());
    });
}

/// The middle of a picture, and a picture on a larger grey page.
fn parts(of: &image::RgbImage) -> [image::RgbImage; 2] {
    let middle = imageops::crop_imm(of, 50, 40, 300, 220).to_image();
    let mut page = image::RgbImage::from_pixel(600, 500, image::Rgb([230, 230, 230]));
    imageops::replace(&mut page, of, 120, 90);
    [middle, page]
}

#[test]
fn parts_of_kept_photos_are_found_wherever_they_are_kept() {
    // Enough jobs that a ledger keeps them in more than one way.
    let pictures: Vec<_> = (0..140).map(|n| picture(n + 11)).collect();
    let kept: Vec<PhotoMeasures> = (0..)
        .zip(&pictures)
        .map(|(n, picture): (usize, _)| measures(picture.clone(), &format!("kept {n}")))
        .collect();
    let chosen = [3usize, 70, 139];
    let asked: Vec<PhotoMeasures> = chosen
        .iter()
        .flat_map(|n| parts(&pictures[*n]))
        .map(|part| measures(part, "part"))
        .chain([measures(picture(999), "another")])
        .collect();
    on_each("parts", |location| {
        let mut ledger = open(location).unwrap();
        for (n, photo) in kept.iter().enumerate() {
            let record = job(&format!("J{n}"), &[("1.jpg", photo)]);
            ledger.record_job(&record).unwrap();
        }
        let found = |ledger: &dyn Ledger| -> Vec<(usize, String)> {
            let leads = ledger
                .find(&asked.iter().collect(), None)
                .unwrap()
                .into_iter();
            leads
                .inspect(|lead| assert!(lead.measure.is_some() && lead.distance > MAX_DISTANCE))
                .map(|lead| (lead.asked, lead.job))
                .collect()
        };
        let expected: Vec<(usize, String)> = (0..6)
            .map(|asked| (asked, format!("J{}", chosen[asked / 2])))
            .collect();
        assert_eq!(found(&*ledger), expected);
        let whole = ledger.find(&asked.iter().take(2).collect(), None).unwrap();
        let shares = whole.iter().filter_map(|lead| lead.measure.as_ref());
        let shares: Vec<[f64; 2]> = shares.map(|m| [m.crop, m.filled]).collect();
        assert!((shares[0][0] - 0.55).abs() < 0.05 && shares[0][1] > 0.97);
        assert!(shares[1][0] > 0.97 && (shares[1][1] - 0.4).abs() < 0.05);
        // A job that is replaced by other photos is not found any more, and neither is a forgotten one.
        ledger
            .record_job(&job("J3", &[("1.jpg", &kept[4])]))
            .unwrap();
        assert!(ledger.remove_job("J70").unwrap());
        assert_eq!(found(&*ledger), expected[4..]);
    });
}

#[test]
fn cameras_of_the_latest_jobs_of_a_vendor_are_counted() {
    on_each("cameras", |location| {
        let mut ledger = open(location).unwrap();
        let photo = measures(picture(1), "a");
        let record = |id: &str, vendor: Option<&str>, devices: [Option<&str>; 2]| {
            let mut record = job(id, &[("1.jpg", &photo), ("2.jpg", &photo)]);
            record.vendor = vendor.map(str::to_owned);
            for (photo, device) in record.photos.iter_mut().zip(devices) {
                photo.device = device.map(str::to_owned);
            }
            record
        };
        let (a, b) = (Some("Larkspur 2"), Some("Larkspur 7"));
        for record in [
            record("WB-1", Some("Wren"), [a, a]),
            record("WB-2", Some("Wren"), [a, b]),
            record("WB-3", Some("Wren"), [None, None]),
            record("WB-4", Some("Other"), [b, b]),
            record("WB-5", None, [b, b]),
            record("WB-6", Some("Wren"), [b, b]),
        ] {
            ledger.record_job(&record).unwrap();
        }
        let cameras = ledger.cameras("Wren", Some("WB-6")).unwrap();
        assert_eq!(cameras.jobs, 2, "a job without a camera does not count");
        let used: Vec<(&str, usize)> = cameras
            .used_in
            .iter()
            .map(|(name, &jobs)| (name.as_str(), jobs))
            .collect();
        assert_eq!(used, [("Larkspur 2", 2), ("Larkspur 7", 1)]);
        assert_eq!(ledger.cameras("Wren", None).unwrap().jobs, 3);
        assert_eq!(ledger.cameras("Nobody", None).unwrap().jobs, 0);
    });
}

#[test]
fn a_record_comes_back_as_it_was_given() {
    on_each("record", |location| {
        let mut ledger = open(location).unwrap();
        let mut record = job(
            "WB-1 \u{e9}'\"\n",
            &[("a 'b'\\\u{1f9f9}.jpg", &measures(picture(1), "a"))],
        );
        record.photos[0].area = Some("Bath 1".to_owned());
        record.photos[0].taken = Some("2026-03-02T10:00:00".to_owned());
        ledger.record_job(&record).unwrap();
        ledger.record_job(&job("empty", &[])).unwrap();
        let mut kept = ledger.photos(&record.job).unwrap();
        assert!(!kept[0].first_seen.is_empty());
        kept[0].first_seen.clear();
        assert_eq!(kept, record.photos);
        let jobs = ledger.jobs().unwrap();
        let ids: Vec<(&str, u64)> = jobs.iter().map(|j| (j.job.as_str(), j.photos)).collect();
        assert_eq!(ids, [(record.job.as_str(), 1), ("empty", 0)]);
        assert_eq!(jobs[0].vendor, record.vendor);
        assert!(ledger.stats().unwrap().bytes > 1000);
        assert!(ledger.photos("unknown").unwrap().is_empty());
    });
}

#[test]
fn a_job_does_not_accuse_itself_and_is_replaced_as_a_whole() {
    on_each("replaced", |location| {
        let mut ledger = open(location).unwrap();
        let (a, b) = (measures(picture(1), "a"), measures(picture(2), "b"));
        let photos = [("1.jpg", &a), ("2.jpg", &b)];
        ledger.record_job(&job("WB-1", &photos)).unwrap();
        let seen = ledger.photos("WB-1").unwrap()[0].first_seen.clone();
        assert!(
            ledger
                .find(&[&a, &b].into_iter().collect(), Some("WB-1"))
                .unwrap()
                .is_empty()
        );
        ledger
            .record_job(&job("WB-1", &[("renamed.jpg", &a)]))
            .unwrap();
        let photos = ledger.photos("WB-1").unwrap();
        assert_eq!(photos.len(), 1);
        assert_eq!(
            (photos[0].path.as_str(), &photos[0].first_seen),
            ("renamed.jpg", &seen)
        );
        assert_eq!(photos[0].hash, a.facts.fingerprint.hashes[0]);
        assert!(
            ledger
                .find(&[&b].into_iter().collect(), None)
                .unwrap()
                .is_empty()
        );
        let stats = ledger.stats().unwrap();
        assert_eq!((stats.jobs, stats.photos), (1, 1));
    });
}

#[test]
fn a_removed_job_is_gone() {
    on_each("removed", |location| {
        let mut ledger = open(location).unwrap();
        let a = measures(picture(1), "a");
        ledger.record_job(&job("WB-1", &[("1.jpg", &a)])).unwrap();
        assert!(ledger.remove_job("WB-1").unwrap());
        assert!(!ledger.remove_job("WB-1").unwrap());
        assert!(
            ledger
                .find(&[&a].into_iter().collect(), None)
                .unwrap()
                .is_empty()
        );
        assert!(ledger.jobs().unwrap().is_empty());
        assert!(ledger.photos("WB-1").unwrap().is_empty());
    });
}

/// The file itself forgets: the space of a removed job is overwritten.
#[test]
fn nothing_of_a_removed_job_is_left_in_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let a = measures(picture(1), "5ec0ded1ge57");
    {
        let mut ledger = SqliteLedger::open(&path).unwrap();
        ledger
            .record_job(&job("WB-1", &[("secret-path.jpg", &a)]))
            .unwrap();
        assert!(ledger.remove_job("WB-1").unwrap());
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

/// A kept photo whose hash is one of the asked photo's eight, with some bits of each kind of hash flipped.
#[derive(Debug, Clone)]
struct Planted {
    asked: usize,
    turn: usize,
    gradient: Vec<u32>,
    cosine: Vec<u32>,
}

fn planted() -> impl Strategy<Value = Planted> {
    let bits = || prop::collection::vec(0u32..256, 0..48);
    (0..6usize, 0..8usize, bits(), bits()).prop_map(|(asked, turn, gradient, cosine)| Planted {
        asked,
        turn,
        gradient,
        cosine,
    })
}

fn flipped(hash: &mut [u64; 4], bits: &[u32]) {
    for bit in bits {
        hash[(bit / 64) as usize] ^= 1 << (bit % 64);
    }
}

/// Asked photos with hashes that are as free as can be: all eight orientations are drawn.
fn drawn(base: &PhotoMeasures, seed: u64) -> Vec<PhotoMeasures> {
    let mut state = seed | 1;
    (0..6)
        .map(|n| {
            let mut asked = base.clone();
            let hashes: TurnedHashes = [(); 8].map(|()| PerceptualHash {
                gradient: [(); 4].map(|()| draw(&mut state)),
                cosine: [(); 4].map(|()| draw(&mut state)),
            });
            asked.facts.fingerprint.hashes = hashes;
            asked.facts.fingerprint.file_sha256 = format!("asked {n}");
            asked.facts.fingerprint.pixel_sha256 = format!("asked pixels {n}");
            asked
        })
        .collect()
}

/// (asked, path, distance) of everything within the distance, by comparing all with all.
fn exhaustive(asked: &[PhotoMeasures], kept: &[PhotoRecord]) -> Vec<(usize, String, u32)> {
    let mut expected = Vec::new();
    for (number, photo) in asked.iter().enumerate() {
        for record in kept {
            let all = photo.facts.fingerprint.hashes.iter();
            let nearest = all.map(|h| h.distance(&record.hash)).min().unwrap();
            if nearest <= MAX_DISTANCE {
                expected.push((number, record.path.clone(), nearest));
            }
        }
    }
    expected.sort();
    expected
}

/// The same by the ledger. All photos have the base's keypoints, so leads by words of keypoints are left out.
fn found(ledger: &dyn Ledger, asked: &[PhotoMeasures]) -> Vec<(usize, String, u32)> {
    let leads = ledger.find(&asked.iter().collect(), None).unwrap();
    let mut found: Vec<_> = leads
        .into_iter()
        .filter(|lead| lead.distance <= MAX_DISTANCE)
        .map(|lead| (lead.asked, lead.photo.path, lead.distance))
        .collect();
    found.sort();
    found
}

#[test]
fn the_search_equals_an_exhaustive_scan() {
    let base = measures(picture(5), "base");
    on_each("exhaustive", |location| {
        let strategy = (any::<u64>(), prop::collection::vec(planted(), 1..40));
        TestRunner::new(Config::with_cases(24))
            .run(&strategy, |(seed, plants)| {
                let asked = drawn(&base, seed);
                let mut state = seed ^ 0x5555;
                let mut records = Vec::new();
                for (i, plant) in plants.iter().enumerate() {
                    let path = format!("{i:04}.jpg");
                    let mut near = PhotoRecord::of_measures(&path, &base);
                    near.file_sha256 = format!("file {i}");
                    near.pixel_sha256 = format!("pixels {i}");
                    let mut far = near.clone();
                    near.hash = asked[plant.asked].facts.fingerprint.hashes[plant.turn];
                    flipped(&mut near.hash.gradient, &plant.gradient);
                    flipped(&mut near.hash.cosine, &plant.cosine);
                    far.path = format!("far {path}");
                    far.hash.gradient = [(); 4].map(|()| draw(&mut state));
                    far.hash.cosine = [(); 4].map(|()| draw(&mut state));
                    records.extend([near, far]);
                }
                let expected = exhaustive(&asked, &records);
                let mut ledger = open(location).unwrap();
                for old in ledger.jobs().unwrap() {
                    ledger.remove_job(&old.job).unwrap();
                }
                for (i, photos) in records.chunks(17).enumerate() {
                    let job = JobRecord {
                        job: format!("J{i}"),
                        vendor: None,
                        photos: photos.to_vec(),
                    };
                    ledger.record_job(&job).unwrap();
                }
                prop_assert_eq!(found(&*ledger, &asked), expected);
                Ok(())
            })
            .unwrap();
        // A search that finds nothing would pass too: plant one at each distance around the limit.
        let asked = drawn(&base, 99);
        let photos = (0..64u32)
            .map(|i| {
                let mut record = PhotoRecord::of_measures(&format!("{i}.jpg"), &base);
                record.hash = asked[(i % 6) as usize].facts.fingerprint.hashes[(i % 8) as usize];
                let bits: Vec<u32> = (0..i).map(|k| k * 37 % 256).collect();
                flipped(&mut record.hash.gradient, &bits);
                record.hash.cosine = record.hash.cosine.map(|word| !word);
                record
            })
            .collect();
        let planted = JobRecord {
            job: "planted".to_owned(),
            vendor: None,
            photos,
        };
        let mut ledger = open(location).unwrap();
        ledger.record_job(&planted).unwrap();
        let hits = found(&*ledger, &asked).len();
        assert_eq!(hits, MAX_DISTANCE as usize + 1);
    });
}

#[test]
fn more_photos_than_one_pass_takes_are_all_searched() {
    let base = measures(picture(5), "base");
    on_each("many", |location| {
        let mut ledger = open(location).unwrap();
        let asked: Vec<PhotoMeasures> = (0..200)
            .flat_map(|seed| drawn(&base, 2 * seed + 1))
            .collect();
        let photos = asked.iter().enumerate().map(|(i, photo)| {
            let mut record = PhotoRecord::of_measures(&format!("{i:04}.jpg"), &base);
            record.hash = photo.facts.fingerprint.hashes[i % 8];
            record
        });
        let record = JobRecord {
            job: "all".to_owned(),
            vendor: None,
            photos: photos.collect(),
        };
        ledger.record_job(&record).unwrap();
        let expected: Vec<(usize, String, u32)> = (0..asked.len())
            .map(|i| (i, format!("{i:04}.jpg"), 0))
            .collect();
        // Six drawn per seed repeat nothing: each finds itself alone.
        assert_eq!(found(&*ledger, &asked), expected);
    });
}

#[test]
fn recorders_of_one_job_leave_one_of_their_records() {
    let base = measures(picture(7), "base");
    on_each("together", |location| {
        std::thread::scope(|scope| {
            for recorder in 1..=8 {
                let base = &base;
                scope.spawn(move || {
                    let path = format!("by {recorder}.jpg");
                    let photos: Vec<(&str, &PhotoMeasures)> =
                        (0..recorder * 3).map(|_| (path.as_str(), base)).collect();
                    let mut ledger = open(location).unwrap();
                    ledger.record_job(&job("WB-1", &photos)).unwrap();
                });
            }
        });
        let ledger = open(location).unwrap();
        let (jobs, photos) = (ledger.jobs().unwrap(), ledger.photos("WB-1").unwrap());
        assert_eq!(jobs.len(), 1);
        assert_eq!(jobs[0].photos as usize, photos.len());
        let path = format!("by {}.jpg", photos.len() / 3);
        assert!(photos.iter().all(|photo| photo.path == path));
        // The packed hashes are of the same record: each photo is found once.
        let leads = ledger.find(&[&base].into_iter().collect(), None).unwrap();
        assert_eq!(leads.len(), photos.len());
    });
}

/// A clock that was set back by a day makes a claim of an hour last a day longer.
#[test]
fn a_claim_from_the_future_holds_no_job_for_ever() {
    let hour = Duration::from_secs(3600);
    on_each("clock", |location| {
        let mut ledger = open(location).unwrap();
        let mut claim = |worker: &str, lease| ledger.claim_job("WB-1", worker, lease).unwrap();
        assert_eq!(claim("a", 25 * hour), Claim::Taken);
        assert_eq!(claim("b", hour), Claim::Taken);
        // A clock that is a little ahead of another one's changes nothing.
        assert_eq!(claim("b", hour + hour / 2), Claim::Taken);
        assert_eq!(claim("c", hour), Claim::Held("b".to_owned()));
    });
}

#[test]
fn of_several_workers_one_gets_a_job() {
    let base = measures(picture(7), "base");
    let hour = Duration::from_secs(3600);
    on_each("claims", |location| {
        let taken = std::sync::Mutex::new(Vec::new());
        std::thread::scope(|scope| {
            for n in 0..8 {
                let taken = &taken;
                scope.spawn(move || {
                    let worker = format!("worker {n}");
                    let claim = open(location).unwrap().claim_job("WB-1", &worker, hour);
                    match claim.unwrap() {
                        Claim::Taken => taken.lock().unwrap().push(worker),
                        Claim::Held(by) => assert!(by.starts_with("worker ")),
                        other => panic!("{other:?}"),
                    }
                });
            }
        });
        let taken = taken.into_inner().unwrap();
        assert_eq!(taken.len(), 1);
        let mut ledger = open(location).unwrap();
        let mut claim =
            |job: &str, worker: &str, lease| ledger.claim_job(job, worker, lease).unwrap();
        // Asked again, the holder still has it; another job is free; a claim that has run out is free too.
        assert_eq!(claim("WB-1", &taken[0], hour), Claim::Taken);
        assert_eq!(claim("WB-1", "z", hour), Claim::Held(taken[0].clone()));
        assert_eq!(claim("WB-2", "y", Duration::ZERO), Claim::Taken);
        assert_eq!(claim("WB-2", "z", hour), Claim::Taken);
        ledger.release_job("WB-2", "y").unwrap();
        assert_eq!(
            ledger.claim_job("WB-2", "x", hour).unwrap(),
            Claim::Held("z".to_owned())
        );
        ledger.release_job("WB-2", "z").unwrap();
        assert_eq!(ledger.claim_job("WB-2", "x", hour).unwrap(), Claim::Taken);
        ledger
            .record_job(&job("WB-2", &[("1.jpg", &base)]))
            .unwrap();
        let recorded = ledger.jobs().unwrap()[0].recorded.clone();
        assert_eq!(
            ledger.claim_job("WB-2", "x", hour).unwrap(),
            Claim::Recorded(recorded)
        );
        assert!(ledger.remove_job("WB-2").unwrap());
        assert_eq!(ledger.claim_job("WB-2", "q", hour).unwrap(), Claim::Taken);
    });
}

#[test]
fn many_jobs_are_found_replaced_and_forgotten_one_by_one() {
    let base = measures(picture(5), "base");
    // Enough jobs that a ledger keeps them in more than one way.
    let jobs = 150;
    on_each("jobs", |location| {
        let mut ledger = open(location).unwrap();
        let asked: Vec<PhotoMeasures> = (0..jobs)
            .flat_map(|n| drawn(&base, 2 * n + 1).into_iter().take(1))
            .collect();
        let record = |n: usize, path: &str| {
            let photos = (0..n % 4).map(|i| {
                let mut record = PhotoRecord::of_measures(&format!("{path} {n}.{i}"), &base);
                record.hash = asked[n].facts.fingerprint.hashes[i];
                record
            });
            JobRecord {
                job: format!("J{n}"),
                vendor: None,
                photos: photos.collect(),
            }
        };
        for n in 0..asked.len() {
            ledger.record_job(&record(n, "first")).unwrap();
        }
        // Old and new ones: forgotten, and replaced.
        for n in (0..asked.len()).step_by(7) {
            assert!(ledger.remove_job(&format!("J{n}")).unwrap());
        }
        for n in (3..asked.len()).step_by(7) {
            ledger.record_job(&record(n, "second")).unwrap();
        }
        let mut expected = Vec::new();
        for n in (0..asked.len()).filter(|n| n % 7 != 0) {
            let path = if n % 7 == 3 { "second" } else { "first" };
            expected.extend((0..n % 4).map(|i| (n, format!("{path} {n}.{i}"), 0)));
        }
        expected.sort();
        assert_eq!(found(&*ledger, &asked), expected);
        for n in 0..asked.len() {
            ledger.remove_job(&format!("J{n}")).unwrap();
        }
        assert!(found(&*ledger, &asked).is_empty());
    });
}
