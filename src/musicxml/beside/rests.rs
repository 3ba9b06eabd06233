//! Rests as the engraver wants them: those that fill their bar say so, all others have a written value.

use super::super::fragment::Fragment;
use crate::score::Part;
use crate::time::{Time, parse_decimal, text};

/// Written values from the longest, in quarter notes: the engraver takes a rest without one for a whole bar's.
const VALUES: [(i64, i64, &str); 8] = [
    (8, 1, "breve"),
    (4, 1, "whole"),
    (2, 1, "half"),
    (1, 1, "quarter"),
    (1, 2, "eighth"),
    (1, 4, "16th"),
    (1, 8, "32nd"),
    (1, 16, "64th"),
];

/// Quarter notes of the longest bar that is drawn: the engraver fills what nobody plays, rest by rest.
const LONGEST_BAR: i64 = 4096;

/// Why a part cannot be drawn that has a longer bar.
pub fn too_long(part: &Part) -> Option<String> {
    let bar = part.bars.iter().find(|bar| bar.length > Time::from(LONGEST_BAR))?;
    let length = text(bar.length);
    Some(format!("bar {} lasts {length} quarter notes, and a bar is drawn of {LONGEST_BAR} at most", bar.number))
}

/// A rest that is alone on its staff in a bar fills it if it has no written value, or is a whole one.
pub(super) fn fill_with_rest(measure: &mut Fragment) {
    let is_whole = |note: &Fragment| note.child("type").is_none_or(|t| t.text.trim() == "whole");
    let lasts = |c: &&Fragment| c.name == "note" && c.child("grace").is_none();
    let staves: Vec<String> = measure.children.iter().filter(lasts).map(|n| said(n, "staff")).collect();
    if measure.children.iter().any(|c| c.name == "forward") {
        return;
    }
    for note in measure.children.iter_mut().filter(|c| c.name == "note" && is_whole(c)) {
        let own = said(note, "staff");
        if staves.iter().filter(|s| **s == own).count() == 1
            && let Some(rest) = note.children.iter_mut().find(|c| c.name == "rest")
        {
            rest.set_attribute("measure", "yes");
        }
    }
}

/// Gives rests without a written value theirs, several where one cannot say it. Those that are
/// alone in their voice fill the bar. `divisions` are those of the bar before, and then those of this.
pub(super) fn with_values(measure: &mut Fragment, divisions: &mut Time) {
    let voice = |note: &Fragment| [said(note, "staff"), said(note, "voice")];
    let lasts = |c: &&Fragment| c.name == "note" && c.child("grace").is_none();
    let voices: Vec<[String; 2]> = measure.children.iter().filter(lasts).map(voice).collect();
    let is_alone = |note: &Fragment| voices.iter().filter(|own| **own == voice(note)).count() == 1;
    let has_moved = measure.children.iter().any(|c| c.name == "forward");
    let (mut at, mut ahead) = (Time::zero(), Time::zero());
    for item in std::mem::take(&mut measure.children) {
        if let Some(said) = item.child("divisions").and_then(|d| parse_decimal(d.text.trim())) {
            *divisions = said;
        }
        let duration = item.child("duration").and_then(|d| parse_decimal(d.text.trim())).unwrap_or_default();
        let length = duration / *divisions;
        match item.name.as_str() {
            "backup" if !ahead.is_zero() => {
                let net = ahead - length;
                ahead = Time::zero();
                if !net.is_zero() {
                    let (name, by) = if net > Time::zero() { ("forward", net) } else { ("backup", -net) };
                    at = (at + net).max(Time::zero());
                    measure.children.push(moving(name, by, *divisions));
                }
                continue;
            }
            "backup" => at = (at - length).max(Time::zero()),
            // Only beyond the bar's end is there so much time.
            "forward" if at + length > Time::from(LONGEST_BAR) => {
                ahead += length;
                continue;
            }
            "forward" => at += length,
            "note" if item.child("grace").is_none() && item.child("chord").is_none() => {
                let pieces =
                    if is_unsaid(&item) && (has_moved || !is_alone(&item)) { pieces(at, length) } else { None };
                at += length;
                if let Some(pieces) = pieces {
                    measure.children.extend(pieces.into_iter().map(|piece| of_value(&item, piece, *divisions)));
                    continue;
                }
            }
            _ => {}
        }
        measure.children.push(item);
    }
}

fn moving(name: &str, by: Time, divisions: Time) -> Fragment {
    Fragment::new(name).with(Fragment::leaf("duration", by * divisions))
}

fn said(note: &Fragment, name: &str) -> String {
    note.child(name).map_or(String::from("1"), |own| own.text.trim().to_string())
}

fn is_unsaid(note: &Fragment) -> bool {
    let fills = |rest: &Fragment| rest.attribute("measure") == Some("yes");
    note.child("rest").is_some_and(|rest| !fills(rest)) && note.child("type").is_none()
}

/// So many values in this order, each at a beat of its own length; `None` where none can say it.
fn pieces(mut at: Time, mut length: Time) -> Option<Vec<(Time, &'static str)>> {
    let mut out = Vec::new();
    while length > Time::zero() {
        let values = VALUES.iter().map(|(numer, denom, name)| (Time::new(*numer, *denom), *name));
        let fits = |value: &(Time, &str)| value.0 <= length && (at / value.0).denom() == 1;
        let (value, name) = values.into_iter().find(fits)?;
        out.push((value, name));
        (at, length) = (at + value, length - value);
    }
    Some(out)
}

fn of_value(rest: &Fragment, (value, name): (Time, &str), divisions: Time) -> Fragment {
    let mut out = rest.clone();
    if let Some(own) = out.children.iter_mut().find(|c| c.name == "duration") {
        own.text = (value * divisions).to_string();
    }
    out.place(Fragment::leaf("type", name));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(sound: &str, duration: u32) -> Fragment {
        Fragment::new("note").with(Fragment::new(sound)).with(Fragment::leaf("duration", duration))
    }

    #[test]
    fn a_rest_within_a_bar_has_written_values() {
        let attributes = Fragment::new("attributes").with(Fragment::leaf("divisions", 2));
        let mut measure = Fragment::new("measure").with(attributes).with(note("pitch", 2)).with(note("rest", 6));
        let mut divisions = Time::from(1);
        with_values(&mut measure, &mut divisions);
        let rests = measure.children.iter().filter_map(|c| Some((said(c, "duration"), c.child("type")?.text.as_str())));
        let rests: Vec<_> = rests.collect();
        assert_eq!(rests, [("2".into(), "quarter"), ("4".into(), "half")]);
        // It holds in the next bar, too; what is alone fills it.
        let mut next = Fragment::new("measure").with(note("rest", 8));
        with_values(&mut next, &mut divisions);
        assert!(next.children[0].child("type").is_none());
    }

    #[test]
    fn time_beyond_the_longest_bar_is_left_out() {
        let moves = |name: &str, by: i64| Fragment::new(name).with(Fragment::leaf("duration", by));
        let mut measure = Fragment::new("measure").with(note("pitch", 4)).with(moves("forward", 1_048_576));
        with_values(&mut measure, &mut Time::from(1));
        assert_eq!(measure.children.len(), 1);
        // What goes back from there goes back from the note.
        measure.children.extend([moves("forward", 1_048_576), moves("backup", 1_048_578), note("pitch", 1)]);
        with_values(&mut measure, &mut Time::from(1));
        let all: Vec<_> = measure.children.iter().map(|c| (c.name.as_str(), said(c, "duration"))).collect();
        assert_eq!(all, [("note", "4".into()), ("backup", "2".into()), ("note", "1".into())]);
    }

    #[test]
    fn a_whole_rest_alone_on_its_staff_fills_the_bar() {
        let rest = |kind: &str, staff: u32| {
            let note = Fragment::new("note").with(Fragment::new("rest")).with(Fragment::leaf("type", kind));
            note.with(Fragment::leaf("staff", staff))
        };
        let mut measure = Fragment::new("measure").with(rest("whole", 1));
        measure.children.extend([rest("half", 2), rest("whole", 3), rest("whole", 3), rest("half", 4)]);
        measure.children.push(Fragment::new("note").with(Fragment::new("grace")));
        fill_with_rest(&mut measure);
        let fills: Vec<bool> = measure.children.iter().map(|n| n.children[0].attribute("measure").is_some()).collect();
        assert_eq!(fills, [true, false, false, false, false, false]);
    }
}
