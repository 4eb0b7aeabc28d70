#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| laws::join_accept::holds(bytes));
