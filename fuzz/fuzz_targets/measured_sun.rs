#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| laws::node_log::sun_holds(bytes));
