//! The ledger as its users and their workers run it.

#[cfg(test)]
#[cfg(feature = "postgres")]
#[path = "ledger/server.rs"]
mod server;

#[cfg(test)]
mod tests {
    use std::path::{Path, PathBuf};
    use std::process::{Command, Output, Stdio};

    use photoproof_core::ledger;

    fn demo() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-data/clean-job")
    }

    fn command(args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_photoproof"));
        command.args(args).env_clear();
        command
    }

    fn photoproof(args: &[&str]) -> Output {
        command(args).output().expect("the program runs")
    }

    fn photos_under(folder: &Path, found: &mut Vec<PathBuf>) {
        let mut entries: Vec<PathBuf> = std::fs::read_dir(folder)
            .expect("a folder")
            .map(|entry| entry.expect("an entry").path())
            .collect();
        entries.sort();
        for path in entries {
            if path.is_dir() {
                photos_under(&path, found);
            } else if path.extension().is_some_and(|ext| ext == "jpg") {
                found.push(path);
            }
        }
    }

    /// Runs `test` with the location of an empty ledger of each kind.
    fn on_each(name: &str, test: impl Fn(&str)) {
        let folder = tempfile::tempdir().expect("a folder");
        test(&folder.path().join(name).to_string_lossy());
        #[cfg(feature = "postgres")]
        if let Some(server) = super::server::shared() {
            test(&server.database(name));
        }
    }

    #[test]
    fn workers_share_the_jobs_of_one_ledger() {
        let mut photos = Vec::new();
        photos_under(&demo(), &mut photos);
        let jobs = tempfile::tempdir().expect("a folder");
        let folders: Vec<String> = (0..6)
            .map(|n| {
                let folder = jobs.path().join(format!("job-{n}/before"));
                std::fs::create_dir_all(&folder).expect("a folder");
                for photo in &photos[n * 2..n * 2 + 2] {
                    let name = photo.file_name().expect("a name");
                    std::fs::copy(photo, folder.join(name)).expect("a copy");
                }
                jobs.path()
                    .join(format!("job-{n}"))
                    .to_string_lossy()
                    .into_owned()
            })
            .collect();
        on_each("shared", |ledger| {
            let mut args = vec![
                "check",
                "--ledger",
                ledger,
                "--record",
                "--once",
                "--threads",
                "1",
            ];
            args.extend(folders.iter().map(String::as_str));
            let workers: Vec<_> = (0..3)
                .map(|_| {
                    command(&args)
                        .stdout(Stdio::piped())
                        .stderr(Stdio::piped())
                        .spawn()
                        .expect("the program runs")
                })
                .collect();
            let said: Vec<(Output, usize)> = workers
                .into_iter()
                .map(|worker| {
                    let output = worker.wait_with_output().expect("an end");
                    let text = String::from_utf8_lossy(&output.stderr);
                    let left_out = text.matches("left out").count();
                    (output, left_out)
                })
                .collect();
            let left_out: usize = said.iter().map(|(_, count)| count).sum();
            assert_eq!(left_out, 2 * folders.len(), "{said:?}");
            let kept = ledger::open(ledger)
                .expect("a ledger")
                .jobs()
                .expect("jobs");
            let ids: Vec<&str> = kept.iter().map(|entry| entry.job.as_str()).collect();
            assert_eq!(ids, ["job-0", "job-1", "job-2", "job-3", "job-4", "job-5"]);
            // A worker that comes later finds nothing to do; asked for by hand, a job is checked and recorded again.
            let late = photoproof(&args);
            assert!(late.stdout.is_empty());
            assert_eq!(late.status.code(), Some(0));
            let again = photoproof(&["check", "--ledger", ledger, "--record", &folders[0]]);
            assert!(!again.stdout.is_empty());
        });
    }

    #[test]
    fn a_job_that_could_not_be_checked_is_free_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let empty = folder.path().join("empty");
        std::fs::create_dir(&empty).expect("a folder");
        let ledger = folder.path().join("used.db").to_string_lossy().into_owned();
        for _ in 0..2 {
            let args = ["check", "--ledger", &ledger, "--record", "--once"];
            let output = command(&args)
                .arg(&empty)
                .output()
                .expect("the program runs");
            assert_eq!(output.status.code(), Some(3), "{output:?}");
        }
    }

    #[test]
    fn adding_records_what_check_records() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
        let (checked, added) = (at("checked.db"), at("added.db"));
        let job = demo().to_string_lossy().into_owned();
        photoproof(&["check", "--ledger", &checked, "--record", &job]);
        let output = photoproof(&["ledger", "add", &job, "--ledger", &added]);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let photos = |location: &str| {
            let ledger = ledger::open(location).expect("a ledger");
            let jobs = ledger.jobs().expect("jobs");
            assert_eq!(jobs.len(), 1);
            let mut photos = ledger.photos(&jobs[0].job).expect("photos");
            for photo in &mut photos {
                photo.first_seen.clear();
            }
            (jobs[0].job.clone(), jobs[0].vendor.clone(), photos)
        };
        let (kept, expected) = (photos(&added), photos(&checked));
        assert!(!kept.2.is_empty());
        assert!(kept.2.iter().all(|photo| photo.area.is_some()));
        assert_eq!(kept, expected);
    }

    #[cfg(not(feature = "postgres"))]
    #[test]
    fn a_build_without_postgres_says_which_feature_is_needed() {
        let output = photoproof(&["ledger", "stats", "--ledger", "postgres://host/used"]);
        assert_eq!(output.status.code(), Some(2));
        let text = String::from_utf8_lossy(&output.stderr);
        assert!(text.contains("--features postgres"), "{text}");
    }
}
