#![no_main]

#[path = "../../common/drive.rs"]
mod drive;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| drive::clean(bytes));
