//! Faults of the PostgreSQL ledger: what happens, and what the user is told.
