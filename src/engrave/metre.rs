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
    // The lowest staff's signature holds, until one comes for all.
    let (mut holds, mut bar) = (None, 0);
    for node in document.descendants() {
        match node.tag_name().name() {
            "scoreDef" => holds = unit_in(node).or(holds),
            "measure" => {
                for mark in node.children().filter(|n| n.has_attribute("tstamp") && n.has_attribute("staff")) {
                    let staff: u32 = mark.attribute("staff")?.split(' ').next()?.parse().ok()?;
                    let own = beats.units.get(bar).map(|units| units[usize::from(staff > beats.upper)]);
                    if let Some((own, holds)) = own.zip(holds).filter(|(own, holds)| own != holds) {
                        recount(&mut patch, mark, holds as f64 / own as f64);
                    }
                }
                bar += 1;
            }
            _ => {}
        }
    }
    patch.apply(mei).ok()
}

/// The unit of the last time signature in a definition.
fn unit_in(definition: Node<'_, '_>) -> Option<i64> {
    let mut found = None;
    for node in definition.descendants() {
        let own = if node.tag_name().name() == "meterSig" { node.attribute("unit") } else { None };
        let said = own.or(node.attribute("meter.unit"));
        found = said.and_then(|unit| unit.parse().ok()).or(found);
    }
    found
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
        let beats = Beats { upper: 1, units: vec![[4, 2], [8, 8]] };
        assert_eq!(counted(&mei("3", "1.5"), &beats).unwrap(), mei("2", "1.5"));
        let alike = Beats { upper: 1, units: vec![[4, 4]] };
        assert_eq!(counted(&mei("3", "1.5"), &alike).unwrap(), mei("3", "1.5"));
    }
}
