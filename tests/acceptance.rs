//! The program as its users run it: real folders in, reports and exit codes out.

#[cfg(test)]
mod tests {
    use std::path::{Path, PathBuf};
    use std::process::{Command, Output, Stdio};
    use std::sync::LazyLock;

    use serde_json::Value;

    fn root() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
    }

    /// The cache of one run of these tests: the demo jobs are measured once, not once a test.
    static CACHE: LazyLock<PathBuf> = LazyLock::new(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("acceptance");
        std::fs::remove_dir_all(&folder).ok();
        folder
    });

    fn photoproof(args: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_photoproof"))
            .args(args)
            .current_dir(root())
            .env_clear()
            .env("XDG_CACHE_HOME", &*CACHE)
            .output()
            .expect("the program runs")
    }

    fn code(output: &Output) -> i32 {
        output.status.code().expect("an exit code")
    }

    fn report(args: &[&str]) -> (i32, Value) {
        let mut all = vec!["check", "--format", "json"];
        all.extend(args);
        let output = photoproof(&all);
        let text = String::from_utf8(output.stdout.clone()).expect("UTF-8");
        let report = serde_json::from_str(&text)
            .unwrap_or_else(|e| panic!("{e}: {text} {}", String::from_utf8_lossy(&output.stderr)));
        (code(&output), report)
    }

    #[test]
    fn clean_job_passes_without_a_finding() {
        let (code, report) = report(&["demo-data/clean-job"]);
        assert_eq!(
            report["findings"],
            Value::Array(vec![]),
            "a clean job is silent"
        );
        assert_eq!((code, report["outcome"].as_str()), (0, Some("pass")));
        assert_eq!(report["counts"]["view_sets"], 9);
    }

    #[test]
    fn flawed_job_shows_its_ten_flaws_and_nothing_else() {
        let (code, report) = report(&["demo-data/flawed-job"]);
        let mut found: Vec<(String, String)> = report["findings"]
            .as_array()
            .expect("findings")
            .iter()
            .map(|finding| {
                let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
                (text(&finding["check"]), text(&finding["photos"][0]))
            })
            .collect();
        found.sort();
        let expected = [
            ("capture-time-out-of-order", "Bathroom/after/IMG_2129.jpg"),
            ("capture-time-outside-window", "Bathroom/after/IMG_2128.jpg"),
            ("distance-change", "Kitchen/after/IMG_2105.jpg"),
            ("low-detail", "Bedroom 1/after/IMG_2115.jpg"),
            ("missing-angle", "Bedroom 2/before/IMG_2117.jpg"),
            ("missing-phase", "Garage/before/IMG_2131.jpg"),
            ("reused-within-job", "Bathroom/after/IMG_2130.jpg"),
            ("reused-within-job", "Bedroom 2/after/IMG_2123.jpg"),
            ("unreadable-photo", "Bedroom 2/during/IMG_2120.jpg"),
            ("viewpoint-shift", "Bedroom 1/after/IMG_2113.jpg"),
        ]
        .map(|(check, photo)| (check.to_owned(), photo.to_owned()));
        assert_eq!(found, expected);
        assert_eq!((code, report["outcome"].as_str()), (1, Some("fail")));
    }

    #[test]
    fn report_does_not_depend_on_threads_or_on_where_the_folder_lies() {
        let folder = tempfile::tempdir().expect("temporary folder");
        let copy = folder.path().join("flawed-job");
        copy_tree(&root().join("demo-data/flawed-job"), &copy);
        let run = |threads: &str, job: &Path, out: &str| {
            let out = folder.path().join(out);
            let job = job.to_str().expect("UTF-8");
            let dir = out.to_str().expect("UTF-8");
            photoproof(&[
                "check",
                job,
                "--no-cache",
                "--threads",
                threads,
                "--out",
                dir,
            ]);
            ["report.json", "report.html", "report.txt"]
                .map(|name| std::fs::read(out.join(name)).expect("a report"))
        };
        let one = run("1", Path::new("demo-data/flawed-job"), "one");
        assert_eq!(
            one,
            run("2", Path::new("demo-data/flawed-job"), "two"),
            "threads"
        );
        assert_eq!(one, run("2", &copy, "three"), "place");
    }

    fn copy_tree(from: &Path, to: &Path) {
        std::fs::create_dir_all(to).expect("make folder");
        for entry in std::fs::read_dir(from).expect("a folder") {
            let entry = entry.expect("an entry");
            let target = to.join(entry.file_name());
            if entry.path().is_dir() {
                copy_tree(&entry.path(), &target);
            } else {
                std::fs::copy(entry.path(), target).expect("copy");
            }
        }
    }

    #[test]
    fn exit_codes_are_those_of_the_table() {
        let folder = tempfile::tempdir().expect("temporary folder");
        let empty = folder.path().to_str().expect("UTF-8");
        assert_eq!(code(&photoproof(&["check", empty])), 3, "no photos");
        assert_eq!(
            code(&photoproof(&["check", "no/such/folder"])),
            2,
            "no folder"
        );
        assert_eq!(code(&photoproof(&["check"])), 2, "usage");
        assert_eq!(code(&photoproof(&["--help"])), 0, "help");
        std::fs::write(folder.path().join("job.toml"), "[jop]\n").expect("write");
        assert_eq!(code(&photoproof(&["check", empty])), 2, "bad job sheet");
        assert_eq!(
            code(&photoproof(&[
                "check",
                "demo-data/flawed-job",
                "--fail-on",
                "fail"
            ])),
            1
        );
        assert_eq!(code(&photoproof(&["explain", "no-such-check"])), 2);
    }

    #[test]
    fn closed_stdout_does_not_change_the_code() {
        let mut child = Command::new(env!("CARGO_BIN_EXE_photoproof"))
            .args(["check", "demo-data/flawed-job"])
            .current_dir(root())
            .env("XDG_CACHE_HOME", &*CACHE)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program runs");
        drop(child.stdout.take());
        assert_eq!(child.wait().expect("ends").code(), Some(1));
    }

    #[test]
    fn report_is_valid_against_its_schema() {
        let schema = std::fs::read(root().join("schemas/report.schema.json")).expect("schema");
        let schema: Value = serde_json::from_slice(&schema).expect("JSON");
        let validator = jsonschema::validator_for(&schema).expect("a schema");
        for job in ["demo-data/clean-job", "demo-data/flawed-job"] {
            let (_, report) = report(&[job]);
            let errors: Vec<String> = validator
                .iter_errors(&report)
                .map(|e| format!("{}: {e}", e.instance_path()))
                .collect();
            assert!(errors.is_empty(), "{job}: {errors:#?}");
        }
    }

    #[test]
    fn batch_gets_an_index_and_one_bad_job_stops_nothing() {
        let out = tempfile::tempdir().expect("temporary folder");
        let dir = out.path().to_str().expect("UTF-8");
        let jobs = [
            "demo-data/flawed-job",
            "no/such/folder",
            "demo-data/clean-job",
        ];
        let mut args = vec!["check", "--format", "json", "--out", dir];
        args.extend(jobs);
        assert_eq!(code(&photoproof(&args)), 2, "one job could not be judged");
        let index = std::fs::read(out.path().join("index.json")).expect("index.json");
        let index: Value = serde_json::from_slice(&index).expect("JSON");
        assert_eq!(index["jobs"].as_array().map(Vec::len), Some(2));
        for name in ["flawed-job", "clean-job"] {
            assert!(out.path().join(name).join("report.json").exists(), "{name}");
        }
    }

    #[test]
    fn compare_list_keeps_order_and_passes_members_through() {
        let folder = tempfile::tempdir().expect("temporary folder");
        let list = folder.path().join("pairs.jsonl");
        let lines = [
            r#"{"a":"kitchen-a-before.jpg","b":"kitchen-a-after.jpg","note":"one"}"#,
            r#"{"a":"kitchen-a-before.jpg","b":"missing.jpg","note":"two"}"#,
            r#"{"a":"kitchen-a-after.jpg","b":"kitchen-a-after.jpg","note":"three"}"#,
        ];
        std::fs::write(&list, lines.join("\n")).expect("write");
        let list = list.to_str().expect("UTF-8");
        let output = photoproof(&["compare", "--list", list, "--root", "fixtures/pictures"]);
        assert_eq!(code(&output), 0);
        let rows: Vec<Value> = String::from_utf8(output.stdout)
            .expect("UTF-8")
            .lines()
            .map(|line| serde_json::from_str(line).expect("JSON"))
            .collect();
        let notes: Vec<&str> = rows.iter().filter_map(|row| row["note"].as_str()).collect();
        assert_eq!(notes, ["one", "two", "three"]);
        assert_eq!(rows[0]["relation"], "same_view");
        assert_eq!(rows[0]["copy"], "none");
        assert_eq!(rows[1]["relation"], "undetermined");
        assert!(
            rows[1]["problem"]
                .as_str()
                .is_some_and(|text| text.contains("missing.jpg"))
        );
        assert_eq!(rows[2]["copy"], "same_bytes");
    }

    #[test]
    fn readme_table_is_what_explain_prints() {
        let readme = std::fs::read_to_string(root().join("README.md")).expect("README");
        let output = photoproof(&["explain", "--format", "markdown"]);
        let table = String::from_utf8(output.stdout).expect("UTF-8");
        assert!(
            readme.contains(table.trim()),
            "README.md: paste what this prints:\n{table}"
        );
    }
}
