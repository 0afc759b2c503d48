use super::*;
use crate::job::Area;

fn sheet(areas: &[(&str, &[&str])]) -> JobSheet {
    let area = |(name, patterns): &(&str, &[&str])| Area {
        name: (*name).to_owned(),
        kind: None,
        patterns: patterns.iter().map(|&pattern| pattern.to_owned()).collect(),
    };
    JobSheet {
        areas: areas.iter().map(area).collect(),
        ..JobSheet::default()
    }
}

fn labels(paths: &[&str], sheet: &JobSheet) -> Vec<(Option<String>, Option<Phase>)> {
    let done = label_all(paths, sheet, &BTreeMap::new());
    done.into_iter()
        .map(|done| (done.label.area, done.label.phase))
        .collect()
}

const B: Option<Phase> = Some(Phase::Before);
const D: Option<Phase> = Some(Phase::During);
const A: Option<Phase> = Some(Phase::After);

/// Each name alone in a job without a job sheet.
#[test]
#[allow(clippy::too_many_lines, reason = "one table")]
fn single_names() {
    let cases: [(&str, Option<&str>, Option<Phase>); 58] = [
        ("Kitchen/before/IMG_0412.jpg", Some("Kitchen"), B),
        ("before/Kitchen/IMG_0412.jpg", Some("Kitchen"), B),
        ("kitchen_after_2.jpg", Some("Kitchen"), A),
        ("BEFORE - Bath 1 (3).jpg", Some("Bath 1"), B),
        ("012_living_B_opposite_during.jpg", Some("Living"), D),
        ("Master Bedroom - After.JPG", Some("Master Bedroom"), A),
        ("after/garage/3.jpg", Some("Garage"), A),
        ("Bed 1 before.jpg", Some("Bed 1"), B),
        ("bed1-before-2.jpg", Some("Bed 1"), B),
        ("KitchenAfter2.jpg", Some("Kitchen"), A),
        ("afterKitchen.jpg", Some("Kitchen"), A),
        ("kitchen-b4.jpg", Some("Kitchen"), B),
        ("b4/kitchen/1.jpg", Some("Kitchen"), B),
        ("PRE Living Room 004.jpeg", Some("Living Room"), B),
        ("living-room_post.png", Some("Living Room"), A),
        ("In progress/Attic/1.jpg", Some("Attic"), D),
        ("attic in progress.jpg", Some("Attic"), D),
        ("Back Yard complete.jpg", Some("Back Yard"), A),
        ("backyard_done_01.jpg", Some("Backyard"), A),
        ("Front porch/After photos/IMG_1.jpg", Some("Front Porch"), A),
        (
            "Before Photos/Dining Room/DSC01234.JPG",
            Some("Dining Room"),
            B,
        ),
        ("Hall Bath/AFTER/P1010001.JPG", Some("Hall Bath"), A),
        ("bedroom_closet_before.jpg", Some("Bedroom Closet"), B),
        ("Bedroom #2 - before.jpg", Some("Bedroom 2"), B),
        ("2nd bedroom before.jpg", Some("2nd Bedroom"), B),
        ("bedroom two after.jpg", Some("Bedroom 2"), A),
        ("kitchen window left before.jpg", Some("Kitchen"), B),
        ("garage_view_from_kitchen_after.jpg", Some("Garage"), A),
        ("yard_back_before_3.jpg", Some("Yard Back"), B),
        ("bath upstairs before.jpg", Some("Bath Upstairs"), B),
        ("Kitchen/IMG_0412 after.jpg", Some("Kitchen"), A),
        ("Kitchen/view A/before/1.jpg", Some("Kitchen"), B),
        ("Zenana/before/1.jpg", Some("Zenana"), B),
        ("zenana_before_1.jpg", Some("Zenana"), B),
        ("Caf\u{e9}/after/1.jpg", Some("Caf\u{e9}"), A),
        ("Cafe\u{301}/after/1.jpg", Some("Caf\u{e9}"), A),
        ("Kids\u{2019} room/after/1.jpg", Some("Kids Room"), A),
        ("kitchen/IMG_20260302_141502.jpg", Some("Kitchen"), None),
        ("before_final_clean_kitchen.jpg", Some("Kitchen"), B),
        ("kitchen.jpg", Some("Kitchen"), None),
        ("before/kitchen.7.jpg", Some("Kitchen"), B),
        ("Trip 1/kitchen_before_1.jpg", Some("Kitchen"), B),
        ("Crawl space/after/1.jpg", Some("Crawl Space"), A),
        ("after/IMG_0412.jpg", None, A),
        ("IMG_0412.jpg", None, None),
        ("DSC01234.JPG", None, None),
        ("PXL_20260302_201502123.jpg", None, None),
        ("P1010001.JPG", None, None),
        ("IMG-20260302-WA0001.jpg", None, None),
        ("DCIM/100APPLE/IMG_0412.JPG", None, None),
        ("afternoon.jpg", None, None),
        ("predator.jpg", None, None),
        ("midnight.jpg", None, None),
        ("posture.jpg", None, None),
        ("3f2a9c1e-8b7d.jpg", None, None),
        ("before and after/IMG_1.jpg", None, None),
        ("after.jpg", None, A),
        ("", None, None),
    ];
    for (path, area, phase) in cases {
        let found = labels(&[path], &JobSheet::default());
        assert_eq!(found, [(area.map(str::to_owned), phase)], "{path}");
    }
}

#[test]
fn one_area_written_in_several_ways_has_one_name() {
    let paths = [
        "Living Room/before/1.jpg",
        "Living Room/before/2.jpg",
        "living_after_1.jpg",
        "LIVINGROOM after.jpg",
        "012_living_B_opposite_during.jpg",
    ];
    let found = labels(&paths, &JobSheet::default());
    assert!(
        found
            .iter()
            .all(|(area, _)| area.as_deref() == Some("Living Room")),
        "{found:?}"
    );
}

#[test]
fn numbers_at_the_end_are_rooms_only_if_few() {
    let rooms = [
        "before/bath 1.jpg",
        "before/bath 2.jpg",
        "after/bath 1.jpg",
        "after/bath 2.jpg",
    ];
    let found = labels(&rooms, &JobSheet::default());
    assert_eq!(found[1].0.as_deref(), Some("Bath 2"));
    let names: Vec<String> = (1..=9)
        .map(|number| format!("before/bath_{number}.jpg"))
        .collect();
    let counters: Vec<&str> = names.iter().map(String::as_str).collect();
    let found = labels(&counters, &JobSheet::default());
    assert!(
        found
            .iter()
            .all(|(area, _)| area.as_deref() == Some("Bath")),
        "{found:?}"
    );
    let mixed = [
        "Bath 1/before/x.jpg",
        "before/bath_1.jpg",
        "before/bath_7.jpg",
    ];
    let found = labels(&mixed, &JobSheet::default());
    assert_eq!(found[1].0.as_deref(), Some("Bath 1"));
    assert_eq!(found[2].0.as_deref(), Some("Bath"));
}

#[test]
fn a_word_before_every_room_is_no_part_of_the_rooms() {
    let paths = [
        "Tallow_kitchen_before.jpg",
        "Tallow_bath_before.jpg",
        "blue bedroom after.jpg",
    ];
    let found = labels(&paths, &JobSheet::default());
    let areas: Vec<_> = found.iter().map(|(area, _)| area.as_deref()).collect();
    assert_eq!(areas, [Some("Kitchen"), Some("Bath"), Some("Blue Bedroom")]);
}

#[test]
fn places_tell_rooms_apart_only_if_there_are_several() {
    let two = ["Upstairs/Bath/before/1.jpg", "Downstairs/Bath/before/1.jpg"];
    let found = labels(&two, &JobSheet::default());
    assert_eq!(found[0].0.as_deref(), Some("Upstairs Bath"));
    assert_eq!(found[1].0.as_deref(), Some("Downstairs Bath"));
    let one = ["Unit 2/Bath/before/1.jpg", "Unit 2/Kitchen/before/1.jpg"];
    let found = labels(&one, &JobSheet::default());
    assert_eq!(found[0].0.as_deref(), Some("Bath"));
}

#[test]
fn the_job_sheet_names_the_areas() {
    let plan = sheet(&[
        ("Kitchen", &["ktchn*"]),
        ("Bath 1", &[]),
        ("Bath 2", &[]),
        ("Master Bedroom", &[]),
        ("Bedroom 2", &[]),
        ("Living Room", &[]),
        ("Hall", &[]),
        ("Debris", &["loads/*"]),
    ]);
    let cases: [(&str, Option<&str>); 16] = [
        ("KTCHN-09/before/1.jpg", Some("Kitchen")),
        ("before/Ktchn 3.jpg", Some("Kitchen")),
        ("kitchen_after.jpg", Some("Kitchen")),
        ("BEFORE - Bath 1 (3).jpg", Some("Bath 1")),
        ("bathroom02_after_1.jpg", Some("Bath 2")),
        ("bath before 1.jpg", Some("Bath")),
        ("master bed/after/1.jpg", Some("Master Bedroom")),
        ("bdrm 2 before 1.jpg", Some("Bedroom 2")),
        ("012_living_B_opposite_during.jpg", Some("Living Room")),
        ("hall bath 2 before.jpg", Some("Bath 2")),
        ("hallway_before.jpg", Some("Hall")),
        ("loads/trailer1_1.jpg", Some("Debris")),
        ("Attic/before/1.jpg", Some("Attic")),
        ("Job/Kitchen/Before/bath_1.jpg", Some("Kitchen")),
        ("IMG_1.jpg", None),
        ("lr_after.jpg", Some("Living Room")),
    ];
    for (path, area) in cases {
        let found = labels(&[path], &plan);
        assert_eq!(found[0].0.as_deref(), area, "{path}");
    }
    let floors = sheet(&[("Upstairs Bath", &[]), ("Downstairs Bath", &[])]);
    let found = labels(&["Upstairs/Bath/before/1.jpg"], &floors);
    assert_eq!(found[0].0.as_deref(), Some("Upstairs Bath"));
}

#[test]
fn the_table_goes_before_all_and_contradictions_are_told() {
    let row = |area: &str, phase: &str| Row {
        area: Some(area.to_owned()),
        phase: Some(phase.to_owned()),
        caption: Some("sink".to_owned()),
        view: None,
    };
    let rows = BTreeMap::from([
        ("Kitchen/before/1.jpg".to_owned(), row("bath 2", "AFTER")),
        (
            "Kitchen/before/2.jpg".to_owned(),
            row("Pump  house", "later"),
        ),
    ]);
    let plan = sheet(&[("Kitchen", &[]), ("Bath 2", &[])]);
    let paths = [
        "Kitchen/before/1.jpg",
        "Kitchen/before/2.jpg",
        "Kitchen/before/bath_2_after.jpg",
    ];
    let done = label_all(&paths, &plan, &rows);
    let label = |index: usize| &done[index].label;
    assert_eq!(label(0).area.as_deref(), Some("Bath 2"));
    assert_eq!(label(0).area_source, Some(LabelSource::PhotosCsv));
    assert_eq!(
        (label(0).phase, label(0).phase_source),
        (A, Some(LabelSource::PhotosCsv))
    );
    assert_eq!(label(0).caption.as_deref(), Some("sink"));
    assert!(
        done[0]
            .problems
            .iter()
            .any(|text| text.contains("photos.csv says after")),
        "{done:?}"
    );
    assert_eq!(label(1).area.as_deref(), Some("Pump house"));
    assert_eq!(
        (label(1).phase, label(1).phase_source),
        (B, Some(LabelSource::Folder))
    );
    assert!(
        done[1]
            .problems
            .iter()
            .any(|text| text.contains("\"later\""))
    );
    assert_eq!(label(2).area.as_deref(), Some("Kitchen"));
    assert_eq!(label(2).phase, B);
    assert_eq!(done[2].problems.len(), 2, "{done:?}");
}

#[test]
fn any_name_is_read_without_panic() {
    let names = [
        "\u{202E}gpj.before",
        "///",
        "..",
        "(((((",
        "\u{0}\u{1}",
        "a\n/b\r.jpg",
        "\u{1F9F9}/\u{1F9F9} after.jpg",
    ];
    for name in names {
        let _ = labels(
            &[name],
            &sheet(&[("", &["[", "**"]), ("Kitchen", &["{a,b"])]),
        );
    }
}

#[test]
fn views_in_file_names_are_no_areas() {
    let cases = [
        ("001_living_A_door_before.jpg", "Living"),
        ("002_living_B_opposite_during.jpg", "Living"),
        ("003_living_C_left_corner_after.jpg", "Living"),
        ("015_kitchen_D_closeup_before.jpg", "Kitchen"),
        ("027_bedroom_1_D_closeup_before.jpg", "Bedroom 1"),
        ("036_bedroom_1_A_door_after_turn25.jpg", "Bedroom 1"),
        ("038_bedroom_2_B_opposite_before.jpg", "Bedroom 2"),
        ("050_bathroom_B_tub_end_before.jpg", "Bathroom"),
        ("061_attic_A_hatch_before.jpg", "Attic"),
        ("062_attic_B_far_end_before.jpg", "Attic"),
        ("063_garage_B_from_bay_after.jpg", "Garage"),
        ("070_yard_B_house_corner_after.jpg", "Yard"),
    ];
    let paths: Vec<&str> = cases.iter().map(|(path, _)| *path).collect();
    let found = labels(&paths, &JobSheet::default());
    for ((path, area), (found, _)) in cases.iter().zip(&found) {
        assert_eq!(found.as_deref(), Some(*area), "{path}");
    }
}
