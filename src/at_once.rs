//! Two things at once, where the system has a thread for the second.

use std::panic::resume_unwind;
use std::sync::{Mutex, PoisonError};
use std::thread::{Builder, scope};

/// Does both; one after the other where no thread can be had.
pub fn both<A, B: Send>(first: impl FnOnce() -> A, second: impl FnOnce() -> B + Send) -> (A, B) {
    let waiting = Mutex::new(Some(second));
    let second = || {
        let second = waiting.lock().unwrap_or_else(PoisonError::into_inner).take().expect("it is done once");
        second()
    };
    scope(|scope| match Builder::new().spawn_scoped(scope, second) {
        Ok(beside) => {
            let first = first();
            (first, beside.join().unwrap_or_else(|panic| resume_unwind(panic)))
        }
        Err(_) => (first(), second()),
    })
}
