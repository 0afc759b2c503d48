//! `daylight-mismatch`: the light in an outdoor photo does not fit the sun at its time.

use crate::group::zone::site_position;
use crate::ingest::PhotoId;
use crate::judge::together::{Instance, each_or_one};
use crate::judge::{Check, CheckMeta, Evidence, Finding, Severity, Status};
use crate::sun::elevation_deg;

static META: CheckMeta = CheckMeta {
    id: "daylight-mismatch",
    status: Status::Stable { since: "0.1.0" },
    severity: Severity::Review,
    summary: "An outdoor photo is lit by day while the sun was far below the horizon, or dark while it stood high.",
    why: "The photo was not taken at the time it states, or not at this place.",
    how_measured: "Elevation of the sun at the photo's or the site's position (Reda and Andreas, NREL/TP-560-34302) against the light that the exposure settings were made for: EV at ISO 100 from ExposureTime, FNumber and ISO speed, 8 or more by day and 2 or less by night (2.5 lux times 2 to the EV: 640 and 10 lux; the sun 6 degrees below the horizon gives about 3 lux, from memory). Without settings a bright picture with hardly a black pixel is a note.",
    limit: "6 degrees below and above the horizon, the end of civil twilight.",
    remedy: "Check the clock and its zone; if they are right, say what lit the scene.",
    innocent: &[
        "a floodlight or a flash lit a near wall",
        "a long exposure made the night bright",
        "the clock stood in another zone",
        "the room label hides an outdoor view, or the other way round",
    ],
    blind_spots: "Only areas whose name or kind says that they lie outdoors, and only where the instant is known. Indoor photos are never judged by the sun.",
};

/// The check.
#[derive(Debug)]
pub struct DaylightMismatch;

/// End of civil twilight, degrees.
const TWILIGHT_DEG: f64 = 6.0;
/// Exposure values at ISO 100 that daylight outdoors reaches, and that night does not exceed.
const DAY_EV: f64 = 8.0;
const NIGHT_EV: f64 = 2.0;
/// Mean luma and share of black pixels of a picture by day, where no exposure settings are known.
const DAY_LUMA: f64 = 0.35;
const DAY_DARK_SHARE: f64 = 0.02;
/// The same by night: a picture that is nearly all black.
const NIGHT_LUMA: f64 = 0.05;
const NIGHT_DARK_SHARE: f64 = 0.6;

impl Check for DaylightMismatch {
    fn meta(&self) -> &'static CheckMeta {
        &META
    }

    fn run(&self, evidence: &Evidence<'_>) -> Vec<Finding> {
        let outdoors: Vec<PhotoId> = evidence
            .photo_ids()
            .filter(|&id| is_outdoors(evidence, id))
            .collect();
        let site = site_position(evidence.sheet, &evidence.intake.photos);
        let site = site.map(|(lat, lon, _)| (lat, lon));
        let (mut sure, mut unsure) = (Vec::new(), Vec::new());
        for &photo in &outdoors {
            let Some((instance, by_settings)) = mismatch(evidence, photo, site) else {
                continue;
            };
            if by_settings {
                sure.push(instance)
            } else {
                unsure.push(instance)
            }
        }
        let words = "outdoor photos are lit otherwise than the sun was at their times";
        let mut findings = each_or_one(&META, evidence, sure, outdoors.len(), words);
        let notes = each_or_one(&META, evidence, unsure, outdoors.len(), words);
        findings.extend(
            notes
                .into_iter()
                .map(|finding| finding.at_most(Severity::Note)),
        );
        findings
    }
}

fn is_outdoors(evidence: &Evidence<'_>, id: PhotoId) -> bool {
    const WORDS: [&str; 11] = [
        "exterior",
        "outside",
        "yard",
        "backyard",
        "frontyard",
        "street",
        "driveway",
        "lawn",
        "garden",
        "facade",
        "patio",
    ];
    let Some(area) = evidence.area(id) else {
        return false;
    };
    let kind = evidence.sheet.areas.iter().find(|known| known.name == area);
    let kind = kind
        .and_then(|known| known.kind.as_deref())
        .unwrap_or_default();
    let says = |text: &str| {
        text.to_lowercase()
            .split(|c: char| !c.is_alphanumeric())
            .any(|word| WORDS.contains(&word))
    };
    says(area) || says(kind)
}

/// What does not fit, and whether the exposure settings say so.
fn mismatch(
    evidence: &Evidence<'_>,
    id: PhotoId,
    site: Option<(f64, f64)>,
) -> Option<(Instance, bool)> {
    let photo = evidence.photo(id);
    let (first, last) = evidence.moment(id)?.instants?;
    let (lat, lon) = photo.gps.map(|gps| (gps.lat, gps.lon)).or(site)?;
    let suns = [
        elevation_deg(first, lat, lon)?,
        elevation_deg(last, lat, lon)?,
    ];
    let quality = evidence.measures.get(id.0)?.quality;
    let (by_day, by_night) = match photo.light_ev {
        Some(ev) => (ev >= DAY_EV, ev <= NIGHT_EV),
        None => (
            quality.mean_luma >= DAY_LUMA && quality.dark_share <= DAY_DARK_SHARE,
            quality.mean_luma <= NIGHT_LUMA && quality.dark_share >= NIGHT_DARK_SHARE,
        ),
    };
    let [sun, other] = suns;
    let (words, limit) = if by_day && sun < -TWILIGHT_DEG && other < -TWILIGHT_DEG {
        (
            "lit by day while the sun stood {} degrees below the horizon",
            -TWILIGHT_DEG,
        )
    } else if by_night && sun > TWILIGHT_DEG && other > TWILIGHT_DEG {
        (
            "dark while the sun stood {} degrees above the horizon",
            TWILIGHT_DEG,
        )
    } else {
        return None;
    };
    let words = words.replace("{}", &format!("{:.0}", sun.abs()));
    let instance = Instance {
        photo: id,
        message: format!("the outdoor photo is {words}"),
        measured: Some((sun, limit, "degrees")),
    };
    Some((instance, photo.light_ev.is_some()))
}
