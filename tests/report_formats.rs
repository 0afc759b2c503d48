//! Every report format: agreement of counts and ids, validity, hostile text, the page's rules.

#[cfg(test)]
#[path = "support/reports.rs"]
mod reports;

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use photoproof_core::judge::finding::Severity;
    use photoproof_core::report::text::{Colour, TextOptions};
    use photoproof_core::report::v1::Report;
    use photoproof_core::report::{
        Thumbnail, Thumbnails, csv, html, index, json, junit, sarif, shape, text,
    };
    use serde_json::Value;

    use super::reports;

    fn all() -> Vec<Report> {
        vec![
            reports::clean(),
            reports::flawed(),
            reports::hostile(),
            reports::large(20),
        ]
    }

    fn thumbnails(report: &Report) -> Thumbnails {
        let one = Thumbnail {
            jpeg: vec![0xFF, 0xD8, 0xFF, 0xD9],
            width: 480,
            height: 360,
        };
        report
            .photos
            .iter()
            .map(|photo| (photo.path.clone(), one.clone()))
            .collect()
    }

    fn page(report: &Report) -> String {
        html::render(report, &thumbnails(report)).unwrap()
    }

    fn schema() -> Value {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../schemas/report.schema.json");
        serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
    }

    #[test]
    fn json_is_valid_against_its_schema_and_reads_back() {
        let validator = jsonschema::draft202012::new(&schema()).unwrap();
        for report in all() {
            let text = json::render(&report);
            let value: Value = serde_json::from_str(&text).unwrap();
            let faults: Vec<String> = validator
                .iter_errors(&value)
                .map(|e| format!("{}: {e}", e.instance_path()))
                .collect();
            assert!(faults.is_empty(), "{faults:#?}");
            let back: Report = serde_json::from_str(&text).unwrap();
            assert_eq!(json::render(&back), text, "written again byte for byte");
            let mut broken = value;
            broken["outcome"] = "maybe".into();
            assert!(
                !validator.is_valid(&broken),
                "the schema refuses an unknown outcome"
            );
        }
    }

    /// Follows `$ref` and `anyOf` to the schema that describes an object or array.
    fn resolve<'a>(root: &'a Value, node: &'a Value) -> &'a Value {
        if let Some(name) = node["$ref"].as_str() {
            return resolve(root, &root["$defs"][name.trim_start_matches("#/$defs/")]);
        }
        match node["anyOf"].as_array() {
            Some(choices) => resolve(root, &choices[0]),
            None => node,
        }
    }

    fn undescribed(
        root: &Value,
        node: &Value,
        value: &Value,
        at: &str,
        out: &mut BTreeSet<String>,
    ) {
        let node = resolve(root, node);
        match value {
            Value::Object(members) if node.get("properties").is_some() => {
                for (name, member) in members {
                    let at = format!("{at}/{name}");
                    match node["properties"].get(name) {
                        Some(inner) => undescribed(root, inner, member, &at, out),
                        None => drop(out.insert(at)),
                    }
                }
            }
            Value::Array(items) => {
                for item in items {
                    undescribed(root, &node["items"], item, at, out);
                }
            }
            _ => {}
        }
    }

    #[test]
    fn the_schema_describes_every_member() {
        let schema = schema();
        let value = serde_json::to_value(reports::flawed()).unwrap();
        let mut missing = BTreeSet::new();
        undescribed(&schema, &schema, &value, "", &mut missing);
        assert!(
            missing.is_empty(),
            "add to schemas/report.schema.json: {missing:?}"
        );
    }

    #[test]
    fn junit_agrees_with_the_report() {
        for report in all() {
            let xml = junit::render(&report);
            let checks = shape::checks(&report).len();
            assert_eq!(
                xml.matches("<testcase ").count(),
                checks,
                "one case a check"
            );
            let failing: BTreeSet<&str> = shape::standing(&report)
                .filter(|f| f.severity >= Severity::Review)
                .map(|f| f.check.as_str())
                .collect();
            assert_eq!(xml.matches("<failure ").count(), failing.len());
            for finding in &report.findings {
                assert!(
                    xml.contains(&format!("[{}]", finding.fingerprint)),
                    "{}",
                    finding.check
                );
            }
        }
    }

    #[test]
    fn text_and_page_and_spreadsheet_agree_with_the_report() {
        for report in all() {
            let plain = text::render(&report, &TextOptions::default());
            let page = page(&report);
            for severity in [Severity::Fail, Severity::Review, Severity::Note] {
                let word = photoproof_core::report::words::severity(severity);
                let number = report
                    .findings
                    .iter()
                    .filter(|f| f.severity == severity)
                    .count();
                let lines = plain
                    .lines()
                    .filter(|l| l.trim_start().starts_with(&format!("{word}: ")))
                    .count();
                assert_eq!(lines, number, "{word} lines of the text");
                let articles = page
                    .matches(&format!("class=\"finding weight-{word}\""))
                    .count();
                assert_eq!(articles, number, "{word} findings of the page");
            }
            let mut reader =
                ::csv::Reader::from_reader(csv::photos(&report).into_bytes().leak() as &[u8]);
            let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
            assert_eq!(rows.len(), report.photos.len());
            let shas: Vec<&str> = rows.iter().map(|row| &row[17]).collect();
            let wanted: Vec<&str> = report.photos.iter().map(|p| p.sha256.as_str()).collect();
            assert_eq!(shas, wanted);
        }
    }

    #[test]
    fn a_crew_reads_the_retakes_first() {
        let report = reports::flawed();
        let plain = text::render(&report, &TextOptions::default());
        assert!(plain.starts_with("FAIL: "), "{plain}");
        let at = |needle: &str| {
            plain
                .find(needle)
                .unwrap_or_else(|| panic!("{needle} in\n{plain}"))
        };
        assert!(at("SHOOT AGAIN") < at("FINDINGS BY AREA"));
        assert!(at("FINDINGS BY AREA") < at("COUNTS"));
        let joined = plain.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(joined.contains("1. Kitchen, after: turn left 14 degrees, same distance; match Kitchen/before/IMG_0401.jpg"));
        assert!(!plain.contains('\u{1b}'), "no colour unless asked");
        assert!(plain.lines().all(|line| line.chars().count() <= 80));
        let mut narrow = TextOptions::default();
        narrow.width = 40;
        assert!(
            text::render(&report, &narrow)
                .lines()
                .all(|line| line.chars().count() <= 40)
        );
        let mut coloured = TextOptions::default();
        coloured.colour = Colour::Ansi;
        let stripped = strip(&text::render(&report, &coloured));
        assert_eq!(stripped, plain, "colour adds no word");
    }

    fn strip(text: &str) -> String {
        let mut out = String::new();
        let mut rest = text;
        while let Some((before, after)) = rest.split_once("\u{1b}[") {
            out.push_str(before);
            rest = after.split_once('m').unwrap().1;
        }
        out + rest
    }

    #[test]
    fn nothing_accuses() {
        for report in all() {
            let texts = [
                text::render(&report, &TextOptions::default()),
                page(&report),
                junit::render(&report),
                sarif::render(&report),
            ];
            for text in texts {
                let lower = text.to_lowercase();
                for word in ["fraud", "cheat", "fake", "forge", "liar", "dishonest"] {
                    assert!(!lower.contains(word), "{word}");
                }
            }
        }
    }

    #[test]
    fn hostile_text_stays_text() {
        let report = reports::hostile();
        let plain = text::render(&report, &TextOptions::default());
        let acting = |c: char| {
            (c.is_control() && c != '\n')
                || ('\u{202a}'..='\u{202e}').contains(&c)
                || c == '\u{2028}'
        };
        assert!(!plain.contains(acting), "terminal text");
        let page = page(&report);
        assert!(!page.contains(acting), "page");
        assert_eq!(
            page.matches("<script").count(),
            1,
            "only the page's own script"
        );
        assert_eq!(page.matches("<img").count(), 0);
        assert!(!page.contains("onerror=alert(1)>"), "quotes are escaped");
        assert!(page.contains("&lt;script&gt;alert(1)"));
        assert!(!page.contains("49</"), "no template is evaluated twice");
        let xml = junit::render(&report);
        assert!(!xml.contains(acting) && !xml.contains("<script"), "junit");
        for sheet in [csv::photos(&report), csv::volume(&report)] {
            let mut reader = ::csv::Reader::from_reader(sheet.as_bytes());
            for cell in reader
                .records()
                .flat_map(|row| row.unwrap().iter().map(str::to_owned).collect::<Vec<_>>())
            {
                assert!(!cell.contains(acting), "{cell}");
                let number = cell.parse::<f64>().is_ok();
                assert!(
                    number || !cell.trim_start().starts_with(['=', '+', '-', '@']),
                    "{cell}"
                );
            }
        }
        let kept: Report = serde_json::from_str(&json::render(&report)).unwrap();
        assert_eq!(
            kept.findings, report.findings,
            "report.json keeps every text whole"
        );
        let paths = |report: &Report| -> Vec<String> {
            report
                .photos
                .iter()
                .map(|photo| photo.path.clone())
                .collect()
        };
        assert_eq!(paths(&kept), paths(&report));
        let log: Value = serde_json::from_str(&sarif::render(&report)).unwrap();
        assert_eq!(
            log["runs"][0]["results"].as_array().unwrap().len(),
            report.findings.len()
        );
    }

    #[test]
    fn the_page_needs_nothing_from_outside() {
        let report = reports::flawed();
        let page = page(&report);
        for outside in [
            "http://",
            "https://",
            "src=\"//",
            "url(",
            "@import",
            " style=\"",
            " onclick=",
        ] {
            let inside = page.replace("http://www.w3.org/2000/svg", "");
            assert!(!inside.contains(outside), "{outside}");
        }
        assert!(
            page.contains("default-src &#x27;none&#x27;") || page.contains("default-src 'none'")
        );
        assert_eq!(
            page.matches("data:image/jpeg;base64,").count(),
            report.photos.len(),
            "each thumbnail once"
        );
        assert_eq!(page, self::page(&report), "byte for byte the same");
    }

    #[test]
    fn where_a_finding_was_measured_is_drawn_on_its_first_photo_alone() {
        let mut report = reports::flawed();
        let plain = page(&report);
        assert!(!plain.contains("class=\"spot\""));
        let finding = report.findings.iter_mut().find(|f| f.photos.len() > 1);
        finding.unwrap().regions = vec![[0.25, 0.5, 0.75, 1.0], [0.0, 0.0, 0.5, 0.25]];
        let marked = page(&report);
        let spots = marked.matches("<rect class=\"spot\"").count();
        assert_eq!(spots, 2);
        let photo = thumbnails(&report)[&report.photos[0].path].clone();
        let x = f64::from(photo.width) / 4.0;
        assert!(marked.contains(&format!("x=\"{x:.1}\"")), "{x}");
        assert!(marked.contains("; marked where it was measured"));
    }

    #[test]
    fn five_hundred_photos_stay_small_and_quick() {
        let report = reports::large(170);
        let jpeg = vec![0x5A; 18_000];
        let picture = Thumbnail {
            jpeg,
            width: 480,
            height: 360,
        };
        let pictures: Thumbnails = report
            .photos
            .iter()
            .map(|photo| (photo.path.clone(), picture.clone()))
            .collect();
        let start = std::time::Instant::now();
        let page = html::render(&report, &pictures).unwrap();
        let took = start.elapsed();
        eprintln!(
            "{} photos: {} bytes in {took:?}",
            report.photos.len(),
            page.len()
        );
        assert!(page.len() < 15_000_000, "{}", page.len());
        assert!(took.as_secs_f64() < 3.0, "{took:?}");
    }

    #[test]
    fn a_pasted_waiver_accepts_its_finding() {
        use photoproof_core::judge::waiver::{Known, Subject, WaiverSet};
        for report in [reports::flawed(), reports::hostile()] {
            for finding in &report.findings {
                let entry = shape::waiver_entry(finding)
                    .replace("who = \"\"", "who = \"J. Alder\"")
                    .replace("why = \"\"", "why = \"seen on site\"")
                    .replace("until = ", "until = 2026-12-31");
                let set = WaiverSet::parse(&entry, "waivers.toml".as_ref()).unwrap();
                let photos: Vec<&str> = finding.photos.iter().map(String::as_str).collect();
                let subject = Subject {
                    check: &finding.check,
                    area: finding.area.as_deref(),
                    photos: &photos,
                };
                let applied =
                    set.apply("2026-06-01".parse().unwrap(), &[subject], &Known::default());
                assert_eq!(applied.accepted, [Some(0)], "{entry}");
                let unfilled = WaiverSet::parse(&shape::waiver_entry(finding), "w".as_ref());
                assert!(
                    unfilled.is_err(),
                    "an entry nobody filled in accepts nothing"
                );
            }
        }
    }

    #[test]
    fn the_index_counts_jobs() {
        let jobs = [reports::clean(), reports::flawed(), reports::flawed()];
        let value: Value = serde_json::from_str(&index::json(&jobs)).unwrap();
        assert_eq!(value["schema"], "photoproof.index/1");
        assert_eq!(value["jobs"].as_array().unwrap().len(), 3);
        assert_eq!(value["jobs"][0]["outcome"], "fail", "heaviest first");
        let links = BTreeMap::from([("WB-1187".to_owned(), "WB-1187/report.html".to_owned())]);
        let page = index::html(&jobs, &links).unwrap();
        assert!(page.contains("href=\"WB-1187&#x2f;report.html\""), "{page}");
    }
}
