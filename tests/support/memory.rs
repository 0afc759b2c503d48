//! The memory of a process.

/// The most memory that process `id` (`self`: this one) has held, MiB, as long as it runs (proc(5), VmHWM).
pub(crate) fn peak_of(id: &str) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kib: u64 = line.trim().split(' ').next()?.parse().ok()?;
    Some(kib / 1024)
}
