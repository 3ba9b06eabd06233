//! Lines that the engraver draws on over the end of a line of music: the line behind a syllable, and that of an octave.

use super::boxes::{has_class, is_box, number};
use crate::patch::Patch;
use roxmltree::Node;

/// Cuts what such a line is drawn with at the end of the line of music.
pub fn cut_at(line: Node<'_, '_>, end: f64, patch: &mut Patch) {
    let goes_on = |n: Node<'_, '_>| ["syl", "octave"].iter().any(|class| has_class(n, class));
    if is_box(line) || !line.parent().is_some_and(goes_on) {
        return;
    }
    let of = |name: &str| line.attribute(name).and_then(number);
    match line.tag_name().name() {
        "rect" => {
            let (Some(x), Some(width), Some(own)) = (of("x"), of("width"), line.attribute_node("width")) else {
                return;
            };
            if x < end && x + width > end {
                patch.replace(own.range_value(), format!("{:.0}", end - x));
            }
        }
        "path" | "polyline" => {
            let end = end - of("stroke-width").unwrap_or_default() / 2.0;
            let points = line.attribute_node("points").or_else(|| line.attribute_node("d"));
            let Some(points) = points.filter(|points| reaches_over(points.value(), end)) else { return };
            patch.replace(points.range_value(), within(points.value(), end));
        }
        _ => {}
    }
}

/// How far right a point is, and how far down.
fn coordinates(points: &str) -> impl Iterator<Item = (usize, &str)> {
    points.split([' ', ',']).filter(|own| !own.is_empty()).enumerate()
}

fn reaches_over(points: &str, end: f64) -> bool {
    coordinates(points).any(|(place, own)| place % 2 == 0 && x(own).is_some_and(|x| x > end))
}

fn x(own: &str) -> Option<f64> {
    number(own.trim_start_matches(['M', 'L']))
}

fn within(points: &str, end: f64) -> String {
    let cut = coordinates(points).map(|(place, own)| match x(own).filter(|x| place % 2 == 0 && *x > end) {
        Some(_) => {
            let command: String = own.chars().take_while(|c| c.is_alphabetic()).collect();
            format!("{command}{end:.0}")
        }
        None => own.to_string(),
    });
    let cut: Vec<String> = cut.collect();
    cut.chunks(2).map(|point| point.join(if points.contains(',') { "," } else { " " })).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use roxmltree::Document;

    fn cut(class: &str, line: &str) -> String {
        let svg = format!("<g class=\"{class}\">{line}</g>");
        let document = Document::parse(&svg).unwrap();
        let mut patch = Patch::default();
        cut_at(document.root_element().first_element_child().unwrap(), 1000.0, &mut patch);
        patch.apply(&svg).unwrap()
    }

    #[test]
    fn lines_end_with_the_staff() {
        let rect = |width: u32| format!("<rect x=\"800\" y=\"5\" height=\"22\" width=\"{width}\"/>");
        assert_eq!(cut("syl", &rect(300)), format!("<g class=\"syl\">{}</g>", rect(200)));
        assert_eq!(cut("syl", &rect(150)), format!("<g class=\"syl\">{}</g>", rect(150)));
        assert_eq!(cut("hairpin", &rect(300)), format!("<g class=\"hairpin\">{}</g>", rect(300)));
        let octave = "<polyline stroke-width=\"20\" points=\"1070,5 1070,9 980,9 \"/>";
        assert!(cut("octave", octave).contains("points=\"990,5 990,9 980,9\""));
        let octave = "<path d=\"M10 5 L1070 5\" stroke-width=\"20\"/>";
        assert!(cut("octave", octave).contains("d=\"M10 5 L990 5\""));
    }
}
