//! Two things at once, where the system has threads for them.

use std::io;
use std::panic::resume_unwind;
use std::sync::{Mutex, PoisonError};
use std::thread::{Builder, ScopedJoinHandle, scope};

/// Does both; one after the other where no threads can be had.
pub fn both<A: Send, B: Send>(first: impl FnOnce() -> A + Send, second: impl FnOnce() -> B + Send) -> (A, B) {
    let (first, second) = (once(first), once(second));
    // Both on threads of their own: beside one that goes on with work itself, systems often let a new thread wait.
    scope(|scope| {
        let threads = (Builder::new().spawn_scoped(scope, &first), Builder::new().spawn_scoped(scope, &second));
        (done(threads.0, &first), done(threads.1, &second))
    })
}

/// What a thread has done; where there is none, the work is done here.
fn done<T>(thread: io::Result<ScopedJoinHandle<T>>, work: impl FnOnce() -> T) -> T {
    match thread {
        Ok(thread) => thread.join().unwrap_or_else(|panic| resume_unwind(panic)),
        Err(_) => work(),
    }
}

/// The same, to be done once, by whichever thread.
fn once<T>(work: impl FnOnce() -> T + Send) -> impl Fn() -> T + Sync {
    let waiting = Mutex::new(Some(work));
    move || {
        let work = waiting.lock().unwrap_or_else(PoisonError::into_inner).take().expect("it is done once");
        work()
    }
}
