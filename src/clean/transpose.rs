//! A clean copy in the key that its player chose.

use super::expect::{Content, NoteLine, mark_line};
use super::{Cleaned, Failure, Policy, proof};
use crate::collate::without_signs;
use crate::musicxml::rewrite::{Fate, PartRewrite};
use crate::musicxml::{self, Input, Plan, Tree};
use crate::pitch::{Interval, key_name, nearest_by_fifths};
use crate::score::{Category, Part, Sound};
use std::collections::BTreeMap;

/// The key that a copy is to come out in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NewKey {
    /// So far from the edition's.
    By(Interval),
    /// With this signature, as the first bar of a part sounds, by the nearest way.
    Fifths { fifths: i32, part: usize },
}

/// The copy moved to another key: notes, signatures, accidentals, chord symbols
/// and figures; instruments that transpose go on doing so. Proved as the copy is.
///
/// # Errors
/// When a signature would need more than seven sharps or flats, or the result
/// is not what it should be.
pub fn transpose(like: &Input, mut cleaned: Cleaned, to: NewKey, policy: &Policy) -> Result<Cleaned, Failure> {
    let input = like.with_text(cleaned.text);
    let tree = Tree::parse(&input).map_err(Failure::Unreadable)?;
    let score = musicxml::read(&tree).map_err(Failure::Unreadable)?.score;
    let by = match to {
        NewKey::By(interval) => interval,
        NewKey::Fifths { fifths, part } => nearest_by_fifths(fifths - score.parts[part].sounding_fifths(0)),
    };
    let policy = &Policy { transpose: Some(by).filter(|by| *by != Interval::UNISON), ..policy.clone() };
    let mut plan = Plan::new(&tree);
    let mut expected = Vec::new();
    for part in &score.parts {
        let fates = Fate::all_kept(part);
        let mut rewrite = PartRewrite::new(&mut plan, part, None, &fates);
        rewrite.compose_bars(BTreeMap::new(), false);
        rewrite.transpose(by).map_err(|fault| {
            Failure::Unsupported(format!(
                "part {}, bar {}: {} the signature would have {}{}",
                part.id,
                part.bars[fault.bar].number,
                by.name(),
                key_name(fault.fifths),
                other_way(by, fault.fifths)
            ))
        })?;
        rewrite.finish();
        expected.push(moved(part, by));
    }
    if let Some(provenance) = policy.provenance.as_ref().filter(|_| !plan.is_empty() || !cleaned.summary.is_nothing()) {
        let changes = cleaned.summary.changes(0);
        musicxml::sign(&mut plan, &provenance.description(), &provenance.field(policy, changes));
    }
    cleaned.moved = policy.transpose;
    cleaned.text = plan.finish().apply(&input.text)?;
    let proof = proof::prove_moved(like, &cleaned.text, &expected)?;
    cleaned.proof = proof.after(&cleaned.proof);
    Ok(cleaned)
}

/// The same sound written with fewer signs, as advice.
fn other_way(by: Interval, fifths: i32) -> String {
    let step = if fifths > 0 { 1 } else { -1 };
    let other = Interval::new(by.steps + step, by.semitones);
    let signs = fifths - 12 * step;
    format!("; {} sounds the same and has {}", other.name(), key_name(signs))
}

/// What a part must hold afterwards.
fn moved(part: &Part, by: Interval) -> Content {
    let mut out = Content::of(part);
    let pitched = part.notes.iter().any(|n| n.pitch().is_some());
    if !pitched {
        return out;
    }
    out.notes = part
        .struck()
        .map(|id| {
            let note = &part.notes[id];
            let sound = match note.sound {
                Sound::Pitched(pitch) => {
                    // Spelled as it is written, which transposing instruments do in another key.
                    let written = pitch.moved(note.transpose.inverse()).moved(by).simplest();
                    written.moved(note.transpose).to_string()
                }
                Sound::Unpitched(pitch) => format!("stroke at {pitch}"),
                Sound::Rest => "rest".into(),
            };
            NoteLine { bar: note.bar, offset: note.offset, sound, length: part.sounding(id) }
        })
        .collect();
    let marks = part.marks.iter().filter(|m| m.category != Category::Signature);
    out.marks = marks
        .map(|m| mark_line(m, (m.at.bar, m.at.offset), m.end.map(|e| (e.bar, e.offset)), by))
        .map(|mut line| {
            line.meaning = without_signs(&line.meaning);
            line
        })
        .collect();
    out.signatures.iter_mut().for_each(|s| s.0 += by.fifths());
    out.sort();
    out
}
