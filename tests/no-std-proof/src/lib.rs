//! Proof that neither a core crate nor `record` without its feature `std` brings std in, on any target: this crate defines
//! the panic handler that std also defines, so it does not compile ("found duplicate lang item `panic_impl`") once std is
//! linked by any crate below it.
//! Does not run; it is a library, so it needs no allocator and no unsafe code.
#![no_std]

extern crate judge;
extern crate pipeline;
extern crate quantity;
#[cfg(feature = "toml")]
extern crate record;
extern crate rulecode;
extern crate script;
extern crate trade;
extern crate visit;
extern crate wire;

#[panic_handler]
fn stop(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
