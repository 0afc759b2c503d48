//! A progress bar on a terminal, nothing elsewhere.

use std::fmt::Write;
use std::io::IsTerminal;
use std::sync::atomic::{AtomicUsize, Ordering};

use indicatif::{HumanDuration, ProgressBar, ProgressState, ProgressStyle};
use photoproof_core::pipeline::Progress;

/// Shows where a run stands: of one job photos, then pairs, with rate and time left; of a batch its share that is done,
/// counted in photos measured and compared.
pub(crate) struct Bar {
    bar: Option<ProgressBar>,
    jobs: usize,
    ended: AtomicUsize,
}

/// One photo of a batch counts once when it is measured and once when it is compared.
const STEPS: usize = 2;

/// Done a second; nothing before something is done.
fn rate(state: &ProgressState, out: &mut dyn Write) {
    if state.pos() > 0 {
        let _ = write!(out, "{:.0}/s", state.per_sec());
    }
}

/// Time left; nothing before something is done, or when all is.
fn left(state: &ProgressState, out: &mut dyn Write) {
    if state.pos() > 0 && Some(state.pos()) != state.len() {
        let _ = write!(out, "  {:#} left", HumanDuration(state.eta()));
    }
}

impl Bar {
    /// A bar on stderr, if that is a terminal, for so many jobs with so many photos together.
    pub(crate) fn new(jobs: usize, photos: usize) -> Self {
        let bar = std::io::stderr().is_terminal().then(|| {
            let (steps, template) = match jobs {
                1 => (1, "{msg} {bar:24} {pos}/{len}  {rate}{left}"),
                _ => (STEPS, "{msg} {bar:24} {percent} %{left}"),
            };
            let bar = ProgressBar::new((photos * steps) as u64);
            if let Ok(style) = ProgressStyle::with_template(template) {
                bar.set_style(style.with_key("rate", rate).with_key("left", left));
            }
            bar.set_message("photos");
            bar
        });
        let bar = Self {
            bar,
            jobs,
            ended: AtomicUsize::new(0),
        };
        bar.say_jobs();
        bar
    }

    /// The bar itself, for whoever takes it away at once.
    pub(crate) fn inner(&self) -> Option<ProgressBar> {
        self.bar.clone()
    }

    fn say_jobs(&self) {
        if let Some(bar) = self.bar.as_ref().filter(|_| self.jobs > 1) {
            let ended = self.ended.load(Ordering::Relaxed);
            bar.set_message(format!("jobs {ended}/{}", self.jobs));
        }
    }

    /// Moves the bar for a job of `photos` photos. `steps`: what of it was shown before.
    pub(crate) fn show_of(&self, progress: Progress, photos: usize, steps: &AtomicUsize) {
        let Some(bar) = self.bar.as_ref().filter(|_| self.jobs > 1) else {
            self.show(progress);
            return;
        };
        let now = match progress {
            Progress::Photos(done, _) => done.min(photos),
            Progress::Pairs(done, total) => photos + photos * done / total.max(1),
        };
        let before = steps.fetch_max(now, Ordering::Relaxed);
        bar.inc(now.saturating_sub(before) as u64);
    }

    /// Moves the bar of a single job.
    pub(crate) fn show(&self, progress: Progress) {
        let Some(bar) = &self.bar else { return };
        let (word, done, total) = match progress {
            Progress::Photos(done, total) => ("photos", done, total),
            Progress::Pairs(done, total) if done == total => ("judging", done, total),
            Progress::Pairs(done, total) => ("pairs", done, total),
        };
        if bar.message() != word && !(bar.message() == "judging" && word == "pairs") {
            bar.reset();
            bar.set_message(word);
        }
        bar.set_length(total as u64);
        bar.set_position(done as u64);
    }

    /// A job of a batch is done; one that was found done does not count for the rate.
    pub(crate) fn ended(&self, photos: usize, steps: &AtomicUsize, was_done: bool) {
        self.ended.fetch_add(1, Ordering::Relaxed);
        self.say_jobs();
        if let Some(bar) = self.bar.as_ref().filter(|_| self.jobs > 1) {
            let left = (photos * STEPS).saturating_sub(steps.load(Ordering::Relaxed)) as u64;
            if was_done {
                bar.set_length(bar.length().unwrap_or(0).saturating_sub(left));
            } else {
                bar.inc(left);
            }
        }
    }

    /// Prints while the bar is out of the way.
    pub(crate) fn aside<T>(&self, print: impl FnOnce() -> T) -> T {
        match &self.bar {
            Some(bar) => bar.suspend(print),
            None => print(),
        }
    }

    /// Takes the bar away.
    pub(crate) fn clear(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}
