//! Which pictures make up the two demo jobs, and the ten flaws of the second.

use std::path::PathBuf;

use chrono::{Duration, NaiveDate, NaiveDateTime};

/// Position of the invented site, decimal degrees.
pub(crate) const LATITUDE: f64 = 41.5812;
pub(crate) const LONGITUDE: f64 = -93.6544;

/// One demo job.
pub(crate) struct Job {
    pub(crate) name: &'static str,
    pub(crate) sheet: String,
    pub(crate) shots: Vec<Shot>,
}

/// One demo picture.
pub(crate) struct Shot {
    /// Path inside the job folder.
    pub(crate) path: PathBuf,
    /// Rendered picture, without its ending.
    pub(crate) source: &'static str,
    pub(crate) taken: NaiveDateTime,
    pub(crate) focal_35mm: u16,
    pub(crate) edit: Edit,
    pub(crate) stamped: bool,
}

/// What was done to the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Edit {
    None,
    Mirrored,
    Blurred,
    Truncated,
}

/// Area, phase, rendered picture, clock on the first day (hour, minute).
type Row = (&'static str, &'static str, &'static str, (u32, u32));

const CLEAN: [Row; 27] = [
    ("Living room", "before", "001_living_A_door_before", (8, 41)),
    (
        "Living room",
        "before",
        "002_living_B_opposite_before",
        (8, 42),
    ),
    (
        "Living room",
        "before",
        "003_living_C_left_corner_before",
        (8, 43),
    ),
    ("Kitchen", "before", "013_kitchen_A_door_before", (8, 47)),
    (
        "Kitchen",
        "before",
        "014_kitchen_C_left_corner_before",
        (8, 48),
    ),
    ("Kitchen", "before", "015_kitchen_D_closeup_before", (8, 50)),
    ("Bathroom", "before", "049_bathroom_A_door_before", (8, 57)),
    (
        "Bathroom",
        "before",
        "050_bathroom_B_tub_end_before",
        (8, 59),
    ),
    ("Bathroom", "before", "051_bathroom_C_vanity_before", (9, 1)),
    (
        "Living room",
        "during",
        "004_living_A_door_during",
        (12, 32),
    ),
    (
        "Living room",
        "during",
        "005_living_B_opposite_during",
        (12, 33),
    ),
    (
        "Living room",
        "during",
        "006_living_C_left_corner_during",
        (12, 34),
    ),
    ("Kitchen", "during", "016_kitchen_A_door_during", (12, 38)),
    (
        "Kitchen",
        "during",
        "017_kitchen_C_left_corner_during",
        (12, 39),
    ),
    (
        "Kitchen",
        "during",
        "018_kitchen_D_closeup_during",
        (12, 40),
    ),
    ("Bathroom", "during", "052_bathroom_A_door_during", (12, 52)),
    (
        "Bathroom",
        "during",
        "053_bathroom_B_tub_end_during",
        (12, 53),
    ),
    (
        "Bathroom",
        "during",
        "054_bathroom_C_vanity_during",
        (12, 55),
    ),
    ("Living room", "after", "009_living_A_door_after", (15, 1)),
    (
        "Living room",
        "after",
        "010_living_B_opposite_after",
        (15, 3),
    ),
    (
        "Living room",
        "after",
        "011_living_C_left_corner_after",
        (15, 4),
    ),
    ("Kitchen", "after", "020_kitchen_A_door_after", (15, 7)),
    (
        "Kitchen",
        "after",
        "021_kitchen_C_left_corner_after",
        (15, 8),
    ),
    ("Kitchen", "after", "022_kitchen_D_closeup_after", (15, 9)),
    ("Bathroom", "after", "056_bathroom_A_door_after", (15, 29)),
    (
        "Bathroom",
        "after",
        "057_bathroom_B_tub_end_after",
        (15, 31),
    ),
    ("Bathroom", "after", "058_bathroom_C_vanity_after", (15, 33)),
];

const FLAWED: [Row; 36] = [
    ("Kitchen", "before", "013_kitchen_A_door_before", (8, 44)),
    (
        "Kitchen",
        "before",
        "014_kitchen_C_left_corner_before",
        (8, 45),
    ),
    ("Kitchen", "during", "016_kitchen_A_door_during", (12, 38)),
    (
        "Kitchen",
        "during",
        "017_kitchen_C_left_corner_during",
        (12, 39),
    ),
    // Flaw: stood too close.
    (
        "Kitchen",
        "after",
        "023_kitchen_A_door_after_W-nearer0.6",
        (15, 11),
    ),
    (
        "Kitchen",
        "after",
        "021_kitchen_C_left_corner_after",
        (15, 8),
    ),
    (
        "Bedroom 1",
        "before",
        "025_bedroom_1_A_door_before",
        (8, 48),
    ),
    (
        "Bedroom 1",
        "before",
        "026_bedroom_1_C_left_corner_before",
        (8, 50),
    ),
    (
        "Bedroom 1",
        "before",
        "027_bedroom_1_D_closeup_before",
        (8, 51),
    ),
    (
        "Bedroom 1",
        "during",
        "028_bedroom_1_A_door_during",
        (12, 41),
    ),
    (
        "Bedroom 1",
        "during",
        "029_bedroom_1_C_left_corner_during",
        (12, 43),
    ),
    (
        "Bedroom 1",
        "during",
        "030_bedroom_1_D_closeup_during",
        (12, 45),
    ),
    // Flaw: taken from a wrong standpoint.
    (
        "Bedroom 1",
        "after",
        "036_bedroom_1_A_door_after_W-turn25",
        (15, 23),
    ),
    (
        "Bedroom 1",
        "after",
        "033_bedroom_1_C_left_corner_after",
        (15, 18),
    ),
    // Flaw: blurred.
    (
        "Bedroom 1",
        "after",
        "034_bedroom_1_D_closeup_after",
        (15, 20),
    ),
    (
        "Bedroom 2",
        "before",
        "037_bedroom_2_A_door_before",
        (8, 53),
    ),
    // Flaw: a view that is never repeated.
    (
        "Bedroom 2",
        "before",
        "038_bedroom_2_B_opposite_before",
        (8, 54),
    ),
    (
        "Bedroom 2",
        "before",
        "039_bedroom_2_D_closeup_before",
        (8, 55),
    ),
    (
        "Bedroom 2",
        "during",
        "040_bedroom_2_A_door_during",
        (12, 46),
    ),
    // Flaw: a truncated file.
    (
        "Bedroom 2",
        "during",
        "042_bedroom_2_D_closeup_during",
        (12, 49),
    ),
    ("Bedroom 2", "after", "045_bedroom_2_A_door_after", (15, 24)),
    (
        "Bedroom 2",
        "after",
        "047_bedroom_2_D_closeup_after",
        (15, 26),
    ),
    // Flaw: a mirrored and recompressed photo of Bedroom 1.
    (
        "Bedroom 2",
        "after",
        "033_bedroom_1_C_left_corner_after",
        (15, 27),
    ),
    ("Bathroom", "before", "049_bathroom_A_door_before", (8, 56)),
    (
        "Bathroom",
        "before",
        "050_bathroom_B_tub_end_before",
        (8, 59),
    ),
    ("Bathroom", "during", "052_bathroom_A_door_during", (12, 52)),
    (
        "Bathroom",
        "during",
        "053_bathroom_B_tub_end_during",
        (12, 53),
    ),
    // Flaw: outside the window (two days later).
    ("Bathroom", "after", "056_bathroom_A_door_after", (15, 29)),
    // Flaw: an after photo older than its before photo.
    ("Bathroom", "after", "057_bathroom_B_tub_end_after", (7, 31)),
    // Flaw: a photo of the kitchen reused.
    (
        "Bathroom",
        "after",
        "021_kitchen_C_left_corner_after",
        (15, 8),
    ),
    // Flaw: no after photos.
    ("Garage", "before", "061_garage_A_door_before", (9, 2)),
    ("Garage", "before", "062_garage_B_from_bay_before", (9, 3)),
    ("Garage", "before", "063_garage_D_closeup_before", (9, 4)),
    ("Garage", "during", "064_garage_A_door_during", (12, 59)),
    ("Garage", "during", "065_garage_B_from_bay_during", (13, 0)),
    ("Garage", "during", "066_garage_D_closeup_during", (13, 1)),
];

/// The two jobs.
pub(crate) fn jobs() -> [Job; 2] {
    let clean = CLEAN
        .iter()
        .enumerate()
        .map(|(index, row)| shot(index, row))
        .collect();
    let mut flawed: Vec<Shot> = FLAWED
        .iter()
        .enumerate()
        .map(|(index, row)| shot(index, row))
        .collect();
    for (index, shot) in flawed.iter_mut().enumerate() {
        match FLAWED[index] {
            ("Bedroom 1", "after", "034_bedroom_1_D_closeup_after", _) => shot.edit = Edit::Blurred,
            ("Bedroom 2", "during", "042_bedroom_2_D_closeup_during", _) => {
                shot.edit = Edit::Truncated;
            }
            ("Bedroom 2", "after", "033_bedroom_1_C_left_corner_after", _) => {
                shot.edit = Edit::Mirrored;
            }
            ("Bathroom", "after", "056_bathroom_A_door_after", _) => {
                shot.taken += Duration::days(2);
            }
            _ => {}
        }
    }
    [
        Job {
            name: "clean-job",
            sheet: sheet("WB-1187", &["Living room", "Kitchen", "Bathroom"]),
            shots: clean,
        },
        Job {
            name: "flawed-job",
            sheet: sheet(
                "WB-1192",
                &["Kitchen", "Bedroom 1", "Bedroom 2", "Bathroom", "Garage"],
            ),
            shots: flawed,
        },
    ]
}

fn shot(index: usize, &(area, phase, source, (hour, minute)): &Row) -> Shot {
    let day = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap_or_default();
    let second = u32::try_from(index * 7 % 60).unwrap_or(0);
    let taken = day.and_hms_opt(hour, minute, second).unwrap_or_default();
    Shot {
        path: PathBuf::from(area)
            .join(phase)
            .join(format!("IMG_{:04}.jpg", 2101 + index)),
        source,
        taken,
        // The renderer's focal length: 27 mm before and during, 28 mm after.
        focal_35mm: if source.contains("_after") { 28 } else { 27 },
        edit: Edit::None,
        stamped: area == "Kitchen",
    }
}

fn kind(area: &str) -> &'static str {
    match area {
        "Kitchen" => "kitchen",
        "Bathroom" => "bathroom",
        "Garage" => "garage",
        "Living room" => "living",
        _ => "bedroom",
    }
}

fn sheet(id: &str, areas: &[&str]) -> String {
    let mut text = format!(
        r#"# Invented job of an invented crew; the pictures are rendered.
[job]
id = "{id}"
vendor = "Wren & Bracken Field Crew"
services = ["debris-removal", "initial-cleaning"]
window = {{ start = 2026-03-02T07:00:00, end = 2026-03-03T19:00:00 }}

[site]
address = "14 Tallow Lane, Harrowmere"
latitude = {LATITUDE}
longitude = {LONGITUDE}
radius_m = 100
timezone = "America/Chicago"

[scope]
phases = ["before", "during", "after"]
"#
    );
    for area in areas {
        text.push_str(&format!(
            "\n[[area]]\nname = \"{area}\"\nkind = \"{}\"\n",
            kind(area)
        ));
    }
    text
}

/// Shared test pictures: name in `fixtures/pictures`, rendered picture.
pub(crate) const TEST_PICTURES: [(&str, &str); 11] = [
    ("kitchen-a-before", "013_kitchen_A_door_before"),
    ("kitchen-a-during", "016_kitchen_A_door_during"),
    ("kitchen-a-after", "020_kitchen_A_door_after"),
    (
        "kitchen-a-nearer-after",
        "023_kitchen_A_door_after_W-nearer0.6",
    ),
    ("kitchen-c-before", "014_kitchen_C_left_corner_before"),
    ("kitchen-c-during", "017_kitchen_C_left_corner_during"),
    ("kitchen-c-after", "021_kitchen_C_left_corner_after"),
    ("bedroom-a-before", "025_bedroom_1_A_door_before"),
    ("bedroom-a-during", "028_bedroom_1_A_door_during"),
    ("bedroom-a-after", "032_bedroom_1_A_door_after"),
    (
        "bedroom-a-turned-after",
        "036_bedroom_1_A_door_after_W-turn25",
    ),
];

/// A bare wall: name, rendered picture, left, top, width and height of the part shown.
pub(crate) const BARE_WALL: (&str, &str, [u32; 4]) = (
    "bare-wall-after",
    "046_bedroom_2_B_opposite_after",
    [600, 0, 400, 300],
);
