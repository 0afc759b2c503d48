//! A complete job of a three-bedroom house: nothing is missing, and each deleted photo is missed once and alone.
//!
//! The pictures are tiny and say nothing; what they show is in their names. Which of them repeat one view is
//! given by a real pair of pictures, so that the geometry is that of a good job.

#[cfg(test)]
mod tests {
    use std::path::{Path, PathBuf};

    use photoproof_core::Phase;
    use photoproof_core::group::{Compared, group};
    use photoproof_core::ingest::{IngestOptions, Intake, PhotoId, ingest};
    use photoproof_core::job::JobSheet;
    use photoproof_core::judge::{Evidence, Finding, judge};
    use photoproof_core::measure::pairs::ComparedPair;
    use photoproof_core::measure::{PhotoFacts, Viewpoint, measure_photo};
    use photoproof_core::scope::{Scope, Shot};

    /// What asks for photos; times, sharpness and the like are not what this test is about.
    const ASKING: [&str; 9] = [
        "missing-area",
        "missing-phase",
        "missing-angle",
        "missing-shot",
        "unevidenced-load",
        "unevidenced-hazard",
        "unexpected-area",
        "unlabelled-photo",
        "idle-pattern",
    ];

    fn root() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
    }

    fn sheet() -> JobSheet {
        let text = include_str!("../fixtures/job-sheets/good/three-bedroom.toml");
        let text = format!("{text}\n[scope]\nrequire_shots = true\n");
        JobSheet::parse(&text, Path::new("job.toml")).unwrap_or_else(|e| panic!("{e}"))
    }

    /// Where the photo of a shot lies, by the sheet's patterns.
    fn path(shot: &Shot, phase: Phase) -> String {
        let rule = shot.id.split_once('.').map_or("", |(_, rule)| rule);
        match (shot.area.as_str(), rule) {
            ("Trailer 1", state) => format!("loads/trailer1_{state}.jpg"),
            ("Bags", rule) => format!("loads/bags {rule}.jpg"),
            ("Yard pile", rule) => format!("Back yard/{phase}/pile {rule}.jpg"),
            ("Items counted apart", rule) => format!("hazards/{phase}/refrigerator {rule}.jpg"),
            ("Back yard", "debris-pile") => format!("Back yard/{phase}/pile along.jpg"),
            (area, rule) => format!("{area}/{phase}/{rule}.jpg"),
        }
    }

    struct Job {
        sheet: JobSheet,
        intake: Intake,
        measures: Vec<PhotoFacts>,
        same_view: Viewpoint,
    }

    fn job() -> Job {
        let mut sheet = sheet();
        sheet.claim.hazards[0].photos = vec!["hazards/*/*.jpg".to_owned()];
        let shots = Scope::for_job(&sheet);
        let folder = tempfile::tempdir().expect("temporary folder");
        let tiny = image::RgbImage::from_fn(16, 12, |x, y| {
            image::Rgb([(x * 9) as u8, (y * 9) as u8, 90])
        });
        for shot in &shots {
            for &phase in &shot.phases {
                let file = folder.path().join(path(shot, phase));
                std::fs::create_dir_all(file.parent().expect("a folder")).expect("make folder");
                tiny.save(&file).expect("write photo");
            }
        }
        // A view of the pile that was there before is owed for during too.
        let across = folder.path().join("Back yard/during/pile across.jpg");
        tiny.save(across).expect("write photo");
        let options = IngestOptions::default();
        let (mut intake, mut measures) =
            ingest(folder.path(), &sheet, &options, |photo, pixels| {
                measure_photo(photo, pixels).facts
            })
            .expect("readable");
        for (photo, measure) in intake.photos.iter_mut().zip(&mut measures) {
            (photo.width, photo.height) = (1600, 1200);
            measure.quality.sharpness = 900.0;
            measure.quality.mean_luma = 0.5;
            measure.quality.clipped_share = 0.0;
        }
        Job {
            sheet,
            intake,
            measures,
            same_view: real_pair(),
        }
    }

    /// The measured motion of two pictures that repeat one view.
    fn real_pair() -> Viewpoint {
        let folder = tempfile::tempdir().expect("temporary folder");
        for name in ["kitchen-a-before.jpg", "kitchen-a-during.jpg"] {
            let source = root().join("fixtures/pictures").join(name);
            std::fs::copy(source, folder.path().join(name)).expect("copy");
        }
        let options = IngestOptions::default();
        let (_, measures) =
            ingest(folder.path(), &JobSheet::default(), &options, measure_photo).expect("readable");
        let viewpoint = Viewpoint::between(&measures[0].features, &measures[1].features);
        assert!(matches!(viewpoint, Viewpoint::Shift(_)), "{viewpoint:?}");
        viewpoint
    }

    impl Job {
        /// What is asked for when the photos `without` are not there.
        fn asked_for(&self, without: Option<usize>) -> Vec<Finding> {
            let mut intake = self.intake.clone();
            let mut measures = self.measures.clone();
            if let Some(index) = without {
                intake.photos.remove(index);
                measures.remove(index);
            }
            let pairs = self.pairs(&intake);
            let compared = Compared {
                compared: pairs,
                ..Compared::default()
            };
            let grouped = group(&self.sheet, &intake, compared, Vec::new());
            let evidence = Evidence::new(&self.sheet, &intake, &measures, &grouped);
            let mut findings = judge(&evidence).findings;
            findings.retain(|finding| ASKING.contains(&finding.check));
            findings
        }

        /// Photos of one area and name in two phases repeat one view.
        fn pairs(&self, intake: &Intake) -> Vec<ComparedPair> {
            let name = |index: usize| {
                intake.photos[index]
                    .path
                    .rsplit('/')
                    .next()
                    .expect("a name")
            };
            let label = |index: usize| &intake.photos[index].label;
            let mut pairs = Vec::new();
            for a in 0..intake.photos.len() {
                for b in 0..intake.photos.len() {
                    let (x, y) = (label(a), label(b));
                    if x.area.is_some()
                        && x.area == y.area
                        && x.phase < y.phase
                        && name(a) == name(b)
                    {
                        pairs.push(ComparedPair {
                            a: PhotoId(a),
                            b: PhotoId(b),
                            viewpoint: self.same_view,
                        });
                    }
                }
            }
            pairs
        }
    }

    fn told(findings: &[Finding]) -> Vec<String> {
        findings
            .iter()
            .map(|finding| {
                let photos = &finding.photos;
                format!("{}: {} {photos:?}", finding.check, finding.message)
            })
            .collect()
    }

    #[test]
    fn a_complete_job_misses_nothing_and_each_deleted_photo_is_missed_once() {
        let job = job();
        let paths: Vec<&str> = job.intake.photos.iter().map(|p| p.path.as_str()).collect();
        assert!(paths.len() > 300, "{}", paths.len());
        assert_eq!(told(&job.asked_for(None)), Vec::<String>::new());
        // Asked for only where the thing exists, and in one phase: nothing else shows that it exists.
        let shots = Scope::for_job(&job.sheet);
        let alone: Vec<String> = shots
            .iter()
            .filter(|shot| shot.if_present && shot.phases.len() == 1)
            .map(|shot| path(shot, shot.phases[0]))
            .collect();
        let mut wrong = Vec::new();
        for (index, path) in paths.iter().enumerate() {
            let asked = job.asked_for(Some(index));
            let wanted = usize::from(!alone.iter().any(|p| p == path));
            let (area, phase) = (
                &job.intake.photos[index].label.area,
                job.intake.photos[index].label.phase,
            );
            let of_it = asked.iter().all(|finding| {
                let retake = finding.retake.as_ref();
                finding.area.is_none()
                    || (finding.area == *area && retake.is_some_and(|r| r.phase == phase))
            });
            if asked.len() != wanted || !of_it {
                wrong.push(format!("{path}: {:#?}", told(&asked)));
            }
        }
        assert!(
            wrong.is_empty(),
            "{} of {}: {}",
            wrong.len(),
            paths.len(),
            wrong.join("\n")
        );
    }
}
