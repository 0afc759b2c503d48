//! A PostgreSQL server of the test's own, gone when the test is, also when the test is killed.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::{Mutex, OnceLock};

/// Runs beside the test: makes a database cluster, then obeys one word a line, and cleans up when its input ends.
const KEEPER: &str = r#"
set -u
bin=$1 port=$2
dir=$(mktemp -d) || exit 1
cd "$dir"
"$bin/initdb" -D data -A trust -U tester --no-locale -E UTF8 -N > initdb.log 2>&1 || { cat initdb.log; exit 1; }
start() {
    "$bin/postgres" -D data -p "$port" -k "$dir" -c listen_addresses=127.0.0.1 -c fsync=off \
        -c max_connections=60 -c shared_buffers=64MB > server.log 2>&1 &
    server=$!
    for _ in $(seq 300); do
        "$bin/pg_isready" -q -h 127.0.0.1 -p "$port" && return
        sleep 0.1
    done
    cat server.log
    exit 1
}
stop() { kill "-$1" "$server"; wait "$server"; }
start
echo ready
while read -r word; do
    case $word in
        stop) stop INT ;;
        start) start ;;
        create\ *) "$bin/createdb" -h 127.0.0.1 -p "$port" -U tester "${word#* }" || exit 1 ;;
    esac
    echo "$word done"
done
stop QUIT
rm -rf "$dir"
"#;

/// A running server.
pub(crate) struct Server {
    pub(crate) port: u16,
    keeper: Mutex<(ChildStdin, BufReader<ChildStdout>)>,
    _child: Child,
}

impl Server {
    /// Starts a server, or says why the test is skipped; fails where nothing may be skipped.
    pub(crate) fn start() -> Option<Self> {
        let Some(bin) = binaries() else {
            assert!(
                std::env::var_os("CI").is_none(),
                "no PostgreSQL server to test with; install postgresql or set PHOTOPROOF_POSTGRES_BIN"
            );
            eprintln!(
                "skipped: no PostgreSQL server; install postgresql or set PHOTOPROOF_POSTGRES_BIN"
            );
            return None;
        };
        let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let port = free.local_addr().unwrap().port();
        drop(free);
        let mut command = unprivileged();
        command.args(["bash", "-c", KEEPER, "keeper"]);
        command.arg(&bin).arg(port.to_string());
        let mut child = command
            .current_dir("/")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let input = child.stdin.take().unwrap();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        wait_for(&mut output, "ready");
        Some(Self {
            port,
            keeper: Mutex::new((input, output)),
            _child: child,
        })
    }

    /// URL of a new, empty database.
    pub(crate) fn database(&self, name: &str) -> String {
        self.tell(&format!("create {name}"));
        self.url(name)
    }

    pub(crate) fn url(&self, database: &str) -> String {
        format!("postgres://tester@127.0.0.1:{}/{database}", self.port)
    }

    /// Stops or starts the server, or creates a database.
    pub(crate) fn tell(&self, word: &str) {
        let mut keeper = self.keeper.lock().unwrap();
        writeln!(keeper.0, "{word}").unwrap();
        wait_for(&mut keeper.1, &format!("{word} done"));
    }
}

fn wait_for(output: &mut impl BufRead, word: &str) {
    let mut said = String::new();
    while !said.ends_with(&format!("{word}\n")) {
        let read = output.read_line(&mut said).unwrap();
        assert!(read > 0, "the server did not start:\n{said}");
    }
}

/// The server that the tests of one run share; each takes a database of its own.
pub(crate) fn shared() -> Option<&'static Server> {
    static SERVER: OnceLock<Option<Server>> = OnceLock::new();
    SERVER.get_or_init(Server::start).as_ref()
}

/// The folder of `initdb` and `postgres`, the newest there is.
fn binaries() -> Option<PathBuf> {
    if let Some(given) = std::env::var_os("PHOTOPROOF_POSTGRES_BIN") {
        return Some(given.into());
    }
    let versions = std::fs::read_dir("/usr/lib/postgresql").ok()?;
    let mut bins: Vec<PathBuf> = versions
        .flatten()
        .map(|version| version.path().join("bin"))
        .filter(|bin| bin.join("initdb").exists())
        .collect();
    bins.sort();
    bins.pop()
}

/// The server refuses to run as root: another account takes it then.
fn unprivileged() -> Command {
    let root =
        std::fs::metadata("/proc/self").is_ok_and(|m| std::os::unix::fs::MetadataExt::uid(&m) == 0);
    if !root {
        return Command::new("env");
    }
    let accounts = std::fs::read_to_string("/etc/passwd").unwrap_or_default();
    let has = |name: &str| accounts.lines().any(|line| line.starts_with(name));
    let account = if has("postgres:") {
        "postgres"
    } else {
        "nobody"
    };
    let mut command = Command::new(if Path::new("/usr/sbin/runuser").exists() {
        "/usr/sbin/runuser"
    } else {
        "runuser"
    });
    command.args(["-u", account, "--"]);
    command
}
