//! Replays the cases that the fuzz targets (`tests/fuzz`) once failed on, and
//! the seeds kept with them: none may panic, and every clean copy proves.

#[path = "common/drive.rs"]
mod drive;

use std::fs;
use std::path::Path;

fn replay(target: &str, drive: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/cases").join(target);
    let cases: Vec<_> = fs::read_dir(&folder).expect("the cases are there").flatten().map(|e| e.path()).collect();
    assert!(!cases.is_empty(), "{} holds no case", folder.display());
    for case in cases {
        // The name of the case stands before what a panic says.
        println!("{}", case.display());
        drive(&fs::read(&case).expect("a case can be read"));
    }
}

#[test]
fn reading() {
    replay("read", drive::read);
}

#[test]
fn auditing() {
    replay("audit", drive::audit);
}

#[test]
fn cleaning() {
    replay("clean", drive::clean);
}
