//! The only place that writes to the terminal.

use std::io::{IsTerminal, Write};

use photoproof_core::report::text::{Colour, TextOptions};
use photoproof_core::report::words::inert_whole;

/// Writes results to stdout. A closed stdout is not an error: the exit code must stand.
pub(crate) fn results(text: &str) {
    let mut out = anstream::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Writes one diagnostic line to stderr. Names of files and what they hold may stand in it: nothing in it acts.
pub(crate) fn diagnostic(kind: &str, message: &str) {
    let message = inert_whole(message);
    let _ = writeln!(anstream::stderr().lock(), "photoproof: {kind}: {message}");
}

/// Width and colour of the terminal text: colour only on a terminal that wants it.
pub(crate) fn text_options() -> TextOptions {
    let mut options = TextOptions::default();
    if std::io::stdout().is_terminal() {
        let wanted = !matches!(
            anstream::AutoStream::choice(&std::io::stdout()),
            anstream::ColorChoice::Never
        );
        options.colour = if wanted { Colour::Ansi } else { Colour::Plain };
        let said = std::env::var("COLUMNS")
            .ok()
            .and_then(|text| text.parse::<usize>().ok());
        let measured = || {
            let (width, _) = terminal_size::terminal_size()?;
            Some(usize::from(width.0))
        };
        if let Some(columns) = said.or_else(measured).filter(|columns| *columns > 0) {
            // Longer lines are hard to read, shorter ones break every word.
            options.width = columns.clamp(40, 100);
        }
    }
    options
}
