//! Sheets of paper: where lines and pages end.

use super::job::{Drawing, Paper};
use super::mei::Colors;
use super::toolkit::Toolkit;
use serde_json::json;

pub fn draw(toolkit: &mut Toolkit, music: &str, paper: Paper, _turns: &[f64]) -> Option<Drawing> {
    let (width, height) = paper.size();
    toolkit.set(&json!({ "pageWidth": width, "pageHeight": height }));
    if !toolkit.load_dressed(music, Colors::Drawn) {
        return None;
    }
    Some(Drawing { pictures: toolkit.pages(), excerpts: Vec::new() })
}
