//! Every check: its pass case is silent, its fail case speaks once; files, registry and cases agree.

#[cfg(test)]
mod support;

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;

    use chrono::NaiveDate;

    use photoproof_core::job::JobSheet;
    use photoproof_core::judge::{CHECKS, Check, Finding, WaiverSet};
    use photoproof_core::ledger::{self, Ledger};
    use photoproof_core::pipeline::{self, Options};

    use crate::support;

    fn findings(file: &Path) -> Vec<Finding> {
        let case = support::case(file);
        let folder = tempfile::tempdir().expect("temporary folder");
        support::build(case.sheet.as_deref(), &case.photo, folder.path());
        let sheet = folder.path().join("job.toml");
        let sheet = sheet
            .exists()
            .then(|| JobSheet::read(&sheet).expect("job sheet"));
        let mut options = Options::default();
        options.now = "2026-03-05T12:00:00Z".parse().ok();
        if let Some(text) = &case.waivers {
            let waivers = WaiverSet::parse(text, file).expect("waivers");
            let today = NaiveDate::from_ymd_opt(2026, 3, 3).expect("a date");
            options.waivers = Some((waivers, today));
        }
        let ledger = tempfile::tempdir().expect("temporary folder");
        let ledger = earlier_jobs(&case, &ledger.path().join("ledger.db"));
        pipeline::run(
            folder.path(),
            sheet,
            &options,
            Some((&*ledger, "TEST-1")),
            &|_| {},
        )
        .expect("the folder is readable")
        .judgement
        .findings
        .into_iter()
        .filter(|finding| finding.waived.is_none())
        .collect()
    }

    /// A ledger that holds earlier jobs with the given photos, if there are any.
    fn earlier_jobs(case: &support::Case, file: &Path) -> Box<dyn Ledger> {
        let photos = &case.earlier;
        let mut ledger = ledger::open(file.to_str().expect("UTF-8")).expect("a ledger");
        if !photos.is_empty() {
            let folder = tempfile::tempdir().expect("temporary folder");
            support::build(None, photos, folder.path());
            let result = pipeline::run(folder.path(), None, &Options::default(), None, &|_| {})
                .expect("the folder is readable");
            for number in 1..=case.earlier_jobs.unwrap_or(1) {
                let mut record = result.record(&format!("EARLIER-{number}")).unwrap();
                record.vendor.clone_from(&case.earlier_vendor);
                ledger.record_job(&record).expect("recorded");
            }
        }
        ledger
    }

    /// The check that needs the feature `content-credentials`; a build without it skips its fail case.
    const NEEDS_CREDENTIALS: &str = "signature-broken";

    /// What is wrong with the cases of a check.
    fn wrong(check: &&dyn Check) -> Vec<String> {
        let id = check.meta().id;
        let told = |name: &str| -> Vec<String> {
            let all = findings(&support::root().join("fixtures/checks").join(id).join(name));
            all.iter()
                .map(|finding| format!("{}: {}", finding.check, finding.message))
                .collect()
        };
        let mut wrong = Vec::new();
        let (fail, pass) = (told("fail.toml"), told("pass.toml"));
        let silent = id == NEEDS_CREDENTIALS && !cfg!(feature = "content-credentials");
        if silent {
            eprintln!("SKIPPED: the fail case of {id} needs the feature content-credentials");
        }
        let speaks = fail.len() == 1 && fail[0].starts_with(&format!("{id}: "));
        if speaks == silent {
            wrong.push(format!("{id}: the fail case says {fail:#?}"));
        }
        if !pass.is_empty() {
            wrong.push(format!("{id}: the pass case says {pass:#?}"));
        }
        wrong
    }

    #[test]
    #[cfg(feature = "content-credentials")]
    fn a_broken_signature_speaks_where_content_credentials_are_verified() {
        let check = CHECKS
            .iter()
            .find(|check| check.meta().id == NEEDS_CREDENTIALS);
        assert_eq!(wrong(check.expect("registered")), [""; 0]);
    }

    #[test]
    fn every_check_speaks_in_its_fail_case_and_is_silent_in_its_pass_case() {
        // A small job leaves a core idle now and then: half of the checks beside the other half.
        let (first, second) = CHECKS.split_at(CHECKS.len() / 2);
        let wrong: Vec<String> = std::thread::scope(|scope| {
            let beside = scope.spawn(|| second.iter().flat_map(wrong).collect::<Vec<_>>());
            let own: Vec<_> = first.iter().flat_map(wrong).collect();
            [own, beside.join().expect("the other half")].concat()
        });
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    #[test]
    fn low_detail_says_which_reason_applies() {
        let file = support::root().join("fixtures/checks/low-detail/fail.toml");
        let text = std::fs::read_to_string(&file).expect("a case");
        for (edit, reason) in [
            (
                "blurred",
                "blurred, or was enlarged: it shows no more than a sharp one of about 70 pixels would",
            ),
            ("dark", "too dark"),
            ("bright", "too bright"),
            ("covered", "almost one colour"),
        ] {
            let folder = tempfile::tempdir().expect("temporary folder");
            let case = folder.path().join("case.toml");
            let edited = text.replace("\"blurred\"", &format!("\"{edit}\""));
            std::fs::write(&case, edited).expect("written");
            let told: Vec<String> = findings(&case)
                .into_iter()
                .filter(|finding| finding.check == "low-detail")
                .map(|finding| finding.message)
                .collect();
            assert_eq!(told, [format!("the photo is {reason}")], "{edit}");
        }
    }

    #[test]
    fn files_registry_and_cases_agree() {
        let root = support::root();
        let names = |folder: &str, ending: &str| -> BTreeSet<String> {
            std::fs::read_dir(root.join(folder))
                .expect("a folder")
                .filter_map(|entry| entry.expect("an entry").file_name().into_string().ok())
                .filter_map(|name| name.strip_suffix(ending).map(|stem| stem.replace('_', "-")))
                .filter(|name| name != "mod")
                .collect()
        };
        let ids: BTreeSet<String> = CHECKS
            .iter()
            .map(|check| check.meta().id.to_owned())
            .collect();
        assert_eq!(ids.len(), CHECKS.len(), "ids are unique");
        assert_eq!(
            ids,
            names("photoproof-core/src/judge/checks", ".rs"),
            "one file a check"
        );
        assert_eq!(ids, names("fixtures/checks", ""), "one case folder a check");
    }

    #[test]
    fn every_check_is_documented() {
        for check in CHECKS {
            let meta = check.meta();
            for text in [
                meta.summary,
                meta.why,
                meta.how_measured,
                meta.limit,
                meta.remedy,
                meta.blind_spots,
            ] {
                assert!(text.len() > 15, "{}: \"{text}\" says too little", meta.id);
            }
            assert!(
                !meta.innocent.is_empty(),
                "{}: innocent explanations",
                meta.id
            );
            let all = serde_json::to_string(meta)
                .expect("serialisable")
                .to_lowercase();
            for word in ["fraud", "fake", "cheat", "forge", "liar"] {
                assert!(
                    !all.contains(word),
                    "{}: a finding accuses nobody ({word})",
                    meta.id
                );
            }
        }
    }

    /// A stage imports base modules and earlier stages only.
    #[test]
    fn stages_import_earlier_stages_only() {
        let stages = ["ingest", "measure", "group", "judge", "report"];
        for (index, stage) in stages.iter().enumerate() {
            let folder = support::root().join("photoproof-core/src").join(stage);
            let mut open = vec![folder];
            while let Some(folder) = open.pop() {
                for entry in std::fs::read_dir(folder).expect("a folder") {
                    let path = entry.expect("an entry").path();
                    if path.is_dir() {
                        open.push(path);
                    } else if path.extension().is_some_and(|e| e == "rs") {
                        let text = std::fs::read_to_string(&path).expect("text");
                        for later in &stages[index + 1..] {
                            assert!(
                                !text.contains(&format!("use crate::{later}")),
                                "{} imports the later stage {later}",
                                path.display()
                            );
                        }
                    }
                }
            }
        }
    }
}
