//! Barlines where the two sides have different ones: the engraver draws one for
//! all staves, and here each side gets its own.

use super::boxes::{has_class, is_box, number, staff_lines};
use super::mei::mark_of;
use super::sides::{BarEdge, Form, form};
use crate::musicxml::beside::{Barline, Signs};
use crate::patch::Patch;
use roxmltree::{Document, Node};
use std::fmt::Write;

/// Widths of lines, and distances between their middles, as the engraver has them.
const THIN: f64 = 27.0;
const THICK: f64 = 90.0;
const APART: f64 = 130.0;
const THIN_APART: f64 = 99.0;
/// From a thin line to the middle of a repeat's dots, their radius, and half the distance between them.
const TO_DOTS: f64 = 82.0;
const DOT: f64 = 36.0;
const DOTS_APART: f64 = 90.0;

/// The pages with each side's barlines; `None` if one cannot be read.
pub fn of_each_side(pages: &[String], upper: u32, signs: &[[Signs; 2]]) -> Option<Vec<String>> {
    let mut bar = 0;
    pages.iter().map(|svg| of_page(svg, upper, signs, &mut bar)).collect()
}

fn of_page(svg: &str, upper: u32, signs: &[[Signs; 2]], bar: &mut usize) -> Option<String> {
    let document = Document::parse(svg).ok()?;
    let mut patch = Patch::default();
    for system in document.descendants().filter(|n| has_class(*n, "system") && !is_box(*n)) {
        let measures: Vec<Node<'_, '_>> =
            system.children().filter(|n| has_class(*n, "measure") && !is_box(*n)).collect();
        let drawn: Vec<[Option<Node<'_, '_>>; 2]> = measures.iter().map(|m| barlines(*m)).collect();
        for (place, measure) in measures.iter().enumerate() {
            let own = signs.get(*bar + place)?;
            let staves = staves(*measure);
            // On which side of a place between two bars something is drawn.
            let [left, right] = drawn[place];
            let next = drawn.get(place + 1).map(|d| (d[0], &signs[*bar + place + 1]));
            let before = place.checked_sub(1).map(|p| (drawn[p][1], &signs[*bar + p]));
            if let Some(line) = right {
                let met = next.filter(|(left, _)| left.is_none()).map(|(_, signs)| signs);
                let lines = [0, 1].map(|side| meeting(Some(&own[side].right), met.map(|m| &m[side].left)));
                redraw(&mut patch, line, &lines, &staves, upper, BarEdge::Right);
            }
            if let Some(line) = left {
                let met = before.filter(|(right, _)| right.is_none()).map(|(_, signs)| signs);
                let lines = [0, 1].map(|side| meeting(met.map(|m| &m[side].right), Some(&own[side].left)));
                redraw(&mut patch, line, &lines, &staves, upper, BarEdge::Left);
            }
        }
        *bar += measures.len();
    }
    patch.apply(svg).ok()
}

/// The barlines of a bar in which something is drawn, left and right.
fn barlines<'n, 'i>(measure: Node<'n, 'i>) -> [Option<Node<'n, 'i>>; 2] {
    let mut out = [None, None];
    let Some([left, right]) = staves(measure).first().map(|s| [s[0], s[1]]) else { return out };
    let is_line = |n: &Node<'_, '_>| has_class(*n, "barLine") && n.children().any(|p| p.tag_name().name() == "path");
    for line in measure.children().filter(is_line) {
        let paths = line.children().filter(|n| n.tag_name().name() == "path").filter_map(|n| n.attribute("d"));
        let Some(x) = paths.filter_map(|d| number(d.strip_prefix('M')?.split(' ').next()?)).next() else { continue };
        out[usize::from(x - left > right - x)] = Some(line);
    }
    out
}

/// Left, right, top and bottom of each staff.
fn staves(measure: Node<'_, '_>) -> Vec<[f64; 4]> {
    let own = measure.children().filter(|n| has_class(*n, "staff") && !is_box(*n));
    own.filter_map(|staff| {
        let lines = staff_lines(staff);
        let (first, last) = (lines.first()?, lines.last()?);
        Some([first[0], first[1], first[2].min(last[2]), first[2].max(last[2])])
    })
    .collect()
}

/// What stands between two bars on one side: its form, and the marks that it is.
fn meeting(right: Option<&Barline>, left: Option<&Barline>) -> (Form, Option<String>) {
    let color = [right, left].into_iter().flatten().find_map(|line| line.color.clone());
    let [ends, begins] = [right.map(|line| form(line, BarEdge::Right)), left.map(|line| form(line, BarEdge::Left))];
    let met = match (ends, begins) {
        (Some(Form::RepeatEnd), Some(Form::RepeatStart)) => Form::RepeatBoth,
        (Some(ends), begins) => begins.filter(|b| *b != Form::Plain).map_or(ends, |begins| ends.max(begins)),
        // Before the first bar of a system nothing is plain.
        (None, Some(Form::Plain)) | (None, None) => Form::Invisible,
        (None, Some(begins)) => begins,
    };
    (met, color)
}

/// Where a barline that is drawn ends, or begins: behind the last one of a system a signature may stand that is to come.
fn edge_of(line: Node<'_, '_>, edge: BarEdge) -> Option<f64> {
    let ends = line.children().filter(|n| n.tag_name().name() == "path").filter_map(|path| {
        let x = number(path.attribute("d")?.strip_prefix('M')?.split([' ', ',']).next()?)?;
        let half = path.attribute("stroke-width").and_then(number).unwrap_or(THIN) / 2.0;
        Some(if edge == BarEdge::Right { x + half } else { x - half })
    });
    ends.reduce(if edge == BarEdge::Right { f64::max } else { f64::min })
}

fn redraw(
    patch: &mut Patch,
    line: Node<'_, '_>,
    sides: &[(Form, Option<String>); 2],
    staves: &[[f64; 4]],
    upper: u32,
    edge: BarEdge,
) {
    if sides[0].0 == sides[1].0 && sides.iter().all(|s| s.1.is_none()) {
        return;
    }
    let mut text = String::new();
    for (side, (form, color)) in sides.iter().enumerate() {
        let own: Vec<&[f64; 4]> =
            staves.iter().enumerate().filter(|(n, _)| (*n < upper as usize) == (side == 0)).map(|(_, s)| s).collect();
        let number = color.as_deref().and_then(mark_of);
        let name = number.map(|n| format!(" m{n}")).unwrap_or_default();
        let Some(first) = own.first() else { continue };
        let at = edge_of(line, edge).unwrap_or(if edge == BarEdge::Right { first[1] } else { first[0] });
        let drawing = Drawing::of(*form, at, edge);
        let _ = write!(text, "<g class=\"barLine{name}\">");
        for staff in &own {
            drawing.draw(&mut text, staff[2], staff[3]);
        }
        text.push_str("</g>");
    }
    patch.replace(line.range(), text);
}

/// The lines and dots of one barline.
struct Drawing {
    /// Their middles, and their widths.
    lines: Vec<(f64, f64)>,
    dashes: Option<&'static str>,
    dots: Vec<f64>,
}

impl Drawing {
    /// A barline at an edge of its bar, which is at `at`.
    fn of(form: Form, at: f64, edge: BarEdge) -> Drawing {
        let inward = if edge == BarEdge::Right { -1.0 } else { 1.0 };
        let thin = at + inward * THIN / 2.0;
        let thick = at + inward * THICK / 2.0;
        let (lines, dots) = match form {
            Form::Invisible => (vec![], vec![]),
            Form::Plain | Form::Dotted | Form::Dashed => (vec![(thin, THIN)], vec![]),
            Form::Heavy => (vec![(thick, THICK)], vec![]),
            Form::Double => (vec![(thin, THIN), (thin + inward * THIN_APART, THIN)], vec![]),
            Form::End => (vec![(thick, THICK), (thick - APART, THIN)], vec![]),
            Form::Start => (vec![(thick, THICK), (thick + APART, THIN)], vec![]),
            Form::RepeatEnd => (vec![(thick, THICK), (thick - APART, THIN)], vec![thick - APART - TO_DOTS]),
            Form::RepeatStart => (vec![(thick, THICK), (thick + APART, THIN)], vec![thick + APART + TO_DOTS]),
            Form::RepeatBoth => (
                vec![(thick, THICK), (thick - APART, THIN), (thick + APART, THIN)],
                vec![thick - APART - TO_DOTS, thick + APART + TO_DOTS],
            ),
        };
        let dashes = match form {
            Form::Dotted => Some("27 63"),
            Form::Dashed => Some("90 60"),
            _ => None,
        };
        Drawing { lines, dashes, dots }
    }

    fn draw(&self, out: &mut String, top: f64, bottom: f64) {
        let dashes = self.dashes.map(|d| format!(" stroke-dasharray=\"{d}\"")).unwrap_or_default();
        for (x, width) in &self.lines {
            let _ = write!(out, "<path d=\"M{x} {top} L{x} {bottom}\" stroke-width=\"{width}\"{dashes}/>");
        }
        for x in &self.dots {
            for y in [-DOTS_APART, DOTS_APART] {
                let y = (top + bottom) / 2.0 + y;
                let _ = write!(out, "<ellipse cx=\"{x}\" cy=\"{y}\" rx=\"{DOT}\" ry=\"{DOT}\"/>");
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(repeats: bool, color: Option<&str>) -> Barline {
        Barline { style: "light-heavy".into(), repeats, color: color.map(String::from) }
    }

    #[test]
    fn what_meets_between_two_bars_is_one_barline() {
        let (plain, repeat) = (Barline::default(), line(true, Some("#000002")));
        assert_eq!(meeting(Some(&repeat), Some(&repeat)), (Form::RepeatBoth, Some("#000002".into())));
        assert_eq!(meeting(Some(&plain), Some(&repeat)).0, Form::RepeatStart);
        assert_eq!(meeting(Some(&plain), None), (Form::Plain, None));
        let hidden = Barline { style: "none".into(), ..Barline::default() };
        assert_eq!(meeting(Some(&hidden), Some(&plain)).0, Form::Invisible);
        assert_eq!(meeting(None, Some(&plain)).0, Form::Invisible);
    }

    #[test]
    fn each_side_has_its_own_barline() {
        let staff = |y: i32| {
            format!("<g class=\"staff\"><path d=\"M0 {y} L900 {y}\"/><path d=\"M0 {0} L900 {0}\"/></g>", y + 720)
        };
        let drawn = "<g class=\"barLine\"><path d=\"M887 0 L887 720\"/></g>";
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\"><g class=\"system\"><g class=\"measure\">{}{}{drawn}</g></g></svg>",
            staff(0),
            staff(1800)
        );
        let signs = |lower: Barline| [[Signs::default(), Signs { right: lower, ..Signs::default() }]];
        let alike = of_each_side(std::slice::from_ref(&svg), 1, &signs(Barline::default())).unwrap();
        assert_eq!(alike, [svg.as_str()]);
        let other = of_each_side(&[svg], 1, &signs(line(true, Some("#00000B")))).unwrap().remove(0);
        let [upper, lower] = ["<g class=\"barLine\">", "<g class=\"barLine m11\">"].map(|from| {
            let rest = other.split(from).nth(1).unwrap();
            rest.split("<g class=\"barLine\">")
                .next()
                .unwrap()
                .split("<g class=\"barLine m")
                .next()
                .unwrap()
                .to_string()
        });
        assert_eq!((upper.matches("<path").count(), upper.matches("<ellipse").count()), (1, 0), "{other}");
        assert_eq!((lower.matches("<path").count(), lower.matches("<ellipse").count()), (2, 2), "{other}");
        assert!(upper.contains("M887 0 L887 720") && lower.contains("M855.5 1800 L855.5 2520"), "{other}");
    }
}
