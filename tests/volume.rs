//! Published check values of debris volumes, each with its source, through the public surface.

use std::path::Path;

use photoproof_core::job::{JobSheet, Units};
use photoproof_core::report::v1;
use photoproof_core::volume::{
    self, Building, Ends, Shape, Tally, house_cubic_yards, mobile_home_cubic_yards,
    other_building_cubic_yards, round_half_up, show, stump_cubic_yards,
};
use rust_decimal::{Decimal, dec};

fn feet(shape: Shape) -> Decimal {
    shape.volume(Units::Feet).cubic_yards
}

fn bed(length: Decimal, width: Decimal, height: Decimal) -> Shape {
    Shape::Box {
        length,
        width,
        height,
    }
}

fn cone(diameter: Decimal, height: Decimal) -> Decimal {
    feet(Shape::Cone { diameter, height })
}

/// Volume of one load as the sheet's tally gives it, printed with `decimals`.
fn ticket(load: &str, rules: &str) -> String {
    let sheet = sheet(&format!(
        "[volume]\n{rules}\n[[load]]\nname = \"T\"\nphotos = [\"t.jpg\"]\n{load}\n"
    ));
    let tally = volume::tally(&sheet, &[]);
    show(tally.loads[0].cubic_yards, tally.decimals)
}

fn sheet(text: &str) -> JobSheet {
    JobSheet::parse(text, Path::new("job.toml")).unwrap_or_else(|e| panic!("{e}"))
}

// ---- units -------------------------------------------------------------------------------------

/// Exact by definition: 27 cubic feet, 46656 cubic inches (36 cubed), 0.764554857984 cubic metres
/// in a cubic yard (International yard and pound agreement, 1959: 1 yd = 0.9144 m).
#[test]
fn unit_constants_are_exact() {
    assert_eq!(feet(bed(dec!(3), dec!(3), dec!(3))), dec!(1));
    assert_eq!(
        volume::CUBIC_INCHES_PER_CUBIC_YARD,
        dec!(36) * dec!(36) * dec!(36)
    );
    let metre = bed(dec!(1), dec!(1), dec!(1))
        .volume(Units::Metric)
        .cubic_yards;
    assert_eq!(show(metre, 6), "1.307951");
    // A bed of 0.9144 m on each side is one cubic yard exactly.
    let yard = bed(dec!(0.9144), dec!(0.9144), dec!(0.9144));
    assert_eq!(yard.volume(Units::Metric).cubic_yards, dec!(1));
    // 1 cubic foot is 0.028316846592 cubic metres: the same bed in both units.
    let foot = bed(dec!(0.3048), dec!(0.3048), dec!(0.3048));
    let difference = foot.volume(Units::Metric).cubic_yards - dec!(1) / dec!(27);
    assert!(difference.abs() < dec!(1e-25), "{difference}");
}

/// FEMA 329, Debris Estimating Field Guide (2010): an acre 10 ft deep, printed 16,133 cubic yards.
#[test]
fn an_acre_ten_feet_deep() {
    let yards = volume::acre_depth_cubic_yards(dec!(1), dec!(10));
    assert_eq!(show(yards, 2), "16133.33");
    assert_eq!(show(yards, 0), "16133");
    // FEMA 325 (July 2007) rounds 10 ft to 3.33 yards and prints 16,117.
    let rounded = volume::acre_depth_cubic_yards(dec!(1), dec!(3.33) * dec!(3));
    assert_eq!(show(rounded, 0), "16117");
}

// ---- truck and trailer beds --------------------------------------------------------------------

/// 16 x 7.5 x 4.5: FEMA, Public Assistance Debris Monitoring Guide (March 2021). 14 x 8 x 4 and
/// 6 x 5 x 2: a municipal load table (it prints the first as 16.60, rounded up). The others are
/// L W H / 27 (FEMA 329, p. 6) computed by hand.
#[test]
fn certified_capacity_of_beds() {
    let table = [
        ((dec!(16.0), dec!(7.5), dec!(4.5)), "20.0000"),
        ((dec!(14), dec!(8), dec!(4)), "16.5926"),
        ((dec!(6), dec!(5), dec!(2)), "2.2222"),
        ((dec!(8), dec!(4), dec!(2)), "2.3704"),
        ((dec!(5), dec!(8), dec!(4)), "5.9259"),
        ((dec!(6), dec!(12), dec!(2)), "5.3333"),
        ((dec!(10), dec!(10), dec!(10)), "37.0370"),
        ((dec!(20), dec!(8), dec!(4)), "23.7037"),
        ((dec!(30), dec!(20), dec!(10)), "222.2222"),
    ];
    for ((l, w, h), expected) in table {
        assert_eq!(show(feet(bed(l, w, h)), 4), expected, "{l} x {w} x {h}");
    }
}

/// FEMA, Public Assistance Debris Monitoring Guide (March 2021): 20 cubic yards without a solid
/// tailgate count 17.0; 85 % full prints 14.5, 75 % full prints 12.8; a hand-loaded 10-yard trailer
/// counts 5.0.
#[test]
fn the_guides_own_tickets() {
    let bed = "shape = \"box\"\nlength = 16.0\nwidth = 7.5\nheight = 4.5\ntailgate = false";
    let rules = "no_tailgate_share = 0.85\nhand_loaded_share = 0.5\ndecimals = 1";
    assert_eq!(ticket(bed, rules), "17.0");
    assert_eq!(ticket(&format!("{bed}\nfill = 0.85"), rules), "14.5");
    assert_eq!(ticket(&format!("{bed}\nfill = 0.75"), rules), "12.8");
    let exact = "no_tailgate_share = 0.85\ndecimals = 2";
    assert_eq!(ticket(&format!("{bed}\nfill = 0.85"), exact), "14.45");
    assert_eq!(ticket(&format!("{bed}\nfill = 0.75"), exact), "12.75");
    let trailer = "shape = \"container\"\ncubic_yards = 10\nloading = \"hand\"";
    assert_eq!(ticket(trailer, rules), "5.0");
}

/// A plain claim is plain cubic yards: without a rule the facts about the bed change nothing.
#[test]
fn reductions_are_off_unless_switched_on() {
    let bed = "shape = \"box\"\nlength = 16.0\nwidth = 7.5\nheight = 4.5\ntailgate = false\nloading = \"hand\"";
    assert_eq!(ticket(bed, ""), "20.00");
    assert_eq!(ticket(bed, "hand_loaded_share = 0.5"), "10.00");
}

/// US EPA, Volume-to-Weight Conversion Factors (April 2016): loose trash is about 138 lb a cubic yard.
/// A scale weighs what lies in the bed, so reductions of a programme do not change the comparison.
#[test]
fn scale_tickets_are_compared_with_what_lies_in_the_bed() {
    let density = |rules: &str, pounds: u32| {
        let sheet = sheet(&format!(
            "[volume]\n{rules}\n[[load]]\nname = \"T\"\nshape = \"container\"\ncubic_yards = 10\nloading = \"hand\"\nweight_lb = {pounds}\nmaterial = \"trash\"\nphotos = [\"t.jpg\"]\n"
        ));
        let tally = volume::tally(&sheet, &[]);
        let weight = tally.loads[0].weight.clone().unwrap();
        (weight.lb_per_cubic_yard, weight.plausible)
    };
    assert_eq!(density("", 1380), (dec!(138), true));
    assert_eq!(density("hand_loaded_share = 0.5", 1380), (dec!(138), true));
    // Six tons on ten yards of loose trash.
    assert_eq!(density("", 12000), (dec!(1200), false));
}

/// Half up, as the guide's 14.45 -> 14.5 and 12.75 -> 12.8; half to even gives 14.4, and binary
/// floating point may too.
#[test]
fn rounding_is_half_up() {
    assert_eq!(show(dec!(14.45), 1), "14.5");
    assert_eq!(show(dec!(12.75), 1), "12.8");
    assert_eq!(round_half_up(dec!(0.125), 2), dec!(0.13));
    assert_eq!(show(dec!(-0.25), 1), "-0.3");
    assert_eq!(show(dec!(5), 2), "5.00");
}

// ---- piles -------------------------------------------------------------------------------------

/// University of Regina, volume of a conical pile: 42 ft by 16 ft is 7,389 cubic feet, 274 yards.
#[test]
fn cone_of_42_by_16_feet() {
    let yards = cone(dec!(42), dec!(16));
    assert_eq!(show(yards * dec!(27), 2), "7389.03");
    assert_eq!(show(yards, 2), "273.67");
    assert_eq!(show(yards, 0), "274");
}

/// A handbook table of piles at 37 degrees repose (0.2618 D^2 h): 68, 545 and 4370 cubic yards.
#[test]
fn cones_at_the_angle_of_repose() {
    assert_eq!(show(cone(dec!(26.50), dec!(10)), 2), "68.09");
    assert_eq!(show(cone(dec!(53.00), dec!(20)), 2), "544.74");
    let large = cone(dec!(106.00), dec!(40));
    // The table prints 4370; the formula gives 4357.9, 0.3 % less.
    assert!(
        (large - dec!(4370)).abs() / dec!(4370) < dec!(0.005),
        "{large}"
    );
}

/// r 5, h 10: 261.80 cubic feet, 9.696 yards (textbook example); D 30, h 8: 1,884.96 cubic feet
/// exactly, where a handbook chart reads about 2000.
#[test]
fn small_cones() {
    assert_eq!(show(cone(dec!(10), dec!(10)) * dec!(27), 2), "261.80");
    assert_eq!(show(cone(dec!(10), dec!(10)), 3), "9.696");
    assert_eq!(show(cone(dec!(30), dec!(8)) * dec!(27), 2), "1884.96");
}

/// A frustum without a top is a cone: R 5 m, h 4 m is 104.72 cubic metres (textbook example).
#[test]
fn frustum_in_metres() {
    let shape = Shape::Frustum {
        bottom_diameter: dec!(10),
        top_diameter: dec!(0),
        height: dec!(4),
    };
    let metres = shape.volume(Units::Metric).cubic_yards * dec!(0.764554857984);
    assert_eq!(show(metres, 2), "104.72");
    let cone = Shape::Cone {
        diameter: dec!(10),
        height: dec!(4),
    };
    assert_eq!(
        shape.volume(Units::Metric).cubic_yards,
        cone.volume(Units::Metric).cubic_yards
    );
}

/// Computed by hand from the formulas: W h L / 2 + pi (W / 2)^2 h / 3; L W H / 2; L W H / 3;
/// pi r^2 h / 6.
#[test]
fn long_and_leaning_piles() {
    let ridge = |ends| {
        feet(Shape::Ridge {
            length: dec!(40),
            width: dec!(8),
            height: dec!(4),
            ends,
        })
    };
    assert_eq!(show(ridge(Ends::HalfCone), 3), "26.186");
    // A ridge with square ends is half of its box.
    let whole = feet(bed(dec!(40), dec!(8), dec!(4)));
    assert_eq!(show(ridge(Ends::Square) * dec!(2), 12), show(whole, 12));
    let (length, width, height) = (dec!(30), dec!(10), dec!(6));
    let prism = Shape::Prism {
        length,
        width,
        height,
    };
    assert_eq!(show(feet(prism), 3), "33.333");
    let pyramid = Shape::Pyramid {
        length: dec!(10),
        width,
        height,
    };
    assert_eq!(show(feet(pyramid), 4), "7.4074");
    let leaning = Shape::HalfCone {
        diameter: dec!(10),
        height,
    };
    assert_eq!(show(feet(leaning), 4), "2.9089");
}

/// A cone is 0.2618 of its box (pi / 12); no pile exceeds its box, so a claim above it is impossible.
#[test]
fn bounding_boxes() {
    let shape = Shape::Cone {
        diameter: dec!(12),
        height: dec!(4),
    };
    let share = feet(shape) / shape.bounding_box(Units::Feet);
    assert_eq!(show(share, 4), "0.2618");
    let claim = |yards: &str| {
        let sheet = sheet(&format!(
            "[claim]\ndebris_cubic_yards = {yards}\n[[load]]\nname = \"P\"\nshape = \"cone\"\ndiameter = 12\nheight = 4\nphotos = [\"p.jpg\"]\n"
        ));
        volume::tally(&sheet, &["p.jpg".into()]).claim_impossible
    };
    // 12 x 12 x 4 / 27 = 21.33
    assert!(!claim("21.33"));
    assert!(claim("21.34"));
    let one = |yards: &str| {
        let sheet = sheet(&format!(
            "[[load]]\nname = \"P\"\nshape = \"cone\"\ndiameter = 12\nheight = 4\nclaimed_cubic_yards = {yards}\nphotos = [\"p.jpg\"]\n"
        ));
        volume::tally(&sheet, &["p.jpg".into()]).loads[0].claim_impossible(2)
    };
    assert!(!one("21.33"));
    assert!(one("21.34"));
}

// ---- containers --------------------------------------------------------------------------------

/// A US liquid gallon is 231 cubic inches exactly (NIST Handbook 44, appendix C; from memory).
#[test]
fn bags_drums_and_carts() {
    let table = [
        (30, "0.1485"),
        (33, "0.1634"),
        (39, "0.1931"),
        (55, "0.2723"),
        (95, "0.4704"),
    ];
    for (gallons, expected) in table {
        let gallons = Decimal::from(gallons);
        assert_eq!(show(feet(Shape::Gallons { gallons }), 4), expected);
    }
    // 6.7 full 30-gallon bags make one cubic yard.
    let bag = feet(Shape::Gallons { gallons: dec!(30) });
    assert_eq!(show(dec!(1) / bag, 1), "6.7");
    assert_eq!(
        ticket("shape = \"bag\"\ngallons = 30\ncount = 67", ""),
        "9.95"
    );
    assert_eq!(
        ticket("shape = \"drum\"\ngallons = 55\ncount = 4\nfill = 0.5", ""),
        "0.54"
    );
}

// ---- houses, mobile homes, stumps --------------------------------------------------------------

fn house(length_ft: u32, width_ft: u32, storeys: u32, cover: Decimal) -> Decimal {
    house_cubic_yards(&Building {
        length_ft: length_ft.into(),
        width_ft: width_ft.into(),
        storeys,
        cover,
    })
}

/// FEMA 325, Debris Management Guide (July 2007), figure 6.3 (2,000 square feet, medium cover: 520)
/// and its formula for 1,000, 1,600 and 2,400 square feet; FEMA 329 (2010) for the first-storey rule.
#[test]
fn houses() {
    assert_eq!(house(40, 50, 1, dec!(1.3)), dec!(520));
    let covers = [dec!(1.0), dec!(1.1), dec!(1.3), dec!(1.5)];
    let rows = [
        ((25, 40), [200, 220, 260, 300]),
        ((40, 40), [320, 352, 416, 480]),
        ((40, 60), [480, 528, 624, 720]),
    ];
    for ((length, width), expected) in rows {
        for (cover, yards) in covers.into_iter().zip(expected) {
            assert_eq!(house(length, width, 1, cover), Decimal::from(yards));
        }
    }
    // Two storeys: 552, not the 624 of a multiplier on the whole house.
    assert_eq!(house(30, 40, 2, dec!(1.3)), dec!(552));
}

/// FEMA 325 (July 2007), chapter 6: 290 single-wide, 415 double-wide; L W H 0.33 / 27.
#[test]
fn mobile_homes_and_other_buildings() {
    assert_eq!(mobile_home_cubic_yards(1), Some(dec!(290)));
    assert_eq!(mobile_home_cubic_yards(2), Some(dec!(415)));
    assert_eq!(mobile_home_cubic_yards(3), None);
    let yards = other_building_cubic_yards(dec!(100), dec!(60), dec!(20));
    assert_eq!(show(yards, 2), "1466.67");
    // 733 tons at 2 cubic yards a ton (US Army Corps of Engineers, in FEMA 325).
    assert_eq!(show(yards / dec!(2), 0), "733");
}

/// FEMA 325 (July 2007), chapter 6: personal property of a flooded house, 25 to 30 cubic yards without a
/// basement, 45 to 50 with one.
#[test]
fn contents_of_a_flooded_house() {
    assert_eq!(volume::contents_cubic_yards(false), (dec!(25), dec!(30)));
    assert_eq!(volume::contents_cubic_yards(true), (dec!(45), dec!(50)));
}

/// FEMA 325, appendix G (DAP 9523.11) prints 9.3 for 36 inches and 16.5 for 48; the others are its
/// formula computed by hand.
#[test]
fn stumps() {
    let table = [
        (6, "0.258"),
        (8, "0.459"),
        (12, "1.032"),
        (18, "2.322"),
        (24, "4.128"),
        (30, "6.450"),
        (36, "9.289"),
        (48, "16.513"),
        (60, "25.802"),
        (84, "50.572"),
    ];
    for (inches, expected) in table {
        assert_eq!(
            show(stump_cubic_yards(inches.into()), 3),
            expected,
            "{inches} in"
        );
    }
    assert_eq!(show(stump_cubic_yards(dec!(36)), 1), "9.3");
    assert_eq!(show(stump_cubic_yards(dec!(48)), 1), "16.5");
}

// ---- the tally ---------------------------------------------------------------------------------

fn three_bedroom() -> Tally {
    let sheet = sheet(include_str!(
        "../fixtures/job-sheets/good/three-bedroom.toml"
    ));
    let photos: Vec<String> = [
        "loads/trailer1_empty.jpg",
        "loads/trailer1_full_1.jpg",
        "Back yard/before/pile_1.jpg",
        "Kitchen/before/1.jpg",
        "hazards/a.jpg",
    ]
    .map(str::to_owned)
    .to_vec();
    volume::tally(&sheet, &photos)
}

#[test]
fn loads_without_photos_are_measured_but_not_documented() {
    let tally = three_bedroom();
    let evidenced: Vec<bool> = tally.loads.iter().map(|l| l.evidenced).collect();
    assert_eq!(evidenced, [true, true, false]);
    // 20.00 + pi 12^2 4 / 12 / 27 = 5.59 + 14 x 33 gal = 2.29
    assert_eq!(show(tally.documented, 2), "25.59");
    assert_eq!(show(tally.measured, 2), "27.88");
    assert_eq!(tally.difference, Some(dec!(27.8) - dec!(25.59)));
    assert_eq!(tally.loads[0].missing_states, ["dumped"]);
    assert_eq!(tally.hazards[0].photos, ["hazards/a.jpg"]);
    assert!(tally.hazards[1].photos.is_empty());
}

#[test]
fn the_report_shows_the_same_numbers() {
    let debris = v1::Debris::from(&three_bedroom());
    assert!((debris.documented.unwrap() - 25.59).abs() < 1e-9);
    assert!((debris.difference.unwrap() - 2.21).abs() < 1e-9);
    assert_eq!(
        debris.loads[0].working,
        "16 x 7.5 x 4.5 = 540 ft3; / 27 = 20 yd3; fill x 1 = 20.00 yd3"
    );
    assert_eq!(
        debris.loads[1].working,
        "pi x 12^2 x 4 / 12 = 150.7964 ft3; / 27 = 5.5851 yd3; fill x 1 = 5.59 yd3"
    );
}

/// An empty sheet documents nothing rather than zero.
#[test]
fn no_loads_and_no_claim() {
    let debris = v1::Debris::from(&volume::tally(&sheet(""), &[]));
    assert_eq!(
        (debris.claimed, debris.documented, debris.difference),
        (None, None, None)
    );
    let claim_only = sheet("[claim]\ndebris_cubic_yards = 12");
    let tally = volume::tally(&claim_only, &[]);
    assert_eq!(tally.difference, Some(dec!(12)));
    assert!(
        !tally.claim_impossible,
        "nothing was measured, so nothing bounds the claim"
    );
}

/// Feet and inches, and metres, give the volume of the same bed.
#[test]
fn the_same_bed_in_two_units() {
    let feet = ticket(
        "shape = \"box\"\nlength = \"16'\"\nwidth = \"7' 6\\\"\"\nheight = \"54 in\"",
        "",
    );
    let metres = ticket(
        "units = \"metric\"\nshape = \"box\"\nlength = 4.8768\nwidth = \"228.6 cm\"\nheight = \"1.3716 m\"",
        "",
    );
    assert_eq!((feet.as_str(), metres.as_str()), ("20.00", "20.00"));
}
