//! Turning what should become of a part into changes of its document: pitches
//! put right, marks taken out and laid on, bars rebuilt from the source.

mod alone;
mod attributes;
mod bars;
mod clefs;
pub(super) mod compose;
mod content;
mod dress;
mod figures;
mod frame;
mod graces;
mod holding;
mod lay;
mod octaves;
mod places;
mod reader;
mod seams;
mod shown;
mod teacher;
mod ties;
mod timed;
mod transpose;
mod unprinted;
mod voices;

use super::edits::Edits;
use super::fragment::Fragment;
use super::tree::{Tree, child_text};
use crate::alignment::PartAlignment;
use crate::instrument::Clef;
use crate::pitch::{LETTERS, Pitch};
use crate::plan::{BarPlan, Plan};
use crate::score::{Anchor, Category, Element, Mark, NoteId, Part, Sign};
use crate::time::Time;
use holding::Holding;
use roxmltree::Node;
use rustc_hash::FxHashMap;
use std::cell::{OnceCell, RefCell};
use std::collections::{BTreeMap, BTreeSet, HashMap};

pub use octaves::{TouchedLine, touched_octave_lines};
pub use reader::{Refusal, WrittenPart};
pub use teacher::NewMark;
pub use transpose::TooManySigns;

/// A note of the result: one of the edition's, or one made from the source's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Target {
    Kept(NoteId),
    Composed(NoteId),
}

/// The source side of a rewrite.
#[derive(Clone, Copy)]
pub struct SourceSide<'a, 'i> {
    pub tree: &'a Tree<'i>,
    pub part: &'a Part,
    pub alignment: &'a PartAlignment,
}

impl<'a, 'i> SourceSide<'a, 'i> {
    /// An element of the part, its notes, its bars or its marks.
    pub(super) fn node(&self, element: Element) -> Node<'a, 'i> {
        self.tree.node(element)
    }
}

/// Changes of one part, collected as edits of its document.
pub struct PartRewrite<'p, 'a, 'i> {
    edits: &'p mut Edits<'a, 'i>,
    part: &'a Part,
    source: Option<SourceSide<'a, 'i>>,
    /// The source of the part that one without counterpart follows.
    leader: Option<SourceSide<'a, 'i>>,
    plan: &'p Plan,
    /// Notes made from the source's, by the source's note.
    composed: BTreeMap<NoteId, Fragment>,
    /// Directions and the like in composed bars: row, offset, element.
    timed: BTreeMap<usize, Vec<(Time, Fragment)>>,
    /// Barline children of new bars: row, at the left, element.
    barlines: BTreeMap<usize, Vec<(bool, Fragment)>>,
    /// Barlines that bars of the edition lacked: by row and side, and where.
    new_barlines: BTreeMap<(usize, bool), (Element, Fragment)>,
    /// Spans that are in the result: name, number, from and to.
    spans: Vec<Occupied>,
    edition_owner: FxHashMap<Element, NoteId>,
    source_owner: FxHashMap<Element, NoteId>,
    /// New written pitches of the edition's notes.
    pitches: BTreeMap<NoteId, Pitch>,
    /// The source's notes that these pitches come from.
    restored_from: BTreeMap<NoteId, NoteId>,
    /// Pitches that composed notes take from the edition instead.
    overrides: BTreeMap<NoteId, Pitch>,
    /// Notes whose accidental gets these attributes.
    flagged: BTreeMap<Target, Vec<(String, String)>>,
    /// Notes whose accidental loses what the editor made of it.
    unflagged: BTreeSet<NoteId>,
    /// Grace notes that come in: before or after which note.
    new_graces: Vec<NewGraces>,
    /// Notes of the edition to which no tie leads any more.
    untied: BTreeSet<NoteId>,
    gone_graces: BTreeSet<NoteId>,
    /// The signature that each row has afterwards.
    fifths: Vec<i32>,
    signatures_restored: bool,
    /// The edition's names for the source's voices, once they are asked for.
    voice_names: RefCell<Option<HashMap<u32, String>>>,
    /// What the source's bars say in their attributes, once it is asked for.
    source_holdings: OnceCell<Vec<Holding<'a, 'i>>>,
    /// Signatures at the start of rows, as they are to look, by row and name.
    new_signatures: BTreeMap<(usize, String), Fragment>,
    /// Those in the middle of rows.
    late_signatures: BTreeMap<usize, Vec<(Time, Fragment)>>,
    /// What comes to stand at a time in a bar of the edition that stays.
    placed: BTreeMap<usize, Vec<(Time, Fragment)>>,
    /// Bars of the edition from which figures go.
    lost_figures: BTreeSet<usize>,
    /// Bars of the edition that get finer divisions.
    finer: BTreeMap<usize, i64>,
    /// Notes move by one interval, or by octaves, and signs stay where they are.
    moved_whole: bool,
    /// Clefs in the place of the part's own, with the bars from which they hold.
    other_clefs: Option<Vec<(usize, Clef)>>,
    /// Whether each note is laid beside the source; `None` where all are.
    compared: Option<&'a [bool]>,
}

struct Occupied {
    name: String,
    number: u32,
    from: (usize, Time),
    to: (usize, Time),
}

struct NewGraces {
    main: NoteId,
    after: bool,
    notes: Vec<NoteId>,
}

impl<'p, 'a, 'i> PartRewrite<'p, 'a, 'i> {
    pub fn new(
        edits: &'p mut Edits<'a, 'i>,
        part: &'a Part,
        source: Option<SourceSide<'a, 'i>>,
        plan: &'p Plan,
    ) -> Self {
        let owners = |part: &Part| part.notes.iter().enumerate().map(|(id, n)| (n.element, id)).collect();
        PartRewrite {
            edits,
            part,
            source,
            leader: None,
            plan,
            composed: BTreeMap::new(),
            timed: BTreeMap::new(),
            barlines: BTreeMap::new(),
            new_barlines: BTreeMap::new(),
            spans: Vec::new(),
            edition_owner: owners(part),
            source_owner: source.map_or_else(FxHashMap::default, |s| owners(s.part)),
            pitches: BTreeMap::new(),
            restored_from: BTreeMap::new(),
            overrides: BTreeMap::new(),
            flagged: BTreeMap::new(),
            unflagged: BTreeSet::new(),
            new_graces: Vec::new(),
            untied: BTreeSet::new(),
            gone_graces: BTreeSet::new(),
            fifths: Vec::new(),
            signatures_restored: false,
            voice_names: RefCell::default(),
            source_holdings: OnceCell::new(),
            new_signatures: BTreeMap::new(),
            late_signatures: BTreeMap::new(),
            placed: BTreeMap::new(),
            lost_figures: BTreeSet::new(),
            finer: BTreeMap::new(),
            moved_whole: false,
            other_clefs: None,
            compared: None,
        }
    }

    /// A part without counterpart has the bar lengths, the time signatures and
    /// the barlines of one that has one.
    pub fn follow(&mut self, leader: SourceSide<'a, 'i>) {
        self.leader = Some(leader);
    }

    /// The source's part that says how long new bars are, and in which time.
    fn frame(&self) -> Option<SourceSide<'a, 'i>> {
        self.source.or(self.leader)
    }

    /// Composes the notes of all bars that take the source's music. Call it
    /// before laying marks; `overrides` are sounding pitches, by source note.
    pub fn compose_bars(&mut self, overrides: BTreeMap<NoteId, Pitch>, signatures_restored: bool) {
        self.overrides = overrides;
        self.signatures_restored = signatures_restored;
        self.fifths = self.row_fifths();
        let Some(source) = self.source else { return };
        for (row, plan) in self.plan.rows().iter().enumerate().filter(|(_, f)| f.is_composed()) {
            let bar = plan.source().expect("composed bars have a source");
            let Some(bar) = source.part.bars.get(bar) else {
                continue;
            };
            for note in bar.notes.clone() {
                let fragment = self.compose_note(source, note, row);
                self.composed.insert(note, fragment);
            }
        }
    }

    /// A note of the edition gets the pitch of a source note, and so do all
    /// that are tied to it.
    pub fn restore_pitch(&mut self, note: NoteId, from: NoteId) {
        let Some(source) = self.source else { return };
        let Some(pitch) = source.part.notes[from].pitch() else { return };
        self.restored_from.insert(note, from);
        let sounding = pitch.moved(source.alignment.interval).simplest();
        for tied in self.part.tied(note).collect::<Vec<_>>() {
            let written = sounding.moved(self.part.notes[tied].transpose.inverse());
            self.put_pitch(tied, written);
        }
    }

    /// The written pitch of a note of the edition, as the edition has it.
    fn written(&self, note: NoteId) -> Option<Pitch> {
        let own = &self.part.notes[note];
        own.pitch().map(|p| p.moved(own.transpose.inverse()))
    }

    /// Takes a mark of the edition out.
    pub fn remove_mark(&mut self, mark: &Mark) {
        if Self::is_leading_signature(mark) {
            return;
        }
        match (mark.category, &mark.sign, mark.at.note) {
            // Its accidental may still be needed: settled with all others.
            (_, Sign::Accidental { .. }, Some(note)) => {
                self.unflagged.insert(note);
            }
            (_, Sign::Figures(_), _) => {
                self.lost_figures.insert(mark.at.bar);
                mark.elements.iter().for_each(|e| self.edits.remove(*e));
            }
            (Category::Grace, ..) => self.remove_graces(mark),
            _ => mark.elements.iter().for_each(|e| self.edits.remove(*e)),
        }
        self.silence(mark);
    }

    /// Takes grace notes out. What stands on them is to be laid again, so that
    /// it must be known first which they are.
    pub fn remove_graces(&mut self, mark: &Mark) {
        let gone = mark.elements.iter().filter_map(|e| self.edition_owner.get(e)).copied();
        self.gone_graces.extend(gone.collect::<Vec<_>>());
        mark.elements.iter().for_each(|e| self.edits.remove(*e));
    }

    /// Whether a mark lies in a bar that is taken out or rebuilt. Of a rebuilt
    /// bar the attributes stay, and with them its signatures.
    pub fn is_in_composed_bar(&self, mark: &Mark) -> bool {
        let stays = |plan: BarPlan| {
            let rebuilt = matches!(plan, BarPlan::Rebuild { .. });
            matches!(plan, BarPlan::Keep { .. }) || rebuilt && mark.category == Category::Signature
        };
        let touched = |place: Anchor| self.plan.edition_row(place.bar).is_some_and(|r| !stays(self.plan[r]));
        touched(mark.at) || mark.end.is_some_and(touched) || self.is_on_gone_grace(mark)
    }

    /// Whether a mark stands on a grace note that goes.
    fn is_on_gone_grace(&self, mark: &Mark) -> bool {
        let gone = |note: NoteId| self.gone_graces.contains(&note);
        !self.gone_graces.is_empty()
            && mark.category != Category::Grace
            && [Some(mark.at), mark.end].into_iter().flatten().filter_map(|p| p.note).any(gone)
    }

    /// Ends the changes of this part.
    pub fn finish(mut self) {
        if self.source.is_some() {
            self.mend_ties_at_seams();
        }
        if self.source.is_none() || self.compared.is_some() {
            self.close_seams();
        }
        self.settle_timed();
        self.put_graces();
        self.settle_accidentals();
        self.settle_stems();
        self.put_bars();
    }
}

pub(super) fn pitch_fragment(pitch: Pitch) -> Fragment {
    let mut out = Fragment::new("pitch").with(Fragment::leaf("step", LETTERS[pitch.step as usize]));
    if pitch.alter != 0 {
        let text = if pitch.alter % 100 == 0 {
            (pitch.alter / 100).to_string()
        } else {
            format!("{}", f64::from(pitch.alter) / 100.0)
        };
        out = out.with(Fragment::leaf("alter", text));
    }
    out.with(Fragment::leaf("octave", pitch.octave))
}

/// The voice as the document names it.
fn voice_name(note: Node<'_, '_>) -> String {
    child_text(note, "voice").unwrap_or("").to_string()
}
