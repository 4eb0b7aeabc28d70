#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| laws::payload::holds(bytes));
