#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| overwinter_fuzz::design_file::holds(bytes));
