//! The cache of measures, from outside: it changes how long a check takes, and nothing else.

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;
    use std::path::{Path, PathBuf};
    use std::process::{Command, Output, Stdio};

    fn root() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
    }

    /// A job of six small photos.
    fn small_job(folder: &Path) -> PathBuf {
        let job = folder.join("job");
        for room in ["bedroom-a", "kitchen-a"] {
            for phase in ["before", "during", "after"] {
                let name = format!("{room}-{phase}.jpg");
                let from = root().join("fixtures/pictures").join(&name);
                let place = job.join(room).join(phase);
                std::fs::create_dir_all(&place).expect("a folder");
                std::fs::copy(from, place.join(name)).expect("a copy");
            }
        }
        job
    }

    fn command(job: &Path, out: &Path, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_photoproof"));
        command.env_clear().stdin(Stdio::null());
        command.args(["check", "--format", "text,json,html,csv,sarif,junit"]);
        command.arg(job).arg("--out").arg(out).args(more);
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    /// All report files of a check, with its exit code and what it printed.
    fn check(job: &Path, more: &[&str]) -> (BTreeMap<String, Vec<u8>>, Output) {
        let out = tempfile::tempdir().expect("a folder");
        let output = command(job, out.path(), more).output().expect("it runs");
        assert!(
            output.status.code().is_some_and(|code| code < 2),
            "{output:?}"
        );
        (files(out.path()), output)
    }

    /// Files below a folder with their contents.
    fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
        let mut found = BTreeMap::new();
        let mut open = vec![folder.to_path_buf()];
        while let Some(next) = open.pop() {
            for entry in std::fs::read_dir(next).expect("a folder").flatten() {
                let path = entry.path();
                if path.is_dir() {
                    open.push(path);
                } else {
                    let name = path.strip_prefix(folder).expect("below");
                    let bytes = std::fs::read(&path).expect("a file");
                    found.insert(name.to_string_lossy().into_owned(), bytes);
                }
            }
        }
        found
    }

    fn entries(cache: &Path) -> BTreeMap<String, Vec<u8>> {
        let mut entries = files(cache);
        entries.remove("CACHEDIR.TAG");
        entries
    }

    fn text(path: &Path) -> &str {
        path.to_str().expect("UTF-8")
    }

    #[test]
    fn no_cold_and_warm_cache_give_the_same_reports() {
        let folder = tempfile::tempdir().expect("a folder");
        let cache = folder.path().join("cache");
        let job = root().join("demo-data/flawed-job");
        let (without, plain) = check(&job, &["--no-cache"]);
        assert!(!cache.exists());
        assert_eq!(without.len(), 7);
        let (cold, _) = check(&job, &["--cache", text(&cache)]);
        let kept = entries(&cache);
        assert!(kept.len() > 20, "one entry a photo and more");
        let (warm, output) = check(&job, &["--cache", text(&cache), "--threads", "1"]);
        assert!(without == cold && without == warm);
        assert_eq!(plain.status, output.status);
        assert!(entries(&cache) == kept, "a warm check writes nothing");
        assert!(!String::from_utf8_lossy(&output.stderr).contains("warning"));
    }

    /// A check without pictures leaves a cache that serves a check with pictures.
    #[test]
    fn a_cache_filled_for_one_format_serves_another() {
        let folder = tempfile::tempdir().expect("a folder");
        let cache = folder.path().join("cache");
        let job = small_job(folder.path());
        let output = Command::new(env!("CARGO_BIN_EXE_photoproof"))
            .env_clear()
            .arg("check")
            .arg(&job)
            .arg("--cache")
            .arg(&cache)
            .output()
            .expect("it runs");
        assert!(output.status.code().is_some_and(|code| code < 2));
        let kept = entries(&cache);
        let (reports, _) = check(&job, &["--cache", text(&cache)]);
        assert!(entries(&cache) == kept, "nothing was measured again");
        assert!(reports == check(&job, &["--no-cache"]).0);
    }

    /// Each entry in turn is cut off, damaged or swapped for another one: the report stays, the entry is written again.
    #[test]
    fn damaged_and_foreign_entries_are_rebuilt() {
        let folder = tempfile::tempdir().expect("a folder");
        let cache = folder.path().join("cache");
        let job = small_job(folder.path());
        let args = ["--cache", text(&cache)];
        let (right, plain) = check(&job, &args);
        let kept = entries(&cache);
        let another = kept.values().next_back().expect("an entry").clone();
        for kind in 0..3_usize {
            for (place, (name, bytes)) in kept.iter().enumerate() {
                let mut bytes = bytes.clone();
                let middle = (place * 7919 + 60) % bytes.len();
                match kind {
                    0 => bytes.truncate(middle),
                    1 => bytes[middle] ^= 1,
                    _ => bytes.clone_from(&another),
                }
                std::fs::write(cache.join(name), bytes).expect("written");
            }
            let (found, output) = check(&job, &args);
            assert!(found == right, "kind {kind}");
            assert_eq!(output.status, plain.status);
            assert!(entries(&cache) == kept, "kind {kind}: rebuilt");
        }
    }

    #[test]
    fn a_cache_that_cannot_be_written_is_one_warning() {
        let folder = tempfile::tempdir().expect("a folder");
        let job = small_job(folder.path());
        let file = folder.path().join("file");
        std::fs::write(&file, "not a folder").expect("written");
        let (found, output) = check(&job, &["--cache", text(&file)]);
        let (right, plain) = check(&job, &["--no-cache"]);
        assert!(found == right);
        assert_eq!(output.status, plain.status);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(said.matches("cannot write the cache").count(), 1, "{said}");
        assert_eq!(std::fs::read(&file).expect("kept"), b"not a folder");
    }

    /// A file that may not grow stands for a full disk.
    #[cfg(unix)]
    #[test]
    fn a_full_disk_is_one_warning() {
        let folder = tempfile::tempdir().expect("a folder");
        let cache = folder.path().join("cache");
        let job = small_job(folder.path());
        let program = env!("CARGO_BIN_EXE_photoproof");
        let line = format!(
            "ulimit -f 64; trap '' XFSZ; exec '{program}' check '{}' --cache '{}' --format json",
            job.display(),
            cache.display()
        );
        let output = Command::new("/bin/sh")
            .args(["-c", &line])
            .env_clear()
            .output()
            .expect("it runs");
        assert!(
            output.status.code().is_some_and(|code| code < 2),
            "{output:?}"
        );
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(said.matches("cannot write the cache").count(), 1, "{said}");
        assert!(
            files(&cache).keys().all(|name| !name.contains(".part")),
            "nothing half written stays"
        );
    }

    /// Several processes fill one cache at the same time.
    #[test]
    fn processes_share_a_cache() {
        let folder = tempfile::tempdir().expect("a folder");
        let cache = folder.path().join("cache");
        let job = small_job(folder.path());
        let outs: Vec<PathBuf> = (0..4)
            .map(|n| folder.path().join(format!("out-{n}")))
            .collect();
        let running: Vec<_> = outs
            .iter()
            .map(|out| {
                command(&job, out, &["--cache", text(&cache)])
                    .spawn()
                    .expect("it runs")
            })
            .collect();
        for child in running {
            let output = child.wait_with_output().expect("an end");
            assert!(
                output.status.code().is_some_and(|code| code < 2),
                "{output:?}"
            );
        }
        let (right, _) = check(&job, &["--no-cache"]);
        assert!(outs.iter().all(|out| files(out) == right));
        let (warm, _) = check(&job, &["--cache", text(&cache)]);
        assert!(warm == right);
    }

    #[cfg(unix)]
    #[test]
    fn others_may_not_look_into_the_cache() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().expect("a folder");
        let home = folder.path().join("home");
        let output = Command::new(env!("CARGO_BIN_EXE_photoproof"))
            .env_clear()
            .env("XDG_CACHE_HOME", &home)
            .args(["check", "--format", "json"])
            .arg(small_job(folder.path()))
            .output()
            .expect("it runs");
        assert!(output.status.code().is_some_and(|code| code < 2));
        let cache = home.join("photoproof");
        let mode = |path: &Path| {
            let facts = std::fs::metadata(path).expect("there");
            facts.permissions().mode() & 0o077
        };
        assert_eq!(mode(&cache), 0);
        assert!(
            entries(&cache)
                .keys()
                .all(|name| mode(&cache.join(name)) == 0)
        );
    }
}
