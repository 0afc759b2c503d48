#![no_main]

#[path = "../bodies.rs"]
#[allow(dead_code)]
mod bodies;

libfuzzer_sys::fuzz_target!(init: bodies::plant("xmp"), |bytes: &[u8]| bodies::xmp(bytes));
