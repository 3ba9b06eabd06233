//! What an engraver writes on one line: a tempo and its metronome mark, a dynamic and the words
//! that stand at the same beat.

use super::boxes::{Extent, SVG, has_class};
use super::letters::Face;
use super::outlines::union;
use super::owners::part_of;
use super::room::{Room, shared};
use super::units::{Unit, baseline, moved};
use roxmltree::Node;

/// Between a dynamic and words, between a tempo and its metronome mark.
const AFTER_DYNAMIC: f64 = 70.0;
const AFTER_TEMPO: f64 = 160.0;
/// Words that begin no farther from each other stand at one beat.
const ONE_BEAT: f64 = 400.0;
/// Lines so far from each other are neighbours.
const NEXT_LINE: f64 = 1000.0;

/// Puts the words of a bar side by side, as far as there is room.
pub fn side_by_side(units: &mut Vec<Unit<'_, '_>>, room: &Room, is_within: impl Fn(Extent) -> bool) {
    let mut at = 0;
    while at < units.len() {
        let others = (0..units.len()).filter(|other| *other != at);
        let found =
            others.filter_map(|other| Some((other, gap(&units[at], &units[other])?))).find_map(|(other, gap)| {
                let rest: Vec<Extent> =
                    (0..units.len()).filter(|u| *u != at && *u != other).map(|u| units[u].extent).collect();
                let pair = |moves: [[f64; 2]; 2]| {
                    let extents = [moved(units[at].extent, moves[0]), moved(units[other].extent, moves[1])];
                    // On its own line it may lie on a slur there as before.
                    let is_free = |by: [f64; 2], place: Extent| {
                        let alone = rest.iter().all(|r| shared(place, *r) <= 0.0);
                        let free =
                            if by[1] == 0.0 { room.lies_on_no_more_than_lines(place) } else { room.is_free(place) };
                        alone && is_within(place) && free
                    };
                    let fits = moves.into_iter().zip(extents).all(|(by, place)| by == [0.0; 2] || is_free(by, place));
                    fits.then_some((other, moves, union(extents[0], extents[1])))
                };
                let lines = [&units[at], &units[other]].map(|unit| baseline(unit.members[0].0));
                let [Some(first), Some(second)] = lines else { return None };
                let aside = units[at].extent[2] + gap - units[other].extent[0];
                let here = [[0.0, 0.0], [aside, first - second]];
                let there = [[0.0, second - first], [aside, 0.0]];
                // A dynamic stays on its line; a tempo stands on the one that is nearer to the staff.
                let is_dynamic = has_class(units[at].members[0].0, "dynam");
                let away = |y: f64| units[at].staves.first().map_or(0.0, |staff| (staff[1] - y).abs());
                match is_dynamic || away(first) <= away(second) {
                    true => pair(here).or_else(|| pair(there)),
                    false => pair(there).or_else(|| pair(here)),
                }
            });
        let Some((other, moves, extent)) = found else {
            at += 1;
            continue;
        };
        let second = units[other].clone();
        let first = &mut units[at];
        first.members[0].1 = moves[0];
        first.members.push((second.members[0].0, moves[1]));
        first.extent = extent;
        units.remove(other);
        at = 0;
    }
}

/// How far the second is to stand from the first, if both belong on one line and do not stand so.
fn gap(first: &Unit<'_, '_>, second: &Unit<'_, '_>) -> Option<f64> {
    let ([one], [other]) = (&first.members[..], &second.members[..]) else { return None };
    let is = |node: Node<'_, '_>, classes: &[&str]| classes.iter().any(|class| has_class(node, class));
    let middle = |e: Extent| (e[1] + e[3]) / 2.0;
    let [a, b] = [first.extent, second.extent];
    let is_parted = |staff: &Extent| {
        let [above, below] = [middle(a).min(middle(b)), middle(a).max(middle(b))];
        above < middle(*staff) && middle(*staff) < below
    };
    if part_of(one.0) != part_of(other.0) {
        return None;
    }
    if (baseline(one.0)? - baseline(other.0)?).abs() > NEXT_LINE || first.staves.iter().any(is_parted) {
        return None;
    }
    let is_tempo =
        is(one.0, &["tempo", "dir"]) && !has_glyphs(one.0) && is(other.0, &["tempo"]) && is_metronome(other.0);
    if is_tempo {
        return (b[0] > a[0] - ONE_BEAT && b[0] < a[2] + AFTER_TEMPO).then_some(AFTER_TEMPO);
    }
    let is_dynamic =
        is(one.0, &["dynam"]) && has_glyphs(one.0) && is(other.0, &["dynam", "dir"]) && !has_glyphs(other.0);
    (is_dynamic && (a[0] - b[0]).abs() < ONE_BEAT && b[0] < a[2] + AFTER_DYNAMIC).then_some(AFTER_DYNAMIC)
}

/// Whether signs of the music font are in it.
fn has_glyphs(node: Node<'_, '_>) -> bool {
    node.descendants().any(|n| n.has_tag_name((SVG, "use")) || face(n) == Some(Face::Music))
}

/// The face of letters.
fn face(letters: Node<'_, '_>) -> Option<Face> {
    letters.parent().filter(|_| letters.is_text()).map(Face::of)
}

/// Whether a tempo is told in a note's length alone.
fn is_metronome(tempo: Node<'_, '_>) -> bool {
    let words = tempo.descendants().filter(|n| face(*n).is_some_and(|face| face != Face::Music));
    has_glyphs(tempo) && words.filter_map(|n| n.text()).all(|text| !text.contains(char::is_alphabetic))
}

#[cfg(test)]
mod tests {
    use super::super::places::given;
    use super::*;

    fn text(class: &str, x: u32, y: u32, said: &str) -> String {
        format!(
            "<g class=\"{class}\"><text x=\"{x}\" y=\"{y}\" font-size=\"0px\"><tspan><tspan font-size=\"405px\">{said}</tspan>\
             </tspan></text></g>"
        )
    }

    fn forte(x: u32, y: u32) -> String {
        let sign = format!(
            "<text x=\"{x}\" y=\"{y}\"><tspan font-family=\"Leipzig\" font-size=\"720px\">\u{E522}</tspan></text>"
        );
        format!("<g class=\"dynam\">{sign}</g>")
    }

    fn drawn(inner: &str) -> String {
        let staff = |y: u32| format!("<g class=\"staff\"><path d=\"M0 {y} L9000 {y}\"/></g>");
        let svg = format!(
            "<svg xmlns=\"{SVG}\"><g class=\"system\"><g class=\"measure\">{}{}{inner}</g></g></svg>",
            staff(2000),
            staff(5000)
        );
        given(&[svg]).unwrap().remove(0)
    }

    #[test]
    fn words_stand_after_their_dynamic() {
        let both = forte(1000, 3500) + &text("dynam", 1050, 3520, "dim.");
        let moved = drawn(&both);
        assert!(moved.contains("<g transform=\"translate(") && moved.contains(" -20)\" class=\"dynam\">"), "{moved}");
        // What is elsewhere stays.
        let apart = forte(1000, 3500) + &text("dir", 1050, 6300, "dim.");
        assert!(!drawn(&apart).contains("transform"));
        let elsewhere = forte(1000, 3500).replace("dynam", "dynam of-1") + &text("dynam of-2", 1050, 4300, "dim.");
        assert!(!drawn(&elsewhere).contains("transform"));
        let later = forte(1000, 3500) + &text("dir", 3050, 3500, "dim.");
        assert!(!drawn(&later).contains("transform"));
    }

    #[test]
    fn a_metronome_mark_stands_after_its_tempo() {
        let mark = |said: &str| {
            let note = "<g class=\"tempo\"><text x=\"1000\" y=\"700\" font-size=\"0px\"><tspan font-family=\"Leipzig\" \
                        font-size=\"720px\">\u{ECA5}</tspan>";
            format!("{note}<tspan font-size=\"405px\">{said}</tspan></text></g>")
        };
        let words = text("dir", 1000, 1300, "Largo");
        let moved = drawn(&(words.clone() + &mark(" = 126)")));
        assert!(moved.contains(" 600)\" class=\"tempo\">"), "{moved}");
        assert!(!drawn(&(words + &mark(" = 126, a little slower"))).contains("transform"));
    }
}
