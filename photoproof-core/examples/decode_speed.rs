//! Times of reading photo files, on one thread: the reduced decode that ingest uses against a full
//! decode by another decoder, in milliseconds (least of seven runs).
//!
//! ```text
//! cargo run --release -p photoproof-core --example decode_speed -- PHOTO.jpg...
//! ```

#![allow(clippy::print_stdout)]

use std::path::Path;
use std::time::Instant;

use photoproof_core::ingest::{IngestOptions, read_photo};
use zune_core::bytestream::ZCursor;

fn least_ms(mut run: impl FnMut()) -> f64 {
    let once = |run: &mut dyn FnMut()| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..7).map(|_| once(&mut run)).fold(f64::INFINITY, f64::min)
}

fn main() {
    println!("{:>10} {:>10} {:>10}  file", "ingest", "reduced", "full");
    for name in std::env::args().skip(1) {
        let path = Path::new(&name);
        let Ok(bytes) = std::fs::read(path) else {
            println!("{name} cannot be read");
            continue;
        };
        let options = IngestOptions::default();
        let ingest = least_ms(|| drop(read_photo(path, &name, &options)));
        let reduced = least_ms(|| {
            let mut decoder = jpeg_decoder::Decoder::new(bytes.as_slice());
            let _ = decoder.scale(1024, 1024);
            drop(decoder.decode());
        });
        let full = least_ms(|| drop(zune_jpeg::JpegDecoder::new(ZCursor::new(&bytes)).decode()));
        println!("{ingest:10.1} {reduced:10.1} {full:10.1}  {name}");
    }
}
