//! Pieces of bars: a bar cut where the other side has a barline.

use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::super::tree::{child, child_text, elements};
use super::Staff;
use super::beams::mend_torn;
use crate::time::{Time, parse_decimal};
use roxmltree::Node;

/// A bar, or a piece of one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PieceOfBar {
    pub bar: usize,
    pub from: Time,
    /// `None` at the end of the bar.
    pub to: Option<Time>,
}

impl PieceOfBar {
    pub fn whole(bar: usize) -> PieceOfBar {
        PieceOfBar { bar, from: Time::zero(), to: None }
    }

    pub(super) fn is_whole(&self) -> bool {
        self.from.is_zero() && self.to.is_none()
    }
}

impl Staff<'_, '_> {
    /// Whether a bar can be cut at an offset: nothing sounds over it, and no group is torn.
    pub fn can_be_cut(&self, bar: usize, at: Time) -> bool {
        let Some(own) = self.part.bars.get(bar) else { return true };
        let mut groups = 0;
        for item in own.notes.clone() {
            let note = &self.part.notes[item];
            let node = self.tree.node(note.element);
            let ends = note.offset + note.duration;
            if note.grace == 0 && note.offset < at && at < ends && !fills(node, note.duration, own.length) {
                return false;
            }
            if note.offset < at {
                let notations = elements(node).filter(|n| n.has_tag_name("notations")).flat_map(elements);
                for group in notations.filter(|n| n.has_tag_name("tuplet")) {
                    groups += if group.attribute("type") == Some("start") { 1 } else { -1 };
                }
            }
        }
        groups == 0
    }
}

/// Whether a note is a rest that fills its bar.
fn fills(note: Node<'_, '_>, duration: Time, bar: Time) -> bool {
    child(note, "rest").is_some_and(|r| r.attribute("measure") == Some("yes") || duration == bar)
}

/// What stands in a piece of a bar, of which `copy` gives each element.
pub(super) fn cut<'a, 'i: 'a>(
    measure: Node<'a, 'i>,
    mut divisions: Time,
    piece: &PieceOfBar,
    copy: impl Fn(Node<'a, 'i>) -> Vec<Fragment>,
) -> Vec<Fragment> {
    let mut out: Vec<Fragment> = Vec::new();
    let (mut at, mut written, mut chord) = (Time::zero(), piece.from, false);
    for item in elements(measure) {
        let length = child_text(item, "duration").and_then(parse_decimal).unwrap_or_default() / divisions;
        match item.tag_name().name() {
            "backup" => {
                at = (at - length).max(Time::zero());
                continue;
            }
            "forward" => {
                at += length;
                continue;
            }
            _ => {}
        }
        let is_note = item.has_tag_name("note");
        if is_note && child(item, "chord").is_some() {
            // With the note that it sounds with.
            if chord {
                out.extend(copy(item));
            }
            continue;
        }
        let lasts = if is_note && child(item, "grace").is_none() { length } else { Time::zero() };
        let ends = at + lasts;
        let begins_inside = (at >= piece.from || piece.from.is_zero()) && piece.to.is_none_or(|to| at < to);
        let goes_on = lasts > Time::zero() && at < piece.from && ends > piece.from;
        if begins_inside || goes_on {
            let start = at.max(piece.from);
            if facts(item.tag_name().name()).is_music() || item.has_tag_name("direction") {
                moved(&mut out, written, start, divisions);
                written = start;
            }
            let mut own = copy(item);
            let until = piece.to.filter(|to| *to < ends).unwrap_or(ends);
            if until - start < lasts {
                own.iter_mut().filter(|f| f.name == "note").for_each(|rest| shorten(rest, until - start, divisions));
            }
            out.extend(own);
            if lasts > Time::zero() {
                written = until;
            }
        }
        chord = is_note && begins_inside;
        at = ends;
        if let Some(said) = child_text(item, "divisions").and_then(parse_decimal) {
            divisions = said;
        }
    }
    if piece.to.is_some() {
        out.push(no_barline());
    }
    mend_torn(&mut out);
    out
}

/// Where a side goes on, or has nothing.
pub(super) fn no_barline() -> Fragment {
    Fragment::new("barline").set("location", "right").with(Fragment::leaf("bar-style", "none"))
}

fn moved(out: &mut Vec<Fragment>, from: Time, to: Time, divisions: Time) {
    let (name, by) = if to < from { ("backup", from - to) } else { ("forward", to - from) };
    if !by.is_zero() {
        out.push(Fragment::new(name).with(Fragment::leaf("duration", (by * divisions).to_integer())));
    }
}

/// A rest that filled its bar is as long as a piece of it.
fn shorten(rest: &mut Fragment, lasts: Time, divisions: Time) {
    rest.remove("type");
    rest.remove("dot");
    if let Some(own) = rest.children.iter_mut().find(|c| c.name == "duration") {
        own.text = (lasts * divisions).to_integer().to_string();
    }
    let value = VALUES.iter().find(|(eighths, ..)| Time::new(*eighths, 2) == lasts);
    if let Some(own) = rest.children.iter_mut().find(|c| c.name == "rest") {
        own.attributes.retain(|a| a.0 != "measure");
        if value.is_none() {
            own.set_attribute("measure", "yes");
        }
    }
    if let Some((_, name, dotted)) = value {
        rest.place(Fragment::leaf("type", name));
        if *dotted {
            rest.place(Fragment::new("dot"));
        }
    }
}

/// Rests in eighths, and how they are written.
const VALUES: [(i64, &str, bool); 6] = [
    (1, "eighth", false),
    (2, "quarter", false),
    (3, "quarter", true),
    (4, "half", false),
    (6, "half", true),
    (8, "whole", false),
];

#[cfg(test)]
mod tests {
    use super::*;
    use roxmltree::Document;

    #[test]
    fn a_piece_has_its_own_notes_and_beams() {
        let note = |step: &str, beam: &str| {
            format!("<note><pitch><step>{step}</step></pitch><duration>1</duration><voice>1</voice>{beam}</note>")
        };
        let beam = |kind: &str| format!("<beam number=\"1\">{kind}</beam>");
        let notes =
            [("C", "begin"), ("D", "continue"), ("E", "continue"), ("F", "end")].map(|(s, b)| note(s, &beam(b)));
        let text = format!(
            "<measure>{}<backup><duration>4</duration></backup><note><rest measure=\"yes\"/><duration>4</duration>\
             <voice>2</voice></note><barline location=\"right\"/></measure>",
            notes.concat()
        );
        let document = Document::parse(&text).unwrap();
        let piece = |from: i64, to: Option<i64>| {
            let piece = PieceOfBar { bar: 0, from: Time::from(from), to: to.map(Time::from) };
            cut(document.root_element(), Time::from(1), &piece, |n| vec![Fragment::copy(n)])
        };
        let told = |piece: &[Fragment]| -> Vec<String> {
            let one = |f: &Fragment| {
                let inner = |name| f.child(name).map(|c| c.text.clone()).unwrap_or_default();
                format!("{} {} {}{}", f.name, inner("duration"), inner("beam"), inner("type"))
            };
            piece.iter().map(|f| one(f).trim().to_string()).collect()
        };
        assert_eq!(
            told(&piece(0, Some(3))),
            ["note 1 begin", "note 1 continue", "note 1 end", "backup 3", "note 3 half", "barline"]
        );
        assert_eq!(told(&piece(3, None)), ["note 1", "backup 1", "note 1 quarter", "barline"]);
    }
}
