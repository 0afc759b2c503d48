//! The tables of a job sheet other than areas and loads.

use std::path::{Path, PathBuf};

use rust_decimal::Decimal;
use serde_json::{Map, Value};

use super::length::Units;
use super::limit_ranges::RANGES;
use super::mistake::{nearest, suggestion};
use super::pattern::{label_glob, photo_glob};
use super::table::{At, Reader, number};
use super::{Claim, Hazard, JobSheet, when};
use crate::limits::Limits;
use crate::phase::Phase;
use crate::scope::{self, Profile};
use crate::volume::Rules;

/// Most items of one kind a sheet may count.
pub(super) const MAX_COUNT: i64 = 10_000;

/// Reads `[job]`; returns the unit of loads that name none.
pub(super) fn job(root: &Reader<'_>, sheet: &mut JobSheet) -> Units {
    let known = ["id", "vendor", "services", "window", "units"];
    let Some(table) = root.table("job", &known) else {
        return Units::default();
    };
    sheet.id = table.text("id").map(|t| t.value);
    sheet.vendor = table.text("vendor").map(|t| t.value);
    let services = scope::service_names(&sheet.scope.profiles);
    for service in table.texts("services") {
        if !services.contains(&service.value.as_str()) {
            table.mistake(
                &service.span,
                format!(
                    "unknown service `{}`; {}",
                    service.value,
                    suggestion(&service.value, &services)
                ),
            );
        } else if sheet.services.contains(&service.value) {
            table.mistake(
                &service.span,
                format!("service `{}` is named twice; remove one", service.value),
            );
        } else {
            sheet.services.push(service.value);
        }
    }
    when::window(&table, sheet);
    units(&table).unwrap_or_default()
}

/// Reads `units` of a table.
pub(super) fn units(table: &Reader<'_>) -> Option<Units> {
    let name = table.text("units")?;
    let found = Units::from_name(&name.value);
    if found.is_none() {
        let advice = match name.value.to_lowercase().as_str() {
            "ft" | "foot" | "imperial" | "inches" | "us" => "write \"feet\"".to_owned(),
            "m" | "metre" | "metres" | "meter" | "meters" => "write \"metric\"".to_owned(),
            other => suggestion(other, &Units::NAMES),
        };
        table.mistake(
            &name.span,
            format!("unknown units `{}` in {}; {advice}", name.value, table.name),
        );
    }
    found
}

/// Reads `[site]`.
pub(super) fn site(root: &Reader<'_>, sheet: &mut JobSheet) {
    let known = ["address", "latitude", "longitude", "radius_m", "timezone"];
    let Some(table) = root.table("site", &known) else {
        return;
    };
    let site = &mut sheet.site;
    site.address = table.text("address").map(|t| t.value);
    site.latitude = in_range(&table, "latitude", (-90.0, 90.0), "degrees");
    site.longitude = in_range(&table, "longitude", (-180.0, 180.0), "degrees");
    site.radius_m = in_range(&table, "radius_m", (1.0, 100_000.0), "metres");
    for (given, other) in [("latitude", "longitude"), ("longitude", "latitude")] {
        if table.has(given) && !table.has(other) {
            table.missing(other, &format!("{other} = -93.6544"));
        }
    }
    site.timezone = table.text("timezone").and_then(|zone| {
        let found = zone.value.parse::<chrono_tz::Tz>().ok();
        if found.is_none() {
            table.mistake(&zone.span, unknown_zone(&zone.value));
        }
        found
    });
}

fn unknown_zone(name: &str) -> String {
    let zones = || chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name());
    let close = nearest(name, zones()).or_else(|| {
        let city = name.rsplit('/').next().unwrap_or(name).replace(' ', "_");
        zones().find(|zone| {
            zone.rsplit('/')
                .next()
                .is_some_and(|z| z.eq_ignore_ascii_case(&city))
        })
    });
    match close {
        Some(zone) => format!("unknown timezone `{name}`; did you mean `{zone}`?"),
        None => format!(
            "unknown timezone `{name}`; write an IANA name such as \"America/Chicago\", or leave it out"
        ),
    }
}

fn in_range(table: &Reader<'_>, key: &str, range: (f64, f64), unit: &str) -> Option<f64> {
    let found = table.number(key)?;
    let (low, high) = range;
    if (low..=high).contains(&found.value) {
        return Some(found.value);
    }
    table.mistake(
        &found.span,
        format!(
            "`{key}` is {}, but must be from {low} to {high} {unit}",
            found.value
        ),
    );
    None
}

/// Reads `[claim]`.
pub(super) fn claim(root: &Reader<'_>, sheet: &mut JobSheet) {
    let Some(table) = root.table("claim", &["debris_cubic_yards", "hazards"]) else {
        return;
    };
    let mut claim = Claim {
        debris_cubic_yards: cubic_yards(&table, "debris_cubic_yards"),
        ..Claim::default()
    };
    for hazard in table.tables("hazards", &["item", "count", "photos"]) {
        if !hazard.has("item") {
            hazard.missing("item", "item = \"propane cylinder\"");
        }
        let item = hazard.text("item");
        let count = match hazard.has("count") {
            true => hazard.integer("count", 1..=MAX_COUNT),
            false => Some(1),
        };
        let photos = globs(&hazard, "photos");
        if let (Some(item), Some(count)) = (item, count) {
            claim.hazards.push(Hazard {
                item: item.value,
                count: u32::try_from(count).unwrap_or(u32::MAX),
                photos,
            });
        }
    }
    sheet.claim = claim;
}

/// Reads a claimed volume.
pub(super) fn cubic_yards(table: &Reader<'_>, key: &str) -> Option<Decimal> {
    let yards = table.decimal(key)?;
    if yards.value.is_sign_negative() && !yards.value.is_zero() {
        table.mistake(
            &yards.span,
            format!("`{key}` is {}, but a volume is never below 0", yards.value),
        );
        return None;
    }
    if yards.value > Decimal::from(1_000_000) {
        table.mistake(
            &yards.span,
            format!("`{key}` is above 1000000; check the unit and the decimal point"),
        );
        return None;
    }
    Some(yards.value)
}

/// Reads a list of photo globs.
pub(super) fn globs(table: &Reader<'_>, key: &str) -> Vec<String> {
    let mut found = Vec::new();
    for glob in table.texts(key) {
        match photo_glob(&glob.value) {
            Ok(_) => found.push(glob.value),
            Err(message) => table.mistake(&glob.span, message),
        }
    }
    found
}

/// Reads `[labels]`.
pub(super) fn labels(root: &Reader<'_>, sheet: &mut JobSheet) {
    let names = Phase::ALL.map(Phase::name);
    let Some(table) = root.table("labels", &names) else {
        return;
    };
    for phase in Phase::ALL {
        for pattern in table.texts(phase.name()) {
            match label_glob(&pattern.value) {
                Ok(_) => sheet.phase_patterns.push((phase, pattern.value)),
                Err(message) => table.mistake(&pattern.span, message),
            }
        }
    }
}

const SCOPE_KEYS: [&str; 6] = [
    "phases",
    "profile",
    "photos_per_view",
    "require_shots",
    "require_stamp",
    "skip",
];

/// Loads the profiles in force: the built-in ones, or the file that `[scope] profile` names.
pub(super) fn scope_profiles(root: &Reader<'_>, sheet_path: &Path, sheet: &mut JobSheet) {
    sheet.scope.profiles = Profile::built_in();
    let Some(raw) = root.raw("scope").and_then(|v| v.get_ref().as_table()) else {
        return;
    };
    let Some(raw) = raw.get("profile") else {
        return;
    };
    let Some(name) = raw.get_ref().as_str() else {
        return;
    };
    let path = sheet_path
        .parent()
        .map_or_else(|| PathBuf::from(name), |folder| folder.join(name));
    match Profile::read(&path) {
        Ok(profile) => {
            sheet
                .scope
                .profiles
                .retain(|p| p.service != profile.service);
            sheet.scope.profiles.push(profile);
            sheet.scope.profile = Some(PathBuf::from(name));
        }
        Err(error) if error.kind() == crate::ErrorKind::JobSheet => {
            root.mistakes.add_elsewhere(&error);
        }
        Err(error) => root.mistake(&raw.span(), format!("`profile`: {error}")),
    }
}

/// Reads `[scope]`, apart from the profile.
pub(super) fn scope(root: &Reader<'_>, sheet: &mut JobSheet) {
    let Some(table) = root.table("scope", &SCOPE_KEYS) else {
        return;
    };
    // The profile itself was read before; here only its type is checked.
    let _ = table.text("profile");
    sheet.phases = phases(&table, "phases");
    sheet.scope.photos_per_view = table
        .integer("photos_per_view", 1..=100)
        .and_then(|n| u32::try_from(n).ok());
    sheet.scope.require_shots = table
        .boolean("require_shots")
        .unwrap_or(sheet.scope.profile.is_some());
    sheet.scope.require_stamp = table.boolean("require_stamp").unwrap_or(false);
    let ids = scope::shot_ids(&sheet.scope.profiles);
    let ids: Vec<&str> = ids.iter().map(String::as_str).collect();
    for skip in table.texts("skip") {
        if ids.contains(&skip.value.as_str()) {
            sheet.scope.skip.push(skip.value);
        } else {
            let advice = nearest(&skip.value, ids.iter().copied()).map_or_else(
                || "see `photoproof explain scope` for the ids".to_owned(),
                |id| format!("did you mean `{id}`?"),
            );
            table.mistake(
                &skip.span,
                format!("unknown shot `{}` in `skip`; {advice}", skip.value),
            );
        }
    }
}

/// Reads a list of phases, in working order.
pub(crate) fn phases(table: &Reader<'_>, key: &str) -> Vec<Phase> {
    let names = Phase::ALL.map(Phase::name);
    let texts = table.texts(key);
    if texts.is_empty() && table.raw(key).is_some_and(|v| is_empty_list(v.get_ref())) {
        table.mistake(
            &table.raw(key).map_or(0..0, |v| v.span()),
            format!(
                "`{key}` is empty; name at least one of: {}",
                names.join(", ")
            ),
        );
    }
    let mut found = Vec::new();
    for At { value, span } in texts {
        match Phase::ALL.into_iter().find(|p| p.name() == value) {
            Some(phase) => found.push(phase),
            None => table.mistake(
                &span,
                format!("unknown phase `{value}`; {}", suggestion(&value, &names)),
            ),
        }
    }
    found.sort();
    found.dedup();
    found
}

fn is_empty_list(value: &toml::de::DeValue<'_>) -> bool {
    value
        .as_array()
        .is_some_and(|items| items.iter().next().is_none())
}

/// Reads `[volume]`, over the rules of the profiles of the services.
pub(super) fn volume(root: &Reader<'_>, sheet: &mut JobSheet) {
    for profile in &sheet.scope.profiles {
        if sheet.services.contains(&profile.service) {
            sheet.volume = sheet.volume.or(profile.volume);
        }
    }
    if let Some(table) = root.table("volume", &Rules::KEYS) {
        sheet.volume = Rules::from_table(&table).or(sheet.volume);
    }
}

/// Reads `[limits]` over the defaults.
pub(super) fn limits(root: &Reader<'_>, sheet: &mut JobSheet) {
    let Ok(Value::Object(mut values)) = serde_json::to_value(Limits::default()) else {
        return;
    };
    let keys: Vec<String> = values.keys().cloned().collect();
    let keys: Vec<&str> = keys.iter().map(String::as_str).collect();
    let Some(table) = root.table("limits", &keys) else {
        return;
    };
    for (key, _) in table.entries() {
        if let Some(value) = limit(&table, &key, &values) {
            values.insert(key.value.to_owned(), value);
        }
    }
    match serde_json::from_value::<Limits>(Value::Object(values)) {
        Ok(limits) => sheet.limits = limits,
        Err(error) => table.mistake(&table.span, format!("limits do not fit: {error}")),
    }
}

/// The new value of one limit, of the type of its default and within its range.
fn limit(table: &Reader<'_>, key: &At<&str>, defaults: &Map<String, Value>) -> Option<Value> {
    let default = defaults.get(key.value)?;
    let raw = table.raw(key.value)?;
    let found = table.number(key.value)?;
    let (low, high, unit) = RANGES
        .iter()
        .find(|(name, ..)| *name == key.value)
        .map_or((0.0, f64::MAX, "no unit"), |&(_, low, high, unit)| {
            (low, high, unit)
        });
    if !(low..=high).contains(&found.value) {
        table.mistake(
            &found.span,
            format!(
                "limit `{}` is {}, but must be from {low} to {high} ({unit})",
                key.value, found.value
            ),
        );
        return None;
    }
    if default.is_f64() {
        return Some(Value::from(found.value));
    }
    if number(raw.get_ref()).is_some_and(|n| n.fract() != 0.0) {
        table.mistake(
            &found.span,
            format!("limit `{}` must be a whole number ({unit})", key.value),
        );
        return None;
    }
    Some(Value::from(found.value as i64))
}
