//! Titles and names that were typed as words over the first bars: they belong to the head of a page.

use super::super::fragment::Fragment;
use super::super::tree::one_line;
use super::super::words::classify;
use crate::score::Category;

/// A line of a head that stands as words in the music.
#[derive(Debug, Clone, PartialEq)]
pub struct Typed {
    pub text: String,
    pub side: Side,
    /// Of its letters, in points.
    pub size: f64,
    pub color: Option<String>,
}

/// Where in a head a line stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Middle,
    Right,
}

/// Takes the lines of a head out of a part.
pub fn take_all(measures: &mut [Fragment]) -> Vec<Typed> {
    measures.iter_mut().take(BARS).flat_map(take).collect()
}

/// Only over so many bars stands what belongs to a head.
const BARS: usize = 8;
/// Fewer words may be meant for the player.
const WORDS: usize = 3;

/// Takes the lines of a head out of a bar.
fn take(measure: &mut Fragment) -> Vec<Typed> {
    let mut out = Vec::new();
    measure.children.retain(|child| {
        let lines = if child.name == "direction" { typed(child) } else { Vec::new() };
        let stays = lines.is_empty();
        out.extend(lines);
        stays
    });
    out
}

/// A direction's lines, if all that it says is set in the middle or on the right of the page, and says nothing to
/// the player.
fn typed(direction: &Fragment) -> Vec<Typed> {
    if direction.attribute("placement") == Some("below") {
        return Vec::new();
    }
    let kinds = direction.children.iter().filter(|c| c.name == "direction-type").flat_map(|kind| &kind.children);
    let lines: Option<Vec<Vec<Typed>>> = kinds.map(lines).collect();
    lines.unwrap_or_default().concat()
}

fn lines(words: &Fragment) -> Option<Vec<Typed>> {
    let side = match words.attribute("justify").or(words.attribute("halign"))? {
        "center" => Side::Middle,
        "right" => Side::Right,
        _ => return None,
    };
    let size = words.attribute("font-size").and_then(|size| size.parse().ok()).unwrap_or_default();
    let said = words.text.trim();
    let is_long = said.split_whitespace().count() >= WORDS || said.contains('\n');
    let is_head = words.name == "words" && is_long;
    let says_nothing = classify(said).0 == Category::Text;
    let color = words.attribute("color").map(String::from);
    let line = |text: &str| Typed { text: one_line(text), side, size, color: color.clone() };
    (is_head && says_nothing).then(|| said.lines().map(line).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn taken(words: Fragment) -> Vec<String> {
        let kind = Fragment::new("direction-type").with(words);
        let mut measure = Fragment::new("measure").with(Fragment::new("direction").with(kind));
        let lines = take(&mut measure);
        assert_eq!(measure.children.is_empty(), !lines.is_empty());
        lines.into_iter().map(|line| line.text).collect()
    }

    #[test]
    fn a_title_goes_to_the_head_and_what_tells_the_player_stays() {
        let words = |text: &str, side: &str| Fragment::leaf("words", text).set("justify", side).set("font-size", "15");
        assert_eq!(taken(words("3. The Miller and the Brook", "center")), ["3. The Miller and the Brook"]);
        assert_eq!(taken(words("A. Composer\nop. 25", "right")), ["A. Composer", "op. 25"]);
        for (text, side) in
            [("Allegro ma non troppo", "center"), ("Solo", "center"), ("3. The Miller and the Brook", "left")]
        {
            assert!(taken(words(text, side)).is_empty(), "{text}");
        }
        assert!(
            taken(Fragment::leaf("words", "a little slower, but not dragging").set("justify", "center")).is_empty()
        );
    }
}
