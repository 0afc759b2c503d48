//! Faults of the PostgreSQL ledger: what happens, and what the user is told.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use photoproof_core::ledger::{Claim, Ledger, PostgresLedger, open};
use photoproof_core::measure::PhotoMeasures;

use super::server::{Server, shared};
use super::{job, measures, picture};

/// Stands between ledger and server, and cuts the line after so many bytes to the server, so many times.
struct Line {
    port: u16,
    cuts_left: Arc<AtomicUsize>,
}

impl Line {
    fn to(server: &Server) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let cuts_left = Arc::new(AtomicUsize::new(0));
        let (cuts, target) = (Arc::clone(&cuts_left), server.port);
        std::thread::spawn(move || {
            for near in listener.incoming().flatten() {
                let far = TcpStream::connect(("127.0.0.1", target)).unwrap();
                let (near_back, far_back) = (near.try_clone().unwrap(), far.try_clone().unwrap());
                std::thread::spawn(move || carry(far_back, near_back, None));
                let cuts = Arc::clone(&cuts);
                std::thread::spawn(move || carry(near, far, Some(&cuts)));
            }
        });
        Self { port, cuts_left }
    }
}

/// Bytes to the server after which a line that is to be cut is cut.
const CUT_AFTER: usize = 30_000;

fn carry(mut from: TcpStream, mut to: TcpStream, cuts: Option<&AtomicUsize>) {
    let mut buffer = [0; 4096];
    let mut since = 0;
    while let Ok(read @ 1..) = from.read(&mut buffer) {
        let cutting = cuts.is_some_and(|cuts| cuts.load(Ordering::SeqCst) > 0);
        since = if cutting { since + read } else { 0 };
        if since > CUT_AFTER {
            if let Some(cuts) = cuts {
                cuts.fetch_sub(1, Ordering::SeqCst);
            }
            break;
        }
        if to.write_all(&buffer[..read]).is_err() {
            break;
        }
    }
    from.shutdown(Shutdown::Both).ok();
    to.shutdown(Shutdown::Both).ok();
}

/// A connection beside the ledger's own.
fn client(server: &Server, database: &str) -> postgres::Client {
    postgres::Client::connect(&server.url(database), postgres::NoTls).unwrap()
}

fn photos(base: &PhotoMeasures) -> Vec<(&'static str, &PhotoMeasures)> {
    (0..200).map(|_| ("x.jpg", base)).collect()
}

#[test]
fn a_connection_lost_while_recording_is_made_again() {
    let Some(server) = shared() else { return };
    let base = measures(picture(8), "base");
    server.database("lost");
    let line = Line::to(server);
    let mut ledger = open(&format!("postgres://tester@127.0.0.1:{}/lost", line.port)).unwrap();
    ledger
        .record_job(&job("kept", &[("1.jpg", &base)]))
        .unwrap();
    line.cuts_left.store(2, Ordering::SeqCst);
    ledger.record_job(&job("kept", &photos(&base))).unwrap();
    assert_eq!(line.cuts_left.load(Ordering::SeqCst), 0, "nothing was cut");
    assert_eq!(ledger.photos("kept").unwrap().len(), 200);
}

#[test]
fn a_connection_that_stays_lost_changes_nothing_and_is_named() {
    let Some(server) = shared() else { return };
    let base = measures(picture(8), "base");
    server.database("cut");
    let line = Line::to(server);
    let mut ledger = open(&format!("postgres://tester@127.0.0.1:{}/cut", line.port)).unwrap();
    ledger
        .record_job(&job("kept", &[("1.jpg", &base)]))
        .unwrap();
    line.cuts_left.store(1000, Ordering::SeqCst);
    let failed = ledger.record_job(&job("kept", &photos(&base))).unwrap_err();
    let message = failed.to_string();
    let named = format!(
        "cannot write ledger cut on 127.0.0.1:{}: no connection",
        line.port
    );
    assert!(message.starts_with(&named), "{message}");
    assert!(
        message.ends_with("record the job again, recording twice does no harm"),
        "{message}"
    );
    let direct = open(&server.url("cut")).unwrap();
    assert_eq!(direct.photos("kept").unwrap().len(), 1);
}

#[test]
fn a_server_that_restarts_is_waited_for() {
    let Some(server) = Server::start() else {
        return;
    };
    let base = measures(picture(8), "base");
    let mut ledger = open(&server.database("restarted")).unwrap();
    ledger.record_job(&job("before", &photos(&base))).unwrap();
    server.tell("stop");
    std::thread::scope(|scope| {
        let server = &server;
        scope.spawn(move || {
            std::thread::sleep(Duration::from_millis(700));
            server.tell("start");
        });
        ledger.record_job(&job("after", &photos(&base))).unwrap();
    });
    assert_eq!(ledger.stats().unwrap().jobs, 2);
    assert_eq!(ledger.photos("after").unwrap().len(), 200);
    server.tell("stop");
    let message = open(&server.url("restarted")).err().unwrap().to_string();
    assert!(
        message.starts_with("cannot open ledger restarted on 127.0.0.1:")
            && message.contains("no connection to the server")
            && message.ends_with("try again"),
        "{message}"
    );
    server.tell("start");
    assert_eq!(ledger.stats().unwrap().jobs, 2);
}

#[test]
fn a_deadlock_is_tried_again() {
    let Some(server) = shared() else { return };
    let base = measures(picture(8), "base");
    let mut ledger = open(&server.database("deadlock")).unwrap();
    ledger.record_job(&job("kept", &photos(&base))).unwrap();
    // Another client takes the rows in the other order, and never gives way.
    let mut other = client(server, "deadlock");
    other.batch_execute("SET deadlock_timeout = '1h'").unwrap();
    let mut across = other.transaction().unwrap();
    across
        .batch_execute("SELECT * FROM photoproof_photos FOR UPDATE")
        .unwrap();
    std::thread::scope(|scope| {
        let recording = scope.spawn(|| ledger.record_job(&job("kept", &[("new.jpg", &base)])));
        std::thread::sleep(Duration::from_millis(300));
        across
            .batch_execute("UPDATE photoproof_jobs SET vendor = 'other'")
            .unwrap();
        across.commit().unwrap();
        recording.join().unwrap().unwrap();
    });
    let deadlocks: i64 = client(server, "deadlock")
        .query_one(
            "SELECT deadlocks FROM pg_stat_database WHERE datname = 'deadlock'",
            &[],
        )
        .unwrap()
        .get(0);
    assert!(deadlocks > 0, "there was no deadlock");
    let ledger = open(&server.url("deadlock")).unwrap();
    assert_eq!(ledger.photos("kept").unwrap().len(), 1);
    assert_ne!(ledger.jobs().unwrap()[0].vendor.as_deref(), Some("other"));
}

#[test]
fn a_job_that_is_held_is_named() {
    let Some(server) = shared() else { return };
    let base = measures(picture(8), "base");
    let url = server.database("held");
    let mut ledger = open(&format!("{url}?options=-c%20lock_timeout%3D200ms")).unwrap();
    ledger.record_job(&job("kept", &photos(&base))).unwrap();
    let mut other = client(server, "held");
    let mut holding = other.transaction().unwrap();
    holding
        .batch_execute("SELECT * FROM photoproof_jobs FOR UPDATE")
        .unwrap();
    let failed = ledger.record_job(&job("kept", &[("1.jpg", &base)]));
    let message = failed.unwrap_err().to_string();
    assert!(message.contains("is held by another process"), "{message}");
    // Another job is recorded, and all is read, meanwhile.
    ledger.record_job(&job("new", &[("1.jpg", &base)])).unwrap();
    assert_eq!(
        ledger
            .find(&[&base].into_iter().collect(), None)
            .unwrap()
            .len(),
        201
    );
}

#[test]
fn older_tables_are_brought_up_to_date_and_newer_ones_are_refused() {
    let Some(server) = shared() else { return };
    let base = measures(picture(8), "base");
    let url = server.database("versions");
    let mut ledger = PostgresLedger::open(&url).unwrap();
    ledger.record_job(&job("kept", &photos(&base))).unwrap();
    let mut raw = client(server, "versions");
    // The first version had no claims and no words.
    raw.batch_execute(
        "DROP TABLE photoproof_claims; ALTER TABLE photoproof_hashes DROP COLUMN words;
         UPDATE photoproof_schema SET version = 1",
    )
    .unwrap();
    let mut ledger = PostgresLedger::open(&url).unwrap();
    let claim = ledger.claim_job("new", "w", Duration::from_secs(9));
    assert_eq!(claim.unwrap(), Claim::Taken);
    assert_eq!(ledger.photos("kept").unwrap().len(), 200);
    raw.batch_execute("UPDATE photoproof_schema SET version = 99")
        .unwrap();
    let message = PostgresLedger::open(&url).unwrap_err().to_string();
    assert!(
        message.starts_with("ledger versions on 127.0.0.1:")
            && message.ends_with("was written by a newer version (schema 99); update photoproof"),
        "{message}"
    );
}

#[test]
fn many_may_open_a_new_ledger_at_once() {
    let Some(server) = shared() else { return };
    let url = server.database("new");
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| open(&url).unwrap());
        }
    });
    assert_eq!(open(&url).unwrap().stats().unwrap().jobs, 0);
}

#[test]
fn a_refused_connection_never_shows_the_password() {
    let Some(server) = shared() else { return };
    let refused = [
        (
            format!("tester:s3cret@127.0.0.1:{}/absent", server.port),
            "does not exist",
        ),
        (
            format!("nobody:s3cret@127.0.0.1:{}/postgres", server.port),
            "does not exist",
        ),
        (
            "tester:s3cret@127.0.0.1:1/used".to_owned(),
            "no connection to the server",
        ),
        (
            "tester:s3cret@127.0.0.1:port/used".to_owned(),
            "URL is not valid",
        ),
        (
            format!(
                "tester:s3cret@127.0.0.1:{}/postgres?sslmode=require",
                server.port
            ),
            "TLS",
        ),
    ];
    for (rest, expected) in refused {
        let error = open(&format!("postgresql://{rest}")).err().unwrap();
        let message = error.to_string();
        assert!(message.contains(expected), "{message}");
        assert!(!message.contains("s3cret") && !format!("{error:?}").contains("s3cret"));
    }
    let ledger = PostgresLedger::open(&server.database("shown")).unwrap();
    assert!(format!("{ledger:?}").contains("shown on 127.0.0.1"));
}
