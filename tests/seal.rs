//! The evidence manifest: sealed and verified here, and both ways with the reference implementation of BagIt
//! in Python (`bagit`), when a Python that has it is named by `PHOTOPROOF_BAGIT_PYTHON` or is the usual `python3`.

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::{Path, PathBuf};
    use std::process::Command;

    use photoproof_core::seal::{Kind, Place, Problem, Request, seal, usual_bag, verify};
    use tempfile::TempDir;

    /// A job folder with ordinary and odd names.
    fn job() -> (TempDir, PathBuf) {
        let home = tempfile::tempdir().unwrap();
        let job = home.path().join("WB-1187");
        for (name, bytes) in [
            ("job.toml", "[job]\nid = \"WB-1187\"\n"),
            ("Kitchen/before/IMG 0401.jpg", "before"),
            ("Kitchen/after/IMG_0501.jpg", "after"),
            ("K\u{fc}che/line\nbreak.jpg", "odd"),
            ("empty.txt", ""),
        ] {
            let path = job.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, bytes).unwrap();
        }
        (home, job)
    }

    fn sealed(job: &Path) -> PathBuf {
        let bag = usual_bag(job);
        seal(&Request {
            folder: job,
            report: None,
            bag: &bag,
            day: "2026-03-05".parse().unwrap(),
        })
        .unwrap();
        bag
    }

    fn problems(folder: &Path) -> Vec<(Place, Kind, String)> {
        let found = verify(folder, None).unwrap().problems;
        found
            .into_iter()
            .map(|Problem { place, kind, path }| (place, kind, path))
            .collect()
    }

    /// Runs Python with `bagit`; `None` (said aloud) when there is none, a failure under CI.
    fn python(script: &str, argument: &Path) -> Option<std::process::Output> {
        let program = std::env::var("PHOTOPROOF_BAGIT_PYTHON").unwrap_or_else(|_| "python3".into());
        let probe = Command::new(&program).args(["-c", "import bagit"]).output();
        if !probe.is_ok_and(|probe| probe.status.success()) {
            assert!(
                std::env::var_os("CI").is_none(),
                "{program} has no bagit library"
            );
            eprintln!("skipped: {program} has no bagit library (pip install bagit)");
            return None;
        }
        Some(
            Command::new(program)
                .args(["-c", script])
                .arg(argument)
                .output()
                .unwrap(),
        )
    }

    const VALIDATE: &str =
        "import bagit,sys; b=bagit.Bag(sys.argv[1]); b.validate(); print(len(b.entries))";

    #[test]
    fn a_sealed_folder_is_intact_and_unchanged() {
        let (_home, job) = job();
        let before: Vec<_> = walk(&job);
        let bag = sealed(&job);
        assert_eq!(walk(&job), before, "the job folder stays as it is");
        assert_eq!(problems(&job), []);
        assert_eq!(problems(&bag), []);
        assert_eq!(verify(&job, None).unwrap().files, 5);
        let info = fs::read_to_string(bag.join("bag-info.txt")).unwrap();
        assert!(info.contains("Payload-Oxum: 35.5\n"), "{info}");
        assert!(info.contains("does not show who took a photo"), "{info}");
    }

    fn walk(folder: &Path) -> Vec<(String, Vec<u8>)> {
        let mut files: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .flat_map(|entry| {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    walk(&path)
                } else {
                    vec![(path.display().to_string(), fs::read(&path).unwrap())]
                }
            })
            .collect();
        files.sort();
        files
    }

    #[test]
    fn changed_missing_and_added_files_are_named() {
        let (_home, job) = job();
        let bag = sealed(&job);
        fs::write(job.join("Kitchen/after/IMG_0501.jpg"), "afteR").unwrap();
        fs::remove_file(job.join("job.toml")).unwrap();
        fs::write(job.join("late.jpg"), "x").unwrap();
        fs::write(bag.join("data/extra.jpg"), "x").unwrap();
        fs::write(bag.join("bag-info.txt"), "").unwrap();
        let expected = [
            (Place::Bag, Kind::Changed, "bag-info.txt"),
            (Place::Bag, Kind::Added, "data/extra.jpg"),
            (Place::Folder, Kind::Changed, "Kitchen/after/IMG_0501.jpg"),
            (Place::Folder, Kind::Missing, "job.toml"),
            (Place::Folder, Kind::Added, "late.jpg"),
        ];
        assert_eq!(
            problems(&job),
            expected.map(|(place, kind, path)| (place, kind, path.to_owned()))
        );
    }

    #[test]
    fn a_manifest_cannot_point_outside() {
        let (home, job) = job();
        let bag = sealed(&job);
        fs::write(home.path().join("secret"), "s").unwrap();
        let line = format!("{}  ../secret\n", "00".repeat(32));
        let manifest = bag.join("manifest-sha256.txt");
        let text = fs::read_to_string(&manifest).unwrap();
        fs::write(&manifest, text + &line).unwrap();
        let found = problems(&bag);
        assert!(
            found.contains(&(Place::Bag, Kind::Outside, "../secret".into())),
            "{found:?}"
        );
        assert!(
            found.contains(&(Place::Bag, Kind::Changed, "manifest-sha256.txt".into())),
            "{found:?}"
        );
    }

    #[test]
    fn what_cannot_be_sealed_leaves_nothing_behind() {
        let (home, job) = job();
        let bag = sealed(&job);
        let request = |bag: &Path| {
            seal(&Request {
                folder: &job,
                report: None,
                bag,
                day: "2026-03-05".parse().unwrap(),
            })
        };
        assert!(
            request(&bag)
                .unwrap_err()
                .to_string()
                .contains("exists already")
        );
        assert!(
            request(&job.join("inner.bag"))
                .unwrap_err()
                .to_string()
                .contains("lies inside")
        );
        assert!(!job.join("inner.bag").exists());
        assert!(
            verify(home.path(), None)
                .unwrap_err()
                .to_string()
                .contains("is not sealed")
        );
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink("/etc/hostname", job.join("link.jpg")).unwrap();
            let other = home.path().join("other.bag");
            assert!(
                request(&other)
                    .unwrap_err()
                    .to_string()
                    .contains("is a link")
            );
            assert!(!other.exists() && !home.path().join("other.bag.part").exists());
        }
    }

    #[test]
    fn the_reference_library_accepts_our_bag() {
        let (_home, job) = job();
        let bag = sealed(&job);
        let Some(output) = python(VALIDATE, &bag) else {
            return;
        };
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        fs::write(bag.join("data/job/job.toml"), "changed").unwrap();
        let output = python(VALIDATE, &bag).unwrap();
        assert!(!output.status.success(), "a changed file must not validate");
    }

    #[test]
    fn we_accept_a_bag_of_the_reference_library() {
        let (_home, job) = job();
        let script = "import bagit,sys; bagit.make_bag(sys.argv[1], checksums=['sha256','sha512'])";
        let Some(output) = python(script, &job) else {
            return;
        };
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        assert_eq!(problems(&job), []);
        fs::write(job.join("data/Kitchen/after/IMG_0501.jpg"), "other").unwrap();
        let changed = (
            Place::Bag,
            Kind::Changed,
            "data/Kitchen/after/IMG_0501.jpg".to_owned(),
        );
        assert_eq!(problems(&job), [changed]);
    }
}
