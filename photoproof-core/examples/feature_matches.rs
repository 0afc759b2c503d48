//! Matches pairs of photos by their local features and prints the correspondences with timings.
//!
//! `feature_matches PAIRS.jsonl ROOT [name=value ...] > MATCHES.jsonl`
//!
//! PAIRS.jsonl has the members `a` and `b`, paths under ROOT. Each output line has `a`, `b`, the
//! number of features, milliseconds for each step and `points`: xa, ya, xb, yb, ratio.
#![allow(clippy::print_stdout, clippy::print_stderr)]

use std::collections::BTreeMap;
use std::path::Path;
use std::time::Instant;

use image::imageops::{FilterType, resize};
use photoproof_core::measure::feature::{FeatureOptions, Features, MatchOptions, match_features};
use serde_json::{Value, json};

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [pairs, root, settings @ ..] = arguments.as_slice() else {
        return Err("usage: feature_matches PAIRS.jsonl ROOT [name=value ...]".into());
    };
    let (features, matching) = options(settings)?;
    let mut known: BTreeMap<String, (Features, f64)> = BTreeMap::new();
    for line in std::fs::read_to_string(pairs)?.lines() {
        let pair: Value = serde_json::from_str(line)?;
        let names = ["a", "b"].map(|key| pair[key].as_str().unwrap_or_default().to_owned());
        for name in &names {
            if !known.contains_key(name) {
                known.insert(
                    name.clone(),
                    extract(&Path::new(root).join(name), &features)?,
                );
            }
        }
        println!("{}", compare(&known, &names, &matching)?);
    }
    Ok(())
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
            "scale_power" => features.scale_power = value.parse()?,
            "max_ratio" => matching.max_ratio = value.parse()?,
            "max_distance" => matching.max_distance = value.parse()?,
            _ => return Err(format!("unknown setting {name}").into()),
        }
    }
    Ok((features, matching))
}

fn extract(path: &Path, options: &FeatureOptions) -> Result<(Features, f64), Failure> {
    let mut gray = image::open(path)?.into_luma8();
    let long = gray.width().max(gray.height());
    if long > 1024 {
        let side = |s: u32| (u64::from(s) * 1024 / u64::from(long)).max(1) as u32;
        gray = resize(
            &gray,
            side(gray.width()),
            side(gray.height()),
            FilterType::Triangle,
        );
    }
    let start = Instant::now();
    let features = Features::with_options(&gray, None, options);
    Ok((features, start.elapsed().as_secs_f64() * 1e3))
}

fn compare(
    known: &BTreeMap<String, (Features, f64)>,
    [a, b]: &[String; 2],
    options: &MatchOptions,
) -> Result<Value, Failure> {
    let (fa, ms_a) = known.get(a).ok_or("a is missing")?;
    let (fb, ms_b) = known.get(b).ok_or("b is missing")?;
    let start = Instant::now();
    let matches = match_features(fa, fb, options);
    let ms = start.elapsed().as_secs_f64() * 1e3;
    let points: Vec<[f32; 5]> = matches
        .iter()
        .map(|m| {
            let p = fa.list[m.a as usize].keypoint;
            let q = fb.list[m.b as usize].keypoint;
            [p.x, p.y, q.x, q.y, m.ratio]
        })
        .collect();
    Ok(json!({
        "a": a, "b": b, "features": [fa.list.len(), fb.list.len()],
        "extract_ms": [ms_a, ms_b], "match_ms": ms, "points": points,
    }))
}
