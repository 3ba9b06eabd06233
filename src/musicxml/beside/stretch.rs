//! Stretches of a pair of parts, each as a score of its own for the engraver.

use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::signs::{Signs, taken_out};
use super::staff::say;
use super::typed::take_all;
use super::{BarsOfRow, Brackets, Pair, clefs, document, engraver, identification, list_pair};

/// A stretch of both sides for the engraver.
pub struct Stretch {
    pub music: String,
    /// Of each bar what is the source's and the edition's own.
    pub signs: Vec<[Signs; 2]>,
}

/// Writes stretches of rows, first and last of each, as scores that begin with
/// what holds there.
pub fn write_stretches(pair: &Pair, rows: &[BarsOfRow], stretches: &[(usize, usize)]) -> Vec<Stretch> {
    let mut sides = pair.measures(rows);
    // In a page titles are told above the staves.
    for side in &mut sides {
        take_all(side);
        engraver::prepare_all(side, Brackets::LeftOut);
    }
    let one = |(first, last): &(usize, usize)| {
        let mut measures = [&sides[0], &sides[1]].map(|side| opened(side, *first, *last));
        let [upper, lower] = &mut measures;
        clefs::as_words(upper);
        clefs::as_words(lower);
        let signs = taken_out(upper).into_iter().zip(taken_out(lower)).map(<[Signs; 2]>::from).collect();
        let (mut list, mut parts) = (Fragment::new("part-list"), Vec::new());
        list_pair(&mut list, &mut parts, 1, ["Source".into(), "Edition".into()], pair.barlines(), measures);
        // Every system names its sides, not the first alone.
        for part in list.children.iter_mut().filter(|one| one.name == "score-part") {
            let short = part.children[0].text.clone();
            part.children.push(Fragment::leaf("part-abbreviation", short));
        }
        Stretch { music: document(vec![identification()], list, parts), signs }
    };
    stretches.iter().map(one).collect()
}

/// Bars that begin with what holds there.
pub(super) fn opened(measures: &[Fragment], first: usize, last: usize) -> Vec<Fragment> {
    let mut in_force: Vec<&Fragment> = Vec::new();
    let said = measures[..first].iter().flat_map(|m| &m.children).filter(|c| c.name == "attributes");
    for one in said.flat_map(|attributes| &attributes.children).filter(|c| facts(&c.name).lasts) {
        in_force.retain(|old| old.name != one.name || old.attribute("number") != one.attribute("number"));
        in_force.push(one);
    }
    let mut out = measures[first..=last].to_vec();
    if let Some(measure) = out.first_mut() {
        let held = in_force.into_iter().cloned().map(|one| match one.name.as_str() {
            // It was printed where it began.
            "time" => one.set("print-object", "no"),
            _ => one,
        });
        say(&mut measure.children, held.collect());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stretch_begins_with_what_holds() {
        let holding = |name: &str, inner: Vec<Fragment>| {
            let mut out = Fragment::new(name);
            out.children = inner;
            out
        };
        let measure = |inner| holding("measure", inner);
        let attributes = |inner| holding("attributes", inner);
        let key = |fifths: i32| Fragment::new("key").with(Fragment::leaf("fifths", fifths));
        let clef = |number: u32, sign| Fragment::new("clef").set("number", number).with(Fragment::leaf("sign", sign));
        let time = || Fragment::new("time").with(Fragment::leaf("beats", 3));
        let measures = [
            measure(vec![attributes(vec![Fragment::leaf("divisions", 4), key(1), time(), clef(1, "G"), clef(2, "F")])]),
            measure(vec![Fragment::new("note"), attributes(vec![clef(2, "C")])]),
            measure(vec![attributes(vec![key(-1)]), Fragment::new("note")]),
        ];
        let stretch = opened(&measures, 2, 2);
        assert_eq!(stretch.len(), 1);
        let begin = &stretch[0].children[0];
        let names: Vec<&str> = begin.children.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["divisions", "key", "time", "clef", "clef"]);
        assert_eq!(begin.children[1], key(-1));
        assert_eq!(begin.children[2].attribute("print-object"), Some("no"));
        assert_eq!(begin.children[4], clef(2, "C"));
        assert_eq!(opened(&measures, 0, 2), measures);
    }
}
