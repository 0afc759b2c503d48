#![no_main]

#[path = "../bodies.rs"]
#[allow(dead_code)]
mod bodies;

libfuzzer_sys::fuzz_target!(init: bodies::plant("ledger_file"), |bytes: &[u8]| bodies::ledger_file(bytes));
