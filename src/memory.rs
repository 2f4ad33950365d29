//! The program's allocator: the system's. If memory runs out, it prints a sentence, and the program ends with the exit code for a machine
//! that lacks something, instead of aborting. Everything said back is on disk by then.

use std::alloc::{GlobalAlloc, Layout, System};

/// The system's allocator, except that it never returns null.
pub struct Memory;

fn there(at: *mut u8) -> *mut u8 {
    if at.is_null() {
        probeside::terminal::ends_without_memory();
    }
    at
}

// SAFETY: every call goes to the system's allocator unchanged, and its result is returned.
unsafe impl GlobalAlloc for Memory {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        // SAFETY: the caller keeps the contract of `alloc`.
        there(unsafe { System.alloc(layout) })
    }
    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        // SAFETY: the caller keeps the contract of `alloc_zeroed`.
        there(unsafe { System.alloc_zeroed(layout) })
    }
    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        // SAFETY: the caller keeps the contract of `realloc`.
        there(unsafe { System.realloc(at, layout, size) })
    }
    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        // SAFETY: the caller keeps the contract of `dealloc`.
        unsafe { System.dealloc(at, layout) }
    }
}
