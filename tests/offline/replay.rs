//! Replays what the fuzz targets (`tests/fuzz`) failed on once: inputs of
//! random making, one score or two, named for what is odd in them.

use crate::drive;
use std::fs;
use std::path::Path;

#[test]
fn cases_that_once_failed_do_no_more() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/offline/cases");
    let cases: Vec<_> = fs::read_dir(&folder).expect("the cases are there").flatten().map(|e| e.path()).collect();
    assert!(!cases.is_empty(), "{} holds no case", folder.display());
    for case in cases {
        // The name of the case stands before what a panic says.
        println!("{}", case.display());
        let bytes = fs::read(&case).expect("a case can be read");
        for drive in [drive::read, drive::audit, drive::clean] {
            drive(&bytes);
        }
    }
}
