//! The debris tally of a job sheet: each load with its working, the sum, and the claim against it.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::shape::brief;
use super::weight::{Material, Plausibility};
use super::{Rules, round_half_up, show};
use crate::job::{JobSheet, Load, normalize, pattern};
use crate::report::v1;

/// Decimals of a load when no rule says otherwise.
const DEFAULT_DECIMALS: u32 = 2;

/// The debris of a job: volumes in cubic yards.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[non_exhaustive]
pub struct Tally {
    /// One line a load, in sheet order.
    pub loads: Vec<LoadLine>,
    /// Items counted apart, in sheet order.
    pub hazards: Vec<HazardLine>,
    /// Sum over all loads, evidenced or not.
    pub measured: Decimal,
    /// Sum over evidenced loads.
    pub documented: Decimal,
    /// Claimed on the sheet.
    pub claimed: Option<Decimal>,
    /// Claimed minus documented.
    pub difference: Option<Decimal>,
    /// Sum over the boxes around all loads: a claim above it is impossible.
    pub bound: Decimal,
    /// Whether the claim exceeds `bound`; `false` without loads or claim.
    pub claim_impossible: bool,
    /// Decimals to which loads are rounded half up.
    pub decimals: u32,
}

/// One load of the tally.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct LoadLine {
    /// Name on the job sheet.
    pub name: String,
    /// Volume after fill, count and rules, rounded half up.
    pub cubic_yards: Decimal,
    /// Volume of the box around it, times count, unrounded.
    pub bound: Decimal,
    /// Claimed for this load alone.
    pub claimed: Option<Decimal>,
    /// Whether photos of it are in the folder, and not of a load that counts already.
    pub evidenced: bool,
    /// The earlier load that its photos show again.
    pub same_as: Option<Repeat>,
    /// Photos by any of its globs, sorted.
    pub photos: Vec<String>,
    /// Photos of the empty bed, if the sheet tells them apart.
    pub empty: Vec<String>,
    /// Photos of the full bed, if the sheet tells them apart.
    pub full: Vec<String>,
    /// Photos after dumping, if the sheet tells them apart.
    pub dumped: Vec<String>,
    /// States the sheet names photos for (`empty`, `full`, `dumped`) and none is there.
    pub missing_states: Vec<&'static str>,
    /// The formula with its numbers.
    pub working: String,
    /// The scale ticket against the volume.
    pub weight: Option<Plausibility>,
}

/// A load whose photos show the load of an earlier line.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Repeat {
    /// Index of the load that is counted already.
    pub load: usize,
    /// Index of the earlier load.
    pub of: usize,
    /// How its photos are the same.
    pub how: Sameness,
    /// The photos and what they repeat.
    pub photos: Vec<String>,
}

/// How two photos show one load.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Sameness {
    /// One photo is named for both loads.
    SamePhoto,
    /// One photo was made from the other.
    Copy,
    /// Both show one view, too soon after each other for a second load.
    SameView,
}

/// What a photo of a load shows it as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum LoadState {
    /// The empty bed.
    Empty,
    /// The full bed.
    Full,
    /// The bed after dumping.
    Dumped,
}

impl LoadState {
    /// All states, in the order in which they come about.
    pub const ALL: [LoadState; 3] = [LoadState::Empty, LoadState::Full, LoadState::Dumped];

    /// `empty`, `full` or `dumped`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            LoadState::Empty => "empty",
            LoadState::Full => "full",
            LoadState::Dumped => "dumped",
        }
    }

    /// The state that a file name tells (`trailer1_full_2.jpg`), if it tells one.
    #[must_use]
    pub fn of_name(path: &str) -> Option<Self> {
        let name = path.rsplit('/').next().unwrap_or_default().to_lowercase();
        let mut words = name.split(|c: char| !c.is_alphabetic());
        words.find_map(|word| match word {
            "empty" => Some(LoadState::Empty),
            "full" | "loaded" => Some(LoadState::Full),
            "dumped" | "dump" | "unloaded" => Some(LoadState::Dumped),
            _ => None,
        })
    }
}

impl LoadLine {
    /// Whether more is claimed for this load than the box around it holds: no pile of these measures does.
    #[must_use]
    pub fn claim_impossible(&self, decimals: u32) -> bool {
        self.claimed
            .is_some_and(|claimed| claimed > round_half_up(self.bound, decimals))
    }

    /// The state in which `path` shows this load: by the sheet's globs, else by the file's name.
    #[must_use]
    pub fn state_of(&self, path: &str) -> Option<LoadState> {
        let by_glob = [&self.empty, &self.full, &self.dumped];
        let listed = LoadState::ALL
            .into_iter()
            .zip(by_glob)
            .find(|(_, paths)| paths.iter().any(|p| p == path));
        listed
            .map(|(state, _)| state)
            .or_else(|| LoadState::of_name(path))
    }
}

/// Items counted apart.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct HazardLine {
    /// What it is.
    pub item: String,
    /// How many.
    pub count: u32,
    /// Photos by its globs, else those named after it, sorted.
    pub photos: Vec<String>,
}

/// Adds up the loads of `sheet`; `photo_paths` are relative to the job folder, `/` between folders.
#[must_use]
pub fn tally(sheet: &JobSheet, photo_paths: &[String]) -> Tally {
    let decimals = sheet.volume.decimals.unwrap_or(DEFAULT_DECIMALS);
    let loads: Vec<LoadLine> = sheet
        .loads
        .iter()
        .map(|load| line(load, &sheet.volume, photo_paths))
        .collect();
    let hazards = sheet.claim.hazards.iter().map(|hazard| HazardLine {
        item: hazard.item.clone(),
        count: hazard.count,
        photos: match hazard.photos.as_slice() {
            [] => named(&hazard.item, photo_paths),
            globs => matching(globs.iter().map(String::as_str), photo_paths),
        },
    });
    let sum = |evidenced_only: bool| -> Decimal {
        loads
            .iter()
            .filter(|l| l.evidenced || !evidenced_only)
            .map(|l| l.cubic_yards)
            .sum()
    };
    let bound: Decimal = loads.iter().map(|l| l.bound).sum();
    let claimed = sheet.claim.debris_cubic_yards;
    let documented = sum(true);
    Tally {
        measured: sum(false),
        documented,
        claimed,
        difference: claimed.map(|c| c - documented),
        claim_impossible: !loads.is_empty()
            && claimed.is_some_and(|c| c > round_half_up(bound, decimals)),
        bound,
        hazards: hazards.collect(),
        loads,
        decimals,
    }
}

impl Tally {
    /// Counts loads that are photographed twice once: they are no longer evidenced.
    pub(crate) fn count_once(&mut self, repeats: Vec<Repeat>) {
        for repeat in repeats {
            if let Some(line) = self.loads.get_mut(repeat.load) {
                line.evidenced = false;
                line.same_as = Some(repeat);
            }
        }
        let evidenced = self.loads.iter().filter(|line| line.evidenced);
        self.documented = evidenced.map(|line| line.cubic_yards).sum();
        self.difference = self.claimed.map(|claimed| claimed - self.documented);
    }

    /// Name of a load by its index.
    #[must_use]
    pub fn name(&self, load: usize) -> &str {
        self.loads.get(load).map_or("", |line| line.name.as_str())
    }
}

fn line(load: &Load, rules: &Rules, paths: &[String]) -> LoadLine {
    let decimals = rules.decimals.unwrap_or(DEFAULT_DECIMALS);
    let (exact, working) = work(load, rules);
    let cubic_yards = round_half_up(exact, decimals);
    let of = |globs: &[String]| matching(globs.iter().map(String::as_str), paths);
    let photos = matching(load.photos.all(), paths);
    let states = [&load.photos.empty, &load.photos.full, &load.photos.dumped];
    LoadLine {
        name: load.name.clone(),
        cubic_yards,
        bound: load.shape.bounding_box(load.units) * Decimal::from(load.count),
        claimed: load.claimed_cubic_yards,
        evidenced: !photos.is_empty(),
        same_as: None,
        empty: of(&load.photos.empty),
        full: of(&load.photos.full),
        dumped: of(&load.photos.dumped),
        missing_states: missing_states(load, &photos, &states.map(|globs| of(globs))),
        photos,
        working: format!("{working} = {} yd3", show(exact, decimals)),
        weight: load
            .weight_lb
            .zip(load.material.as_deref().and_then(Material::from_name))
            .and_then(|(pounds, material)| material.plausibility(pounds, observed(load))),
    }
}

/// States owed and not there. The sheet's globs of states are owed; where it has none and the name of a
/// photo of a bed tells a state, all three are.
fn missing_states(load: &Load, photos: &[String], by_glob: &[Vec<String>; 3]) -> Vec<&'static str> {
    let globs = [&load.photos.empty, &load.photos.full, &load.photos.dumped];
    let listed = globs.iter().any(|globs| !globs.is_empty());
    let is_bed = load.shape.is_bed();
    let named: Vec<LoadState> = photos
        .iter()
        .filter_map(|path| LoadState::of_name(path))
        .collect();
    let by_name = !listed && is_bed && !named.is_empty();
    let states = LoadState::ALL.into_iter().zip(globs.iter().zip(by_glob));
    states
        .filter(|(state, (globs, found))| {
            let unmatched = !globs.is_empty() && found.is_empty();
            unmatched || (by_name && !named.contains(state))
        })
        .map(|(state, _)| state.name())
        .collect()
}

/// Exact cubic yards with the working, without the final rounding.
///
/// Order of the steps: capacity, tailgate rule, percent call, hand-loading rule, count (FEMA, Public
/// Assistance Debris Monitoring Guide, March 2021: the tailgate limits the basis, then the percent
/// call applies; hand loading reduces the observed load).
fn work(load: &Load, rules: &Rules) -> (Decimal, String) {
    let worked = load.shape.volume(load.units);
    let mut volume = worked.cubic_yards;
    let mut working = worked.working;
    if let Some(share) = rules
        .no_tailgate_share
        .filter(|_| load.tailgate == Some(false))
    {
        volume *= share;
        working.push_str(&format!("; no tailgate x {share} = {}", brief(volume)));
    }
    volume *= load.fill;
    working.push_str(&format!("; fill x {}", load.fill));
    if let Some(share) = rules
        .hand_loaded_share
        .filter(|_| load.hand_loaded == Some(true))
    {
        working.push_str(&format!(" = {}; loaded by hand x {share}", brief(volume)));
        volume *= share;
    }
    if load.count > 1 {
        working.push_str(&format!(" = {}; count x {}", brief(volume), load.count));
        volume *= Decimal::from(load.count);
    }
    (volume, working)
}

/// What lies in the bed, without the reductions of a programme: a scale weighs that.
fn observed(load: &Load) -> Decimal {
    load.shape.volume(load.units).cubic_yards * load.fill * Decimal::from(load.count)
}

/// Photos whose file name holds the item's words (`hazards/refrigerator_1.jpg`).
fn named(item: &str, paths: &[String]) -> Vec<String> {
    let plain = |text: &str| {
        let blank = |c: char| if c.is_alphanumeric() { c } else { ' ' };
        normalize(&text.chars().map(blank).collect::<String>())
    };
    let item = format!(" {} ", plain(item));
    let holds = |path: &&String| {
        let name = path.rsplit('/').next().unwrap_or_default();
        let name = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
        format!(" {} ", plain(name)).contains(&item)
    };
    let mut found: Vec<String> = paths.iter().filter(holds).cloned().collect();
    found.sort();
    found
}

fn matching<'a>(globs: impl Iterator<Item = &'a str>, paths: &[String]) -> Vec<String> {
    let matchers: Vec<_> = globs.filter_map(pattern::matcher).collect();
    let mut found: Vec<String> = paths
        .iter()
        .filter(|path| matchers.iter().any(|m| m.is_match(path.as_str())))
        .cloned()
        .collect();
    found.sort();
    found.dedup();
    found
}

impl From<&Tally> for v1::Debris {
    fn from(tally: &Tally) -> Self {
        let number = |d: Decimal| d.to_f64().unwrap_or_default();
        let documented = (!tally.loads.is_empty()).then(|| number(tally.documented));
        v1::Debris {
            loads: tally
                .loads
                .iter()
                .map(|line| v1::Load {
                    name: line.name.clone(),
                    cubic_yards: number(line.cubic_yards),
                    evidenced: line.evidenced,
                    same_as: line
                        .same_as
                        .as_ref()
                        .map(|repeat| tally.name(repeat.of).to_owned()),
                    photos: line.photos.clone(),
                    working: line.working.clone(),
                })
                .collect(),
            claimed: tally.claimed.map(number),
            documented,
            difference: tally.difference.map(number),
        }
    }
}
