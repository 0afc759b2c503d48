//! `[[load]]`: shapes with their measures, fill, and the photos that show them.

use rust_decimal::Decimal;

use super::length::Units;
use super::load_shape::shape;
use super::mistake::suggestion;
use super::pattern::normalize;
use super::settings::{MAX_COUNT, cubic_yards, globs, units};
use super::table::Reader;
use super::{JobSheet, Load, LoadPhotos};
use crate::volume::{Material, Shape};

/// Keys of a load that are not measures.
const PLAIN_KEYS: [&str; 14] = [
    "name",
    "shape",
    "units",
    "fill",
    "count",
    "tailgate",
    "loading",
    "claimed_cubic_yards",
    "weight_lb",
    "material",
    "photos",
    "photos_empty",
    "photos_full",
    "photos_dumped",
];

/// More loads than this are no job of one house.
const MAX_LOADS: usize = 1_000;
/// A truck bed, trailer or container longer than this many feet is noted.
const LONG_BED_FT: Decimal = Decimal::from_parts(60, 0, 0, false, 0);

/// Reads all loads.
pub(super) fn loads(root: &Reader<'_>, default_units: Units, sheet: &mut JobSheet) {
    let mut known: Vec<&str> = PLAIN_KEYS.to_vec();
    known.extend(crate::volume::measure_keys());
    let mut names: Vec<(String, usize)> = Vec::new();
    let tables = root.tables("load", &known);
    if let Some(excess) = tables.get(MAX_LOADS) {
        root.mistake(
            &excess.span,
            format!("more than {MAX_LOADS} loads; split the job"),
        );
    }
    for table in tables.into_iter().take(MAX_LOADS) {
        if let Some(name) = table.text("name") {
            let (line, _) = root.mistakes.position(name.span.start);
            match names.iter().find(|(n, _)| *n == normalize(&name.value)) {
                Some((_, first)) => table.mistake(
                    &name.span,
                    format!(
                        "load name `{}` is already used on line {first}; each load counts once, number them",
                        name.value
                    ),
                ),
                None => names.push((normalize(&name.value), line)),
            }
        }
        if let Some(load) = load(&table, default_units, &mut sheet.notes) {
            sheet.loads.push(load);
        }
    }
}

fn load(table: &Reader<'_>, default_units: Units, notes: &mut Vec<String>) -> Option<Load> {
    if !table.has("name") {
        table.missing("name", "name = \"Trailer 1\"");
    }
    let units = units(table).unwrap_or(default_units);
    let fill = fill(table);
    let count = match table.has("count") {
        true => table.integer("count", 1..=MAX_COUNT),
        false => Some(1),
    };
    let claimed_cubic_yards = cubic_yards(table, "claimed_cubic_yards");
    let weight_lb = weight(table);
    let material = material(table);
    let tailgate = table.boolean("tailgate");
    let hand_loaded = loading(table);
    let photos = photos(table);
    let shape = shape(table, units);
    let name = table.text("name")?;
    let shape = shape?;
    if let (Shape::Box { length, .. }, Units::Feet) = (&shape, units)
        && *length > LONG_BED_FT
    {
        notes.push(format!(
            "load `{}` is {length} ft long, longer than a road trailer; if these are inches, write them as \"{length} in\"",
            name.value
        ));
    }
    Some(Load {
        name: name.value,
        shape,
        units,
        fill: fill?,
        count: u32::try_from(count?).unwrap_or(u32::MAX),
        tailgate,
        hand_loaded,
        claimed_cubic_yards,
        weight_lb,
        material,
        photos,
    })
}

/// `fill` as a share; `None` after a mistake.
fn fill(table: &Reader<'_>) -> Option<Decimal> {
    if !table.has("fill") {
        return Some(Decimal::ONE);
    }
    let fill = table.decimal("fill")?;
    if (Decimal::ZERO..=Decimal::ONE).contains(&fill.value) {
        return Some(fill.value.normalize());
    }
    let hundred = Decimal::ONE_HUNDRED;
    let advice = if fill.value > Decimal::ONE && fill.value <= hundred {
        format!(
            "for {} percent write {}",
            fill.value,
            (fill.value / hundred).normalize()
        )
    } else if fill.value > hundred {
        "a heap above the sides is not counted, so 1.0 is the most".to_owned()
    } else {
        "an empty bed is 0".to_owned()
    };
    table.mistake(
        &fill.span,
        format!(
            "`fill` in {} is {}, but is a share from 0 to 1; {advice}",
            table.name, fill.value
        ),
    );
    None
}

fn weight(table: &Reader<'_>) -> Option<Decimal> {
    let weight = table.decimal("weight_lb")?;
    if weight.value > Decimal::ZERO && weight.value <= Decimal::from(1_000_000) {
        return Some(weight.value);
    }
    table.mistake(
        &weight.span,
        format!(
            "`weight_lb` in {} is {}, but must be above 0 and at most 1000000 pounds",
            table.name, weight.value
        ),
    );
    None
}

fn material(table: &Reader<'_>) -> Option<String> {
    let material = table.text("material")?;
    if Material::from_name(&material.value).is_some() {
        return Some(material.value);
    }
    let names = Material::names();
    table.mistake(
        &material.span,
        format!(
            "unknown material `{}` in {}; {}",
            material.value,
            table.name,
            suggestion(&material.value, &names)
        ),
    );
    None
}

fn loading(table: &Reader<'_>) -> Option<bool> {
    let loading = table.text("loading")?;
    match loading.value.as_str() {
        "hand" => Some(true),
        "machine" => Some(false),
        other => {
            table.mistake(
                &loading.span,
                format!(
                    "unknown loading `{other}` in {}; {}",
                    table.name,
                    suggestion(other, &["hand", "machine"])
                ),
            );
            None
        }
    }
}

fn photos(table: &Reader<'_>) -> LoadPhotos {
    let keys = ["photos", "photos_empty", "photos_full", "photos_dumped"];
    let named = keys
        .iter()
        .any(|key| table.raw(key).is_some_and(|v| !is_empty_list(v.get_ref())));
    if !named {
        let span = table.raw("photos").map_or(table.span.clone(), |v| v.span());
        table.mistake(
            &span,
            format!(
                "{} has no `photos`; name the photos that show it, for instance photos = [\"loads/trailer1_*.jpg\"]",
                table.name
            ),
        );
    }
    LoadPhotos {
        any: globs(table, "photos"),
        empty: globs(table, "photos_empty"),
        full: globs(table, "photos_full"),
        dumped: globs(table, "photos_dumped"),
    }
}

fn is_empty_list(value: &toml::de::DeValue<'_>) -> bool {
    value
        .as_array()
        .is_some_and(|items| items.iter().next().is_none())
}
