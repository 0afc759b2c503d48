#![no_main]

#[path = "../bodies.rs"]
#[allow(dead_code)]
mod bodies;

libfuzzer_sys::fuzz_target!(init: bodies::plant("job_sheet"), |bytes: &[u8]| bodies::job_sheet(bytes));
