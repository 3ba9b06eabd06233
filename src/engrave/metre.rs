//! Where a mark stands is said in beats. The engraver counts the beats of all
//! staves in one time signature, though each was read in its own.

use super::Beats;
use crate::patch::Patch;
use roxmltree::{Document, Node};

/// The document with every mark counted as the engraver counts; `None` if it is none.
pub fn counted(mei: &str, beats: &Beats) -> Option<String> {
    if beats.units.iter().flatten().all(|unit| *unit == beats.units[0][0]) {
        return Some(mei.into());
    }
    let document = Document::parse(mei).ok()?;
    let mut patch = Patch::default();
    let measures = document.descendants().filter(|n| n.tag_name().name() == "measure");
    for (measure, [own, holds]) in measures.zip(&beats.units).filter(|(_, [own, holds])| own != holds) {
        for mark in measure.children().filter(|n| n.has_attribute("tstamp") && n.has_attribute("staff")) {
            let staff: u32 = mark.attribute("staff")?.split(' ').next()?.parse().ok()?;
            // The lowest staff's signature holds.
            if staff <= beats.upper {
                recount(&mut patch, mark, *holds as f64 / *own as f64);
            }
        }
    }
    patch.apply(mei).ok()
}

fn recount(patch: &mut Patch, mark: Node<'_, '_>, by: f64) {
    for name in ["tstamp", "tstamp2"] {
        let Some(attribute) = mark.attribute_node(name) else { continue };
        let (bars, beat) =
            attribute.value().split_once('+').map_or(("", attribute.value()), |(bars, beat)| (bars, beat));
        let Ok(beat) = beat.parse::<f64>() else { continue };
        let beat = (beat - 1.0) * by + 1.0;
        let plus = if bars.is_empty() { "" } else { "+" };
        patch.replace(attribute.range_value(), format!("{bars}{plus}{beat}"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_stand_where_the_notes_are() {
        let mei = |source: &str, edition: &str| {
            format!(
                "<mei><scoreDef><staffDef n=\"1\"><meterSig unit=\"4\"/></staffDef><staffDef n=\"2\"><meterSig unit=\"2\"/>\
                 </staffDef></scoreDef><measure><dynam staff=\"1\" tstamp=\"{source}\"/><hairpin staff=\"2\" tstamp=\"2\" \
                 tstamp2=\"1m+{edition}\"/></measure><scoreDef><meterSig unit=\"8\"/></scoreDef><measure><dir staff=\"2\" \
                 tstamp=\"2\"/></measure></mei>"
            )
        };
        let beats = Beats { upper: 1, lower: 1, units: vec![[4, 2], [8, 8]] };
        assert_eq!(counted(&mei("3", "1.5"), &beats).unwrap(), mei("2", "1.5"));
        let alike = Beats { upper: 1, lower: 1, units: vec![[4, 4]] };
        assert_eq!(counted(&mei("3", "1.5"), &alike).unwrap(), mei("3", "1.5"));
    }
}
