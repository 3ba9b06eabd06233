//! Notes that sound together, on an instrument that plays one at a time.

use super::Cleaned;
use super::fit::Player;
use crate::instrument::Instrument;
use crate::score::{NoteId, Part, Score};
use crate::time::Time;
use std::collections::BTreeSet;

/// So many bars are named.
const BARS: usize = 12;

/// Warns of each part that asks its instrument for chords.
pub(super) fn warn(score: &Score, cleaned: &mut Cleaned, players: &[&Player]) {
    for player in players.iter().filter(|player| player.instrument.one_note) {
        let said = warning(&score.parts[player.part], player.instrument);
        cleaned.warnings.extend(said.filter(|said| !cleaned.warnings.contains(said)));
    }
}

fn warning(part: &Part, instrument: &Instrument) -> Option<String> {
    let bars = bars_with_chords(part);
    let mut names: Vec<String> = bars.iter().take(BARS).map(|bar| part.bars[*bar].number.clone()).collect();
    if bars.len() > BARS {
        names.push(format!("and {} more", bars.len() - BARS));
    }
    let bar = if bars.len() == 1 { "bar" } else { "bars" };
    (!bars.is_empty()).then(|| {
        format!(
            "part {} has notes that sound together, but the {} plays one note at a time: {bar} {}",
            part.spoken(),
            instrument.name,
            names.join(", ")
        )
    })
}

/// The bars in which a note is struck while another one sounds; a unison is none.
fn bars_with_chords(part: &Part) -> BTreeSet<usize> {
    let own = |id: &NoteId| {
        let note = &part.notes[*id];
        note.grace == 0 && !note.cue && note.pitch().is_some()
    };
    let mut notes: Vec<NoteId> = part.struck().filter(own).collect();
    notes.sort_by_key(|id| part.onset(*id));
    let height = |id: NoteId| part.notes[id].pitch().map(|pitch| pitch.sound());
    let mut sounding: Vec<(Time, NoteId)> = Vec::new();
    let mut out = BTreeSet::new();
    for id in notes {
        let onset = part.onset(id);
        sounding.retain(|(end, _)| *end > onset);
        if sounding.iter().any(|(_, other)| height(*other) != height(id)) {
            out.insert(part.notes[id].bar);
        }
        sounding.push((onset + part.sounding(id), id));
    }
    out
}
