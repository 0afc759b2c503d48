//! The job sheet: what was ordered, where, when, which areas, which claims.
//!
//! In comes a TOML file, out goes a checked [`JobSheet`] or one [`crate::Error`] that lists every
//! mistake with its line and column, because a crew lead corrects a sheet in one go or not at all.

mod areas;
pub(crate) mod length;
mod limit_ranges;
mod load;
mod load_shape;
mod mistake;
pub(crate) mod pattern;
mod read;
mod settings;
mod table;
mod when;

use std::path::PathBuf;

use chrono::NaiveDateTime;
use rust_decimal::Decimal;

use crate::limits::Limits;
use crate::phase::Phase;
use crate::scope::Profile;
use crate::volume::{Rules, Shape};

pub use length::Units;
pub(crate) use mistake::{Mistakes, plain, suggestion};
pub use pattern::{UnmatchedPattern, normalize};
pub(crate) use read::{read_text, syntax_mistakes};
pub(crate) use settings::phases;
pub(crate) use table::Reader;

/// Largest job sheet read, bytes.
pub const MAX_BYTES: u64 = 1 << 20;

/// A job sheet, read and checked. Everything is optional; absent parts are inferred or not judged.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct JobSheet {
    /// `[job] id`.
    pub id: Option<String>,
    /// `[job] vendor`.
    pub vendor: Option<String>,
    /// `[job] services`.
    pub services: Vec<String>,
    /// `[job] window`: civil times at the site.
    pub window: Option<Window>,
    /// `[site]`.
    pub site: Site,
    /// `[[area]]`, in sheet order.
    pub areas: Vec<Area>,
    /// `[[load]]`, in sheet order.
    pub loads: Vec<Load>,
    /// `[claim]`.
    pub claim: Claim,
    /// `[limits]` over the defaults.
    pub limits: Limits,
    /// `[scope] phases`; empty means that the profile decides, and all three without a profile.
    pub phases: Vec<Phase>,
    /// `[scope]` and the profiles it names.
    pub scope: ScopeSettings,
    /// `[volume]`, over the rules of the profiles.
    pub volume: Rules,
    /// `[labels]`: extra label patterns of the phases (globs, case-insensitive).
    pub phase_patterns: Vec<(Phase, String)>,
    /// Remarks that are no mistakes: a window time that exists twice, a very long load.
    pub notes: Vec<String>,
}

/// The work window, civil time at the site, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First moment.
    pub start: NaiveDateTime,
    /// Last moment.
    pub end: NaiveDateTime,
}

/// Where the work is.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct Site {
    /// Postal address, as written.
    pub address: Option<String>,
    /// Latitude, decimal degrees, -90..=90.
    pub latitude: Option<f64>,
    /// Longitude, decimal degrees, -180..=180.
    pub longitude: Option<f64>,
    /// Radius within which a photo counts as taken at the site, metres.
    pub radius_m: Option<f64>,
    /// IANA zone of the site. `None`: unknown, and none is invented.
    pub timezone: Option<chrono_tz::Tz>,
}

impl Site {
    /// Latitude and longitude, decimal degrees, where the job sheet gives both.
    #[must_use]
    pub fn position(&self) -> Option<(f64, f64)> {
        self.latitude.zip(self.longitude)
    }
}

/// One area of the site.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Area {
    /// Name as printed everywhere.
    pub name: String,
    /// Kind, picks the scope (`kitchen`, `bathroom`, ...).
    pub kind: Option<String>,
    /// Extra label patterns (globs, case-insensitive).
    pub patterns: Vec<String>,
}

/// One truck, trailer, container or pile of debris.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Load {
    /// Name as printed everywhere.
    pub name: String,
    /// Shape with its measures, in `units`.
    pub shape: Shape,
    /// Unit of the measures.
    pub units: Units,
    /// Share of the shape that is filled, 0..=1.
    pub fill: Decimal,
    /// How many of them (bags, drums), at least 1.
    pub count: u32,
    /// Whether the bed has a solid tailgate; only a rule switched on by the job looks at it.
    pub tailgate: Option<bool>,
    /// Whether it was loaded by hand; only a rule switched on by the job looks at it.
    pub hand_loaded: Option<bool>,
    /// Cubic yards claimed for this load alone.
    pub claimed_cubic_yards: Option<Decimal>,
    /// Net weight of the scale ticket, pounds.
    pub weight_lb: Option<Decimal>,
    /// Material of the weight ticket (`trash`, `wood`, ...).
    pub material: Option<String>,
    /// Globs of its photos, relative to the job folder.
    pub photos: LoadPhotos,
}

/// Globs of a load's photos, relative to the job folder, `/` between folders.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[non_exhaustive]
pub struct LoadPhotos {
    /// Photos of any state.
    pub any: Vec<String>,
    /// Photos of the empty bed.
    pub empty: Vec<String>,
    /// Photos of the full bed.
    pub full: Vec<String>,
    /// Photos after dumping.
    pub dumped: Vec<String>,
}

impl LoadPhotos {
    /// All globs.
    pub fn all(&self) -> impl Iterator<Item = &str> {
        [&self.any, &self.empty, &self.full, &self.dumped]
            .into_iter()
            .flatten()
            .map(String::as_str)
    }
}

/// What is claimed.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct Claim {
    /// `[claim] debris_cubic_yards`.
    pub debris_cubic_yards: Option<Decimal>,
    /// `[claim] hazards`: items counted apart from the debris.
    pub hazards: Vec<Hazard>,
}

/// Items that are counted apart: tyres, propane, paint, batteries, appliances with refrigerant.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Hazard {
    /// What it is, as written.
    pub item: String,
    /// How many.
    pub count: u32,
    /// Globs of its photos, relative to the job folder.
    pub photos: Vec<String>,
}

/// `[scope]`: what the services of this job need, over their profiles.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct ScopeSettings {
    /// Profile file given by `profile`, as written.
    pub profile: Option<PathBuf>,
    /// The profiles in force, one a service.
    pub profiles: Vec<Profile>,
    /// `photos_per_view`: photos wanted of each view; `None` leaves it to the profile.
    pub photos_per_view: Option<u32>,
    /// `require_shots`: whether each shot of the scope is owed, not only each area, phase and view. Left
    /// out, it is so when the sheet names a `profile`.
    pub require_shots: bool,
    /// `require_stamp`: whether each photo owes a visible date stamp.
    pub require_stamp: bool,
    /// `skip`: ids of shots that this job does not ask for (`bathroom.freshener`, or a whole kind).
    pub skip: Vec<String>,
}
