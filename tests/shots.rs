//! The shot list and coverage of a whole house, through the public surface.

use std::path::Path;

use photoproof_core::Phase;
use photoproof_core::job::JobSheet;
use photoproof_core::scope::{Scope, Shot, ShotPhoto, coverage};
use photoproof_core::shots::ShotList;

fn sheet(text: &str) -> JobSheet {
    JobSheet::parse(text, Path::new("job.toml")).unwrap_or_else(|e| panic!("{e}"))
}

fn house() -> JobSheet {
    sheet(include_str!(
        "../fixtures/job-sheets/good/three-bedroom.toml"
    ))
}

/// Id of the shot within its area, which is also what a crew would call the photo.
fn name(shot: &Shot) -> &str {
    shot.id.split_once('.').map_or("", |(_, rule)| rule)
}

/// A photo of every shot in every phase it is asked in, in list order.
fn complete(shots: &[Shot]) -> Vec<(usize, Phase)> {
    let all = shots.iter().enumerate();
    all.flat_map(|(index, shot)| shot.phases.iter().map(move |&phase| (index, phase)))
        .collect()
}

fn photos<'a>(shots: &'a [Shot], taken: &[(usize, Phase)]) -> Vec<ShotPhoto<'a>> {
    taken
        .iter()
        .map(|&(index, phase)| ShotPhoto {
            area: &shots[index].area,
            phase: Some(phase),
            view_set: None,
            view: None,
            words: name(&shots[index]),
        })
        .collect()
}

#[test]
fn a_complete_job_misses_nothing_and_each_deleted_photo_is_missed_alone() {
    let shots = Scope::for_job(&house());
    let all = complete(&shots);
    assert!(all.len() > 300, "{}", all.len());
    let missed = coverage(&shots, &photos(&shots, &all));
    let missed: Vec<&str> = missed.iter().map(|m| shots[m.shot].id.as_str()).collect();
    assert!(missed.is_empty(), "{missed:?}");
    let mut tried = 0;
    for deleted in 0..all.len() {
        let (index, phase) = all[deleted];
        let shot = &shots[index];
        if shot.if_present && shot.phases.len() == 1 {
            // Nothing else shows that the thing exists, so nothing is owed.
            continue;
        }
        let mut rest = all.clone();
        rest.remove(deleted);
        let missing = coverage(&shots, &photos(&shots, &rest));
        assert_eq!(missing.len(), 1, "{} {phase}: {missing:?}", shot.id);
        assert_eq!((missing[0].shot, missing[0].phase), (index, phase));
        tried += 1;
    }
    assert!(tried > 300);
}

#[test]
fn photos_without_names_count_as_views_one_a_view_set() {
    let sheet = sheet(
        "[job]\nservices = [\"debris-removal\"]\n[[area]]\nname = \"Bath 1\"\nkind = \"bathroom\"\n",
    );
    let shots = Scope::for_job(&sheet);
    let views = |sets: &[Option<&str>]| {
        let photos: Vec<ShotPhoto<'_>> = sets
            .iter()
            .map(|&view_set| ShotPhoto {
                area: "bath_1",
                phase: Some(Phase::Before),
                view_set,
                view: None,
                words: "IMG_0412.jpg",
            })
            .collect();
        let missing = coverage(&shots, &photos);
        missing
            .iter()
            .filter(|m| m.phase == Phase::Before && shots[m.shot].id.starts_with("bath-1.corner"))
            .count()
    };
    assert_eq!(views(&[]), 2);
    assert_eq!(views(&[Some("a"), Some("a")]), 1);
    assert_eq!(views(&[Some("a"), Some("b")]), 0);
    assert_eq!(views(&[None, None]), 0);
}

#[test]
fn the_walk_starts_at_the_street_and_ends_at_the_loads() {
    let shots = Scope::for_job(&house());
    let mut areas: Vec<&str> = shots.iter().map(|s| s.area.as_str()).collect();
    areas.dedup();
    assert_eq!(
        areas,
        [
            "Street",
            "Outside",
            "Back yard",
            "Front porch",
            "Shed",
            "Garage",
            "Living room",
            "Kitchen",
            "Laundry",
            "Hall",
            "Bath 1",
            "Bath 2",
            "Bedroom 1",
            "Bedroom 2",
            "Bedroom 3",
            "Attic",
            "Crawl space",
            "Trailer 1",
            "Yard pile",
            "Bags",
            "Items counted apart",
            "Dump receipt"
        ]
    );
}

/// The places that crews overlook, from the list of services of this trade (common practice, no
/// source).
#[test]
fn overlooked_places_are_asked_for() {
    let shots = Scope::for_job(&house());
    for id in [
        "back-yard.behind-outbuildings",
        "front-porch.under",
        "shed.behind",
        "bath-1.freshener",
        "bath-2.freshener",
        "kitchen.freshener",
        "laundry.freshener",
        "kitchen.under-sink",
        "kitchen.cabinet-tops",
        "kitchen.refrigerator-inside",
        "kitchen.refrigerator-outside",
        "kitchen.refrigerator-behind",
        "bedroom-1.closet",
        "attic.end-1",
        "crawl-space.end-1",
        "trailer-1.empty",
        "trailer-1.full",
        "trailer-1.dumped",
        "yard-pile.along",
        "yard-pile.cleared",
        "bags.counted",
        "items-counted-apart.staged",
        "bath-1.tub",
        "bath-1.toilet",
        "bath-1.mirror",
        "garage.sink",
        "kitchen.drawers",
    ] {
        assert!(shots.iter().any(|s| s.id == id), "{id}");
    }
    let ids: Vec<&str> = shots.iter().map(|s| s.id.as_str()).collect();
    let mut unique = ids.clone();
    unique.sort_unstable();
    unique.dedup();
    assert_eq!(unique.len(), ids.len(), "ids are unique");
}

#[test]
fn the_sheet_narrows_the_scope() {
    let base = "[job]\nservices = [\"initial-cleaning\"]\n[[area]]\nname = \"Bath 1\"\n[[area]]\nname = \"Attic\"\n";
    let whole = Scope::for_job(&sheet(base));
    assert!(whole.iter().all(|s| s.services == ["initial-cleaning"]));
    assert!(
        whole.iter().any(|s| s.kind == "bathroom"),
        "the name tells the kind"
    );
    let narrow = sheet(&format!(
        "{base}[scope]\nphases = [\"before\", \"after\"]\nphotos_per_view = 2\nskip = [\"bathroom.freshener\", \"attic\"]\n"
    ));
    let narrow = Scope::for_job(&narrow);
    assert!(narrow.iter().all(|s| !s.phases.contains(&Phase::During)));
    assert!(narrow.iter().all(|s| s.photos == 2));
    assert!(
        !narrow
            .iter()
            .any(|s| s.id == "bath-1.freshener" || s.kind == "attic")
    );
}

#[test]
fn claimed_items_bring_their_cautions() {
    let list = ShotList::for_job(&house());
    let apart = list.areas.iter().find(|a| a.kind == "hazards").unwrap();
    assert!(apart.shots[0].show.contains("2 x propane cylinder"));
    assert!(apart.cautions.contains(&"refrigerant".to_owned()));
    assert!(apart.cautions.contains(&"hazardous-waste".to_owned()));
    assert!(!apart.cautions.contains(&"sharps".to_owned()));
    for caution in &list.cautions {
        assert!(!caution.source.is_empty() && !caution.text.is_empty());
    }
}

#[test]
fn text_and_json_hold_every_shot() {
    let list = ShotList::for_job(&house());
    let text = list.to_text();
    for area in &list.areas {
        assert!(
            text.contains(&format!("\n{}. {} (", area.number, area.name)),
            "{}",
            area.name
        );
    }
    assert!(
        text.lines().all(|l| l.chars().count() <= 100),
        "lines fit the page"
    );
    let json: serde_json::Value = serde_json::from_str(&list.to_json().unwrap()).unwrap();
    assert_eq!(json["schema"], "photoproof.shots/1");
    assert_eq!(json["areas"].as_array().unwrap().len(), list.areas.len());
    assert_eq!(json["totals"]["shots"], list.totals.shots);
}

#[test]
fn the_page_has_a_box_for_every_photo_asked_and_escapes_names() {
    let list = ShotList::for_job(&house());
    let page = list.to_html().unwrap();
    let boxes: usize = list
        .areas
        .iter()
        .flat_map(|a| &a.shots)
        .map(|s| s.phases.len())
        .sum();
    assert_eq!(page.matches("<input type=\"checkbox\"").count(), boxes);
    assert_eq!(page.matches("aria-label=").count(), boxes);
    assert!(page.starts_with("<!doctype html>\n<html lang=\"en\">"));
    for network in ["http://", "https://", "src=", "@import", "<script"] {
        assert!(!page.contains(network), "{network}");
    }
    let hostile = sheet(
        "[job]\nid = \"<img src=x onerror=a>\"\n[[area]]\nname = \"\\\"><script>a</script>\"\nkind = \"closet\"\n",
    );
    let page = ShotList::for_job(&hostile).to_html().unwrap();
    assert!(!page.contains("<script>a") && !page.contains("<img"));
    assert!(page.contains("&lt;script&gt;"));
}

/// Relative luminance and contrast as WCAG 2.2 defines them (success criterion 1.4.3, at least 4.5).
#[test]
fn colours_of_the_page_have_enough_contrast() {
    let style = include_str!("../photoproof-core/src/shots/templates/shots.css");
    let colour = |name: &str| {
        let at = style.find(&format!("--{name}: #")).unwrap() + name.len() + 5;
        let hex = u32::from_str_radix(&style[at..at + 6], 16).unwrap();
        let part = |shift: u32| {
            let c = f64::from((hex >> shift) & 255) / 255.0;
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(16) + 0.7152 * part(8) + 0.0722 * part(0)
    };
    for ground in ["paper", "tint"] {
        for text in ["ink", "soft", "link"] {
            let (light, dark) = (colour(ground), colour(text));
            let contrast = (light + 0.05) / (dark + 0.05);
            assert!(contrast >= 4.5, "{text} on {ground}: {contrast:.2}");
        }
    }
}
