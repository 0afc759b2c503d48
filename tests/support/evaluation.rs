//! Accuracy of the viewpoint measure on pairs with known truth: loading, degrading, comparing and
//! the table. Shared by the example `accuracy` and the accuracy test.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Instant;

use image::RgbImage;
use photoproof_core::ingest::Pixels;
use photoproof_core::ingest::pixels::WORKING_LONG_SIDE;
use photoproof_core::measure::feature::{Features, focal_px};
use photoproof_core::measure::{SmallPicture, Viewpoint, ViewpointShift};
use photoproof_core::{Limits, Relation};
use rayon::prelude::*;
use serde_json::{Map, Value, json};

use crate::degrade::{Degradation, degrade};

/// What can go wrong in an evaluation.
pub(crate) type Failure = Box<dyn std::error::Error + Send + Sync>;

/// What to evaluate.
#[derive(Debug, Clone)]
pub(crate) struct Plan {
    /// JSON lines with `a`, `b` and truth members.
    pub(crate) list: PathBuf,
    /// Folder the paths in the list are relative to.
    pub(crate) root: PathBuf,
    /// Applied to every picture before features are extracted.
    pub(crate) degradation: Degradation,
    /// Whether the focal length in Exif is used.
    pub(crate) use_focal: bool,
}

/// One compared pair.
#[derive(Debug, Clone)]
pub(crate) struct Outcome {
    /// The line of the list.
    pub(crate) truth: Map<String, Value>,
    /// Kind of pair with its amount, such as `turn 25`.
    pub(crate) kind: String,
    /// The measure.
    pub(crate) viewpoint: Viewpoint,
    /// Its relation under the default limits.
    pub(crate) relation: Relation,
    /// Milliseconds for matching and estimation.
    pub(crate) pair_ms: f64,
}

impl Outcome {
    /// The measured motion, if any.
    pub(crate) fn shift(&self) -> Option<&ViewpointShift> {
        match &self.viewpoint {
            Viewpoint::Shift(shift) => Some(shift),
            _ => None,
        }
    }

    fn number(&self, name: &str) -> Option<f64> {
        self.truth.get(name).and_then(Value::as_f64)
    }

    /// Error of the rotation angle, degrees.
    pub(crate) fn rotation_error(&self) -> Option<f64> {
        Some((self.shift()?.rotation.get() - self.number("rot_deg")?).abs())
    }

    /// Error of the distance ratio, per cent of the true one.
    pub(crate) fn ratio_error(&self) -> Option<f64> {
        let truth = self.number("ratio")?;
        Some((self.shift()?.distance_ratio?.get() / truth - 1.0).abs() * 100.0)
    }

    /// Error of the overlap, 0..=1.
    pub(crate) fn overlap_error(&self) -> Option<f64> {
        Some((self.shift()?.overlap.get() - self.number("overlap")?).abs())
    }

    /// One JSON object a pair.
    pub(crate) fn json(&self) -> Value {
        let evidence = self.viewpoint.evidence();
        let shift = self.shift();
        json!({
            "a": self.truth.get("a"), "b": self.truth.get("b"), "kind": self.kind,
            "relation": self.relation, "pair_ms": (self.pair_ms * 100.0).round() / 100.0,
            "rotation_deg": shift.map(|s| s.rotation.get()),
            "rotation_sigma_deg": shift.map(|s| s.rotation_sigma_deg),
            "true_rotation_deg": self.number("rot_deg"),
            "distance_ratio": shift.and_then(|s| s.distance_ratio).map(|r| r.get()),
            "distance_ratio_sigma": shift.and_then(|s| s.distance_ratio_sigma),
            "true_distance_ratio": self.number("ratio"),
            "overlap": shift.map(|s| s.overlap.get()), "true_overlap": self.number("overlap"),
            "keypoints": evidence.keypoints, "matches": evidence.matches,
            "inliers": evidence.inliers, "spread": evidence.spread,
            "log10_chance": evidence.log10_chance,
            "overlay_matches": evidence.overlay_matches, "looked_for": evidence.looked_for,
            "reappearing": evidence.reappearing,
            "reappearing_by_chance": evidence.reappearing_by_chance,
            "rich_cells": evidence.rich_cells, "silent_cells": evidence.silent_cells,
            "consistency": evidence.consistency(),
            "distinct_agreeing": evidence.distinct_agreeing, "distinct_against": evidence.distinct_against,
            "distinct_distance": evidence.distinct_distance, "distinct_error_px": evidence.distinct_error_px,
            "other_surfaces": shift.and_then(|s| s.other_surfaces).map(|other| other.share),
            "model": shift.map(|s| s.model),
            "detail": match &self.viewpoint {
                Viewpoint::Inconclusive(reason, _) => format!("{reason:?}"),
                _ => String::new(),
            },
        })
    }
}

/// All outcomes and the mean time per photo.
#[derive(Debug)]
pub(crate) struct Evaluation {
    /// In list order.
    pub(crate) outcomes: Vec<Outcome>,
    /// Milliseconds of feature extraction per photo.
    pub(crate) photo_ms: f64,
}

/// Compares every pair of the plan's list.
pub(crate) fn evaluate(plan: &Plan) -> Result<Evaluation, Failure> {
    let text = std::fs::read_to_string(&plan.list)
        .map_err(|e| format!("cannot read {}: {e}", plan.list.display()))?;
    let mut lines: Vec<Map<String, Value>> = Vec::new();
    for line in text.lines().filter(|l| !l.trim().is_empty()) {
        lines.push(serde_json::from_str(line)?);
    }
    let names: std::collections::BTreeSet<String> = lines
        .iter()
        .flat_map(|l| [name(l, "a"), name(l, "b")])
        .collect();
    let names: Vec<String> = names.into_iter().collect();
    let loaded: Vec<(Taken, f64)> = names
        .par_iter()
        .map(|n| taken(&plan.root.join(n), plan))
        .collect::<Result<_, _>>()?;
    let photo_ms = loaded.iter().map(|l| l.1).sum::<f64>() / loaded.len().max(1) as f64;
    let known: BTreeMap<String, Taken> = names
        .into_iter()
        .zip(loaded.into_iter().map(|l| l.0))
        .collect();
    let outcomes = lines
        .into_par_iter()
        .map(|line| compare(line, &known))
        .collect();
    Ok(Evaluation { outcomes, photo_ms })
}

fn name(line: &Map<String, Value>, key: &str) -> String {
    line.get(key)
        .and_then(Value::as_str)
        .unwrap_or_default()
        .to_owned()
}

fn compare(truth: Map<String, Value>, known: &BTreeMap<String, Taken>) -> Outcome {
    let [a, b] = ["a", "b"].map(|key| &known[&name(&truth, key)]);
    let start = Instant::now();
    let viewpoint = Viewpoint::between_photos([&a.features, &b.features], [&a.small, &b.small]);
    let pair_ms = start.elapsed().as_secs_f64() * 1e3;
    let relation = Relation::of(&viewpoint, &Limits::default());
    let kind = kind_of(&truth);
    Outcome {
        truth,
        kind,
        viewpoint,
        relation,
        pair_ms,
    }
}

/// Kind of a pair, with the amount that the file name of a deliberately wrong shot carries.
pub(crate) fn kind_of(truth: &Map<String, Value>) -> String {
    let kind = ["kind", "relation"]
        .iter()
        .map(|k| name(truth, k))
        .find(|k| !k.is_empty());
    let kind = kind.unwrap_or_else(|| "unnamed".to_owned());
    let amount: String = name(truth, "b")
        .rsplit_once("_W-")
        .map(|(_, mark)| mark.trim_end_matches(".jpg"))
        .filter(|mark| mark.starts_with(&kind))
        .map(|mark| mark[kind.len()..].to_owned())
        .unwrap_or_default();
    format!("{kind} {amount}").trim().to_owned()
}

/// What is measured on a photo for the comparison of viewpoints.
struct Taken {
    features: Features,
    small: SmallPicture,
}

/// Reads, degrades and measures a photo; with the milliseconds of its features.
fn taken(path: &Path, plan: &Plan) -> Result<(Taken, f64), Failure> {
    let bytes = std::fs::read(path).map_err(|e| format!("cannot read {}: {e}", path.display()))?;
    let (orientation, focal_35mm) = exif_facts(&bytes);
    let mut picture = image::load_from_memory(&bytes)?;
    if let Some(o) = orientation.and_then(image::metadata::Orientation::from_exif) {
        picture.apply_orientation(o);
    }
    let rgb = picture.to_rgb8();
    let (full_width, full_height) = rgb.dimensions();
    let reduced = degrade(reduce(&rgb), plan.degradation, &path.to_string_lossy())?;
    let start = Instant::now();
    let pixels = Pixels::new(reduced, full_width, full_height);
    let (width, height) = pixels.gray.dimensions();
    let focal = focal_35mm
        .filter(|_| plan.use_focal)
        .and_then(|mm| focal_px(mm, width, height));
    let features = Features::from_gray(&pixels.gray, focal);
    let photo_ms = start.elapsed().as_secs_f64() * 1e3;
    let small = SmallPicture::new(&pixels);
    Ok((Taken { features, small }, photo_ms))
}

/// Orientation and FocalLengthIn35mmFilm.
fn exif_facts(bytes: &[u8]) -> (Option<u8>, Option<f64>) {
    let read = exif::Reader::new().read_from_container(&mut std::io::Cursor::new(bytes));
    let Ok(read) = read else { return (None, None) };
    let number = |tag| {
        read.get_field(tag, exif::In::PRIMARY)
            .and_then(|field| field.value.get_uint(0))
    };
    let focal = number(exif::Tag::FocalLengthIn35mmFilm).map(f64::from);
    (
        number(exif::Tag::Orientation).and_then(|v| u8::try_from(v).ok()),
        focal.filter(|f| *f > 0.0),
    )
}

fn reduce(rgb: &RgbImage) -> RgbImage {
    let long = rgb.width().max(rgb.height());
    if long <= WORKING_LONG_SIDE {
        return rgb.clone();
    }
    let scaled = |side: u32| {
        (f64::from(side) * f64::from(WORKING_LONG_SIDE) / f64::from(long))
            .round()
            .max(1.0) as u32
    };
    let (width, height) = (scaled(rgb.width()), scaled(rgb.height()));
    let filter = image::imageops::FilterType::Lanczos3;
    image::imageops::resize(rgb, width, height, filter)
}

/// Value at a share of the sorted numbers, 0 = smallest, 1 = largest.
pub(crate) fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = (sorted.len().saturating_sub(1)) as f64 * share;
    sorted.get(at.round() as usize).copied().unwrap_or(f64::NAN)
}

/// Share of the outcomes with a relation, 0..=1.
pub(crate) fn share(outcomes: &[&Outcome], relation: Relation) -> f64 {
    let hits = outcomes.iter().filter(|o| o.relation == relation).count();
    hits as f64 / outcomes.len().max(1) as f64
}

/// One row of the table.
pub(crate) fn row(label: &str, outcomes: &[&Outcome]) -> String {
    let errors = |of: fn(&Outcome) -> Option<f64>| -> String {
        let values: Vec<f64> = outcomes.iter().filter_map(|o| of(o)).collect();
        if values.is_empty() {
            return format!("{:>13}", "-");
        }
        format!(
            "{:6.2} {:6.2}",
            quantile(&values, 0.5),
            quantile(&values, 0.9)
        )
    };
    let percent = |r| 100.0 * share(outcomes, r);
    let times: Vec<f64> = outcomes.iter().map(|o| o.pair_ms).collect();
    format!(
        "{label:<26}{:5}{:7.1}{:7.1}{:7.1}{:7.1}   {}   {}   {}  {:6.1}",
        outcomes.len(),
        percent(Relation::SameView),
        percent(Relation::Shifted),
        percent(Relation::Different),
        percent(Relation::Undetermined),
        errors(Outcome::rotation_error),
        errors(Outcome::ratio_error),
        errors(Outcome::overlap_error),
        quantile(&times, 0.5),
    )
}

/// The whole table, one row a kind and one over all kinds with a pose that must be measurable.
pub(crate) fn table(evaluation: &Evaluation) -> String {
    let mut kinds: BTreeMap<&str, Vec<&Outcome>> = BTreeMap::new();
    for o in &evaluation.outcomes {
        kinds.entry(o.kind.as_str()).or_default().push(o);
    }
    let mut lines = vec![
        format!(
            "{:<26}{:>5}{:>7}{:>7}{:>7}{:>7}   {:>13}   {:>13}   {:>13}  {:>6}",
            "kind",
            "pairs",
            "same",
            "shift",
            "diff",
            "undet",
            "rotation, deg",
            "ratio, %",
            "overlap",
            "ms"
        ),
        format!(
            "{:>62}50     90       50     90       50     90      50 % and 90 % quantiles",
            ""
        ),
    ];
    lines.extend(kinds.iter().map(|(kind, outcomes)| row(kind, outcomes)));
    let posed: Vec<&Outcome> = evaluation
        .outcomes
        .iter()
        .filter(|o| {
            ["matched", "turn", "nearer", "farther"]
                .iter()
                .any(|k| o.kind.starts_with(k))
        })
        .collect();
    lines.push(row("matched, turn, near, far", &posed));
    lines.push(format!("features: {:.1} ms per photo", evaluation.photo_ms));
    lines.join("\n")
}
