//! The only place that writes to the terminal.

use std::io::Write;

/// Writes results to stdout. A closed stdout is not an error: the exit code must stand.
pub(crate) fn results(text: &str) {
    let mut out = anstream::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Writes one diagnostic line to stderr.
pub(crate) fn diagnostic(kind: &str, message: &str) {
    let _ = writeln!(anstream::stderr().lock(), "photoproof: {kind}: {message}");
}
