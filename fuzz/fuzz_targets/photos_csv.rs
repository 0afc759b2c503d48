#![no_main]

#[path = "../bodies.rs"]
#[allow(dead_code)]
mod bodies;

libfuzzer_sys::fuzz_target!(init: bodies::plant("photos_csv"), |bytes: &[u8]| bodies::photos_csv(bytes));
