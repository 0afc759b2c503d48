//! The shape of a load with its measures, and what may be wrong with them.

use rust_decimal::Decimal;

use super::length::{self, Units};
use super::mistake::suggestion;
use super::table::{At, Reader};
use crate::volume::{SHAPES, Shape, ShapeSpec};

/// Measures above this many metres or feet are mistakes of unit.
const MAX_MEASURE: Decimal = Decimal::from_parts(1_000, 0, 0, false, 0);

/// Reads `shape` and its measures; every measure is read before giving up, so that all mistakes are
/// noted.
pub(super) fn shape(table: &Reader<'_>, units: Units) -> Option<Shape> {
    let (spec, name) = spec(table)?;
    let wanted: Vec<&str> = spec.forms.iter().copied().flatten().copied().collect();
    let misnamed = strangers(table, spec) || table.mistyped(&wanted);
    let mut measures: Vec<(&str, Option<Decimal>)> = Vec::new();
    for key in wanted {
        if table.has(key) && !measures.iter().any(|(known, _)| *known == key) {
            measures.push((key, measure(table, key, units)));
        }
    }
    let has = |key: &&str| measures.iter().any(|(known, _)| known == key);
    let Some(form) = spec.forms.iter().find(|form| form.iter().all(has)) else {
        if !misnamed {
            incomplete(table, spec, &name);
        }
        return None;
    };
    if let Some((extra, _)) = measures.iter().find(|(key, _)| !form.contains(key)) {
        table.mistake(
            &table.raw(extra).map_or(name.span.clone(), |v| v.span()),
            format!(
                "{} is described twice, by `{extra}` and by {}; keep one",
                table.name,
                form.join(", ")
            ),
        );
    }
    let value = |key: &&str| measures.iter().find(|(known, _)| known == key)?.1;
    let values: Option<Vec<Decimal>> = form.iter().map(value).collect();
    spec.build(form, &values?, table.text("ends").map(|t| t.value))
        .map_err(|message| table.mistake(&name.span, format!("{}: {message}", table.name)))
        .ok()
}

fn spec(table: &Reader<'_>) -> Option<(&'static ShapeSpec, At<String>)> {
    if !table.has("shape") {
        table.missing("shape", "shape = \"box\"");
        return None;
    }
    let name = table.text("shape")?;
    let plain = name.value.to_lowercase().replace(['_', ' '], "-");
    let found = SHAPES.iter().find(|s| s.name == plain);
    if found.is_none() {
        let names: Vec<&str> = SHAPES.iter().map(|s| s.name).collect();
        table.mistake(
            &name.span,
            format!(
                "unknown shape `{}` in {}; {}",
                name.value,
                table.name,
                suggestion(&name.value, &names)
            ),
        );
    }
    Some((found?, name))
}

/// Notes that measures of the shape are missing.
fn incomplete(table: &Reader<'_>, spec: &ShapeSpec, name: &At<String>) {
    table.mistake(
        &name.span,
        format!("{}: a {} needs {}", table.name, spec.name, spec.described()),
    );
}

/// Notes measures that the shape does not have; whether there are any.
fn strangers(table: &Reader<'_>, spec: &ShapeSpec) -> bool {
    let mut any = false;
    for (key, _) in table.entries() {
        let is_measure = crate::volume::measure_keys().any(|k| k == key.value);
        let belongs = spec.forms.iter().any(|form| form.contains(&key.value))
            || spec.options.contains(&key.value);
        if is_measure && !belongs {
            any = true;
            table.mistake(
                &key.span,
                format!(
                    "`{}` is no measure of the shape `{}`; it has {}",
                    key.value,
                    spec.name,
                    spec.described()
                ),
            );
        }
    }
    any
}

/// One measure, above 0, in the load's unit (gallons and cubic yards as they are).
fn measure(table: &Reader<'_>, key: &str, units: Units) -> Option<Decimal> {
    let raw = table.raw(key)?;
    let span = raw.span();
    let stated = matches!(key, "gallons" | "cubic_yards");
    let value = match raw.get_ref().as_str() {
        Some(text) if !stated => match length::parse(text, units) {
            Ok(length) => length,
            Err(message) => {
                table.mistake(&span, format!("`{key}` in {}: {message}", table.name));
                return None;
            }
        },
        _ => table.decimal(key)?.value,
    };
    let may_be_zero = key.starts_with("top_");
    if value < Decimal::ZERO || (value.is_zero() && !may_be_zero) {
        table.mistake(
            &span,
            format!(
                "`{key}` in {} is {value}, but a measure must be above 0",
                table.name
            ),
        );
        return None;
    }
    if value > MAX_MEASURE {
        let unit = if stated { "" } else { units.symbol() };
        table.mistake(
            &span,
            format!(
                "`{key}` in {} is {value} {unit}, more than {MAX_MEASURE}; check the unit",
                table.name
            ),
        );
        return None;
    }
    Some(value.normalize())
}
