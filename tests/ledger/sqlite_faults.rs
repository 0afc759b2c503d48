//! Faults of the SQLite ledger: what happens, and what the user is told.

use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

use photoproof_core::ledger::{Claim, Ledger, SqliteLedger, open};
use photoproof_core::measure::PhotoMeasures;
use rusqlite::Connection;

use super::{job, measures, picture};

/// A ledger of one job with forty photos.
fn with_one_job(path: &Path) -> PhotoMeasures {
    let base = measures(picture(8), "base");
    let photos: Vec<(&str, &PhotoMeasures)> = (0..40).map(|_| ("x.jpg", &base)).collect();
    let mut ledger = SqliteLedger::open(path).unwrap();
    ledger.record_job(&job("kept", &photos)).unwrap();
    base
}

fn is_as_before(path: &Path) {
    let ledger = SqliteLedger::open(path).unwrap();
    let jobs = ledger.jobs().unwrap();
    assert_eq!(jobs.len(), 1);
    assert_eq!(ledger.photos("kept").unwrap().len(), 40);
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
    assert!(open(&folder.path().join("no/such/folder.db").to_string_lossy()).is_err());
}

#[cfg(not(feature = "postgres"))]
#[test]
fn a_build_without_postgres_says_what_is_missing() {
    for url in ["postgres://host/used", "postgresql://host/used"] {
        let message = open(url).err().unwrap().to_string();
        assert!(message.contains("feature `postgres`"), "{message}");
    }
}

#[test]
fn a_locked_file_is_waited_for_and_then_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let base = with_one_job(&path);
    let other = Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let mut ledger = SqliteLedger::open(&path).unwrap();
    ledger.wait_at_most(Duration::from_millis(100)).unwrap();
    let record = job("new", &[("1.jpg", &base)]);
    let message = ledger.record_job(&record).unwrap_err().to_string();
    assert!(
        message.ends_with("used.db is held by another process; try again"),
        "{message}"
    );
    // Reading goes on.
    assert_eq!(
        ledger
            .find(&[&base].into_iter().collect(), None)
            .unwrap()
            .len(),
        40
    );
    is_as_before(&path);
    other.execute_batch("ROLLBACK").unwrap();
    ledger.record_job(&record).unwrap();
}

#[test]
fn a_damaged_file_is_named_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let base = with_one_job(&path);
    let whole = std::fs::read(&path).unwrap();
    let pages = whole.len() / 4096;
    let mut named = 0;
    for page in 1..pages {
        let mut damaged = whole.clone();
        damaged[page * 4096..(page + 1) * 4096].fill(0xA5);
        std::fs::write(&path, &damaged).unwrap();
        let asked = SqliteLedger::open(&path).and_then(|mut ledger| {
            ledger.find(&[&base].into_iter().collect(), None)?;
            ledger.record_job(&job("kept", &[("1.jpg", &base)]))
        });
        if let Err(error) = asked {
            let message = error.to_string();
            assert!(
                message.contains("used.db is damaged; put back a copy, or begin a new one"),
                "page {page}: {message}"
            );
            named += 1;
        }
        for beside in ["used.db-wal", "used.db-shm"] {
            std::fs::remove_file(folder.path().join(beside)).ok();
        }
    }
    // A page of pictures' keypoints holds no structure; what is changed in it cannot be seen.
    assert!(named * 3 > pages, "{named} of {pages}");
    std::fs::write(&path, &whole[..whole.len() / 2]).unwrap();
    let asked = SqliteLedger::open(&path)
        .and_then(|ledger| ledger.find(&[&base].into_iter().collect(), None));
    assert!(asked.unwrap_err().to_string().contains("damaged"));
}

/// Not a test of its own: records until it fails, and says how.
#[test]
fn recorder_without_room() {
    let Some(path) = std::env::var_os("LEDGER_WITHOUT_ROOM") else {
        return;
    };
    let base = with_one_job(Path::new(&path));
    let photos: Vec<(&str, &PhotoMeasures)> = (0..4000).map(|_| ("x.jpg", &base)).collect();
    let mut ledger = SqliteLedger::open(Path::new(&path)).unwrap();
    let said = ledger.record_job(&job("new", &photos)).unwrap_err();
    println!("said: {said}");
    drop(ledger);
    is_as_before(Path::new(&path));
    println!("as before");
}

fn without_room(script: &str, path: &Path) -> Output {
    Command::new("bash")
        .args(["-c", script])
        .arg(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "sqlite_faults::recorder_without_room",
            "--nocapture",
        ])
        .env("LEDGER_WITHOUT_ROOM", path)
        .env("FOLDER", path.parent().unwrap())
        .output()
        .unwrap()
}

#[test]
fn a_file_that_may_not_grow_stays_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let output = without_room(r#"trap "" XFSZ; ulimit -f 600; exec "$0" "$@""#, &path);
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(text.contains("nothing was changed"), "{text}");
    assert!(text.contains("as before"), "{text}");
    // With room again the same file goes on.
    let base = measures(picture(9), "z");
    let mut ledger = SqliteLedger::open(&path).unwrap();
    ledger.record_job(&job("new", &[("1.jpg", &base)])).unwrap();
    assert_eq!(ledger.stats().unwrap().jobs, 2);
}

#[test]
fn a_full_disk_is_named_and_the_file_stays_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let mount = r#"mount -t tmpfs -o size=1m none "$FOLDER" || exit 77; exec "$0" "$@""#;
    let script = format!("exec unshare -m bash -c '{mount}' \"$0\" \"$@\"");
    let output = without_room(&script, &folder.path().join("used.db"));
    let text = String::from_utf8_lossy(&output.stdout);
    if !text.contains("running 1 test") {
        eprintln!("skipped: a small file system cannot be mounted here");
        return;
    }
    assert!(
        text.contains("used.db: no space is left; nothing was changed, make room and try again"),
        "{text}"
    );
    assert!(text.contains("as before"), "{text}");
}

#[test]
fn an_older_file_is_brought_up_to_date_and_a_newer_one_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let base = with_one_job(&path);
    let raw = Connection::open(&path).unwrap();
    // The first version had no claims, no packs and no words.
    raw.execute_batch(
        "DROP TABLE claims; DROP TABLE packs; ALTER TABLE jobs DROP COLUMN pack; ALTER TABLE hashes DROP COLUMN words;
         PRAGMA user_version = 1",
    )
    .unwrap();
    let mut ledger = SqliteLedger::open(&path).unwrap();
    assert_eq!(
        ledger
            .find(&[&base].into_iter().collect(), None)
            .unwrap()
            .len(),
        40
    );
    let claim = ledger.claim_job("new", "w", Duration::from_secs(9));
    assert_eq!(claim.unwrap(), Claim::Taken);
    drop(ledger);
    raw.execute_batch("PRAGMA user_version = 99").unwrap();
    let message = SqliteLedger::open(&path).unwrap_err().to_string();
    assert!(
        message.ends_with("used.db was written by a newer version; update photoproof"),
        "{message}"
    );
    raw.execute_batch("PRAGMA user_version = 4").unwrap();
    is_as_before(&path);
}

/// A file that a stranger made up: a view that never ends in the place of a table, and a trigger.
#[test]
fn views_and_triggers_of_a_file_do_not_run() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("used.db");
    let base = with_one_job(&path);
    let raw = Connection::open(&path).unwrap();
    raw.execute_batch(
        "CREATE TRIGGER wipe AFTER INSERT ON jobs BEGIN DELETE FROM jobs WHERE job = 'kept'; END",
    )
    .unwrap();
    let mut ledger = SqliteLedger::open(&path).unwrap();
    ledger.record_job(&job("new", &[("1.jpg", &base)])).unwrap();
    assert_eq!(ledger.jobs().unwrap().len(), 2, "the trigger did not run");
    drop(ledger);
    raw.execute_batch(
        "DROP TRIGGER wipe; ALTER TABLE jobs RENAME TO other;
         CREATE VIEW jobs AS WITH RECURSIVE n(job, vendor, recorded, photos, id, pack) AS
           (SELECT '1', NULL, '', 1, 1, NULL UNION ALL SELECT job, vendor, recorded, photos, id + 1, pack FROM n)
         SELECT * FROM n",
    )
    .unwrap();
    let asked = SqliteLedger::open(&path).and_then(|ledger| ledger.jobs());
    let message = asked.unwrap_err().to_string();
    assert!(message.contains("used.db"), "{message}");
}
