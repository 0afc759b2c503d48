//! Ctrl-C and the signals that end a program: nothing half written stays.

use indicatif::ProgressBar;
use photoproof_core::whole_file;

use crate::exit;
use crate::style;

/// From now on a signal to end takes unfinished files away first. Call once.
pub(crate) fn install(bar: Option<ProgressBar>) {
    // Without a handler the program ends all the same, and the next run takes the files away.
    let _ = ctrlc::set_handler(move || {
        let _held = whole_file::abandon_all();
        if let Some(bar) = &bar {
            bar.finish_and_clear();
        }
        style::diagnostic("interrupted", "nothing half written is left");
        exit::interrupted();
    });
}
