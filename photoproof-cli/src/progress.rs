//! A progress bar on a terminal, nothing elsewhere.

use std::io::IsTerminal;

use indicatif::{ProgressBar, ProgressStyle};
use photoproof_core::pipeline::Progress;

/// Shows where a run stands: photos, then pairs, with the time left.
pub(crate) struct Bar(Option<ProgressBar>);

impl Bar {
    /// A bar on stderr if that is a terminal.
    pub(crate) fn new() -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(None);
        }
        let bar = ProgressBar::new(0);
        if let Ok(style) =
            ProgressStyle::with_template("{msg} {bar:24} {pos}/{len}  {per_sec}  {eta} left")
        {
            bar.set_style(style);
        }
        Self(Some(bar))
    }

    /// Moves the bar.
    pub(crate) fn show(&self, progress: Progress) {
        let Some(bar) = &self.0 else { return };
        let (word, done, total) = match progress {
            Progress::Photos(done, total) => ("photos", done, total),
            Progress::Pairs(done, total) => ("pairs ", done, total),
        };
        if bar.message() != word {
            bar.reset();
            bar.set_message(word);
        }
        bar.set_length(total as u64);
        bar.set_position(done as u64);
    }

    /// Takes the bar away.
    pub(crate) fn clear(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
