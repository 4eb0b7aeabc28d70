#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| laws::gateway_text::holds(bytes));
