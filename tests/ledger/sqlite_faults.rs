//! Faults of the SQLite ledger: what happens, and what the user is told.

use photoproof_core::ledger::{SqliteLedger, open};

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
