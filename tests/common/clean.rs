//! A clean copy.

use super::program::{demo, json_of, obelus};
use serde_json::Value;
use std::path::PathBuf;

pub struct Clean {
    _folder: tempfile::TempDir,
    pub path: PathBuf,
}

impl Clean {
    pub fn demo(options: &[&str]) -> Clean {
        Clean::of(&demo("edition.musicxml"), &demo("source.musicxml"), options)
    }

    pub fn of(edition: &str, source: &str, options: &[&str]) -> Clean {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("clean.musicxml");
        obelus(&[&["clean", edition, source, "-o", path.to_str().unwrap()], options].concat());
        Clean { _folder: folder, path }
    }

    pub fn name(&self) -> &str {
        self.path.to_str().unwrap()
    }

    /// The findings of an audit against the demo's source.
    pub fn findings(&self) -> Vec<Value> {
        let report = json_of(&["audit", self.name(), &demo("source.musicxml"), "--format", "json"]);
        report["parts"][0]["findings"].as_array().unwrap().clone()
    }
}
