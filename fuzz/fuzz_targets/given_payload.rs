#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| laws::given_payload::holds(bytes));
