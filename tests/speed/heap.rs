//! Counts the bytes that are held, and the most that ever were.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

pub struct Counting;

static HELD: AtomicUsize = AtomicUsize::new(0);
static PEAK: AtomicUsize = AtomicUsize::new(0);

/// The most bytes that were held at once.
pub fn peak() -> usize {
    PEAK.load(Relaxed)
}

fn grown(by: usize) {
    PEAK.fetch_max(HELD.fetch_add(by, Relaxed) + by, Relaxed);
}

// SAFETY: every call goes on to the system's allocator as it came.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        grown(layout.size());
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        HELD.fetch_sub(layout.size(), Relaxed);
        unsafe { System.dealloc(at, layout) }
    }

    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        // The system may hold both while it moves the bytes.
        grown(size);
        let moved = unsafe { System.realloc(at, layout, size) };
        HELD.fetch_sub(layout.size(), Relaxed);
        moved
    }
}
