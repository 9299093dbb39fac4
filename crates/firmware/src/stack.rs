//! How deep the stack went: the runtime paints it at the start, and what is still painted was never used.
#![expect(unsafe_code, reason = "it looks at memory between two symbols of the linker")]

use cortex_m_rt::STACK_PAINT_VALUE;

#[expect(improper_ctypes, reason = "symbols of the linker: their places count, they hold nothing")]
unsafe extern "C" {
    /// Where the stack begins; it grows downwards.
    static _stack_start: ();
    /// Where it must end.
    static _stack_end: ();
}

/// Bytes between the beginning of the stack and the lowest word that was ever written.
pub(crate) fn peak_bytes() -> usize {
    let start = (&raw const _stack_start).cast::<u32>();
    let mut word = (&raw const _stack_end).cast::<u32>();
    // SAFETY: every word between the two symbols is memory that the runtime has painted.
    while word < start && unsafe { word.read_volatile() } == STACK_PAINT_VALUE {
        word = word.wrapping_add(1);
    }
    start.addr() - word.addr()
}
