#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| overwinter_fuzz::identity::holds(bytes));
