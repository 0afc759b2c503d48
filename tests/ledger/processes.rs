//! Many recorders at once, some killed.

use std::process::{Command, Stdio};
use std::time::Duration;

use photoproof_core::ledger::open;
use photoproof_core::measure::PhotoMeasures;

use super::{job, measures, picture};

fn sixteen_writers(location: &str) {
    let base = measures(picture(7), "base");
    std::thread::scope(|scope| {
        for writer in 0..16 {
            let base = &base;
            scope.spawn(move || {
                let mut ledger = open(location).unwrap();
                for n in 0..3 {
                    let photos = [("1.jpg", base), ("2.jpg", base)];
                    ledger
                        .record_job(&job(&format!("W{writer}-{n}"), &photos))
                        .unwrap();
                }
            });
        }
    });
    let ledger = open(location).unwrap();
    let stats = ledger.stats().unwrap();
    assert_eq!((stats.jobs, stats.photos), (48, 96));
    for entry in ledger.jobs().unwrap() {
        assert_eq!(ledger.photos(&entry.job).unwrap().len(), 2);
    }
}

#[test]
fn sixteen_writers_at_once_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    sixteen_writers(&folder.path().join("used.db").to_string_lossy());
}

#[cfg(feature = "postgres")]
#[test]
fn sixteen_writers_at_once_lose_nothing_on_a_server() {
    if let Some(server) = super::server::shared() {
        sixteen_writers(&server.database("writers"));
    }
}

/// Not a test of its own: the writer that `killed_writers` starts and kills.
#[test]
fn writer_process() {
    let Ok(location) = std::env::var("LEDGER_UNDER_TEST") else {
        return;
    };
    let name = std::env::var("LEDGER_WRITER").unwrap();
    let base = measures(picture(8), "base");
    let mut ledger = open(&location).unwrap();
    let photos: Vec<(&str, &PhotoMeasures)> = (0..40).map(|_| ("x.jpg", &base)).collect();
    for n in 0.. {
        ledger
            .record_job(&job(&format!("{name}-{n}"), &photos))
            .unwrap();
        println!("recorded {name}-{n}");
    }
}

/// Sixteen processes record jobs of their own; all are killed, at random moments. What they confirmed is there, and
/// whatever is there is whole.
fn killed_writers(location: &str) {
    let mut writers: Vec<_> = (0..16)
        .map(|i| {
            Command::new(std::env::current_exe().unwrap())
                .args(["--exact", "processes::writer_process", "--nocapture"])
                .env("LEDGER_UNDER_TEST", location)
                .env("LEDGER_WRITER", format!("K{i}"))
                .stdout(Stdio::piped())
                .stderr(Stdio::null())
                .spawn()
                .unwrap()
        })
        .collect();
    // Wait until many have had time to write, however slow the machine, then kill them one by one.
    let started = std::time::Instant::now();
    while open(location).unwrap().stats().unwrap().jobs < 32 {
        assert!(
            started.elapsed() < Duration::from_secs(180),
            "the writers wrote nothing"
        );
        std::thread::sleep(Duration::from_millis(50));
    }
    let mut state = u64::from(std::process::id()) | 1;
    for writer in &mut writers {
        std::thread::sleep(Duration::from_millis(super::draw(&mut state) % 60));
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
    let mut ledger = open(location).unwrap();
    ledger
        .record_job(&job("after", &[("1.jpg", &measures(picture(9), "z"))]))
        .unwrap();
    let jobs = ledger.jobs().unwrap();
    for name in &confirmed {
        assert!(jobs.iter().any(|j| &j.job == name), "{name} is lost");
    }
    for entry in jobs.iter().filter(|entry| entry.job != "after") {
        assert_eq!(
            (entry.photos, ledger.photos(&entry.job).unwrap().len()),
            (40, 40),
            "{} is not whole",
            entry.job
        );
    }
    assert!(!confirmed.is_empty());
}

#[test]
fn killed_writers_leave_whole_jobs() {
    let folder = tempfile::tempdir().unwrap();
    killed_writers(&folder.path().join("used.db").to_string_lossy());
}

#[cfg(feature = "postgres")]
#[test]
fn killed_writers_leave_whole_jobs_on_a_server() {
    if let Some(server) = super::server::shared() {
        killed_writers(&server.database("killed"));
    }
}
