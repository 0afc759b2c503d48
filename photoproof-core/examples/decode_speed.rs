//! Processor time of decoding JPEG photos, in milliseconds a photo: a reduced inverse DCT at half and at a
//! quarter of the size against a full decode by another decoder.
//!
//! ```text
//! cargo run --release -p photoproof-core --example decode_speed -- PHOTO.jpg...
//! ```
//!
//! Processor time of all threads, from `/proc/self/stat` (Linux only; ticks of 10 ms, so it runs often).

#![allow(clippy::print_stdout)]

use zune_core::bytestream::ZCursor;

const RUNS: u32 = 20;

/// Processor time of this process so far, milliseconds.
fn processor_ms() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit(')').next().unwrap_or_default();
    let field = |n: usize| -> f64 {
        let text = after_name.split_whitespace().nth(n);
        text.and_then(|text| text.parse().ok()).unwrap_or(0.0)
    };
    10.0 * (field(11) + field(12))
}

fn mean_ms(mut run: impl FnMut()) -> f64 {
    let start = processor_ms();
    (0..RUNS).for_each(|_| run());
    (processor_ms() - start) / f64::from(RUNS)
}

fn reduced(bytes: &[u8], factor: u16) {
    let mut decoder = jpeg_decoder::Decoder::new(bytes);
    if decoder.read_info().is_err() {
        return;
    }
    if let Some(info) = decoder.info() {
        let _ = decoder.scale(info.width / factor, info.height / factor);
    }
    drop(decoder.decode());
}

fn main() {
    println!(
        "{:>8} {:>8} {:>8} {:>8}  file",
        "quarter", "half", "full", "other"
    );
    for name in std::env::args().skip(1) {
        let Ok(bytes) = std::fs::read(&name) else {
            println!("{name} cannot be read");
            continue;
        };
        let [quarter, half, full] = [4, 2, 1].map(|factor| mean_ms(|| reduced(&bytes, factor)));
        let other = mean_ms(|| drop(zune_jpeg::JpegDecoder::new(ZCursor::new(&bytes)).decode()));
        println!("{quarter:8.1} {half:8.1} {full:8.1} {other:8.1}  {name}");
    }
}
