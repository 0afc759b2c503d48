//! The connection to the server: opened again when it is lost, and what a user is told when that does not help.

use std::time::Duration;

use postgres::error::SqlState;
use postgres::{Client, Config, NoTls};

use crate::error::{Error, ErrorKind};

/// Waits before work is tried again: together as long as a server takes to restart.
const WAITS: [Duration; 7] = [
    Duration::from_millis(100),
    Duration::from_millis(250),
    Duration::from_millis(500),
    Duration::from_secs(1),
    Duration::from_secs(2),
    Duration::from_secs(4),
    Duration::from_secs(8),
];
/// How long a server may take to answer a connection, unless the URL says `connect_timeout`.
const CONNECT: Duration = Duration::from_secs(10);
/// How long a recorder waits for another one of the same job, unless the URL has `options`.
const LOCK: &str = "SET lock_timeout = '60s'";

/// A connection that is opened again when it was lost.
pub(super) struct Connection {
    config: Config,
    client: Option<Client>,
    /// Database and server, without user and password.
    shown: String,
}

impl Connection {
    /// Reads the URL and connects.
    pub(super) fn open(url: &str) -> Result<Self, Error> {
        let mut config: Config = url.parse().map_err(|e: postgres::Error| {
            // The URL may hold a password: it is not repeated.
            let message = format!(
                "the ledger's URL is not valid: {}; write postgres://USER@HOST:PORT/DATABASE",
                with_cause(&e)
            );
            Error::new(ErrorKind::Ledger, message).with_source(e)
        })?;
        if config.get_connect_timeout().is_none() {
            config.connect_timeout(CONNECT);
        }
        if config.get_application_name().is_none() {
            config.application_name("photoproof");
        }
        config.keepalives_idle(Duration::from_secs(30));
        config.tcp_user_timeout(Duration::from_secs(60));
        let shown = shown(&config);
        let mut connection = Self {
            config,
            client: None,
            shown,
        };
        connection.run("open", |_| Ok(()))?;
        Ok(connection)
    }

    /// Database and server as they are named to a user.
    pub(super) fn shown(&self) -> &str {
        &self.shown
    }

    /// Runs `work`, from the start again after a lost connection, a deadlock or a refused serialisation. `work` must
    /// leave nothing behind when it fails, or do no harm when it is done twice.
    pub(super) fn run<T>(
        &mut self,
        action: &str,
        mut work: impl FnMut(&mut Client) -> Result<T, postgres::Error>,
    ) -> Result<T, Error> {
        // A wrong address is said soon.
        let tries = if action == "open" { 4 } else { WAITS.len() };
        let mut waits = WAITS.iter().take(tries);
        loop {
            let error = match self.client().and_then(&mut work) {
                Ok(done) => return Ok(done),
                Err(error) => error,
            };
            let lost = is_lost(&error);
            if lost {
                self.client = None;
            }
            match waits.next() {
                Some(wait) if lost || is_passing(&error) => std::thread::sleep(*wait),
                _ => return Err(self.failed(action, error)),
            }
        }
    }

    fn client(&mut self) -> Result<&mut Client, postgres::Error> {
        let open = match self.client.take() {
            Some(client) if !client.is_closed() => client,
            _ => {
                let mut client = self.config.connect(NoTls)?;
                if self.config.get_options().is_none() {
                    client.batch_execute(LOCK)?;
                }
                client
            }
        };
        Ok(self.client.insert(open))
    }

    fn failed(&self, action: &str, error: postgres::Error) -> Error {
        let shown = &self.shown;
        let cause = with_cause(&error);
        let again = match action {
            "write" => "; record the job again, recording twice does no harm",
            _ => "; try again",
        };
        let code = error.code();
        let message = if cause.contains("TLS") {
            format!(
                "cannot {action} ledger {shown}: this build speaks to the server without TLS; \
                     use a server on this machine or a tunnel, and sslmode=disable"
            )
        } else if code == Some(&SqlState::LOCK_NOT_AVAILABLE) {
            format!("ledger {shown} is held by another process{again}")
        } else if is_passing(&error) {
            format!("cannot {action} ledger {shown}: others kept changing it ({cause}){again}")
        } else if code == Some(&SqlState::DISK_FULL) {
            format!("cannot {action} ledger {shown}: the server's disk is full{again}")
        } else if is_lost(&error) {
            format!("cannot {action} ledger {shown}: no connection to the server ({cause}){again}")
        } else {
            format!("cannot {action} ledger {shown}: {cause}")
        };
        Error::new(ErrorKind::Ledger, message).with_source(error)
    }
}

/// Whether the connection is gone, or the server is not ready to take one.
fn is_lost(error: &postgres::Error) -> bool {
    let Some(code) = error.code() else {
        use std::error::Error as _;
        let io = error.source().is_some_and(|s| s.is::<std::io::Error>());
        return error.is_closed() || io;
    };
    let stopping = [
        &SqlState::ADMIN_SHUTDOWN,
        &SqlState::CRASH_SHUTDOWN,
        &SqlState::CANNOT_CONNECT_NOW,
        &SqlState::TOO_MANY_CONNECTIONS,
    ];
    code.code().starts_with("08") || stopping.contains(&code)
}

/// Whether the same work may succeed when it is done again.
fn is_passing(error: &postgres::Error) -> bool {
    let passing = [
        &SqlState::T_R_DEADLOCK_DETECTED,
        &SqlState::T_R_SERIALIZATION_FAILURE,
        &SqlState::UNIQUE_VIOLATION,
    ];
    error.code().is_some_and(|code| passing.contains(&code))
}

fn with_cause(error: &postgres::Error) -> String {
    use std::error::Error as _;
    match (error.as_db_error(), error.source()) {
        (Some(said), _) => said.message().to_owned(),
        (None, Some(cause)) => format!("{error}: {cause}"),
        (None, None) => error.to_string(),
    }
}

fn shown(config: &Config) -> String {
    use postgres::config::Host;
    let host = config.get_hosts().first().map_or_else(
        || "localhost".to_owned(),
        |host| match host {
            Host::Tcp(name) => name.clone(),
            #[cfg(unix)]
            Host::Unix(folder) => folder.display().to_string(),
        },
    );
    let port = config.get_ports().first().copied().unwrap_or(5432);
    let user = config.get_user().unwrap_or_default();
    format!("{} on {host}:{port}", config.get_dbname().unwrap_or(user))
}
