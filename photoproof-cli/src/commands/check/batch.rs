//! Many jobs: several at a time below a bound of memory, their results in the order given.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

use photoproof_core::{Error, ErrorKind};

use super::job::{End, Job};

/// Memory of one job besides its photos, MiB.
const JOB_MIB: u64 = 40;
/// Memory that one photo holds until its job is judged, in tenths of a MiB: measures, small pictures, the page.
const PHOTO_TENTHS: u64 = 9;
/// The same of each photo beyond the first few hundred, whose measures lie in a file.
const FURTHER_TENTHS: u64 = 2;
const FEW_HUNDRED: u64 = 200;

/// What a job is expected to hold, MiB.
fn expected_mib(job: &Job<'_>) -> u64 {
    let photos = job.photos() as u64;
    let held = photos.min(FEW_HUNDRED);
    JOB_MIB + (held * PHOTO_TENTHS + (photos - held) * FURTHER_TENTHS) / 10
}

/// How a job ended.
type Ended = Result<End, Error>;

/// Results that wait for those before them.
struct Line<'a> {
    next: usize,
    waiting: BTreeMap<usize, Ended>,
    show: &'a mut (dyn FnMut(&Job<'_>, Ended) + Send),
}

/// Checks `jobs`, at most `at_once` together, with at most `memory_mib` expected to be held together; a job that needs
/// more runs alone. `show` gets each result in the order of the jobs.
pub(super) fn run<'a>(
    jobs: &'a [Job<'a>],
    (at_once, memory_mib): (usize, u64),
    check: &(dyn Fn(&'a Job<'a>) -> Ended + Sync),
    show: &mut (dyn FnMut(&Job<'_>, Ended) + Send),
) {
    let gate = Gate::new(memory_mib);
    let begun = AtomicUsize::new(0);
    let line = Mutex::new(Line {
        next: 0,
        waiting: BTreeMap::new(),
        show,
    });
    let work = || {
        loop {
            let index = begun.fetch_add(1, Ordering::Relaxed);
            let Some(job) = jobs.get(index) else { return };
            let ended = {
                let _held = gate.hold(expected_mib(job));
                catch_unwind(AssertUnwindSafe(|| check(job))).unwrap_or_else(|_| Err(fault(job)))
            };
            let mut line = locked(&line);
            line.waiting.insert(index, ended);
            while let Some((at, ended)) = {
                let next = line.next;
                line.waiting.remove_entry(&next)
            } {
                line.next += 1;
                if let Some(job) = jobs.get(at) {
                    (line.show)(job, ended);
                }
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..at_once.min(jobs.len()) {
            scope.spawn(work);
        }
        work();
    });
}

fn fault(job: &Job<'_>) -> Error {
    let folder = job.folder.display();
    let message = format!("the check of {folder} broke off by a fault of this program");
    Error::new(ErrorKind::Io, message)
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Lets jobs in as long as what they hold fits.
struct Gate {
    bound: u64,
    held: Mutex<u64>,
    freed: Condvar,
}

struct Held<'a>(&'a Gate, u64);

impl Gate {
    fn new(bound: u64) -> Self {
        Self {
            bound,
            held: Mutex::new(0),
            freed: Condvar::new(),
        }
    }

    /// Waits until `amount` fits; one above the bound waits until nothing else is held.
    fn hold(&self, amount: u64) -> Held<'_> {
        let amount = amount.min(self.bound);
        let mut held = locked(&self.held);
        while *held + amount > self.bound {
            held = self
                .freed
                .wait(held)
                .unwrap_or_else(PoisonError::into_inner);
        }
        *held += amount;
        Held(self, amount)
    }
}

impl Drop for Held<'_> {
    fn drop(&mut self) {
        *locked(&self.0.held) -= self.1;
        self.0.freed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn jobs(count: usize) -> Vec<Job<'static>> {
        (0..count)
            .map(|n| Job::new(Path::new("folder"), format!("{n}")))
            .collect()
    }

    fn names(shown: &[(String, bool)]) -> Vec<&str> {
        shown.iter().map(|(name, _)| name.as_str()).collect()
    }

    #[test]
    fn results_come_in_order_and_a_fault_of_one_job_stops_nothing() {
        let jobs = jobs(9);
        for at_once in [1, 3, 20] {
            let mut shown = Vec::new();
            let check = |job: &Job<'_>| {
                let number: u64 = job.name.parse().unwrap_or(0);
                std::thread::sleep(std::time::Duration::from_millis(20 - 2 * number));
                match number {
                    4 => panic!("a fault"),
                    _ => Ok(End::NoPhotos),
                }
            };
            run(&jobs, (at_once, 1 << 20), &check, &mut |job, ended| {
                shown.push((job.name.clone(), ended.is_ok()));
            });
            assert_eq!(names(&shown), ["0", "1", "2", "3", "4", "5", "6", "7", "8"]);
            let bad: Vec<_> = shown.iter().filter(|(_, good)| !good).collect();
            assert_eq!(bad.len(), 1);
        }
    }

    #[test]
    fn memory_bounds_how_many_run_together() {
        let jobs = jobs(8);
        for (memory_mib, most) in [(1, 1), (2 * JOB_MIB, 2), (3 * JOB_MIB + 1, 3)] {
            let (now, peak) = (AtomicUsize::new(0), AtomicUsize::new(0));
            let check = |_: &Job<'_>| {
                let together = now.fetch_add(1, Ordering::SeqCst) + 1;
                peak.fetch_max(together, Ordering::SeqCst);
                std::thread::sleep(std::time::Duration::from_millis(20));
                now.fetch_sub(1, Ordering::SeqCst);
                Ok(End::NoPhotos)
            };
            run(&jobs, (8, memory_mib), &check, &mut |_, _| {});
            assert_eq!(peak.load(Ordering::SeqCst), most, "{memory_mib} MiB");
        }
    }
}
