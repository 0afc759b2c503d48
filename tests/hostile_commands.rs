//! The program under hostile input and faults: what is left on disk, what is said, and how it ends.

#[cfg(test)]
mod tests {
    use std::path::{Path, PathBuf};
    use std::process::{Child, Command, Output, Stdio};
    use std::time::{Duration, Instant};

    use serde_json::Value;

    fn root() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
    }

    fn program() -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_photoproof"));
        command.env_clear().stdin(Stdio::null());
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    /// Ends within ten seconds, or the test fails.
    fn ended(mut child: Child) -> Output {
        let start = Instant::now();
        while child.try_wait().expect("a child").is_none() {
            if start.elapsed() > Duration::from_secs(10) {
                child.kill().expect("killed");
                panic!("it hangs");
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        child.wait_with_output().expect("output")
    }

    fn said(output: &Output) -> String {
        String::from_utf8_lossy(&output.stderr).into_owned()
    }

    /// A job of four small photos.
    fn small_job(folder: &Path) -> PathBuf {
        let job = folder.join("job");
        for (room, name) in [
            ("Bedroom/before", "bedroom-a-before.jpg"),
            ("Bedroom/after", "bedroom-a-after.jpg"),
            ("Kitchen/before", "kitchen-a-before.jpg"),
            ("Kitchen/after", "kitchen-a-after.jpg"),
        ] {
            std::fs::create_dir_all(job.join(room)).expect("folder");
            let from = root().join("fixtures/pictures").join(name);
            std::fs::copy(from, job.join(room).join(name)).expect("copied");
        }
        std::fs::write(job.join("job.toml"), "[job]\nid = \"T-1\"\n").expect("written");
        job
    }

    fn report(job: &Path) -> Value {
        let output = program()
            .args(["check", "--format", "json"])
            .arg(job)
            .output();
        let output = output.expect("it runs");
        serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {}", said(&output)))
    }

    fn names(dir: &Path) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(dir)
            .expect("a folder")
            .map(|entry| {
                entry
                    .expect("entry")
                    .file_name()
                    .to_string_lossy()
                    .into_owned()
            })
            .collect();
        names.sort();
        names
    }

    #[test]
    fn an_archive_gives_the_report_of_its_folder() {
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let expected = report(&job);
        assert_eq!(expected["counts"]["photos"], 4);
        let paths = walk(&job);
        for top in ["", "job/"] {
            let members: Vec<_> = paths
                .iter()
                .map(|path| {
                    let bytes = std::fs::read(job.join(path)).expect("read");
                    crate::zip_bytes::deflated(&format!("{top}{path}"), &bytes)
                })
                .collect();
            let place = folder.path().join("zipped");
            std::fs::create_dir_all(&place).expect("folder");
            std::fs::write(place.join("job.zip"), crate::zip_bytes::archive(&members))
                .expect("written");
            assert_eq!(report(&place.join("job.zip")), expected, "{top}");
            assert_eq!(names(&place), ["job.zip"]);
        }
    }

    #[test]
    fn inspect_reads_the_photos_of_an_archive() {
        let folder = tempfile::tempdir().expect("folder");
        let photo = root().join("fixtures/pictures/kitchen-a-after.jpg");
        let bytes = std::fs::read(&photo).expect("read");
        let archive = folder.path().join("job.zip");
        let members = [
            crate::zip_bytes::deflated("Kitchen/after/b.jpg", &bytes),
            crate::zip_bytes::stored("Kitchen/after/a.jpg", &bytes[..900]),
            crate::zip_bytes::stored("notes.txt", b"hello"),
        ];
        std::fs::write(&archive, crate::zip_bytes::archive(&members)).expect("written");
        let inspect = |paths: &[&Path]| {
            let output = program()
                .args(["inspect", "--format", "json"])
                .args(paths)
                .output();
            let output = output.expect("it runs");
            let text = String::from_utf8_lossy(&output.stdout).into_owned();
            let line = |line: &str| serde_json::from_str::<Value>(line).expect("a line");
            let lines: Vec<Value> = text.lines().map(line).collect();
            (output.status.code(), lines)
        };
        let (code, mut lines) = inspect(&[&photo, &archive]);
        assert_eq!((code, lines.len()), (Some(0), 3));
        let within =
            |name: &str| Value::from(format!("{}/Kitchen/after/{name}", archive.display()));
        assert_eq!(lines[1]["path"], within("a.jpg"));
        assert_eq!(lines[1]["readable"], false);
        assert_eq!(lines[2]["path"], within("b.jpg"));
        for line in &mut lines {
            for member in ["path", "all_times"] {
                line[member] = Value::Null;
            }
        }
        assert_eq!(lines[2], lines[0], "as the file beside it");
        assert_eq!(names(folder.path()), ["job.zip"]);
        // Not one photo in it, or no whole archive.
        let none = crate::zip_bytes::archive(&members[2..]);
        for bytes in [none.as_slice(), b"PK\x03\x04", b""] {
            std::fs::write(&archive, bytes).expect("written");
            let (code, lines) = inspect(&[&archive]);
            assert_eq!((code, lines.len()), (Some(2), 1));
            assert_eq!(lines[0]["path"], archive.to_string_lossy().as_ref());
            assert_eq!(lines[0]["readable"], false);
        }
    }

    #[test]
    fn seal_and_verify_refuse_an_archive() {
        let folder = tempfile::tempdir().expect("folder");
        let archive = folder.path().join("job.zip");
        let bytes = crate::zip_bytes::archive(&[crate::zip_bytes::stored("a.jpg", b"x")]);
        std::fs::write(&archive, bytes).expect("written");
        for command in ["seal", "verify"] {
            let output = program().arg(command).arg(&archive).output();
            let output = output.expect("it runs");
            assert_eq!(output.status.code(), Some(2), "{}", said(&output));
            assert!(said(&output).contains("unpack"), "{}", said(&output));
            assert_eq!(names(folder.path()), ["job.zip"]);
        }
    }

    fn walk(job: &Path) -> Vec<String> {
        let mut found = vec!["job.toml".to_owned()];
        for room in ["Bedroom", "Kitchen"] {
            for phase in ["before", "after"] {
                for name in names(&job.join(room).join(phase)) {
                    found.push(format!("{room}/{phase}/{name}"));
                }
            }
        }
        found
    }

    #[cfg(unix)]
    #[test]
    fn a_job_sheet_that_is_a_pipe_or_a_link_is_refused_at_once() {
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let sheet = job.join("job.toml");
        std::fs::remove_file(&sheet).expect("removed");
        let made = Command::new("mkfifo").arg(&sheet).status().expect("mkfifo");
        assert!(made.success());
        let output = ended(program().arg("check").arg(&job).spawn().expect("it runs"));
        assert_eq!(output.status.code(), Some(2));
        assert!(
            said(&output).contains("not a regular file"),
            "{}",
            said(&output)
        );
        std::fs::remove_file(&sheet).expect("removed");
        let secret = folder.path().join("secret.toml");
        std::fs::write(&secret, "password = \"swordfish\"\n").expect("written");
        std::os::unix::fs::symlink(&secret, &sheet).expect("linked");
        let output = ended(program().arg("check").arg(&job).spawn().expect("it runs"));
        assert_eq!(output.status.code(), Some(2));
        assert!(said(&output).contains("symbolic link"), "{}", said(&output));
        assert!(!said(&output).contains("swordfish"), "{}", said(&output));
        let waivers = folder.path().join("waivers.toml");
        Command::new("mkfifo")
            .arg(&waivers)
            .status()
            .expect("mkfifo");
        std::fs::remove_file(&sheet).expect("removed");
        let mut command = program();
        command
            .arg("check")
            .arg(&job)
            .arg("--waivers")
            .arg(&waivers);
        let output = ended(command.spawn().expect("it runs"));
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    }

    fn check_into(job: &Path, out: &Path) -> Command {
        let mut command = program();
        command
            .arg("check")
            .arg(job)
            .args(["--format", "text,json,html,csv,sarif,junit"]);
        command.arg("--out").arg(out);
        command
    }

    /// Whatever lay in the report folder is still there, whole, and nothing half-written beside it.
    fn assert_kept(out: &Path, old: &[u8]) {
        assert_eq!(std::fs::read(out.join("report.json")).expect("report"), old);
        assert_eq!(names(out), ["report.json"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_report_that_cannot_be_written_leaves_the_old_one() {
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let out = folder.path().join("out");
        std::fs::create_dir(&out).expect("folder");
        std::fs::write(out.join("report.json"), "old").expect("written");
        // No file may grow beyond one block of 512 bytes: the disk is full in the middle of the file.
        let mut shell = Command::new("sh");
        shell
            .arg("-c")
            .arg("trap '' XFSZ; ulimit -f 1; exec \"$@\"")
            .arg("sh");
        shell
            .arg(env!("CARGO_BIN_EXE_photoproof"))
            .args(["check", "--format", "json,html"]);
        shell.arg(&job).arg("--out").arg(&out);
        let output = shell.output().expect("a shell");
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains("cannot write"), "{}", said(&output));
        assert_kept(&out, b"old");
        // A folder in the place of the report.
        let blocked = folder.path().join("blocked");
        std::fs::create_dir_all(blocked.join("report.json/x")).expect("folder");
        let output = check_into(&job, &blocked).output().expect("it runs");
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(blocked.join("report.json/x").is_dir());
        // A file in the place of the folder.
        let file = folder.path().join("file");
        std::fs::write(&file, "mine").expect("written");
        let output = check_into(&job, &file).output().expect("it runs");
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert_eq!(std::fs::read(&file).expect("read"), b"mine");
    }

    /// A tmpfs smaller than the page, and one mounted read-only; only root may mount.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_full_or_read_only_disk_leaves_the_old_report() {
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let out = folder.path().join("disk");
        std::fs::create_dir(&out).expect("folder");
        let mount = |options: &str| {
            let mut command = Command::new("mount");
            command
                .args(["-t", "tmpfs", "-o", options, "none"])
                .arg(&out);
            command.output().is_ok_and(|output| output.status.success())
        };
        if !mount("size=16k") {
            eprintln!("skipped: mounting is not allowed here");
            return;
        }
        std::fs::write(out.join("report.json"), "old").expect("written");
        let full = check_into(&job, &out).output().expect("it runs");
        let old = std::fs::read(out.join("report.json")).expect("report");
        let left = names(&out);
        mount("remount,ro");
        let read_only = check_into(&job, &out).output().expect("it runs");
        let kept = std::fs::read(out.join("report.json")).expect("report");
        Command::new("umount").arg(&out).status().expect("umount");
        assert_eq!(full.status.code(), Some(2), "{}", said(&full));
        assert!(said(&full).contains("cannot write"), "{}", said(&full));
        assert!(old == b"old" || serde_json::from_slice::<Value>(&old).is_ok());
        assert!(left.iter().all(|name| !name.starts_with('.')), "{left:?}");
        assert_eq!(read_only.status.code(), Some(2), "{}", said(&read_only));
        assert!(
            said(&read_only).to_lowercase().contains("read-only"),
            "{}",
            said(&read_only)
        );
        assert_eq!(kept, old);
    }

    #[cfg(unix)]
    #[test]
    fn reports_do_not_follow_links_out_of_their_folder() {
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let out = folder.path().join("out");
        std::fs::create_dir(&out).expect("folder");
        let mine = folder.path().join("mine");
        std::fs::write(&mine, "mine").expect("written");
        for name in [
            "report.json",
            "report.html",
            "photos.csv",
            "findings.sarif",
            "junit.xml",
            "report.txt",
        ] {
            std::os::unix::fs::symlink(&mine, out.join(name)).expect("linked");
        }
        let output = check_into(&job, &out).output().expect("it runs");
        assert!(
            matches!(output.status.code(), Some(0 | 1)),
            "{}",
            said(&output)
        );
        assert_eq!(std::fs::read(&mine).expect("read"), b"mine");
        let facts = std::fs::symlink_metadata(out.join("report.json")).expect("report");
        assert!(facts.is_file(), "the link was replaced by the report");
    }

    /// Killed at any moment, the report is the old one or the new one. What a kill leaves are temporary files.
    #[test]
    fn a_killed_run_leaves_the_old_report_or_the_new_one() {
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let out = folder.path().join("out");
        let start = Instant::now();
        check_into(&job, &out).output().expect("it runs");
        let whole = start.elapsed();
        let new = std::fs::read(out.join("report.json")).expect("report");
        for step in 0..24_u32 {
            std::fs::write(out.join("report.json"), "old").expect("written");
            let mut child = check_into(&job, &out).spawn().expect("it runs");
            std::thread::sleep(whole * (step + 8) / 30);
            let _ = child.kill();
            let _ = child.wait();
            let found = std::fs::read(out.join("report.json")).expect("report");
            assert!(found == b"old" || found == new, "step {step}");
        }
    }

    /// A file that goes away, or changes, while the job is read is a finding or is read as it is; never a crash.
    #[test]
    fn files_that_vanish_or_change_during_a_run_are_accounted_for() {
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let photo = std::fs::read(job.join("Kitchen/after/kitchen-a-after.jpg")).expect("read");
        let place = |index: usize| job.join(format!("Kitchen/after/more-{index:02}.jpg"));
        for round in 0..3_u64 {
            for index in 0..24 {
                std::fs::write(place(index), &photo).expect("written");
            }
            let child = program()
                .args(["check", "--format", "json", "--threads", "1"])
                .arg(&job)
                .spawn();
            let child = child.expect("it runs");
            std::thread::sleep(Duration::from_millis(15 + 25 * round));
            for index in (0..24).rev() {
                match index % 3 {
                    0 => std::fs::remove_file(place(index)).expect("removed"),
                    1 => std::fs::write(place(index), &photo[..5_000]).expect("written"),
                    _ => std::fs::write(place(index), b"").expect("written"),
                }
            }
            let output = child.wait_with_output().expect("output");
            assert!(
                matches!(output.status.code(), Some(0 | 1)),
                "{}",
                said(&output)
            );
            let report: Value = serde_json::from_slice(&output.stdout).expect("a report");
            let count = |list: &str| report[list].as_array().map_or(0, Vec::len);
            let all = count("photos") + count("unreadable");
            assert!((20..=28).contains(&all), "{all}");
            let unreadable = report["unreadable"].as_array().expect("a list");
            let findings = report["findings"].as_array().expect("a list");
            for file in unreadable {
                let named = |finding: &&Value| {
                    finding["photos"]
                        .to_string()
                        .contains(file["path"].as_str().unwrap_or("?"))
                };
                assert!(findings.iter().any(|finding| named(&finding)), "{file}");
            }
        }
    }

    /// A PNG without a picture worth looking at, of any size (RFC 2083).
    #[cfg(target_os = "linux")]
    fn png(side: (u32, u32)) -> Vec<u8> {
        use std::io::Write;
        let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
        let mut chunk = |kind: &[u8; 4], content: &[u8]| {
            let length = u32::try_from(content.len()).expect("a small chunk");
            bytes.extend(length.to_be_bytes());
            let mut sum = flate2::Crc::new();
            sum.update(kind);
            sum.update(content);
            bytes.extend(kind);
            bytes.extend(content);
            bytes.extend(sum.sum().to_be_bytes());
        };
        let mut header = [side.0.to_be_bytes(), side.1.to_be_bytes()].concat();
        header.extend([8, 2, 0, 0, 0]);
        chunk(b"IHDR", &header);
        let level = flate2::Compression::fast();
        let mut packer = flate2::write::ZlibEncoder::new(Vec::new(), level);
        for y in 0..side.1 {
            let shade = |x: u32| [(x >> 5) as u8, (y >> 5) as u8, ((x ^ y) >> 7) as u8];
            let mut row = vec![0];
            row.extend((0..side.0).flat_map(shade));
            packer.write_all(&row).expect("memory");
        }
        chunk(b"IDAT", &packer.finish().expect("memory"));
        chunk(b"IEND", b"");
        bytes
    }

    /// A TIFF of one uncompressed strip (TIFF 6.0, section 6).
    #[cfg(target_os = "linux")]
    fn tiff((width, height): (u32, u32)) -> Vec<u8> {
        let mut bytes = b"II*\0\x08\0\0\0\x09\0".to_vec();
        let mut entry = |tag: u16, kind: u16, value: u32| {
            bytes.extend(tag.to_le_bytes());
            bytes.extend(kind.to_le_bytes());
            bytes.extend(1_u32.to_le_bytes());
            bytes.extend(value.to_le_bytes());
        };
        // Width, height, bits a sample, packing, RGB, place, samples, rows of the strip, its bytes.
        let size = 3 * width * height;
        for (tag, value) in [(256, width), (257, height), (258, 8), (259, 1), (262, 2)] {
            entry(tag, 4, value);
        }
        for (tag, value) in [(273, 122), (277, 3), (278, height), (279, size)] {
            entry(tag, 4, value);
        }
        bytes.extend(0_u32.to_le_bytes());
        bytes.resize(122, 0);
        bytes.extend((0..size).map(|at| (at >> 9) as u8));
        bytes
    }

    /// Eight checks at once of six photos of 40 and 30 million pixels, each on eight threads. None may allocate more
    /// than a gibibyte (RLIMIT_DATA: all memory that is its own, touched or not; mapped files do not count).
    #[cfg(target_os = "linux")]
    #[test]
    fn eight_checks_of_large_photos_stay_within_a_gibibyte_each() {
        use crate::memory::peak_of;
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let place = |name: &str| job.join("Kitchen/after").join(name);
        std::fs::write(place("large.png"), png((7_300, 5_480))).expect("written");
        std::fs::write(place("large.tif"), tiff((6_300, 4_730))).expect("written");
        for number in 0..2 {
            let more = |kind: &str| place(&format!("more-{number}.{kind}"));
            std::fs::copy(place("large.png"), more("png")).expect("copied");
            std::fs::copy(place("large.tif"), more("tif")).expect("copied");
        }
        let mut running: Vec<Child> = (0..8)
            .map(|number| {
                let mut shell = Command::new("bash");
                shell.args(["-c", "ulimit -d 1048576; exec \"$@\"", "bash"]);
                shell.arg(env!("CARGO_BIN_EXE_photoproof"));
                shell.args(["check", "--threads", "8", "--format", "json"]);
                shell
                    .arg(&job)
                    .arg("--out")
                    .arg(folder.path().join(format!("out-{number}")));
                shell.stdout(Stdio::null()).stderr(Stdio::piped());
                shell.spawn().expect("it runs")
            })
            .collect();
        let mut most = [0; 8];
        while running
            .iter_mut()
            .any(|child| child.try_wait().expect("a child").is_none())
        {
            for (child, most) in running.iter().zip(&mut most) {
                *most = peak_of(&child.id().to_string()).unwrap_or(0).max(*most);
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        println!("peaks of eight checks: {most:?} MiB");
        for (number, child) in running.into_iter().enumerate() {
            let output = child.wait_with_output().expect("output");
            let code = output.status.code();
            assert!(matches!(code, Some(0 | 1)), "{code:?}: {}", said(&output));
            let report = folder.path().join(format!("out-{number}/report.json"));
            let text = std::fs::read_to_string(report).expect("a report");
            let report: Value = serde_json::from_str(&text).expect("a report");
            assert_eq!(report["counts"]["photos"], 10, "{}", report["unreadable"]);
        }
        // What decoding (384 MiB) and files (192 MiB) may hold, and what the allocator keeps for each thread.
        assert!(
            most.iter().all(|most| (1..1024).contains(most)),
            "{most:?} MiB"
        );
    }

    /// Input is only read.
    #[test]
    fn a_check_changes_nothing_in_the_job_folder() {
        let folder = tempfile::tempdir().expect("folder");
        let job = small_job(folder.path());
        let state = || {
            let mut paths = walk(&job);
            paths.push(String::new());
            let facts = |path: &String| {
                let facts = std::fs::metadata(job.join(path)).expect("facts");
                (facts.len(), facts.modified().expect("a time"))
            };
            paths.iter().map(facts).collect::<Vec<_>>()
        };
        let before = state();
        check_into(&job, &folder.path().join("out"))
            .output()
            .expect("it runs");
        assert_eq!(state(), before);
    }
}

#[cfg(all(test, target_os = "linux"))]
#[path = "support/memory.rs"]
mod memory;
#[cfg(test)]
#[path = "support/zip_bytes.rs"]
mod zip_bytes;
