//! Several workers, one ledger: each job is checked by one of them.

use std::path::Path;
use std::time::Duration;

use photoproof_core::Error;
use photoproof_core::ledger::{Claim, Ledger};

/// How long a job is a worker's own: longer than the check of any job, and short enough that the jobs of a worker that
/// was switched off are taken up the same day.
const LEASE: Duration = Duration::from_secs(3600);

/// This process, as other workers are told of it.
fn worker() -> String {
    format!("{}:{}", host(), std::process::id())
}

fn host() -> String {
    let host = std::fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    match host.trim() {
        "" => "worker".to_owned(),
        name => name.to_owned(),
    }
}

/// Whether a worker was a process of this machine that has ended without giving its jobs back.
fn has_died(worker: &str) -> bool {
    let Some((machine, process)) = worker.rsplit_once(':') else {
        return false;
    };
    let is_number = process.parse::<u32>().is_ok();
    let told = Path::new("/proc/self").exists();
    told && is_number && machine == host() && !Path::new("/proc").join(process).exists()
}

/// Takes a job; otherwise why it is left out.
pub(crate) fn take(ledger: &mut dyn Ledger, job: &str) -> Result<Option<String>, Error> {
    let mut claim = ledger.claim_job(job, &worker(), LEASE)?;
    if let Claim::Held(by) = &claim
        && has_died(by)
    {
        ledger.release_job(job, by)?;
        claim = ledger.claim_job(job, &worker(), LEASE)?;
    }
    Ok(match claim {
        Claim::Taken => None,
        Claim::Recorded(at) => Some(format!("job {job} was recorded at {at}")),
        Claim::Held(by) => Some(format!("job {job} is being checked by {by}")),
        _ => Some(format!("job {job} is taken")),
    })
}

/// Gives a job back that was not recorded.
pub(crate) fn release(ledger: &mut dyn Ledger, job: &str) -> Result<(), Error> {
    ledger.release_job(job, &worker())
}
