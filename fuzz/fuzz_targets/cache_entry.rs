#![no_main]

#[path = "../bodies.rs"]
#[allow(dead_code)]
mod bodies;

libfuzzer_sys::fuzz_target!(init: bodies::plant("cache_entry"), |bytes: &[u8]| bodies::cache_entry(bytes));
