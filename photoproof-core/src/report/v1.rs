//! `photoproof.report/1`: the frozen shape of `report.json`. Additions only; a change makes v2.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

mod photo;
mod timeline;

pub use photo::{Camera, Exposure, Gps, Photo, Stamp, Time};
pub use timeline::{Clock, Device, PhaseSpan, Timeline};

use crate::judge::finding::{Measurement, Outcome, Severity};
use crate::limits::Limits;
use crate::phase::Phase;

/// Value of the `schema` member.
pub const SCHEMA: &str = "photoproof.report/1";

/// The whole report of one job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Report {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// Version of the tool that wrote the report.
    pub tool_version: String,
    /// What was ordered.
    pub job: Job,
    /// The verdict.
    pub outcome: Outcome,
    /// Three sentences that explain the outcome, for a reader in a hurry.
    pub summary: Vec<String>,
    /// How many of what.
    pub counts: Counts,
    /// Every readable photo, sorted by path.
    pub photos: Vec<Photo>,
    /// Files that look like photos and cannot be used.
    pub unreadable: Vec<Unreadable>,
    /// Other files of the folder.
    pub ignored: Vec<Unreadable>,
    /// When the photos were taken, by device and phase.
    #[serde(default)]
    pub timeline: Timeline,
    /// View sets in report order.
    pub view_sets: Vec<ViewSet>,
    /// Coverage matrix, row by row.
    pub coverage: Vec<Coverage>,
    /// Confirmed copies.
    pub copies: Vec<Copy>,
    /// Debris tally.
    pub debris: Debris,
    /// Findings in report order: severity descending, area order, check, photo. Waived ones included.
    pub findings: Vec<Finding>,
    /// What to shoot again, in the order a crew walks the house.
    pub retakes: Vec<Retake>,
    /// Limits used.
    pub limits: Limits,
    /// Every check that was applied, whether or not it found something, sorted by id.
    #[serde(default)]
    pub checks: Vec<CheckInfo>,
}

/// What a check is about, from its one description.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CheckInfo {
    /// Check id.
    pub id: String,
    /// One sentence: the defect it looks for.
    pub summary: String,
    /// What a reader cannot conclude because of it.
    pub why: String,
}

/// The job as named on the job sheet.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Job {
    /// `[job] id`, else the folder's name.
    pub id: String,
    /// Vendor.
    pub vendor: Option<String>,
    /// Services ordered.
    pub services: Vec<String>,
    /// Site address.
    pub address: Option<String>,
    /// Site latitude, decimal degrees.
    pub latitude: Option<f64>,
    /// Site longitude, decimal degrees.
    pub longitude: Option<f64>,
    /// IANA zone of the site, if known.
    pub timezone: Option<String>,
    /// Work window start, civil time at the site.
    pub window_start: Option<String>,
    /// Work window end.
    pub window_end: Option<String>,
    /// Whether a job sheet was given.
    pub has_job_sheet: bool,
}

/// Counts of the report.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    /// Readable photos.
    pub photos: usize,
    /// Photos that cannot be read.
    pub unreadable: usize,
    /// View sets.
    pub view_sets: usize,
    /// Findings by severity (`note`, `review`, `fail`), waived ones not counted.
    pub findings: BTreeMap<Severity, usize>,
    /// Waived findings.
    pub waived: usize,
}

/// A file that is not a usable photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unreadable {
    /// Path relative to the job folder.
    pub path: String,
    /// What is wrong.
    pub reason: String,
}

/// One view over the phases.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ViewSet {
    /// Stable id.
    pub id: String,
    /// Area.
    pub area: Option<String>,
    /// Paths by phase.
    pub photos: PhasePaths,
    /// Photos that seem meant to repeat this view from another standpoint.
    pub attempts: Vec<Attempt>,
    /// Compared pairs of this set, as `compare` prints them.
    pub pairs: Vec<Pair>,
}

/// An attempted repeat of a view.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Attempt {
    /// Path of the attempt.
    pub photo: String,
    /// Its phase.
    pub phase: Phase,
    /// Path of the photo it should repeat.
    pub like: String,
}

/// Photo paths by phase.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PhasePaths {
    /// Before photos.
    pub before: Vec<String>,
    /// During photos.
    pub during: Vec<String>,
    /// After photos.
    pub after: Vec<String>,
}

/// A compared pair, as `compare` prints it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pair {
    /// Path of photo a.
    pub a: String,
    /// Path of photo b.
    pub b: String,
    /// `same_view`, `shifted`, `different`, `undetermined`.
    pub relation: String,
    /// Why, when `undetermined`.
    pub reason: Option<String>,
    /// Angle of the relative rotation, degrees.
    pub rotation_deg: Option<f64>,
    /// Standard uncertainty of `rotation_deg`.
    pub rotation_sigma_deg: Option<f64>,
    /// Turn to the right (negative: left), degrees.
    pub turn_right_deg: Option<f64>,
    /// Tilt upwards (negative: downwards), degrees.
    pub tilt_up_deg: Option<f64>,
    /// Roll clockwise, degrees.
    pub roll_clockwise_deg: Option<f64>,
    /// Camera distance of b over that of a.
    pub distance_ratio: Option<f64>,
    /// Standard uncertainty of `distance_ratio`.
    pub distance_ratio_sigma: Option<f64>,
    /// Share of a's frame seen in b, 0..=1.
    pub overlap: Option<f64>,
    /// Focal length of b over that of a (1 = no zoom).
    pub zoom: Option<f64>,
    /// Inliers of the selected model.
    pub inliers: u32,
    /// Mutual, ratio-tested matches.
    pub matches: u32,
    /// `homography` or `essential`.
    pub model: Option<String>,
    /// Whether both focal lengths come from Exif.
    pub focal_known: bool,
    /// `none`, `same_bytes`, `same_pixels`, `edited`, `unsure` (a copy or a second exposure from the same spot).
    pub copy: String,
    /// How the copy was edited.
    pub copy_detail: Option<CopyDetail>,
    /// What the crew should do, in words; `null` when nothing.
    pub advice: Option<String>,
    /// Plane-to-plane map from a's to b's frame, both scaled to width 1, row major.
    pub alignment: Option<[[f64; 3]; 3]>,
    /// Where parts of a stand elsewhere in b, or surfaces of the one are others in the other, so that the pair may show
    /// another room with the same fittings: left, top, right and bottom edge as shares of a's width and height, 0..=1;
    /// absent where nothing contradicts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub contradictions: Vec<[f64; 4]>,
    /// What changed from a to b; absent where it was not compared.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub change: Option<Change>,
}

/// Visible change between two photos of one view.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// Share of the compared part of a's frame that changed, 0..=1: the best estimate.
    pub share: f64,
    /// Share of the compared part of a's frame that may have changed, 0..=1 and not below `share`; `min_visible_change` is
    /// held against it.
    pub at_most: f64,
    /// Share of a's frame that was compared, 0..=1.
    pub compared: f64,
    /// Map over a's frame, one text a row, one letter a cell: how surely it changed in tenths, `0` to `9`; `-` where
    /// nothing could be compared.
    pub map: Vec<String>,
    /// Connected changed parts, the largest first.
    pub regions: Vec<ChangedRegion>,
}

/// A connected changed part of a's frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChangedRegion {
    /// Left, top, right and bottom edge as shares of a's width and height, 0..=1.
    pub frame: [f64; 4],
    /// Share of a's frame, 0..=1.
    pub share: f64,
}

/// How a copy was edited.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CopyDetail {
    /// `none`, `mirrored`, `turned 90`, ...
    pub transform: String,
    /// Share of the original's area shown, 0..=1.
    pub crop: f64,
}

/// One cell of the coverage matrix.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Coverage {
    /// Area.
    pub area: String,
    /// Phase.
    pub phase: Phase,
    /// Whether photos are required here.
    pub required: bool,
    /// Photos found.
    pub photos: usize,
}

/// A confirmed copy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Copy {
    /// Path of the original (or the earlier of the two).
    pub a: String,
    /// Path of the copy, in this job.
    pub b: String,
    /// `same_bytes`, `same_pixels`, `edited`, `unsure` (a copy or a second exposure from the same spot).
    pub kind: String,
    /// `job` or `ledger`.
    pub scope: String,
    /// The other job's id when `scope` is `ledger`.
    pub other_job: Option<String>,
    /// How it was edited.
    pub detail: Option<CopyDetail>,
}

/// The debris tally. Volumes are decimal strings in the JSON numbers' place where exactness matters.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Debris {
    /// Loads of the job sheet.
    pub loads: Vec<Load>,
    /// Claimed cubic yards.
    pub claimed: Option<f64>,
    /// Cubic yards backed by measured and evidenced loads.
    pub documented: Option<f64>,
    /// Claimed minus documented.
    pub difference: Option<f64>,
}

/// One load of the tally.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// Name on the job sheet.
    pub name: String,
    /// Volume in cubic yards, rounded half up to hundredths.
    pub cubic_yards: f64,
    /// Whether photos of this load are in the folder, and not of a load that counts already.
    pub evidenced: bool,
    /// The earlier load that its photos show again; it counts once.
    #[serde(default)]
    pub same_as: Option<String>,
    /// Paths of its photos.
    pub photos: Vec<String>,
    /// The formula with its numbers, so that it can be checked by hand.
    pub working: String,
}

/// One finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Check id.
    pub check: String,
    /// Severity.
    pub severity: Severity,
    /// Area.
    pub area: Option<String>,
    /// Paths, the primary first.
    pub photos: Vec<String>,
    /// What was measured, one sentence.
    pub message: String,
    /// Where in its first photo it was measured, if that is told: left, top, right and bottom as shares of the upright
    /// width and height.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub regions: Vec<[f64; 4]>,
    /// The number behind it.
    pub measured: Option<Measurement>,
    /// What to do.
    pub remedy: String,
    /// Innocent explanations.
    pub innocent_explanations: Vec<String>,
    /// The waiver, when waived.
    pub waived: Option<Waived>,
    /// Stable identity of the finding over runs (hash of check, area, photos).
    pub fingerprint: String,
}

/// A reviewer's acceptance of a finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Waived {
    /// Who accepted it.
    pub reviewer: String,
    /// Why.
    pub reason: String,
    /// Last day it holds, `YYYY-MM-DD`.
    pub until: String,
}

/// One photo to shoot again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Retake {
    /// Area.
    pub area: Option<String>,
    /// Phase to shoot.
    pub phase: Option<Phase>,
    /// View set, if it repeats one.
    pub view_set: Option<String>,
    /// The photo to match, if any.
    pub like: Option<String>,
    /// The photo to replace, if any.
    pub replaces: Option<String>,
    /// What to do, in words.
    pub instruction: String,
    /// Checks that asked for it.
    pub checks: Vec<String>,
}
