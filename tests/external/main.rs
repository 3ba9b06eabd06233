//! The tests that need more than Rust: Python with its packages (real scores, the schema), Node.js and a browser, the
//! engraver. `cargo test --all-features` runs them with all others. What is missing is named in one line.

mod browser;
#[path = "../common/chromium.rs"]
mod chromium;
mod clean;
mod cleaning;
#[path = "../common/mod.rs"]
#[allow(dead_code)] // `offline` uses all of it
mod common;
mod conformance;
mod contents;
mod desk;
mod drawn;
mod editors;
mod engrave;
mod exercises;
mod keys;
mod killed;
mod packages;
mod page;
mod paper;
mod python;
mod rank;
mod real;
mod schema;
mod survey;
mod terminal;
mod valid;

#[cfg(not(feature = "engrave"))]
#[test]
fn staves_and_printed_parts() {
    panic!(
        "the tests of staves and printed parts need the feature `engrave` and a C++20 compiler: cargo test --all-features"
    );
}
