//! How job sheets describe shapes: names, sets of measures, and the shape they make.

use rust_decimal::Decimal;

use super::shape::{Ends, Shape};

/// How a job sheet describes a shape.
#[derive(Debug, Clone, Copy)]
#[non_exhaustive]
pub struct ShapeSpec {
    /// Value of `shape`.
    pub name: &'static str,
    /// Sets of measures, any one of which describes it.
    pub forms: &'static [&'static [&'static str]],
    /// Further keys it understands.
    pub options: &'static [&'static str],
    /// What it is, in a few words.
    pub what: &'static str,
}

const BOX: &[&str] = &["length", "width", "height"];
const ROUND: &[&[&str]] = &[&["diameter", "height"], &["radius", "height"]];

const fn spec(
    name: &'static str,
    forms: &'static [&'static [&'static str]],
    options: &'static [&'static str],
    what: &'static str,
) -> ShapeSpec {
    ShapeSpec {
        name,
        forms,
        options,
        what,
    }
}

/// All shapes a job sheet may name.
pub const SHAPES: [ShapeSpec; 11] = [
    spec(
        "box",
        &[BOX],
        &[],
        "truck bed, trailer or container, measured inside",
    ),
    spec("cone", ROUND, &[], "round pile"),
    spec("half-cone", ROUND, &[], "round pile against a wall"),
    spec(
        "ridge",
        &[BOX],
        &["ends"],
        "long pile; length is the crest, half-cone ends are added unless ends = \"square\"",
    ),
    spec("windrow", &[BOX], &["ends"], "another name of ridge"),
    spec(
        "frustum",
        &[
            &["bottom_diameter", "top_diameter", "height"],
            &["bottom_radius", "top_radius", "height"],
        ],
        &[],
        "round pile with a flat top",
    ),
    spec(
        "pyramid",
        &[BOX],
        &[],
        "rectangular pile that runs to a point",
    ),
    spec(
        "prism",
        &[BOX],
        &[],
        "rectangular pile that runs to an edge",
    ),
    spec(
        "drum",
        &[&["gallons"], &["diameter", "height"], &["radius", "height"]],
        &[],
        "drum, by gallons or measures",
    ),
    spec(
        "bag",
        &[&["gallons"]],
        &[],
        "bag of a stated size; use count",
    ),
    spec(
        "container",
        &[&["cubic_yards"], &["gallons"], BOX],
        &[],
        "container of a stated or measured size",
    ),
];

/// All keys that are measures of some shape.
pub(crate) fn measure_keys() -> impl Iterator<Item = &'static str> {
    [
        "length",
        "width",
        "height",
        "diameter",
        "radius",
        "bottom_diameter",
        "top_diameter",
        "bottom_radius",
        "top_radius",
        "gallons",
        "cubic_yards",
        "ends",
    ]
    .into_iter()
}

impl ShapeSpec {
    /// The sets of measures in words: `diameter, height; or radius, height`.
    #[must_use]
    pub fn described(&self) -> String {
        let forms: Vec<String> = self.forms.iter().map(|form| form.join(", ")).collect();
        forms.join("; or ")
    }

    /// The shape with `measures` in the order of `form`.
    pub(crate) fn build(
        &self,
        form: &[&str],
        measures: &[Decimal],
        ends: Option<String>,
    ) -> Result<Shape, String> {
        let get = |key: &str| {
            let at = form.iter().position(|k| *k == key);
            at.and_then(|at| measures.get(at)).copied()
        };
        let round = |diameter: &str, radius: &str| {
            get(diameter).or_else(|| get(radius).map(|r| r * Decimal::TWO))
        };
        let sides = || Some((get("length")?, get("width")?, get("height")?));
        let shape = if let Some(gallons) = get("gallons") {
            Some(Shape::Gallons { gallons })
        } else if let Some(cubic_yards) = get("cubic_yards") {
            Some(Shape::CubicYards { cubic_yards })
        } else if let Some((length, width, height)) = sides() {
            Some(match self.name {
                "ridge" | "windrow" => Shape::Ridge {
                    length,
                    width,
                    height,
                    ends: ridge_ends(ends.as_deref())?,
                },
                "pyramid" => Shape::Pyramid {
                    length,
                    width,
                    height,
                },
                "prism" => Shape::Prism {
                    length,
                    width,
                    height,
                },
                _ => Shape::Box {
                    length,
                    width,
                    height,
                },
            })
        } else if self.name == "frustum" {
            self.frustum(
                round("bottom_diameter", "bottom_radius"),
                round("top_diameter", "top_radius"),
                get("height"),
            )?
        } else {
            let pair = round("diameter", "radius").zip(get("height"));
            pair.map(|(diameter, height)| match self.name {
                "cone" => Shape::Cone { diameter, height },
                "half-cone" => Shape::HalfCone { diameter, height },
                _ => Shape::Cylinder { diameter, height },
            })
        };
        shape.ok_or_else(|| format!("the shape `{}` lacks a measure", self.name))
    }

    fn frustum(
        &self,
        bottom: Option<Decimal>,
        top: Option<Decimal>,
        height: Option<Decimal>,
    ) -> Result<Option<Shape>, String> {
        let Some(((bottom_diameter, top_diameter), height)) = bottom.zip(top).zip(height) else {
            return Ok(None);
        };
        if top_diameter > bottom_diameter {
            return Err("the top of a frustum is not wider than its bottom; swap the two".into());
        }
        Ok(Some(Shape::Frustum {
            bottom_diameter,
            top_diameter,
            height,
        }))
    }
}

fn ridge_ends(name: Option<&str>) -> Result<Ends, String> {
    match name {
        None | Some("half-cone") => Ok(Ends::HalfCone),
        Some("square") => Ok(Ends::Square),
        Some(other) => Err(format!(
            "unknown ends `{other}`; use one of: half-cone, square"
        )),
    }
}
