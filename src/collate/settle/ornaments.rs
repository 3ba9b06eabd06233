//! Plain notes of one side that the other writes out in small ones.

use super::super::rows::Row;
use super::super::{PartAlignment, PartView, WrittenOutOrnament};
use crate::alignment::{EditionBar, EditionNote, SourceMark, SourceNote, SourcePart, Table};
use crate::score::Category;
use crate::time::Time;
use std::collections::HashMap;
use std::iter;

/// From this many notes on, a chord played one after the other is broken.
const LEAST_CHORD: usize = 3;

/// Whether the side that does not write it out has a sign for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    Printed,
    None,
}

pub(super) fn find(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    written_by_edition(view, rows, alignment);
    // The source can only write out what then has more notes than the edition.
    let told: usize = alignment.written_out.iter().map(|r| r.chord.len()).sum();
    if view.source.struck().filter(|s| alignment.source_to_edition[*s].is_none()).count() > told {
        written_by_source(view, rows, alignment);
    }
}

/// The same with the sides exchanged.
fn written_by_source(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    let exchanged = view.exchanged();
    let both = |r: &&Row| r.pair.edition.is_some() && r.pair.source.is_some();
    let rows: Vec<Row> = rows.iter().filter(both).map(Row::exchanged).collect();
    let mut other = alignment.exchanged();
    // What is told already is no plain note.
    let told = view.edition.which(alignment.written_out.iter().flat_map(|r| &r.edition));
    written_by_edition(&exchanged, &rows, &mut other);
    for found in other.written_out.into_iter().filter(|r| !told[r.source.exchanged()]) {
        let edition: Vec<EditionNote> =
            iter::once(found.source).chain(found.chord).map(SourceNote::exchanged).collect();
        let source: Vec<SourceNote> = found.edition.into_iter().map(EditionNote::exchanged).collect();
        for &e in &edition {
            alignment.part_edition(e);
        }
        for &s in &source {
            if let Some(e) = alignment.source_to_edition[s] {
                alignment.part_edition(e);
            }
        }
        let (source, chord) = (source[0], source[1..].to_vec());
        alignment.pair(edition[0], source);
        alignment.written_out.push(WrittenOutOrnament {
            by_source: true,
            source,
            chord,
            edition,
            sign: None,
            name: found.name,
        });
    }
    alignment.written_out.sort_by_key(|r| r.edition[0]);
}

fn written_by_edition(view: &PartView, rows: &[Row], alignment: &mut PartAlignment) {
    let signs = signs(view.source);
    let held = held(view.source, alignment);
    for row in rows.iter().filter(|r| !r.rewritten && r.pair.edition.is_some() && r.pair.source.is_some()) {
        for s in row.source_notes(view.source) {
            if held[s] || view.source[s].chord || has_it_whole(view, alignment, row, s) {
                continue;
            }
            let chord: Vec<SourceNote> = view.source.chord(s).filter(|n| view.source[*n].is_struck()).collect();
            let own = |n: EditionNote| alignment.edition_to_source[n].is_none_or(|p| chord.contains(&p));
            let Some(edition) = written_out(view, alignment, row, &chord, own) else { continue };
            let sign = signs.get(&s).copied();
            let name = match chord.len() {
                1 => told(view, s, &edition, if sign.is_some() { Sign::Printed } else { Sign::None }),
                _ => broken(view, &chord, &edition),
            };
            let Some(name) = name else { continue };
            for &e in &edition {
                alignment.part_edition(e);
            }
            for &other in &chord {
                if let Some(e) = alignment.source_to_edition[other] {
                    alignment.part_edition(e);
                }
            }
            alignment.pair(edition[0], s);
            alignment.written_out.push(WrittenOutOrnament {
                by_source: false,
                source: s,
                chord: chord[1..].to_vec(),
                edition,
                sign,
                name,
            });
        }
    }
}

/// Whether the edition has a note in its place and as long, so that there is no
/// room for small ones: quickly seen, and so with nearly all.
fn has_it_whole(view: &PartView, alignment: &PartAlignment, row: &Row, s: SourceNote) -> bool {
    let Some(e) = alignment.source_to_edition[s] else { return false };
    let (note, other) = (&view.edition[e], &view.source[s]);
    row.pair.edition == Some(EditionBar::new(note.bar))
        && note.offset == row.pair.to_edition(other.offset)
        && view.edition.sounding(e) >= view.source.sounding(s) * row.pair.scale
}

/// The notes of the source that stand in a tie change.
fn held(part: SourcePart, alignment: &PartAlignment) -> Table<SourceNote, bool> {
    part.which(alignment.ties.iter().flat_map(|t| &t.source))
}

/// The first ornament or grace notes that a part prints at each note.
fn signs(part: SourcePart) -> HashMap<SourceNote, SourceMark> {
    let mut out = HashMap::new();
    for (id, mark) in part.marks() {
        if let (Category::Ornament | Category::Grace, Some(note)) = (mark.category, part.carrier(mark.at)) {
            out.entry(note).or_insert(id);
        }
    }
    out
}

/// The edition's notes that exactly fill the time of one source note or chord,
/// none of them the partner of another.
fn written_out(
    view: &PartView,
    alignment: &PartAlignment,
    row: &Row,
    chord: &[SourceNote],
    own: impl Fn(EditionNote) -> bool,
) -> Option<Vec<EditionNote>> {
    let part = view.edition;
    let head = &view.source[chord[0]];
    let length = view.source.sounding(chord[0]) * row.pair.scale;
    let onset = row.pair.to_edition(head.offset);
    let partner = alignment.source_to_edition[chord[0]];
    let voice = partner.map(|n| part[n].voice);
    let first = row.edition_notes(part).find(|n| {
        let note = &part[*n];
        note.offset == onset && own(*n) && voice.is_none_or(|v| v == note.voice)
    })?;
    let mut out = vec![first];
    let mut sum = part.sounding(first);
    let mut end = part.onset(first) + sum;
    for (next, note) in part.notes_after(first) {
        if sum >= length {
            break;
        }
        if !note.is_struck() || note.voice != part[first].voice {
            continue;
        }
        if part.onset(next) != end || !own(next) {
            return None;
        }
        let more = part.sounding(next);
        sum += more;
        end += more;
        out.push(next);
    }
    let holds_partner = partner.is_none_or(|p| out.contains(&p));
    (sum == length && out.len() > 1 && holds_partner).then_some(out)
}

/// All notes of a chord, and no other, one after the other.
fn broken(view: &PartView, chord: &[SourceNote], edition: &[EditionNote]) -> Option<&'static str> {
    let heights: Vec<i32> = chord.iter().map(|n| view.source_height(*n)).collect();
    let played: Vec<i32> = edition.iter().map(|n| view.edition_height(*n)).collect();
    let all = heights.iter().all(|h| played.contains(h)) && played.iter().all(|h| heights.contains(h));
    (all && chord.len() >= LEAST_CHORD).then_some("arpeggio")
}

/// What the small notes around a main note are, if they are an ornament.
fn told(view: &PartView, s: SourceNote, edition: &[EditionNote], sign: Sign) -> Option<&'static str> {
    let main = view.moved(view.source[s].pitch()?).staff_place();
    let pitches: Option<Vec<i32>> =
        edition.iter().map(|n| view.edition[*n].pitch().map(|p| p.staff_place() - main)).collect();
    let lengths: Vec<Time> = edition.iter().map(|n| view.edition.sounding(*n)).collect();
    name(&pitches?, &lengths, sign)
}

/// The name of an ornament from its notes, as steps from the main note, and
/// their lengths. The shapes are those of J. S. Bach's table of 1720 and of
/// Grove's Dictionary, first edition. Without a sign, two notes are an
/// appoggiatura only where the first takes half of the time at least (C. P. E.
/// Bach's rule): else they are more likely a changed rhythm.
fn name(steps: &[i32], lengths: &[Time], sign: Sign) -> Option<&'static str> {
    let whole: Time = lengths.iter().sum();
    let leans = lengths[0] * Time::from(2) >= whole;
    let found = match steps {
        [1 | -1, 0] if leans || sign == Sign::Printed => "appoggiatura",
        [0, -1, 0] => "mordent",
        [0, 1, 0] => "inverted mordent",
        [-2, -1, 0] | [2, 1, 0] if sign == Sign::Printed || lengths[2] * Time::from(2) >= whole => "slide",
        [1, 0, -1, 0] | [1, 0, -1] | [0, 1, 0, -1, 0] => "turn",
        [-1, 0, 1, 0] | [-1, 0, 1] | [0, -1, 0, 1, 0] => "inverted turn",
        [-1, 0, -1, 0] => "appoggiatura with mordent",
        _ => trill(steps, lengths).or_else(|| other(steps, sign))?,
    };
    Some(found)
}

/// A shake, with what opens and closes it.
fn trill(steps: &[i32], lengths: &[Time]) -> Option<&'static str> {
    let (opening, body) = match steps {
        [1, 0, -1, 0, rest @ ..] => (Some("above"), rest),
        [-1, 0, rest @ ..] => (Some("below"), rest),
        rest => (None, rest),
    };
    let (closes, body) = match body {
        [rest @ .., -1, 0] => (true, rest),
        rest => (false, rest),
    };
    let body = body.strip_prefix(&[0]).unwrap_or(body);
    let shakes = body.len() >= 2 && body.chunks(2).all(|pair| pair[0] == 1 && pair.get(1).is_none_or(|s| *s == 0));
    if !shakes || body.len() < 4 && opening.is_none() && !closes {
        return None;
    }
    Some(match (opening, closes) {
        (None, false) if lengths[0] > lengths[1] => "appoggiatura with trill",
        (None, false) => "trill",
        (None, true) => "trill with a closing turn",
        (Some("above"), false) => "trill with a turn from above",
        (Some(_), false) => "trill with a turn from below",
        (Some("above"), true) => "trill with a turn from above and a closing turn",
        (Some(_), true) => "trill with a turn from below and a closing turn",
    })
}

/// Notes that go to and fro about the main one, in a shape without a name.
fn other(steps: &[i32], sign: Sign) -> Option<&'static str> {
    let has_sign = sign == Sign::Printed;
    let reach = if has_sign { 2 } else { 1 };
    let near = steps.iter().all(|d| d.abs() <= reach) && steps.contains(&0) && steps.iter().any(|d| *d != 0);
    let moves = steps.windows(2).all(|pair| pair[0] != pair[1]);
    (near && moves && (has_sign || steps.len() >= 3)).then_some("ornament")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bach's table of 1720 and Grove's Dictionary, as the plain note C5 is
    /// played: lengths in parts of the whole.
    #[test]
    fn the_printed_tables_have_their_names() {
        let table: [(&str, &str); 16] = [
            ("D1 C1 D1 C1 D1 C3", "trill"),
            ("C1 B1 C6", "mordent"),
            ("D1 C1 D1 C1 D1 C1 B1 C1", "trill with a closing turn"),
            ("D1 C1 B1 C1", "turn"),
            ("B1 C1 D1 C1 D1 C1 D1 C1", "trill with a turn from below"),
            ("D1 C1 B1 C1 D1 C1 D1 C1", "trill with a turn from above"),
            ("B1 C1 D1 C1 D1 C1 B1 C1", "trill with a turn from below and a closing turn"),
            ("B4 C4", "appoggiatura"),
            ("D4 C4", "appoggiatura"),
            ("B4 C1 B1 C2", "appoggiatura with mordent"),
            ("D2 C1 D1 C1 D1 C2", "appoggiatura with trill"),
            ("D2 C2 B2 C18", "turn"),
            ("C1 B1 C14", "mordent"),
            ("A1 B1 C6", "slide"),
            ("D1 C1 D1 C1 D1 C1 B1 C1", "trill with a closing turn"),
            ("D2 C1", "appoggiatura"),
        ];
        for (notes, wanted) in table {
            let letters = "ABCDEFG";
            let played: Vec<(i32, Time)> = notes
                .split(' ')
                .map(|n| (letters.find(&n[..1]).unwrap() as i32 - 2, Time::from(n[1..].parse::<i64>().unwrap())))
                .collect();
            let (steps, lengths): (Vec<i32>, Vec<Time>) = played.into_iter().unzip();
            assert_eq!(name(&steps, &lengths, Sign::None), Some(wanted), "{notes}");
        }
        // An eighth and its neighbour are a rhythm, not an ornament.
        let halves = [Time::from(1), Time::from(1)];
        assert_eq!(name(&[0, 1], &halves, Sign::None), None);
        assert_eq!(name(&[1, 0], &[Time::from(1), Time::from(3)], Sign::None), None);
    }
}
