//! Job sheets through the public surface: the sample works, every mistake gets its message.

use std::path::Path;

use photoproof_core::Phase;
use photoproof_core::job::JobSheet;

const SAMPLE: &str = include_str!("../fixtures/job-sheets/good/sample.toml");

fn parse(text: &str) -> Result<JobSheet, String> {
    JobSheet::parse(text, Path::new("job.toml")).map_err(|e| e.to_string())
}

/// The lines of the message about a sheet that must not pass.
fn mistakes(text: &str) -> Vec<String> {
    match parse(text) {
        Ok(sheet) => panic!("passed: {text}\n{sheet:?}"),
        Err(message) => message.lines().map(str::to_owned).collect(),
    }
}

#[test]
fn the_sample_is_read_in_full() {
    let sheet = parse(SAMPLE).unwrap();
    assert_eq!(sheet.id.as_deref(), Some("WB-1187"));
    assert_eq!(sheet.services, ["debris-removal", "initial-cleaning"]);
    assert_eq!(sheet.site.timezone, Some(chrono_tz::America::Chicago));
    assert_eq!(sheet.areas[0].patterns, ["kitchen*", "ktch*"]);
    assert_eq!(sheet.loads[0].photos.any, ["loads/trailer1_*.jpg"]);
    assert_eq!(sheet.claim.hazards[0].count, 2);
    assert_eq!(sheet.phases, Phase::ALL);
    assert!((sheet.limits.max_rotation_deg - 10.0).abs() < 1e-12);
    assert!(sheet.notes.is_empty());
}

#[test]
fn an_empty_sheet_is_valid_and_says_nothing() {
    let sheet = parse("").unwrap();
    assert_eq!(sheet.id, None);
    assert!(sheet.areas.is_empty() && sheet.loads.is_empty() && sheet.phases.is_empty());
    assert_eq!(sheet.site.timezone, None);
}

/// One mistake in an otherwise valid sheet: its place and the words its message must hold.
fn one(text: &str, place: &str, words: &[&str]) {
    let found = mistakes(text);
    assert_eq!(found.len(), 1, "{text}\n{found:#?}");
    let line = &found[0];
    assert!(line.starts_with(&format!("job.toml:{place}: ")), "{line}");
    for word in words {
        assert!(line.contains(word), "`{word}` is not in: {line}");
    }
    assert!(!line.ends_with('.'), "{line}");
}

const LOAD: &str = "[[load]]\nname = \"T\"\nshape = \"box\"\nlength = 16\nwidth = 7.5\nheight = 4.5\nphotos = [\"t*.jpg\"]\n";

/// `LOAD` with `from` replaced by `to`, which must be there.
fn load_with(from: &str, to: &str) -> String {
    assert!(LOAD.contains(from));
    LOAD.replace(from, to)
}

#[test]
fn typos_in_tables_and_keys() {
    one(
        "[jop]\nid = \"a\"",
        "1:2",
        &["unknown key `jop`", "did you mean `job`?"],
    );
    one(
        "[job]\nvender = \"a\"",
        "2:1",
        &["unknown key `vender` in [job]", "`vendor`"],
    );
    one("[site]\nradius = 5", "2:1", &["`radius`", "`radius_m`"]);
    one(
        "[[area]]\nname = \"K\"\nknd = \"kitchen\"",
        "3:1",
        &["[[area]] 1", "`kind`"],
    );
    one(
        "[limits]\nmax_rotaton_deg = 10",
        "2:1",
        &["`max_rotation_deg`"],
    );
    one(
        "[limits]\nfrobnicate = 1",
        "2:1",
        &["use one of", "min_overlap", "min_visible_change"],
    );
    one("[scope]\nphase = [\"before\"]", "2:1", &["`phases`"]);
    one(
        "[claim]\nhazards = [{ itm = \"x\", item = \"paint\", count = 1 }]",
        "2:14",
        &["`item`"],
    );
}

#[test]
fn unknown_kinds_services_phases_zones() {
    one(
        "[[area]]\nname = \"K\"\nkind = \"kitchn\"",
        "3:8",
        &["unknown kind `kitchn`", "`kitchen`"],
    );
    one(
        "[[area]]\nname = \"K\"\nkind = \"observatory\"",
        "3:8",
        &["use one of", "bathroom"],
    );
    one(
        "[job]\nservices = [\"debris-removl\"]",
        "2:13",
        &["unknown service", "`debris-removal`"],
    );
    one(
        "[job]\nservices = [\"debris-removal\", \"debris-removal\"]",
        "2:31",
        &["named twice"],
    );
    one(
        "[scope]\nphases = [\"befor\"]",
        "2:11",
        &["unknown phase `befor`", "`before`"],
    );
    one("[scope]\nphases = []", "2:10", &["is empty"]);
    one(
        "[site]\ntimezone = \"America/Chicgo\"",
        "2:12",
        &["unknown timezone", "`America/Chicago`"],
    );
    one(
        "[site]\ntimezone = \"chicago\"",
        "2:12",
        &["`America/Chicago`"],
    );
    one(
        "[site]\ntimezone = \"Central\"",
        "2:12",
        &["unknown timezone"],
    );
    one(
        "[scope]\nskip = [\"bathroom.tubs\"]",
        "2:9",
        &["`bathroom.tub`"],
    );
}

#[test]
fn sizes_and_fill() {
    one(
        &load_with("length = 16", "length = -16"),
        "4:10",
        &["`length`", "-16", "above 0"],
    );
    one(
        &load_with("height = 4.5", "height = 0"),
        "6:10",
        &["above 0"],
    );
    one(
        &load_with("height = 4.5", "height = 4.5\nfill = 120"),
        "7:8",
        &["120", "from 0 to 1"],
    );
    one(
        &load_with("height = 4.5", "height = 4.5\nfill = 85"),
        "7:8",
        &["write 0.85"],
    );
    one(
        &load_with("height = 4.5", "height = 4.5\nfill = -0.1"),
        "7:8",
        &["from 0 to 1"],
    );
    one(
        &load_with("length = 16", "length = 16000"),
        "4:10",
        &["check the unit"],
    );
    one(
        &load_with("length = 16", "length = nan"),
        "4:10",
        &["number"],
    );
    one(
        &load_with("height = 4.5", "height = 4.5\ncount = 0"),
        "7:9",
        &["whole number from 1"],
    );
    one(
        "[claim]\ndebris_cubic_yards = -1",
        "2:22",
        &["never below 0"],
    );
}

#[test]
fn units_and_measures() {
    one(
        &load_with("width = 7.5", "width = \"7.5 m\""),
        "5:9",
        &["no length in feet", "units = \"metric\""],
    );
    one(
        &load_with("width = 7.5", "width = \"wide\""),
        "5:9",
        &["no length in feet"],
    );
    one(
        &load_with("shape", "units = \"yards\"\nshape"),
        "3:9",
        &["unknown units `yards`", "feet"],
    );
    one(
        &load_with("shape", "units = \"ft\"\nshape"),
        "3:9",
        &["write \"feet\""],
    );
    one(
        &load_with("box", "bix"),
        "3:9",
        &["unknown shape `bix`", "`box`"],
    );
    one(
        &load_with("width = 7.5", "diameter = 7.5"),
        "5:1",
        &["`diameter`", "no measure", "length, width, height"],
    );
    one(
        &load_with("width = 7.5\n", ""),
        "3:9",
        &["a box needs length, width, height"],
    );
    one(
        "[[load]]\nname = \"P\"\nshape = \"cone\"\ndiameter = 8\nradius = 4\nheight = 4\nphotos = [\"p.jpg\"]",
        "5:10",
        &["described twice", "keep one"],
    );
}

#[test]
fn areas_that_overlap_or_repeat() {
    let two = |a: &str, b: &str| format!("[[area]]\n{a}\n[[area]]\n{b}\n");
    one(
        &two("name = \"Bath 1\"", "name = \"bath_1\""),
        "4:8",
        &["already used on line 2"],
    );
    one(
        &two(
            "name = \"Bath 1\"\nmatch = [\"bath*\"]",
            "name = \"Bath 2\"",
        ),
        "3:10",
        &["overlap", "`Bath 2` matches both"],
    );
    one(
        &two(
            "name = \"A\"\nmatch = [\"bed*\"]",
            "name = \"B\"\nmatch = [\"bedroom 2*\"]",
        ),
        "3:10",
        &["overlap", "narrow"],
    );
    one(
        &two(
            "name = \"A\"\nmatch = [\"den*\"]",
            "name = \"B\"\nmatch = [\"DEN*\"]",
        ),
        "6:10",
        &["overlap"],
    );
    let apart = two(
        "name = \"Bath 1\"\nmatch = [\"bath*1*\"]",
        "name = \"Bath 2\"\nmatch = [\"bath*2*\"]",
    );
    assert!(
        parse(&apart).is_ok(),
        "patterns that share no plain label do not overlap"
    );
}

#[test]
fn window_times() {
    let window = |start: &str, end: &str, zone: &str| {
        format!("[job]\nwindow = {{ start = {start}, end = {end} }}\n{zone}")
    };
    let chicago = "[site]\ntimezone = \"America/Chicago\"\n";
    let (start, end) = ("2026-03-02T07:00:00", "2026-03-04T19:00:00");
    one(
        &window(end, start, ""),
        "2:47",
        &["ends", "before it starts"],
    );
    one(&window("2026-03-02", end, ""), "2:20", &["has no time"]);
    one(&window("07:00:00", end, ""), "2:20", &["has no date"]);
    one(
        &window("\"2026-03-02 07:00\"", end, ""),
        "2:20",
        &["without quotes"],
    );
    one(
        "[job]\nwindow = { start = 2026-03-02T07:00:00 }",
        "2:10",
        &["has no `end`"],
    );
    one(
        &window("2026-03-02T07:00:00-06:00", end, ""),
        "2:20",
        &["no timezone"],
    );
    // Clocks in Chicago went from 02:00 to 03:00 on 8 March 2026 (second Sunday of March; Energy
    // Policy Act of 2005).
    one(
        &window(start, "2026-03-08T02:30:00", chicago),
        "2:47",
        &["2026-03-08 02:30:00 does not exist", "forward"],
    );
    let fold = parse(&window(start, "2026-11-01T01:30:00", chicago)).unwrap();
    assert!(fold.notes[0].contains("exists twice"), "{:?}", fold.notes);
    let offset = parse(&window("2026-03-02T13:00:00Z", end, chicago)).unwrap();
    assert_eq!(
        offset.window.unwrap().start.to_string(),
        "2026-03-02 07:00:00"
    );
    assert!(
        parse(&window(start, start, "")).is_ok(),
        "a window of one moment"
    );
}

#[test]
fn site_and_limits() {
    one(
        "[site]\nlatitude = 95\nlongitude = 1",
        "2:12",
        &["95", "-90", "90"],
    );
    one("[site]\nlatitude = 1\nlongitude = 181", "3:13", &["-180"]);
    one("[site]\nlatitude = 1", "1:1", &["has no `longitude`"]);
    one("[site]\nradius_m = -5", "2:12", &["metres"]);
    one(
        "[limits]\nmin_overlap = 60",
        "2:15",
        &["must be from 0 to 1"],
    );
    one("[limits]\nmax_site_distance_m = 10", "2:23", &["from 50"]);
    one(
        "[limits]\nmin_long_side_px = 640.5",
        "2:20",
        &["whole number"],
    );
    one(
        "[limits]\nmax_rotation_deg = \"10\"",
        "2:20",
        &["must be a finite number", "string"],
    );
    one(
        "[volume]\nno_tailgate_share = 85",
        "2:21",
        &["share above 0"],
    );
}

#[test]
fn names_photos_and_globs() {
    one("[[area]]\nname = \"  \"", "2:8", &["is empty"]);
    one(
        "[[area]]\nkind = \"kitchen\"",
        "1:1",
        &["[[area]] 1 has no `name`"],
    );
    one(
        "[[area]]\nname = \"A\"\nmatch = [\"[a\"]",
        "3:10",
        &["`[a` is no pattern"],
    );
    one(&load_with("t*.jpg", "t{.jpg"), "7:11", &["is no pattern"]);
    one(
        &load_with("t*.jpg", "loads\\\\t.jpg"),
        "7:11",
        &["write / between folders"],
    );
    one(
        &load_with("t*.jpg", "../t.jpg"),
        "7:11",
        &["leaves the job folder"],
    );
    one(
        &load_with("photos = [\"t*.jpg\"]\n", ""),
        "1:1",
        &["has no `photos`"],
    );
    one(
        &load_with("[\"t*.jpg\"]", "[]"),
        "7:10",
        &["has no `photos`"],
    );
    one(
        &format!("{LOAD}{LOAD}"),
        "9:8",
        &["already used on line 2", "counts once"],
    );
    one(
        "[claim]\nhazards = [{ item = \"paint\", count = -2 }]",
        "2:38",
        &["whole number"],
    );
}

#[test]
fn wrong_types_and_syntax() {
    one(
        "[job]\nid = 5",
        "2:6",
        &["must be a text in quotes, not an integer"],
    );
    one("job = 5", "1:7", &["[job] must be a table"]);
    one(
        "[area]\nname = \"Kitchen\"",
        "1:1",
        &["[[area]] with double brackets"],
    );
    one(
        "[job]\nservices = \"debris-removal\"",
        "2:12",
        &["a list of texts"],
    );
    one("[job]\nid = \"a\"\nid = \"b\"", "3:1", &["duplicate key"]);
    one("[job]\nid = \"a", "2:8", &["quotes"]);
    assert!(!mistakes("[job\nid = 1\n[[[").is_empty());
}

#[test]
fn an_open_bracket_is_one_mistake_not_a_hundred() {
    let good = include_str!("../fixtures/job-sheets/good/three-bedroom.toml");
    let found = mistakes(&good.replacen("[\"debris-removal\"", "[[\"debris-removal\"", 1));
    assert!(found.len() <= 5, "{found:#?}");
    assert!(
        found
            .iter()
            .any(|m| m.starts_with("job.toml:5:") || m.starts_with("job.toml:6:")),
        "{found:#?}"
    );
}

#[test]
fn all_mistakes_come_at_once_in_file_order() {
    for (text, count) in [
        (include_str!("../fixtures/job-sheets/bad/twenty.toml"), 20),
        (include_str!("../fixtures/job-sheets/bad/thirty.toml"), 35),
    ] {
        every_marked_mistake_is_told(text, count);
    }
}

/// Each line marked `# mistake: words` gets one message at its line and a column, with these words.
fn every_marked_mistake_is_told(text: &str, count: usize) {
    let found = mistakes(text);
    let marked = text.lines().enumerate().filter_map(|(number, line)| {
        let words = line.split("# mistake: ").nth(1)?;
        Some((number + 1, words))
    });
    let marked: Vec<(usize, &str)> = marked.collect();
    assert_eq!(marked.len(), count);
    assert_eq!(found.len(), count, "{found:#?}");
    for (line, words) in marked {
        let place = format!("job.toml:{line}:");
        let message = found.iter().find(|m| m.starts_with(&place));
        let message = message.unwrap_or_else(|| panic!("none at {place} {found:#?}"));
        assert!(message.contains(words), "{words}: {message}");
        let column = message[place.len()..].split(':').next().unwrap_or_default();
        assert!(column.parse::<usize>().is_ok_and(|c| c >= 1), "{message}");
    }
    let mut sorted = found.clone();
    sorted.sort_by_key(|m| m.split(':').nth(1).and_then(|l| l.parse::<usize>().ok()));
    assert_eq!(found, sorted);
}

#[test]
fn globs_that_match_nothing_are_named() {
    let sheet = parse(SAMPLE).unwrap();
    let unmatched = sheet.unmatched_patterns(&["loads/trailer2_full.jpg", "Kitchen/before/1.jpg"]);
    assert_eq!(unmatched.len(), 1);
    assert_eq!(unmatched[0].owner, "load Trailer 1");
    assert!(
        unmatched[0]
            .message
            .contains("matches none of the 2 photos")
    );
    assert!(
        sheet
            .unmatched_patterns(&["loads/Trailer1_full.JPG"])
            .is_empty()
    );
}

#[test]
fn files_are_bounded_and_must_be_utf8() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.toml");
    let read = |bytes: &[u8]| {
        std::fs::write(&path, bytes).unwrap();
        JobSheet::read(&path).map_err(|e| e.to_string())
    };
    assert!(
        read(b"\xef\xbb\xbf[job]\nid = \"a\"\n").is_ok(),
        "a byte order mark is no mistake"
    );
    let latin1 = read(b"[job]\nid = \"caf\xe9\"\n").unwrap_err();
    assert!(
        latin1.ends_with(":2:10: not UTF-8 text; save the file as UTF-8"),
        "{latin1}"
    );
    let big = read(&vec![b'#'; (1 << 20) + 1]).unwrap_err();
    assert!(big.contains("larger than 1048576 bytes"), "{big}");
    let missing = JobSheet::read(&folder.path().join("none.toml")).unwrap_err();
    assert!(missing.to_string().contains("does not exist"));
    assert!(
        JobSheet::read(folder.path()).is_err(),
        "a folder is no sheet"
    );
}

#[test]
fn the_good_sheets_pass_and_their_profile_is_found_beside_them() {
    let folder = Path::new(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../fixtures/job-sheets/good"
    ));
    let read = |name: &str| JobSheet::read(&folder.join(name)).unwrap_or_else(|e| panic!("{e}"));
    let house = read("three-bedroom.toml");
    assert_eq!((house.areas.len(), house.loads.len()), (17, 3));
    let metric = read("metric.toml");
    assert_eq!(metric.scope.photos_per_view, Some(2));
    assert_eq!(metric.phase_patterns.len(), 2);
    let own = metric
        .scope
        .profiles
        .iter()
        .find(|p| p.service == "debris-removal");
    assert_eq!(own.unwrap().kinds.len(), 1);
    let missing = mistakes("[scope]\nprofile = \"nowhere.toml\"");
    assert!(
        missing[0].starts_with("job.toml:2:11: `profile`"),
        "{missing:?}"
    );
}

/// A TOML document as JSON, times as texts.
fn as_json(value: toml::Value) -> serde_json::Value {
    match value {
        toml::Value::String(s) => s.into(),
        toml::Value::Integer(i) => i.into(),
        toml::Value::Float(f) => f.into(),
        toml::Value::Boolean(b) => b.into(),
        toml::Value::Datetime(d) => d.to_string().into(),
        toml::Value::Array(items) => items.into_iter().map(as_json).collect(),
        toml::Value::Table(table) => {
            let members = table.into_iter().map(|(key, value)| (key, as_json(value)));
            serde_json::Value::Object(members.collect())
        }
    }
}

#[cfg(test)]
fn schema() -> jsonschema::Validator {
    let text = include_str!("../schemas/job-sheet.schema.json");
    let schema: serde_json::Value = serde_json::from_str(text).unwrap();
    jsonschema::draft202012::meta::validate(&schema).unwrap();
    jsonschema::draft202012::new(&schema).unwrap()
}

#[test]
fn the_schema_for_editors_agrees_with_the_program() {
    let schema = schema();
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/job-sheets/good");
    for name in ["sample.toml", "three-bedroom.toml", "metric.toml"] {
        let text = std::fs::read_to_string(Path::new(folder).join(name)).unwrap();
        let json = as_json(toml::from_str(&text).unwrap());
        let errors: Vec<String> = schema.iter_errors(&json).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{name}: {errors:#?}");
    }
    // What the schema can tell without profiles, it tells.
    let bad = [
        "[job]\nvender = \"a\"".to_owned(),
        "[site]\nlatitude = 95\nlongitude = 1".to_owned(),
        "[site]\nlatitude = 5".to_owned(),
        "[scope]\nphases = [\"befor\"]".to_owned(),
        "[limits]\nmin_overlap = 60".to_owned(),
        "[[area]]\nkind = \"kitchen\"".to_owned(),
        load_with("height = 4.5", "height = 4.5\nfill = 120"),
        load_with("length = 16", "length = -16"),
        load_with("width = 7.5\n", ""),
        load_with("width = 7.5", "width = 7.5\ndiameter = 3"),
        load_with("box", "bix"),
        load_with("t*.jpg", "../t.jpg"),
        load_with("photos = [\"t*.jpg\"]\n", ""),
    ];
    for text in &bad {
        let json = as_json(toml::from_str(text).unwrap());
        assert!(!schema.is_valid(&json), "{text}");
        assert!(parse(text).is_err(), "{text}");
    }
}

/// Keys and limits of the schema are those of the program.
#[test]
fn the_schema_has_every_limit_with_its_range() {
    let text = include_str!("../schemas/job-sheet.schema.json");
    let schema: serde_json::Value = serde_json::from_str(text).unwrap();
    let limits = schema["properties"]["limits"]["properties"]
        .as_object()
        .unwrap();
    let defaults = serde_json::to_value(photoproof_core::Limits::default()).unwrap();
    let defaults = defaults.as_object().unwrap();
    assert_eq!(
        limits.keys().collect::<Vec<_>>(),
        defaults.keys().collect::<Vec<_>>()
    );
    for (key, range) in limits {
        let (low, high) = (range["minimum"].clone(), range["maximum"].clone());
        assert!(
            parse(&format!("[limits]\n{key} = {low}\n")).is_ok(),
            "{key} {low}"
        );
        assert!(
            parse(&format!("[limits]\n{key} = {high}\n")).is_ok(),
            "{key} {high}"
        );
        let above = high.as_f64().unwrap() + 1.0;
        assert!(
            parse(&format!("[limits]\n{key} = {above}\n")).is_err(),
            "{key} {above}"
        );
    }
}

#[test]
fn hostile_sheets_end_quickly() {
    let started = std::time::Instant::now();
    let many = "[[area]]\nname = \"a\"\nmatch = [\"*a*\"]\n".repeat(20_000);
    assert!(mistakes(&many).len() <= 201);
    let loads = "[[load]]\n".repeat(60_000);
    assert!(mistakes(&loads).len() <= 201);
    let deep = format!("a = {}", "[".repeat(100_000));
    assert!(!mistakes(&deep).is_empty());
    let key = format!("[job]\n{} = 1", "k".repeat(500_000));
    assert!(mistakes(&key)[0].len() < 1_000);
    let shown = mistakes("[job]\n\"a\u{1b}[31m\" = 1");
    assert!(!shown[0].contains('\u{1b}'), "{shown:?}");
    assert!(started.elapsed().as_secs() < 60, "{:?}", started.elapsed());
}

/// Every few places of a good sheet, one sign is lost, doubled or replaced. Whatever comes out is a
/// sheet or a list of placed mistakes, never a panic.
#[test]
fn damaged_sheets_give_a_sheet_or_placed_mistakes() {
    let text = include_str!("../fixtures/job-sheets/good/three-bedroom.toml");
    let signs: Vec<char> = text.chars().collect();
    let mut invalid = 0;
    for at in (0..signs.len()).step_by(5) {
        for with in ["", "\"", "[", "=", "\u{0}", "9", "\u{e9}\u{1f3e0}", "\n"] {
            let mut damaged: String = signs[..at].iter().collect();
            damaged.push_str(with);
            damaged.extend(&signs[at + 1..]);
            let Err(message) = parse(&damaged) else {
                continue;
            };
            invalid += 1;
            assert!(message.lines().count() <= 40, "{message}");
            for line in message.lines() {
                let place = line
                    .strip_prefix("job.toml:")
                    .unwrap_or_else(|| panic!("{line}"));
                let mut parts = place.splitn(3, ':');
                let line_number: usize = parts.next().unwrap().parse().unwrap();
                let column: usize = parts.next().unwrap().parse().unwrap();
                assert!(line_number >= 1 && column >= 1, "{line}");
                assert!(line_number <= damaged.lines().count() + 1, "{line}");
            }
        }
    }
    assert!(invalid > 1_000, "{invalid}");
}
