//! Batches from outside: resumed after any death, several jobs at a time, events.

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;
    use std::path::{Path, PathBuf};
    use std::process::{Child, Command, Output, Stdio};
    use std::time::{Duration, Instant};

    use serde_json::Value;

    /// Every file below a folder with its content.
    type Files = BTreeMap<String, Vec<u8>>;

    fn pictures() -> Vec<PathBuf> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/pictures");
        let mut pictures: Vec<PathBuf> = std::fs::read_dir(folder)
            .expect("pictures")
            .map(|entry| entry.expect("entry").path())
            .filter(|path| path.extension().is_some_and(|e| e == "jpg"))
            .collect();
        pictures.sort();
        pictures
    }

    /// `count` jobs of three photos each; the third photo of a job is the first of the next one.
    fn make_jobs(folder: &Path, count: usize) -> Vec<PathBuf> {
        let pictures = pictures();
        (0..count)
            .map(|n| {
                let job = folder.join(format!("job-{n:02}"));
                for (at, phase) in ["before", "during", "after"].iter().enumerate() {
                    let place = job.join("Kitchen").join(phase);
                    std::fs::create_dir_all(&place).expect("a folder");
                    let picture = &pictures[(2 * n + at) % pictures.len()];
                    std::fs::copy(picture, place.join(format!("{at}.jpg"))).expect("a copy");
                }
                job
            })
            .collect()
    }

    fn batch(jobs: &[PathBuf], out: &Path, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_photoproof"));
        command.env_clear().stdin(Stdio::null());
        command.args([
            "check",
            "--format",
            "text,json,html,csv,sarif,junit",
            "--out",
        ]);
        command.arg(out).args(more).args(jobs);
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    fn run(jobs: &[PathBuf], out: &Path, more: &[&str]) -> Output {
        let output = batch(jobs, out, more).output().expect("it runs");
        assert!(output.status.code().is_some(), "{output:?}");
        output
    }

    fn said(output: &Output) -> String {
        String::from_utf8_lossy(&output.stderr).into_owned()
    }

    fn times(output: &Output, word: &str) -> usize {
        said(output)
            .matches(&format!("photoproof: {word}: "))
            .count()
    }

    /// Files below a folder but the states, which name the place of the ledger by its digest.
    fn files(folder: &Path) -> Files {
        let mut found = Files::new();
        let mut open = vec![folder.to_path_buf()];
        while let Some(next) = open.pop() {
            for entry in std::fs::read_dir(next).expect("a folder").flatten() {
                let path = entry.path();
                let name = path.strip_prefix(folder).expect("below");
                let name = name.to_string_lossy().into_owned();
                if path.is_dir() {
                    open.push(path);
                } else if !name.ends_with("state.json") {
                    found.insert(name, std::fs::read(&path).expect("a file"));
                }
            }
        }
        found
    }

    fn ended(mut child: Child) -> Output {
        let _ = child.kill();
        child.wait_with_output().expect("an end")
    }

    /// Kills a batch at many moments, each time the restarted one, then lets it end: the reports are those of a batch
    /// that nobody killed. Ten jobs; `PHOTOPROOF_KILLED_JOBS` asks for another number.
    fn killed_and_restarted(more: &[&str], kills: u32) {
        let folder = tempfile::tempdir().expect("a folder");
        let count = std::env::var("PHOTOPROOF_KILLED_JOBS")
            .map_or(10, |text| text.parse().expect("a number of jobs"));
        let jobs = make_jobs(folder.path(), count);
        let place = |name: &str| folder.path().join(name);
        let with_ledger = |name: &str| {
            let ledger = place(name).to_string_lossy().into_owned();
            let mut all: Vec<String> = more.iter().map(|text| (*text).to_owned()).collect();
            if more.contains(&"--record") {
                // Claims of killed workers are taken up too.
                all.push("--once".to_owned());
                all.extend(["--ledger".to_owned(), ledger]);
            }
            all
        };
        let cached = |mut all: Vec<String>| {
            all.push("--cache".to_owned());
            all.push(place("cache").to_string_lossy().into_owned());
            all
        };
        let (first, second) = (with_ledger("first.db"), cached(with_ledger("second.db")));
        let texts = |list: &[String]| -> Vec<&'static str> {
            list.iter().map(|text| &*text.clone().leak()).collect()
        };
        let (first, second) = (texts(&first), texts(&second));
        let begun = Instant::now();
        let whole = run(&jobs, &place("whole"), &first);
        let needed = begun.elapsed();
        let right = files(&place("whole"));
        assert_eq!(right.len(), count * 7 + 2);

        let out = place("killed");
        let mut seed = 0x9E37_79B9_u32;
        let mut finished = 0;
        for _ in 0..kills {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let child = batch(&jobs, &out, &second).spawn().expect("it runs");
            // Long enough that some runs get on, short enough that most are killed.
            std::thread::sleep(needed.mul_f64(f64::from(seed >> 8) / f64::from(1 << 24) * 0.4));
            let output = ended(child);
            finished += usize::from(output.status.code().is_some());
        }
        assert!(finished < kills as usize, "no run was killed");
        let last = run(&jobs, &out, &second);
        assert_eq!(last.status.code(), whole.status.code(), "{}", said(&last));
        assert_eq!(last.stdout, whole.stdout);
        let found = files(&out);
        let names = |files: &Files| files.keys().cloned().collect::<Vec<_>>();
        assert_eq!(names(&found), names(&right), "nothing half written is left");
        for (name, bytes) in &right {
            assert!(found.get(name) == Some(bytes), "{name}");
        }
        let again = run(&jobs, &out, &second);
        assert_eq!(times(&again, "unchanged"), count, "{}", said(&again));
        assert!(files(&out) == right);
    }

    #[test]
    fn a_killed_batch_ends_with_the_same_reports() {
        killed_and_restarted(&["--jobs", "3"], 12);
    }

    /// Each job is searched for photos of those before it, so the order of recording must not change either.
    #[test]
    fn a_killed_batch_that_records_ends_with_the_same_reports() {
        killed_and_restarted(&["--record"], 12);
    }

    #[test]
    fn the_reports_do_not_depend_on_how_many_jobs_run_together() {
        let folder = tempfile::tempdir().expect("a folder");
        let jobs = make_jobs(folder.path(), 5);
        let one = folder.path().join("one");
        let right = run(&jobs, &one, &["--jobs", "1", "--threads", "1"]);
        for more in [&["--jobs", "5"][..], &["--jobs", "5", "--max-memory", "1"]] {
            let out = folder.path().join(format!("many-{}", more.len()));
            let found = run(&jobs, &out, more);
            assert_eq!(found.stdout, right.stdout);
            assert_eq!(found.status.code(), right.status.code());
            assert!(files(&out) == files(&one));
        }
    }

    #[test]
    fn only_jobs_whose_inputs_changed_are_done_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let jobs = make_jobs(folder.path(), 4);
        let out = folder.path().join("out");
        let unchanged = |more: &[&str]| {
            let output = run(&jobs, &out, more);
            assert_eq!(times(&output, "unchanged") + times(&output, "written"), 4);
            times(&output, "unchanged")
        };
        assert_eq!((unchanged(&[]), unchanged(&[])), (0, 4));
        let right = files(&out);
        let photo = jobs[1].join("Kitchen/after/2.jpg");
        std::fs::copy(&pictures()[11], &photo).expect("a copy");
        assert_eq!((unchanged(&[]), unchanged(&[])), (3, 4));
        assert!(files(&out) != right);
        std::fs::write(jobs[2].join("job.toml"), "[job]\nvendor = \"Any\"\n").expect("written");
        assert_eq!((unchanged(&[]), unchanged(&[])), (3, 4));
        // Reports that are gone or were changed are made again, and so is a job whose state is damaged.
        std::fs::remove_file(out.join("job-00/report.html")).expect("removed");
        std::fs::write(out.join("job-03/report.json"), "{}").expect("written");
        std::fs::write(out.join("job-02/state.json"), "{").expect("written");
        assert_eq!((unchanged(&[]), unchanged(&[])), (1, 4));
        assert_eq!((unchanged(&["--again"]), unchanged(&[])), (0, 4));
        let waivers = folder.path().join("waivers.toml");
        std::fs::write(&waivers, "").expect("written");
        let waivers = waivers.to_string_lossy().into_owned();
        assert_eq!(unchanged(&["--waivers", &waivers]), 0);
        // Another gate changes the exit code and no report.
        assert_eq!(unchanged(&["--waivers", &waivers, "--fail-on", "note"]), 4);
    }

    /// A ledger that is only read is an input too: when another job comes in, the answers may be others.
    #[test]
    fn a_ledger_that_is_read_is_an_input() {
        let folder = tempfile::tempdir().expect("a folder");
        let jobs = make_jobs(folder.path(), 4);
        let ledger = folder.path().join("used.db").to_string_lossy().into_owned();
        let (mine, other) = jobs.split_at(3);
        let out = folder.path().join("out");
        let read = ["--ledger", ledger.as_str()];
        run(mine, &out, &read);
        assert_eq!(times(&run(mine, &out, &read), "unchanged"), 3);
        let elsewhere = folder.path().join("elsewhere");
        run(other, &elsewhere, &["--ledger", &ledger, "--record"]);
        let output = run(mine, &out, &read);
        assert_eq!(times(&output, "unchanged"), 0);
        let report = std::fs::read_to_string(out.join("job-02/report.json")).expect("a report");
        assert!(report.contains("reused-across-jobs"));
    }

    #[test]
    fn events_tell_what_happens_in_order() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut jobs = make_jobs(folder.path(), 2);
        jobs.push(folder.path().join("absent"));
        let out = folder.path().join("out");
        for (round, result) in ["judged", "unchanged"].into_iter().enumerate() {
            let output = run(&jobs, &out, &["--events", "-"]);
            assert_eq!(output.status.code(), Some(2));
            let lines: Vec<Value> = String::from_utf8_lossy(&output.stdout)
                .lines()
                .map(|line| serde_json::from_str(line).expect("a JSON line"))
                .collect();
            for (job, result) in [("job-00", result), ("job-01", result), ("absent", "error")] {
                let own: Vec<&Value> = lines.iter().filter(|line| line["job"] == job).collect();
                let kinds: Vec<&str> = own.iter().filter_map(|e| e["event"].as_str()).collect();
                assert_eq!(kinds.first(), Some(&"job-started"), "{lines:?}");
                assert_eq!(kinds.last(), Some(&"job-finished"));
                assert_eq!(own.last().expect("one")["result"], result);
                let done: Vec<u64> = own
                    .iter()
                    .filter(|e| e["event"] == "photos")
                    .filter_map(|e| e["done"].as_u64())
                    .collect();
                assert_eq!(done.is_empty(), result != "judged");
                assert!(done.is_sorted());
                if result == "judged" {
                    assert_eq!(done.last(), Some(&3));
                    assert_eq!(own.last().expect("one")["outcome"], "fail");
                }
            }
            let last = lines.last().expect("a line");
            assert_eq!(last["event"], "batch-finished");
            assert_eq!(last["unchanged"], 2 * round);
            assert_eq!((&last["errors"], &last["exit"]), (&1.into(), &2.into()));
        }
        let file = folder.path().join("events.jsonl");
        let name = file.to_string_lossy().into_owned();
        let output = run(&jobs, &out, &["--events", &name, "--again"]);
        assert!(!output.stdout.is_empty());
        let text = std::fs::read_to_string(&file).expect("events");
        assert!(
            text.ends_with('\n') && text.contains("\"event\":\"pairs\""),
            "{text}"
        );
    }

    #[test]
    fn events_on_stdout_want_a_place_for_the_reports() {
        let folder = tempfile::tempdir().expect("a folder");
        let output = Command::new(env!("CARGO_BIN_EXE_photoproof"))
            .env_clear()
            .args(["check", "--events", "-"])
            .arg(folder.path())
            .output()
            .expect("it runs");
        assert_eq!(output.status.code(), Some(2));
        assert!(said(&output).contains("--out DIR"));
    }

    /// Ctrl-C, and the signal that ends services: nothing half written, and the next run goes on.
    #[cfg(unix)]
    #[test]
    fn an_interrupted_batch_leaves_nothing_half_written() {
        let folder = tempfile::tempdir().expect("a folder");
        let jobs = make_jobs(folder.path(), 8);
        let cache = folder.path().join("cache");
        let more = ["--cache", cache.to_str().expect("UTF-8")];
        for (round, signal) in ["INT", "TERM", "INT", "TERM"].iter().enumerate() {
            let out = folder.path().join("out");
            let child = batch(&jobs, &out, &more).spawn().expect("it runs");
            std::thread::sleep(Duration::from_millis(150 + 170 * round as u64));
            let kill = Command::new("kill")
                .args([format!("-{signal}"), child.id().to_string()])
                .status();
            assert!(kill.is_ok());
            let output = child.wait_with_output().expect("an end");
            if output.status.code() == Some(130) {
                assert!(said(&output).contains("interrupted"), "{}", said(&output));
            }
            for place in [&out, &cache] {
                if place.is_dir() {
                    let left = files(place);
                    assert!(left.keys().all(|name| !name.contains(".part")), "{left:?}");
                }
            }
        }
        let out = folder.path().join("out");
        let output = run(&jobs, &out, &more);
        assert_eq!(times(&output, "unchanged") + times(&output, "written"), 8);
        let right = folder.path().join("right");
        run(&jobs, &right, &["--no-cache"]);
        assert!(files(&out) == files(&right));
    }
}
