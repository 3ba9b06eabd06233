//! Signatures, barlines and endings that are one side's own: the engraver
//! reads them of the first part, and for all staves.

use super::Beats;
use super::mei::mark_of;
use crate::musicxml::beside::{Barline, Ending, Key, Signs, Time};
use crate::patch::Patch;
use roxmltree::{Document, Node};
use std::fmt::Write;

const XML: &str = "http://www.w3.org/XML/1998/namespace";

/// The document with the signs of both sides; `None` if it is none.
pub fn signed(mei: &str, beats: &Beats, signs: &[[Signs; 2]]) -> Option<String> {
    let document = Document::parse(mei).ok()?;
    let mut patch = Patch::default();
    let in_score = |n: &Node<'_, '_>| n.parent().is_some_and(|p| p.tag_name().name() == "score");
    for node in document.descendants().filter(|n| n.tag_name().name() == "scoreDef" && !in_score(n)) {
        patch.cut(node.range());
    }
    // The engraver leaves out the brace of a part that a bracket encloses.
    let is_side = |n: &Node<'_, '_>| {
        let has = |name: &'static str| n.children().filter(move |c| c.tag_name().name() == name).count();
        n.tag_name().name() == "staffGrp" && has("staffDef") > 1 && has("grpSym") == 0
    };
    for side in document.descendants().filter(is_side) {
        patch.insert(inner_start(mei, side), "<grpSym symbol=\"brace\"/>".to_string());
    }
    let first_staves = [1, beats.upper + 1];
    let staves = beats.upper + beats.lower;
    let measures: Vec<Node<'_, '_>> = document.descendants().filter(|n| n.tag_name().name() == "measure").collect();
    for (bar, (measure, own)) in measures.iter().zip(signs).enumerate() {
        // Of each staff, counted through both sides.
        let keys: Vec<(u32, &Key)> = numbered(own, first_staves, |s| &s.keys);
        let times: Vec<(u32, &Vec<Time>)> = numbered(own, first_staves, |s| &s.times);
        // A new key in the definition would be drawn on all staves.
        let for_all = keys.len() == staves as usize;
        let mut definition = String::new();
        for staff in 1..=staves {
            let key = keys.iter().find(|k| k.0 == staff && for_all).map(|k| key_sig(k.1)).unwrap_or_default();
            let time = times.iter().find(|t| t.0 == staff).map(|t| meter_sig(t.1)).unwrap_or_default();
            if !key.is_empty() || !time.is_empty() {
                let _ = write!(definition, "<staffDef n=\"{staff}\">{key}{time}</staffDef>");
            }
        }
        if !definition.is_empty() {
            let all = format!("<scoreDef><staffGrp>{definition}</staffGrp></scoreDef>");
            patch.insert(measure.range().start, all);
        }
        if !for_all {
            for (staff, key) in keys {
                if let Some(layer) = layer_of(*measure, staff) {
                    patch.insert(inner_start(mei, layer), key_sig(key));
                }
            }
        }
        for inside in own.iter().flat_map(|signs| &signs.inside) {
            let Some(note) = measure.descendants().find(|n| n.attribute((XML, "id")) == Some(&inside.note)) else {
                continue;
            };
            let in_layer = |n: &Node<'_, '_>| n.parent().is_some_and(|p| p.tag_name().name() == "layer");
            if let Some(group) = note.ancestors().find(in_layer) {
                let key = inside.key.as_ref().map(key_sig).unwrap_or_default();
                let time = inside.time.as_deref().map(meter_sig).unwrap_or_default();
                patch.insert(group.range().start, key + &time);
            }
        }
        let edges = [
            ("left", BarEdge::Left, own.each_ref().map(|s| &s.left)),
            ("right", BarEdge::Right, own.each_ref().map(|s| &s.right)),
        ];
        for (name, edge, side) in edges {
            if let Some(old) = measure.attribute_node(name) {
                patch.cut(mei[..old.range().start].trim_end().len()..old.range().end);
            }
            // The engraver makes room for the wider one.
            if let Some(form) = side.into_iter().map(|line| form(line, edge)).max().filter(|f| f.is_said()) {
                let at = measure.range().start + 1 + measure.tag_name().name().len();
                patch.insert(at, format!(" {name}=\"{}\"", form.name()));
            }
        }
        let endings = endings(signs, bar, first_staves, &beats.units);
        if !endings.is_empty() {
            patch.insert(measure.range().end - "</measure>".len(), endings);
        }
    }
    patch.apply(mei).ok()
}

fn numbered<T>(own: &[Signs; 2], first_staves: [u32; 2], of: impl Fn(&Signs) -> &Vec<(u32, T)>) -> Vec<(u32, &T)> {
    let mut out = Vec::new();
    for (signs, first) in own.iter().zip(first_staves) {
        out.extend(of(signs).iter().map(|(staff, one)| (staff - 1 + first, one)));
    }
    out
}

fn layer_of<'n, 'i>(measure: Node<'n, 'i>, staff: u32) -> Option<Node<'n, 'i>> {
    let number = staff.to_string();
    let own = measure.children().find(|n| n.tag_name().name() == "staff" && n.attribute("n") == Some(&number));
    own?.children().find(|n| n.tag_name().name() == "layer" && n.has_children())
}

/// Where the content of an element begins.
fn inner_start(text: &str, node: Node<'_, '_>) -> usize {
    node.first_child().map_or_else(|| node.range().end, |first| first.range().start.min(text.len()))
}

/// The name of the mark that something is.
fn kind_of(color: Option<&str>) -> String {
    color.and_then(mark_of).map(|number| format!(" type=\"m{number}\"")).unwrap_or_default()
}

fn key_sig(key: &Key) -> String {
    let sig = match key.fifths {
        0 => "0".to_string(),
        sharps if sharps > 0 => format!("{sharps}s"),
        flats => format!("{}f", -flats),
    };
    let hidden = if key.is_printed { "" } else { " visible=\"false\"" };
    format!("<keySig{} sig=\"{sig}\"{hidden}/>", kind_of(key.color.as_deref()))
}

fn meter_sig(times: &[Time]) -> String {
    let one = |time: &Time| {
        let look = match time.symbol.as_str() {
            "common" => " sym=\"common\"",
            "cut" => " sym=\"cut\"",
            "single-number" => " form=\"num\"",
            _ => "",
        };
        let hidden = if time.is_printed { "" } else { " visible=\"false\"" };
        let kind = kind_of(time.color.as_deref());
        let [beats, unit] = [&time.beats, &time.unit].map(|text| quick_xml::escape::escape(text.as_str()).into_owned());
        format!("<meterSig{kind} count=\"{beats}\" unit=\"{unit}\"{look}{hidden}/>")
    };
    match times {
        [time] => one(time),
        times => format!("<meterSigGrp func=\"mixed\">{}</meterSigGrp>", times.iter().map(one).collect::<String>()),
    }
}

/// How a barline is drawn, the narrowest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Form {
    Invisible,
    /// None on the left of a bar, a single line on its right.
    Plain,
    Dotted,
    Dashed,
    Heavy,
    Double,
    End,
    Start,
    RepeatStart,
    RepeatEnd,
    RepeatBoth,
}

impl Form {
    fn is_said(self) -> bool {
        self != Form::Plain
    }

    /// As MEI calls it.
    fn name(self) -> &'static str {
        match self {
            Form::Plain => "single",
            Form::Invisible => "invis",
            Form::Dotted => "dotted",
            Form::Dashed => "dashed",
            Form::Heavy => "heavy",
            Form::Double | Form::Start => "dbl",
            Form::End => "end",
            Form::RepeatStart => "rptstart",
            Form::RepeatEnd => "rptend",
            Form::RepeatBoth => "rptboth",
        }
    }
}

/// Where a barline stands at its bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BarEdge {
    Left,
    Right,
}

/// The form of a barline at one edge of a bar.
pub fn form(line: &Barline, edge: BarEdge) -> Form {
    match line.style.as_str() {
        _ if line.repeats && edge == BarEdge::Left => Form::RepeatStart,
        _ if line.repeats => Form::RepeatEnd,
        "dotted" => Form::Dotted,
        "dashed" => Form::Dashed,
        "heavy" => Form::Heavy,
        "light-light" => Form::Double,
        "light-heavy" | "heavy-heavy" => Form::End,
        "heavy-light" => Form::Start,
        "none" => Form::Invisible,
        _ => Form::Plain,
    }
}

/// The endings that begin in a bar.
fn endings(signs: &[[Signs; 2]], bar: usize, first_staves: [u32; 2], units: &[[i64; 2]]) -> String {
    let mut out = String::new();
    for (side, staff) in first_staves.into_iter().enumerate() {
        let Some(ending) = &signs[bar][side].ending else { continue };
        let goes_on = |later: usize| {
            signs[later][side].stop.is_none() && signs.get(later + 1).is_some_and(|next| next[side].ending.is_none())
        };
        let last = (bar..signs.len()).find(|later| !goes_on(*later)).unwrap_or(bar);
        let is_closed = signs[last][side].stop == Some(true);
        // So many beats later every bar of the usual length has ended.
        let end = units.get(last).map_or(5, |unit| unit[1] + 1);
        out += &line_of(ending, staff, is_closed, &format!("{}m+{end}", last - bar));
    }
    out
}

/// A line above a staff, with the numbers of the ending below its hook.
fn line_of(ending: &Ending, staff: u32, is_closed: bool, to: &str) -> String {
    let kind = kind_of(ending.color.as_deref());
    let closed = if is_closed { " lendsym=\"angledown\"" } else { "" };
    let text = quick_xml::escape::escape(ending.text.as_str());
    format!(
        "<bracketSpan{kind} staff=\"{staff}\" tstamp=\"1\" tstamp2=\"{to}\" func=\"unclear\" lform=\"solid\" \
         lstartsym=\"angledown\"{closed}/><dir{kind} staff=\"{staff}\" tstamp=\"1\" place=\"above\">{text}</dir>"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const MEI: &str = "<mei><score><scoreDef/><section><measure right=\"rptend\"><staff n=\"1\"><layer><note/></layer></staff>\
                       <staff n=\"2\"><layer><rest/></layer></staff></measure><scoreDef meter=\"1\"/><measure left=\"dbl\">\
                       <staff n=\"1\"><layer><note/></layer></staff><staff n=\"2\"><layer><rest/></layer></staff></measure>\
                       </section></score></mei>";

    #[test]
    fn each_staff_has_its_own_signatures() {
        let time = |beats: &str| {
            vec![(
                1,
                vec![Time {
                    beats: beats.into(),
                    unit: "4".into(),
                    symbol: String::new(),
                    is_printed: true,
                    color: None,
                }],
            )]
        };
        let key = vec![(1, Key { fifths: -2, is_printed: true, color: None })];
        let beats = Beats { upper: 1, lower: 1, units: vec![[4, 4]; 2] };
        let signs = [
            <[Signs; 2]>::default(),
            [Signs { times: time("3"), ..Signs::default() }, Signs { keys: key.clone(), ..Signs::default() }],
        ];
        let text = signed(MEI, &beats, &signs).unwrap();
        let definition =
            "<scoreDef><staffGrp><staffDef n=\"1\"><meterSig count=\"3\" unit=\"4\"/></staffDef></staffGrp></scoreDef>";
        assert!(text.contains(&format!("</measure>{definition}<measure>")), "{text}");
        assert!(
            text.ends_with("<layer><keySig sig=\"2f\"/><rest/></layer></staff></measure></section></score></mei>"),
            "{text}"
        );
        assert_eq!(text.matches("keySig").count(), 1);
        // One key for all stands in the definition.
        let both = [<[Signs; 2]>::default(), [0, 1].map(|_| Signs { keys: key.clone(), ..Signs::default() })];
        let text = signed(MEI, &beats, &both).unwrap();
        assert!(
            text.contains(
                "<staffDef n=\"1\"><keySig sig=\"2f\"/></staffDef><staffDef n=\"2\"><keySig sig=\"2f\"/></staffDef>"
            ),
            "{text}"
        );
    }

    #[test]
    fn a_side_of_several_staves_has_its_brace() {
        let staves = "<staffDef n=\"1\"/><staffDef n=\"2\"/>";
        let groups = format!(
            "<staffGrp><grpSym symbol=\"bracket\"/><staffGrp><label/>{staves}</staffGrp>\
             <staffGrp><staffDef n=\"3\"/></staffGrp></staffGrp>"
        );
        let mei = MEI.replace("<scoreDef/>", &format!("<scoreDef>{groups}</scoreDef>"));
        let beats = Beats { upper: 2, lower: 1, units: vec![[4, 4]; 2] };
        let text = signed(&mei, &beats, &[]).unwrap();
        assert!(text.contains(&format!("<staffGrp><grpSym symbol=\"brace\"/><label/>{staves}</staffGrp>")), "{text}");
        assert_eq!(text.matches("grpSym").count(), 2);
    }

    #[test]
    fn the_wider_barline_makes_room_and_endings_are_lines() {
        let line = |style: &str, repeats| Barline { style: style.into(), repeats, color: None };
        let ending = Ending { text: "1.".into(), color: Some("#00000C".into()) };
        let beats = Beats { upper: 1, lower: 1, units: vec![[4, 4]; 2] };
        let lower = Signs { right: line("light-heavy", true), ending: Some(ending), ..Signs::default() };
        let upper = Signs { right: line("light-light", false), ..Signs::default() };
        let signs = [[upper, lower], [Signs::default(), Signs { stop: Some(true), ..Signs::default() }]];
        let text = signed(MEI, &beats, &signs).unwrap();
        assert!(text.contains("<section><measure right=\"rptend\">") && !text.contains("left="), "{text}");
        let span = "<bracketSpan type=\"m12\" staff=\"2\" tstamp=\"1\" tstamp2=\"1m+5\" func=\"unclear\" lform=\"solid\" \
                    lstartsym=\"angledown\" lendsym=\"angledown\"/><dir type=\"m12\" staff=\"2\" tstamp=\"1\" place=\"above\">1.</dir></measure>";
        assert!(text.contains(span), "{text}");
    }
}
