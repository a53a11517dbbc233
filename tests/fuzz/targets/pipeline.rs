#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| peakorder_fuzz::pipeline(data));
