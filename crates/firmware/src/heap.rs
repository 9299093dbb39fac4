//! The heap of the board, and how much of it was in use at most.
//! Does not lock: there is one core, and no interrupt that allocates.
#![expect(unsafe_code, reason = "an allocator hands out raw memory")]

use core::alloc::{GlobalAlloc, Layout};
use core::cell::UnsafeCell;
use core::mem::MaybeUninit;
use core::ptr::{self, NonNull};

/// The allocator.
pub(crate) struct Heap(UnsafeCell<State>);

struct State {
    blocks: linked_list_allocator::Heap,
    peak_bytes: usize,
}

// SAFETY: nothing runs beside the one thread of this program.
unsafe impl Sync for Heap {}

impl Heap {
    /// One that has no memory yet.
    pub(crate) const fn empty() -> Self {
        Self(UnsafeCell::new(State { blocks: linked_list_allocator::Heap::empty(), peak_bytes: 0 }))
    }

    /// Gives it its memory.
    pub(crate) fn give(&self, memory: &'static mut [MaybeUninit<u8>]) {
        self.with(|state| state.blocks.init_from_slice(memory));
    }

    /// Bytes that were in use at once at most, the gaps of alignment included.
    pub(crate) fn peak_bytes(&self) -> usize {
        self.with(|state| state.peak_bytes)
    }

    fn with<T>(&self, act: impl FnOnce(&mut State) -> T) -> T {
        // SAFETY: no other reference exists: nothing runs beside us, and no `act` here allocates.
        act(unsafe { &mut *self.0.get() })
    }
}

// SAFETY: each block comes from the list of free ones, and goes back there once.
unsafe impl GlobalAlloc for Heap {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        self.with(|state| {
            let block = state.blocks.allocate_first_fit(layout);
            state.peak_bytes = state.peak_bytes.max(state.blocks.used());
            block.map_or(ptr::null_mut(), NonNull::as_ptr)
        })
    }

    unsafe fn dealloc(&self, block: *mut u8, layout: Layout) {
        if let Some(block) = NonNull::new(block) {
            // SAFETY: the caller got the block from `alloc` with this layout.
            self.with(|state| unsafe { state.blocks.deallocate(block, layout) });
        }
    }
}
