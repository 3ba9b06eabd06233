//! The bars of one part as copies, in another key where they are moved.

use super::super::accidentals::{Printed, required};
use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::super::pitches::{in_edition, move_named_pitch, pitch_fragment};
use super::super::tree::{Tree, child, element, elements};
use super::cut::cut;
use super::{PieceOfBar, Styles};
use crate::pitch::{Interval, Pitch, accidental_name};
use crate::score::{Element, NoteId, Part};
use crate::time::{Time, lcm};
use roxmltree::Node;
use rustc_hash::FxHashMap;

/// Layout, playback and what points to elsewhere.
const LEFT_BEHIND: [&str; 12] = [
    "print",
    "sound",
    "listening",
    "play",
    "listen",
    "instrument",
    "link",
    "bookmark",
    "grouping",
    "footnote",
    "level",
    "staff-details",
];

/// One part of a document.
pub struct Staff<'a, 'i> {
    pub tree: &'a Tree<'i>,
    pub part: &'a Part,
    pub styles: Styles,
    /// The document's own colours stay.
    pub is_colored: bool,
}

/// What the bars before have said.
#[derive(Default)]
pub(super) struct State {
    divisions: Option<i64>,
    /// The clefs and the transposition that a moved staff has taken over.
    printed: Option<Vec<Fragment>>,
}

/// How a bar is moved: into the key of a bar of the edition.
pub(super) struct Moved<'m, 'a, 'i> {
    pub interval: Interval,
    pub edition: Option<usize>,
    pub printed: &'m Printing,
    pub of: &'m Staff<'a, 'i>,
    /// Whether the edition's clefs are taken over: not where all notes stand as the source writes them.
    pub takes_clefs: bool,
}

/// Clefs and transposition at the start of each bar of a part.
pub(super) struct Printing(Vec<Vec<Fragment>>);

impl Printing {
    pub(super) fn new(staff: &Staff) -> Printing {
        let mut in_force: Vec<Fragment> = Vec::new();
        let mut out = Vec::new();
        for bar in &staff.part.bars {
            let (mut at_start, mut now): (Option<Vec<Fragment>>, i64) = (None, 0);
            for item in elements(staff.tree.node(bar.element)) {
                let name = item.tag_name().name();
                if matches!(name, "note" | "backup" | "forward") {
                    at_start.get_or_insert_with(|| in_force.clone());
                    now += lasting(item);
                }
                for said in elements(item).filter(|n| name == "attributes" && is_printing(n.tag_name().name())) {
                    let said = Fragment::copy(said);
                    let same = |f: &Fragment| f.name == said.name && f.attribute("number") == said.attribute("number");
                    // A lower staff may say it after the notes of the upper one.
                    for held in at_start.iter_mut().filter(|_| now == 0).chain([&mut in_force]) {
                        held.retain(|f| !same(f));
                        held.push(said.clone());
                    }
                }
            }
            out.push(at_start.unwrap_or_else(|| in_force.clone()));
        }
        Printing(out)
    }
}

/// How far an element moves the time within its bar, in divisions.
fn lasting(item: Node<'_, '_>) -> i64 {
    let text = |name: &str| elements(item).find(|n| n.has_tag_name(name)).map(|n| n.text().unwrap_or_default().trim());
    let lasts: i64 = text("duration").and_then(|d| d.parse().ok()).unwrap_or_default();
    match item.tag_name().name() {
        "backup" => -lasts,
        _ if text("chord").is_some() => 0,
        _ => lasts,
    }
}

fn is_printing(name: &str) -> bool {
    matches!(name, "clef" | "transpose")
}

impl Moved<'_, '_, '_> {
    /// The bar of the edition whose clefs and transposition hold.
    fn bar(&self) -> usize {
        self.edition.unwrap_or(0)
    }

    /// How the edition's written pitch sounds.
    fn transpose(&self) -> Interval {
        self.of.part.bars.get(self.bar()).map_or(Interval::UNISON, |b| b.transpose)
    }

    /// From the source's written pitch to what the edition would write.
    pub(super) fn by(&self, source: Interval) -> Interval {
        self.interval.plus(source).plus(self.transpose().inverse())
    }
}

impl Staff<'_, '_> {
    /// What stands in a bar, or a piece of it.
    pub(super) fn measure(&self, piece: &PieceOfBar, moved: Option<&Moved>, state: &mut State) -> Vec<Fragment> {
        let bar = piece.bar;
        let own = &self.part.bars[bar];
        let copier = Copier {
            staff: self,
            by: moved.map_or(Interval::UNISON, |m| m.by(own.transpose)),
            moved,
            accidentals: moved.map_or_else(FxHashMap::default, |m| self.accidentals(bar, m)),
        };
        let node = self.tree.node(own.element);
        let mut out: Vec<Fragment> = match piece.is_whole() {
            true => elements(node).flat_map(|n| copier.copy(n)).collect(),
            false => cut(node, Time::from(own.divisions), piece, |n| copier.copy(n)),
        };
        out.retain(|f| f.name != "attributes" || !f.children.is_empty());
        let mut wanted = Vec::new();
        if state.divisions != Some(own.divisions) {
            wanted.push(Fragment::leaf("divisions", own.divisions));
        }
        if let Some(moved) = moved.filter(|m| m.takes_clefs && (m.edition.is_some() || state.printed.is_none())) {
            let printed = moved.printed.0.get(moved.bar()).cloned().unwrap_or_default();
            let fits =
                |f: &&Fragment| f.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(1) <= self.part.staves;
            if state.printed.as_ref() != Some(&printed) {
                wanted.extend(printed.iter().filter(fits).cloned());
                state.printed = Some(printed);
            }
        }
        say(&mut out, wanted);
        let said = out.iter().filter(|f| f.name == "attributes").filter_map(|f| f.child("divisions"));
        state.divisions = said.filter_map(|d| d.text.trim().parse().ok()).next_back().or(Some(own.divisions));
        out
    }

    /// Which notes of a moved bar print an accidental: those that need one
    /// where they now stand, and those that had one to be sure.
    fn accidentals(&self, bar: usize, moved: &Moved) -> FxHashMap<Element, Pitch> {
        let own = &self.part.bars[bar];
        let mut notes: Vec<NoteId> = own.notes.clone().filter(|n| self.part.notes[*n].pitch().is_some()).collect();
        notes.sort_by_key(|n| (self.part.notes[*n].offset, self.part.notes[*n].grace == 0, *n));
        let printed: Vec<Printed> = notes
            .iter()
            .map(|n| {
                let note = &self.part.notes[*n];
                let continued = note.tied_from.is_some_and(|f| self.part.notes[f].bar != bar);
                Printed { staff: note.staff, pitch: moved.written(self.part, *n), continued }
            })
            .collect();
        let fifths = own.fifths + moved.by(own.transpose).fifths();
        let needs = required(printed.iter().copied(), fifths);
        let had = |n: NoteId| child(self.tree.node(self.part.notes[n].element), "accidental").is_some();
        let shown = notes.iter().zip(printed).zip(needs).filter(|((n, _), needed)| *needed || had(**n));
        shown.map(|((n, printed), _)| (self.part.notes[*n].element, printed.pitch)).collect()
    }
}

impl Moved<'_, '_, '_> {
    /// The pitch that the edition would write for a note of the source.
    fn written(&self, part: &Part, note: NoteId) -> Pitch {
        let sounding = part.notes[note].pitch().expect("only notes with pitches are moved");
        in_edition(sounding, self.interval, self.transpose())
    }
}

/// Copies the elements of a bar. What `rewrite` composes is a note as the edition would write it, in
/// its voices and without marks; this shows all that the source's bar has, and only moves it.
struct Copier<'s, 'a, 'i> {
    staff: &'s Staff<'a, 'i>,
    moved: Option<&'s Moved<'s, 'a, 'i>>,
    by: Interval,
    /// The notes that print an accidental, with their new pitches.
    accidentals: FxHashMap<Element, Pitch>,
}

impl Copier<'_, '_, '_> {
    fn copy(&self, node: Node<'_, '_>) -> Vec<Fragment> {
        let name = node.tag_name().name();
        if LEFT_BEHIND.contains(&name)
            || self.moved.is_some_and(|m| m.takes_clefs) && is_printing(name) && is_in_attributes(node)
        {
            return Vec::new();
        }
        let mut out = Fragment::shell(node);
        if !self.staff.is_colored {
            out.attributes.retain(|a| a.0 != "color");
        }
        out.children = elements(node).flat_map(|n| self.copy(n)).collect();
        out.text = Fragment::own_text(node);
        if self.moved.is_some() {
            self.move_own(node, &mut out);
        }
        self.staff.styles.styled(element(node), out)
    }

    /// What an element says of pitches, in the other key.
    fn move_own(&self, node: Node<'_, '_>, out: &mut Fragment) {
        match out.name.as_str() {
            "note" => self.move_note(node, out),
            "key" => {
                if let Some(fifths) = out.children.iter_mut().find(|c| c.name == "fifths")
                    && let Ok(old) = fifths.text.trim().parse::<i32>()
                {
                    fifths.text = (old + self.by.fifths()).to_string();
                }
            }
            "root" => move_root(out, "root-step", "root-alter", self.by),
            "bass" => move_root(out, "bass-step", "bass-alter", self.by),
            _ => {}
        }
    }

    fn move_note(&self, node: Node<'_, '_>, out: &mut Fragment) {
        if let Some(rest) = out.children.iter_mut().find(|c| c.name == "rest") {
            if self.by.steps != 0 {
                // Where rests stand does not depend on the key.
                rest.children.clear();
            }
            return;
        }
        let Some(at) = out.children.iter().position(|c| c.name == "pitch") else { return };
        let old = written(&out.children[at]);
        let Some(new) = old.map(|p| p.moved(self.by).simplest()) else { return };
        out.children[at] = pitch_fragment(new);
        let shown = self.accidentals.get(&element(node)).and_then(|pitch| accidental_name(pitch.alter));
        match (shown, out.children.iter_mut().find(|c| c.name == "accidental")) {
            (Some(name), Some(sign)) => sign.text = name.into(),
            (Some(name), None) => {
                out.place(Fragment::leaf("accidental", name));
            }
            (None, _) => out.remove("accidental"),
        }
        if self.by.steps % 7 != 0 {
            // The staff of the other key asks for other stems; whoever draws it knows them.
            out.remove("stem");
        }
    }
}

/// Moves a root or a bass; a text stays, unless it names the old one.
fn move_root(out: &mut Fragment, step: &str, alter: &str, by: Interval) {
    let child = |out: &Fragment, name: &str| out.children.iter().position(|c| c.name == name);
    let has_sign = child(out, alter).is_some_and(|at| out.children[at].attribute("print-object") != Some("no"));
    let old = child(out, step).map(|at| out.children[at].text.trim().to_string()).unwrap_or_default();
    move_named_pitch(out, step, alter, by);
    let Some(at) = child(out, step) else { return };
    let Some(text) = out.children[at].attribute("text") else { return };
    let names_old =
        text.trim().strip_prefix(&old).is_some_and(|rest| rest.trim_matches(['#', 'b', '♯', '♭']).is_empty());
    if names_old && !old.is_empty() {
        out.children[at].attributes.retain(|a| a.0 != "text");
    } else if let Some(sign) = child(out, alter).filter(|_| !has_sign) {
        out.children[sign].set_attribute("print-object", "no");
    }
}

fn is_in_attributes(node: Node<'_, '_>) -> bool {
    node.parent().is_some_and(|p| p.tag_name().name() == "attributes")
}

/// The pitch that an element writes.
fn written(pitch: &Fragment) -> Option<Pitch> {
    let text = |name: &str| pitch.child(name).map(|c| c.text.trim());
    let base = Pitch::parse(&format!("{}4", text("step")?))?;
    let octave = text("octave")?.parse().ok()?;
    let alter: f64 = text("alter").map_or(Some(0.0), |a| a.parse().ok())?;
    Some(Pitch::new(base.step, (alter * 100.0).round() as i32, octave))
}

/// Puts what must be said into the first attributes, before all music.
pub(super) fn say(measure: &mut Vec<Fragment>, wanted: Vec<Fragment>) {
    if wanted.is_empty() {
        return;
    }
    let music = measure.iter().position(|f| facts(&f.name).is_music()).unwrap_or(measure.len());
    let found = measure[..music].iter().position(|f| f.name == "attributes");
    let at = found.unwrap_or_else(|| {
        let left = |f: &Fragment| f.attributes.iter().any(|a| a.0 == "location" && a.1 == "left");
        let at = usize::from(measure.first().is_some_and(left));
        measure.insert(at, Fragment::new("attributes"));
        at
    });
    for fragment in wanted {
        let same = |f: &Fragment| f.name == fragment.name && f.attribute("number") == fragment.attribute("number");
        if !measure[at].children.iter().any(same) {
            measure[at].place(fragment);
        }
    }
}

/// A bar that one side lacks: as long as the other's, and nothing is seen of it.
pub(super) fn silent(lasts: Time, other: Option<&[Fragment]>, state: &mut State) -> Vec<Fragment> {
    let divisions = lcm(state.divisions.unwrap_or(1), lasts.denom());
    let rest = Fragment::new("note")
        .set("print-object", "no")
        .with(Fragment::new("rest").set("measure", "yes"))
        .with(Fragment::leaf("duration", (lasts * Time::from(divisions)).to_integer().max(1)))
        .with(Fragment::leaf("voice", 1));
    let mut out = Vec::new();
    // A part begins with its clef and its key.
    let borrowed = other.and_then(|o| o.iter().find(|f| f.name == "attributes")).filter(|_| state.divisions.is_none());
    if let Some(mut attributes) = borrowed.cloned() {
        attributes.remove("divisions");
        attributes.remove("time");
        out.push(attributes);
    }
    if state.divisions != Some(divisions) {
        say(&mut out, vec![Fragment::leaf("divisions", divisions)]);
    }
    state.divisions = Some(divisions);
    out.push(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_in_place_of_roots_stay() {
        let root = |text: &str| {
            let sign = Fragment::leaf("root-alter", 1).set("print-object", "no");
            let mut out = Fragment::new("root").with(Fragment::leaf("root-step", "C").set("text", text)).with(sign);
            move_root(&mut out, "root-step", "root-alter", Interval::new(1, 2));
            out
        };
        let told =
            |root: &Fragment| root.children.iter().map(|c| (c.text.clone(), c.attributes.len())).collect::<Vec<_>>();
        assert_eq!(told(&root("In")), [("D".to_string(), 1), ("1".to_string(), 1)]);
        assert_eq!(told(&root("C#")), [("D".to_string(), 0), ("1".to_string(), 0)]);
    }
}
