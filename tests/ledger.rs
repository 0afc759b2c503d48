//! The ledger: exact search, replacing, forgetting, many writers, killed writers, faults. What the trait promises
//! is tested on every back end.

#[cfg(test)]
#[path = "ledger/contract.rs"]
mod contract;
#[cfg(test)]
#[cfg(feature = "postgres")]
#[path = "ledger/postgres_faults.rs"]
mod postgres_faults;
#[cfg(test)]
#[path = "ledger/processes.rs"]
mod processes;
#[cfg(test)]
#[cfg(feature = "postgres")]
#[path = "ledger/server.rs"]
mod server;
#[cfg(test)]
#[path = "ledger/sqlite_faults.rs"]
mod sqlite_faults;

use image::RgbImage;
use photoproof_core::ingest::Pixels;
use photoproof_core::ledger::{JobRecord, PhotoRecord};
use photoproof_core::measure::{PhotoMeasures, measure_pixels};

fn draw(state: &mut u64) -> u64 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    *state
}

fn picture(seed: u64) -> RgbImage {
    let mut state = seed * 977 + 3;
    let mut out = RgbImage::from_pixel(400, 300, image::Rgb([180, 175, 160]));
    for _ in 0..120 {
        let (x, y) = (draw(&mut state) % 370, draw(&mut state) % 270);
        let (w, h) = (8 + draw(&mut state) % 40, 8 + draw(&mut state) % 40);
        let value = (draw(&mut state) % 230) as u8;
        for py in y..(y + h).min(300) {
            for px in x..(x + w).min(400) {
                out.put_pixel(
                    px as u32,
                    py as u32,
                    image::Rgb([value, value / 2 + 40, 90]),
                );
            }
        }
    }
    out
}

fn measures(picture: RgbImage, name: &str) -> PhotoMeasures {
    let (width, height) = picture.dimensions();
    measure_pixels(name.to_owned(), &Pixels::new(picture, width, height))
}

fn job(id: &str, photos: &[(&str, &PhotoMeasures)]) -> JobRecord {
    JobRecord {
        job: id.to_owned(),
        vendor: Some("Wren & Bracken Field Crew".to_owned()),
        photos: photos
            .iter()
            .map(|(path, m)| PhotoRecord::of_measures(path, m))
            .collect(),
    }
}
