//! Job folders in an object store, against a real S3-compatible server on this machine: moto's, named by
//! `PHOTOPROOF_MOTO_SERVER` or found as `moto_server` (pip install 'moto[s3]' flask flask-cors).

#[cfg(test)]
mod object_storage {
    use std::io::{Read, Write};
    use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
    use std::path::{Path, PathBuf};
    use std::process::{Child, Command, Output, Stdio};
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::sync::{Arc, Mutex};
    use std::time::{Duration, Instant};

    /// A server that ends with the test.
    struct Server {
        process: Child,
        port: u16,
    }

    impl Drop for Server {
        fn drop(&mut self) {
            let _ = self.process.kill();
            let _ = self.process.wait();
        }
    }

    fn free_port() -> u16 {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
        listener.local_addr().expect("an address").port()
    }

    impl Server {
        /// `None`, said on stderr, where there is no such server.
        fn start() -> Option<Self> {
            // Until a server has taken its port, that port is free to others.
            static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
            let _guard = ONE_AT_A_TIME.lock().expect("no test failed before");
            let named = std::env::var("PHOTOPROOF_MOTO_SERVER");
            let program = named.unwrap_or_else(|_| "moto_server".to_owned());
            let port = free_port();
            let started = Command::new(&program)
                .args(["-H", "127.0.0.1", "-p", &port.to_string()])
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn();
            let Ok(process) = started else {
                assert!(
                    std::env::var_os("CI").is_none(),
                    "{program} is not installed"
                );
                eprintln!("skipped: {program} is not installed (pip install 'moto[s3]' flask)");
                return None;
            };
            let server = Self { process, port };
            let begun = Instant::now();
            while TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_err() {
                assert!(begun.elapsed() < Duration::from_secs(60), "no answer");
                std::thread::sleep(Duration::from_millis(50));
            }
            server.put("/jobs", b"");
            Some(server)
        }

        /// Makes a bucket or an object. The server wants a name and looks at no signature.
        fn put(&self, path: &str, content: &[u8]) {
            let mut stream =
                TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).expect("a server");
            let head = format!(
                "PUT {} HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/octet-stream\r\n\
                 Authorization: AWS4-HMAC-SHA256 Credential=any/20260302/us-east-1/s3/aws4_request, \
                 SignedHeaders=host, Signature=any\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
                path.replace(' ', "%20"),
                content.len()
            );
            stream.write_all(head.as_bytes()).expect("sent");
            stream.write_all(content).expect("sent");
            let mut answer = String::new();
            stream.read_to_string(&mut answer).expect("an answer");
            assert!(answer.starts_with("HTTP/1.1 200"), "{path}: {answer}");
        }

        /// Puts a folder below `/jobs/prefix`.
        fn upload(&self, folder: &Path, prefix: &str) {
            for entry in walkdir::WalkDir::new(folder) {
                let entry = entry.expect("an entry");
                if entry.file_type().is_file() {
                    let relative = entry.path().strip_prefix(folder).expect("below");
                    let content = std::fs::read(entry.path()).expect("content");
                    self.put(&format!("/jobs/{prefix}/{}", relative.display()), &content);
                }
            }
        }
    }

    /// Passes connections on to `to`; of two, the first is cut off after `bytes` of the answer.
    fn unreliable(to: u16, bytes: usize) -> (u16, Arc<AtomicUsize>) {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
        let port = listener.local_addr().expect("an address").port();
        let cut = Arc::new(AtomicUsize::new(0));
        let counted = cut.clone();
        std::thread::spawn(move || {
            for (number, stream) in listener.incoming().flatten().enumerate() {
                let server = TcpStream::connect((Ipv4Addr::LOCALHOST, to)).expect("a server");
                let (mut asked, mut asks) = (server.try_clone().expect("both"), stream);
                let mut answers = asks.try_clone().expect("both");
                let cut = counted.clone();
                let bound = if number % 2 == 0 { bytes } else { usize::MAX };
                std::thread::spawn(move || {
                    let mut limited = server.take(bound as u64);
                    let passed = std::io::copy(&mut limited, &mut answers).unwrap_or(0);
                    cut.fetch_add(usize::from(passed == bound as u64), Ordering::SeqCst);
                    let _ = answers.shutdown(Shutdown::Both);
                    let _ = limited.get_ref().shutdown(Shutdown::Both);
                });
                std::thread::spawn(move || {
                    let _ = std::io::copy(&mut asks, &mut asked);
                    let _ = asked.shutdown(Shutdown::Write);
                });
            }
        });
        (port, cut)
    }

    /// Runs the program against the store behind `port`.
    fn photoproof(port: u16, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_photoproof"));
        command.env_clear().stdin(Stdio::null()).args(arguments);
        command.env("AWS_ENDPOINT_URL", format!("http://127.0.0.1:{port}"));
        command.env("AWS_ALLOW_HTTP", "true");
        command.env("AWS_ACCESS_KEY_ID", "any");
        command.env("AWS_SECRET_ACCESS_KEY", "any");
        command.env("AWS_REGION", "us-east-1");
        command.output().expect("it runs")
    }

    fn said(output: &Output) -> String {
        String::from_utf8_lossy(&output.stderr).into_owned()
    }

    fn pictures() -> Vec<PathBuf> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/pictures");
        let entries = std::fs::read_dir(folder).expect("pictures").flatten();
        let mut pictures: Vec<PathBuf> = entries
            .map(|entry| entry.path())
            .filter(|path| path.extension().is_some_and(|e| e == "jpg"))
            .collect();
        pictures.sort();
        pictures
    }

    /// A job of three photos with a sheet, a label table, a broken photo and what phones and servers leave behind.
    fn make_job(folder: &Path, first: usize) {
        let pictures = pictures();
        for (at, phase) in ["before", "during", "after"].iter().enumerate() {
            let place = folder.join("Back bedroom").join(phase);
            std::fs::create_dir_all(&place).expect("a folder");
            let picture = &pictures[(first + at) % pictures.len()];
            std::fs::copy(picture, place.join(format!("{at}.jpg"))).expect("a copy");
        }
        let write = |name: &str, text: &str| {
            let path = folder.join(name);
            std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
            std::fs::write(path, text).expect("written");
        };
        write(
            "job.toml",
            "[job]\nid = \"PP-1\"\nvendor = \"Alder Crew\"\n",
        );
        write("photos.csv", "photo,area\nBack bedroom/after/2.jpg,Hall\n");
        write("Back bedroom/after/broken.jpg", "not a photo");
        write(".trash/old.jpg", "x");
        write("a/b/c/d/e/f/g/h/i/j/k/l/m/n/o/p/q/r/deep.txt", "x");
    }

    #[test]
    fn a_job_in_a_store_gets_the_report_of_its_folder_though_connections_break() {
        let Some(server) = Server::start() else {
            return;
        };
        let folder = tempfile::tempdir().expect("a folder");
        let job = folder.path().join("PP 1");
        make_job(&job, 0);
        server.upload(&job, "west/PP 1");
        server.put("/jobs/west/PP 1/Back bedroom/", b"");
        let job = job.to_str().expect("UTF-8");
        let of_folder = photoproof(server.port, &["check", job, "--format", "json"]);
        assert_eq!(of_folder.status.code(), Some(1), "{}", said(&of_folder));
        let (port, cut) = unreliable(server.port, 9_000);
        for port in [server.port, port] {
            let found = photoproof(port, &["check", "s3://jobs/west/PP 1", "--format", "json"]);
            assert_eq!(found.status.code(), Some(1), "{}", said(&found));
            assert_eq!(
                String::from_utf8_lossy(&found.stdout),
                String::from_utf8_lossy(&of_folder.stdout)
            );
        }
        assert!(cut.load(Ordering::SeqCst) > 0, "no connection broke");
    }

    #[test]
    fn jobs_below_a_prefix_are_a_batch_that_goes_on_where_it_stopped() {
        let Some(server) = Server::start() else {
            return;
        };
        let folder = tempfile::tempdir().expect("a folder");
        for (first, name) in ["PP-1", "PP-2", "PP-3"].iter().enumerate() {
            let job = folder.path().join(name);
            make_job(&job, first);
            server.upload(&job, &format!("west/{name}"));
        }
        server.put("/jobs/west/loose.jpg", b"x");
        let out = folder.path().join("out");
        let out = out.to_str().expect("UTF-8");
        let check = || photoproof(server.port, &["check", "s3://jobs/west/*", "--out", out]);
        let written = |output: &Output| said(output).matches("photoproof: written").count();
        let first = check();
        assert_eq!((first.status.code(), written(&first)), (Some(1), 3));
        for name in ["PP-1", "PP-2", "PP-3"] {
            let report = Path::new(out).join(name).join("report.json");
            assert!(report.is_file(), "{}", report.display());
        }
        assert_eq!(written(&check()), 0);
        let retake = std::fs::read(&pictures()[9]).expect("a picture");
        server.put("/jobs/west/PP-2/Back bedroom/after/2.jpg", &retake);
        assert_eq!(written(&check()), 1);
    }

    #[test]
    fn what_cannot_be_reached_is_said_with_what_to_do() {
        let Some(server) = Server::start() else {
            return;
        };
        for (address, expected) in [
            ("s3://jobs/nowhere", "there is nothing at s3://jobs/nowhere"),
            (
                "s3://jobs/nowhere/*",
                "there is nothing at s3://jobs/nowhere",
            ),
            ("s3://no-such-bucket/a", "cannot list s3://no-such-bucket/a"),
            ("s3://", "no bucket is named"),
        ] {
            let found = photoproof(server.port, &["check", address]);
            assert_eq!(found.status.code(), Some(2), "{address}");
            let said = said(&found);
            assert!(said.contains(expected), "{address}: {said}");
            assert!(said.lines().count() <= 2, "{address}: {said}");
        }
    }
}
