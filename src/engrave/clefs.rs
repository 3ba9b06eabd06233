//! Clefs that come with a bar stand before its barline, on their staff alone.

use super::document::{is, staves_of};
use crate::musicxml::CLEF;
use crate::patch::Patch;
use roxmltree::{Document, Node};

/// The document with clefs for the words that are clefs; `None` if it is none.
pub fn before_barlines(mei: &str) -> Option<String> {
    if !mei.contains(CLEF) {
        return Some(mei.into());
    }
    let document = Document::parse(mei).ok()?;
    let measures: Vec<Node> = document.descendants().filter(|n| is(*n, "measure")).collect();
    let mut patch = Patch::default();
    for (place, measure) in measures.iter().enumerate() {
        for mark in measure.children().filter(Node::is_element) {
            let text = mark.descendants().find_map(|n| n.text().filter(|t| n.is_text() && t.trim().starts_with(CLEF)));
            let Some(said) = text else { continue };
            patch.cut(mark.range());
            let color = mark.descendants().find_map(|n| n.attribute("color"));
            let Some(attributes) = attributes(said.trim().trim_start_matches(CLEF), color) else { continue };
            let on = |place: usize| staves_of(measures[place]).find(|s| s.attribute("n") == mark.attribute("staff"));
            // Where all notes of the staff stand on another one, its layers have no end.
            let before = place.checked_sub(1).and_then(on).filter(|staff| has_music(*staff));
            let begins = before.is_none();
            let staff = before.or_else(|| on(place));
            let id = format!("clef-{place}-{}", mark.attribute("staff").unwrap_or_default());
            let layers = staff.into_iter().flat_map(|s| s.children()).filter(|n| is(*n, "layer"));
            for (number, layer) in layers.enumerate() {
                let clef = match number {
                    0 => format!("<clef xml:id=\"{id}\"{attributes}/>"),
                    _ => format!("<clef sameas=\"#{id}\"/>"),
                };
                match mei[layer.range()].strip_suffix("/>") {
                    _ if begins && layer.has_children() => patch.insert(layer.first_child()?.range().start, clef),
                    Some(open) if !layer.has_children() => {
                        let end = layer.range().start + open.len();
                        patch.replace(end..layer.range().end, format!(">{clef}</layer>"));
                    }
                    _ => patch.insert(layer.range().end - "</layer>".len(), clef),
                }
            }
        }
    }
    patch.apply(mei).ok()
}

fn has_music(staff: Node<'_, '_>) -> bool {
    let layers = staff.children().filter(|n| is(*n, "layer"));
    layers.flat_map(|layer| layer.children()).any(|n| n.is_element() && !is(n, "mSpace") && !is(n, "clef"))
}

fn attributes(said: &str, color: Option<&str>) -> Option<String> {
    let [sign, line, octaves, printed] = said.split(' ').collect::<Vec<_>>().try_into().ok()?;
    let shape = if sign == "percussion" { "perc" } else { sign };
    let mut out = format!(" shape=\"{shape}\"");
    if line != "0" && shape != "perc" {
        out += &format!(" line=\"{line}\"");
    }
    let octaves: i32 = octaves.parse().ok()?;
    let way = if octaves < 0 { "below" } else { "above" };
    match octaves.abs() {
        0 => {}
        by => out += &format!(" dis=\"{}\" dis.place=\"{way}\"", 7 * by + 1),
    }
    if printed == "no" {
        out += " visible=\"false\"";
    }
    color.into_iter().for_each(|color| out += &format!(" color=\"{color}\""));
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clef_stands_at_the_end_of_the_bar_before() {
        let mei = |first: &str, second: &str, words: &str| {
            format!(
                "<mei xmlns=\"{}\"><measure><staff n=\"1\"><layer><note/></layer></staff><staff n=\"2\"><layer><note/>{first}\
                 </layer>{second}</staff></measure><measure><staff n=\"2\"><layer/></staff>{words}</measure></mei>",
                super::super::document::MEI
            )
        };
        let words =
            |said: &str| format!("<dir staff=\"2\" tstamp=\"1\"><rend color=\"#00000A\">{CLEF}{said}</rend></dir>");
        let given = mei("", "<layer/>", &words("G 2 -1 yes"));
        let clef = "<clef xml:id=\"clef-1-2\" shape=\"G\" line=\"2\" dis=\"8\" dis.place=\"below\" color=\"#00000A\"/>";
        let wanted = mei(clef, "<layer><clef sameas=\"#clef-1-2\"/></layer>", "");
        assert_eq!(before_barlines(&given).unwrap(), wanted);
        // After the barline if the bar before has nothing on the staff.
        let empty = given.replace(
            "<layer><note/></layer></staff><staff n=\"2\"><layer><note/>",
            "<layer><note/></layer></staff><staff n=\"2\"><layer><mSpace/>",
        );
        let after =
            before_barlines(&empty.replace("<layer/></staff><dir", "<layer><chord/></layer></staff><dir")).unwrap();
        assert!(after.contains(&format!("<layer>{clef}<chord/></layer>")), "{after}");
        let hidden = before_barlines(&mei("", "", &words("percussion 0 0 no"))).unwrap();
        assert!(hidden.contains(" shape=\"perc\" visible=\"false\" color=\"#00000A\"/>"), "{hidden}");
    }
}
