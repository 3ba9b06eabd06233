//! New marks of a teacher's, as elements in their places.

use super::super::elements::is_dynamic_sign;
use super::super::fragment::Fragment;
use super::Target;
use super::insert::Inserter;
use crate::score::Anchor;

/// A mark to be inserted, without its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NewMark {
    Dynamics(String),
    /// Growing louder, or softer.
    Hairpin {
        louder: bool,
    },
    Slur,
    Articulation(String),
    Ornament(String),
    Breath,
    Fermata,
    Fingering(String),
    /// Words, printed bold as tempo words are.
    Tempo(String),
    Metronome {
        unit: String,
        dots: usize,
        per_minute: String,
    },
    Expression(String),
    Text(String),
}

impl Inserter<'_, '_, '_> {
    /// Inserts a new mark into a part that is otherwise left alone: rows and bars are
    /// the same then. Marks that a note carries go to the note of their anchor.
    pub fn insert_new(&mut self, mark: &NewMark, at: Anchor, end: Option<Anchor>) {
        let on_note = |this: &mut Self, container: Option<&str>, fragment: Fragment, at: Anchor| {
            if let Some(note) = this.context.part.carrier(at) {
                this.draft.add_notation(Target::Kept(note), container, fragment);
            }
        };
        match mark {
            NewMark::Dynamics(sign) if is_dynamic_sign(sign) => {
                let sign = Fragment::new("dynamics").with(Fragment::new(sign));
                self.direction(at, "below", sign);
            }
            NewMark::Dynamics(words) => self.direction(at, "below", italic(words)),
            NewMark::Expression(words) => self.direction(at, "below", italic(words)),
            NewMark::Text(words) => self.direction(at, "above", Fragment::leaf("words", words)),
            NewMark::Tempo(words) => {
                let words = Fragment::leaf("words", words).set("font-weight", "bold");
                self.direction(at, "above", words);
            }
            NewMark::Metronome { unit, dots, per_minute } => {
                let mut sign = Fragment::new("metronome").with(Fragment::leaf("beat-unit", unit));
                sign.children.extend((0..*dots).map(|_| Fragment::new("beat-unit-dot")));
                self.direction(at, "above", sign.with(Fragment::leaf("per-minute", per_minute)));
            }
            NewMark::Hairpin { louder } => {
                let Some(end) = end else { return };
                let number = self.number_for("wedge", at, end);
                let kind = if *louder { "crescendo" } else { "diminuendo" };
                let wedge = |kind: &str| numbered(Fragment::new("wedge").set("type", kind), number);
                self.direction(at, "below", wedge(kind));
                self.direction(end, "below", wedge("stop"));
            }
            NewMark::Slur => {
                let Some(end) = end else { return };
                let number = self.number_for("slur", at, end);
                let slur = |kind: &str| Fragment::new("slur").set("number", number).set("type", kind);
                on_note(self, None, slur("start"), at);
                on_note(self, None, slur("stop"), end);
            }
            NewMark::Articulation(name) => on_note(self, Some("articulations"), Fragment::new(name), at),
            NewMark::Ornament(name) => on_note(self, Some("ornaments"), Fragment::new(name), at),
            NewMark::Breath => on_note(self, Some("articulations"), Fragment::new("breath-mark"), at),
            NewMark::Fermata => on_note(self, None, Fragment::new("fermata").set("type", "upright"), at),
            NewMark::Fingering(text) => on_note(self, Some("technical"), Fragment::leaf("fingering", text), at),
        }
    }

    fn number_for(&mut self, name: &str, at: Anchor, end: Anchor) -> u32 {
        self.numbers.free(name, (at.bar, at.offset), (end.bar, end.offset))
    }

    fn direction(&mut self, at: Anchor, placement: &str, sign: Fragment) {
        let mut direction =
            Fragment::new("direction").set("placement", placement).with(Fragment::new("direction-type").with(sign));
        if self.context.part.staves > 1 {
            let staff = at.note.map_or(1, |n| self.context.part.notes[n].staff);
            direction.place(Fragment::leaf("staff", staff));
        }
        self.timed.add(at.bar, at.offset, direction);
    }
}

fn italic(words: &str) -> Fragment {
    Fragment::leaf("words", words).set("font-style", "italic")
}

/// A first span needs no number.
fn numbered(fragment: Fragment, number: u32) -> Fragment {
    if number == 1 { fragment } else { fragment.set("number", number) }
}
