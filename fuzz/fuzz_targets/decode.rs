#![no_main]

#[path = "../bodies.rs"]
#[allow(dead_code)]
mod bodies;

libfuzzer_sys::fuzz_target!(init: bodies::plant("decode"), |bytes: &[u8]| bodies::decode(bytes));
