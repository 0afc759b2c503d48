//! Matches pairs of photos by their local features and prints the correspondences with timings.
//!
//! `feature_matches PAIRS.jsonl ROOT [name=value ...] > MATCHES.jsonl`
//!
//! PAIRS.jsonl has the members `a` and `b`, paths under ROOT. Each output line has `a`, `b`, the
//! number of features, `points` (xa, ya, xb, yb, ratio) and the mean milliseconds a photo and a pair.
#![allow(clippy::print_stdout, clippy::print_stderr)]

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Instant;

use image::GrayImage;
use image::imageops::{FilterType, resize};
use photoproof_core::measure::feature::{
    FeatureOptions, Features, Match, MatchOptions, match_features,
};
use serde_json::{Value, json};

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [pairs, root, settings @ ..] = arguments.as_slice() else {
        return Err("usage: feature_matches PAIRS.jsonl ROOT [name=value ...]".into());
    };
    let (options, matching) = options(settings)?;
    let mut pictures: BTreeMap<String, GrayImage> = BTreeMap::new();
    let mut names = Vec::new();
    for line in std::fs::read_to_string(pairs)?.lines() {
        let pair: Value = serde_json::from_str(line)?;
        let two = ["a", "b"].map(|key| pair[key].as_str().unwrap_or_default().to_owned());
        for name in &two {
            if !pictures.contains_key(name) {
                pictures.insert(name.clone(), read(&Path::new(root).join(name))?);
            }
        }
        names.push(two);
    }
    let clock = Clock::start();
    let known: BTreeMap<&String, Features> = pictures
        .iter()
        .map(|(name, gray)| (name, Features::with_options(gray, None, &options)))
        .collect();
    let extract_ms = clock.elapsed_ms() / known.len().max(1) as f64;
    let clock = Clock::start();
    let found: Vec<Vec<Match>> = names
        .iter()
        .map(|[a, b]| match_features(&known[a], &known[b], &matching))
        .collect();
    let match_ms = clock.elapsed_ms() / found.len().max(1) as f64;
    for ([a, b], matches) in names.iter().zip(&found) {
        let (fa, fb) = (&known[a], &known[b]);
        println!(
            "{}",
            json!({
                "a": a, "b": b, "features": [fa.list.len(), fb.list.len()],
                "extract_ms": extract_ms, "match_ms": match_ms, "points": points(fa, fb, matches),
            })
        );
    }
    Ok(())
}

/// Processor time of this thread where the system tells it, else time of day.
struct Clock(f64, Instant);

impl Clock {
    fn start() -> Self {
        Self(Self::processor_ms().unwrap_or(0.0), Instant::now())
    }

    fn elapsed_ms(&self) -> f64 {
        match Self::processor_ms() {
            Some(now) => now - self.0,
            None => self.1.elapsed().as_secs_f64() * 1e3,
        }
    }

    fn processor_ms() -> Option<f64> {
        let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        let nanoseconds: f64 = text.split_whitespace().next()?.parse().ok()?;
        Some(nanoseconds / 1e6)
    }
}

fn points(a: &Features, b: &Features, matches: &[Match]) -> Vec<[f32; 5]> {
    let place = |m: &Match| {
        let (p, q) = (a.list[m.a as usize].keypoint, b.list[m.b as usize].keypoint);
        [p.x, p.y, q.x, q.y, m.ratio]
    };
    matches.iter().map(place).collect()
}

fn read(path: &Path) -> Result<GrayImage, Failure> {
    let gray = image::open(path)?.into_luma8();
    let long = gray.width().max(gray.height());
    if long <= 1024 {
        return Ok(gray);
    }
    let side = |s: u32| (u64::from(s) * 1024 / u64::from(long)).max(1) as u32;
    let (width, height) = (side(gray.width()), side(gray.height()));
    Ok(resize(&gray, width, height, FilterType::Triangle))
}

fn options(settings: &[String]) -> Result<(FeatureOptions, MatchOptions), Failure> {
    let mut features = FeatureOptions::default();
    let mut matching = MatchOptions::default();
    for setting in settings {
        let (name, value) = setting.split_once('=').ok_or("settings are name=value")?;
        match name {
            "max_features" => features.max_features = value.parse()?,
            "base_sigma" => features.base_sigma = value.parse()?,
            "levels" => features.levels = value.parse()?,
            "max_octaves" => features.max_octaves = value.parse()?,
            "min_response" => features.min_response = value.parse()?,
            "edge_ratio" => features.edge_ratio = value.parse()?,
            "cell_width" => features.cell_width = value.parse()?,
            "even_share" => features.even_share = value.parse()?,
            "max_ratio" => matching.max_ratio = value.parse()?,
            "max_distance" => matching.max_distance = value.parse()?,
            _ => return Err(format!("unknown setting {name}").into()),
        }
    }
    Ok((features, matching))
}
