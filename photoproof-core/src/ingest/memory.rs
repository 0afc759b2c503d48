//! A gate that keeps the bytes held by all decoders, or by all files being read, together under a bound.

use std::sync::{Condvar, Mutex, PoisonError};

/// Lets decoders in as long as their bytes fit. A single decoder above the bound runs alone.
#[derive(Debug)]
pub(crate) struct MemoryGate {
    held: Mutex<u64>,
    freed: Condvar,
    bound: u64,
}

/// Bytes held until dropped.
#[derive(Debug)]
pub(crate) struct Held<'a> {
    gate: &'a MemoryGate,
    bytes: u64,
}

impl MemoryGate {
    /// A gate of `bound` bytes.
    pub(crate) fn new(bound: u64) -> Self {
        Self {
            held: Mutex::new(0),
            freed: Condvar::new(),
            bound,
        }
    }

    /// Waits until `bytes` fit. Holders never wait for another holder, so this ends.
    pub(crate) fn hold(&self, bytes: u64) -> Held<'_> {
        let bytes = bytes.min(self.bound);
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        while *held + bytes > self.bound {
            held = self
                .freed
                .wait(held)
                .unwrap_or_else(PoisonError::into_inner);
        }
        *held += bytes;
        Held { gate: self, bytes }
    }
}

impl Drop for Held<'_> {
    fn drop(&mut self) {
        let mut held = self
            .gate
            .held
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        *held -= self.bytes;
        self.gate.freed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicU64, Ordering};

    #[test]
    fn the_sum_stays_under_the_bound_and_everyone_gets_in() {
        let gate = MemoryGate::new(10);
        let (now, most) = (AtomicU64::new(0), AtomicU64::new(0));
        std::thread::scope(|scope| {
            for bytes in [3, 4, 5, 6, 100, 1, 10] {
                let (gate, now, most) = (&gate, &now, &most);
                scope.spawn(move || {
                    let held = gate.hold(bytes);
                    let sum = now.fetch_add(held.bytes, Ordering::SeqCst) + held.bytes;
                    most.fetch_max(sum, Ordering::SeqCst);
                    std::thread::yield_now();
                    now.fetch_sub(held.bytes, Ordering::SeqCst);
                });
            }
        });
        assert!(most.load(Ordering::SeqCst) <= 10);
        assert_eq!(*gate.held.lock().unwrap(), 0);
    }
}
