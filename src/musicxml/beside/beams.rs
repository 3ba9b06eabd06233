//! Beams that are not whole.

use super::super::fragment::Fragment;
use std::collections::BTreeMap;

/// A beam without its beginning or its end: its voice and its number, and its notes.
type Torn = ((String, String), Vec<usize>);

/// Mends the beams of a part that no later note ends: the engraver would draw them over all notes up to the next end.
pub(super) fn mend_open(measures: &mut [Fragment]) {
    for at in 0..measures.len() {
        let next = measures.get(at + 1).map(goes_on).unwrap_or_default();
        let open = torn(&measures[at].children);
        let open = open.into_iter().filter(|(key, run)| {
            let begins =
                run.first().is_some_and(|first| beam_of(&measures[at].children[*first], &key.1) == Some("begin"));
            begins && !next.contains(key)
        });
        let open: Vec<Torn> = open.collect();
        mend(&mut measures[at].children, open);
    }
}

/// The voices and numbers of the beams with which a bar goes on.
fn goes_on(measure: &Fragment) -> Vec<(String, String)> {
    let mut out = Vec::new();
    let mut seen: Vec<String> = Vec::new();
    for note in measure.children.iter().filter(|c| c.name == "note" && c.child("grace").is_none()) {
        let voice = voice_of(note);
        if seen.contains(&voice) {
            continue;
        }
        let beams = note.children.iter().filter(|c| c.name == "beam" && c.text.trim() != "begin");
        out.extend(beams.map(|beam| (voice.clone(), number_of(beam).to_string())));
        seen.push(voice);
    }
    out
}

fn voice_of(note: &Fragment) -> String {
    note.child("voice").map_or(String::new(), |v| v.text.trim().to_string())
}

/// Beams that begin or end in another piece.
pub(super) fn mend_torn(measure: &mut [Fragment]) {
    let torn = torn(measure);
    mend(measure, torn);
}

fn torn(measure: &[Fragment]) -> Vec<Torn> {
    let mut runs: BTreeMap<(String, String), Vec<usize>> = BTreeMap::new();
    let mut torn: Vec<Torn> = Vec::new();
    for at in 0..measure.len() {
        if measure[at].name != "note" || measure[at].child("chord").is_some() || measure[at].child("grace").is_some() {
            continue;
        }
        let voice = voice_of(&measure[at]);
        for beam in measure[at].children.iter().filter(|c| c.name == "beam") {
            let number = number_of(beam).to_string();
            let key = (voice.clone(), number);
            let run = runs.entry(key.clone()).or_default();
            match beam.text.trim() {
                "begin" => *run = vec![at],
                kind @ ("continue" | "end") => {
                    let begins = run.first().is_some_and(|first| beam_of(&measure[*first], &key.1) == Some("begin"));
                    run.push(at);
                    if kind == "end" {
                        let whole = std::mem::take(run);
                        if !begins {
                            torn.push((key, whole));
                        }
                    }
                }
                _ => {}
            }
        }
    }
    torn.extend(runs.into_iter().filter(|(_, run)| !run.is_empty()));
    torn
}

/// They begin and end here.
fn mend(measure: &mut [Fragment], torn: Vec<Torn>) {
    for ((_, number), run) in torn {
        for (place, at) in run.iter().enumerate() {
            let kind = match place {
                _ if run.len() == 1 => None,
                0 => Some("begin"),
                last if last + 1 == run.len() => Some("end"),
                _ => Some("continue"),
            };
            let is_own = |c: &Fragment| c.name == "beam" && number_of(c) == number;
            match kind {
                // Without the first beam there is none.
                None if number == "1" => measure[*at].remove("beam"),
                None => measure[*at].children.retain(|c| !is_own(c)),
                Some(kind) => measure[*at].children.iter_mut().filter(|c| is_own(c)).for_each(|c| c.text = kind.into()),
            }
        }
    }
}

fn beam_of<'f>(note: &'f Fragment, number: &str) -> Option<&'f str> {
    let own = |c: &&Fragment| c.name == "beam" && number_of(c) == number;
    note.children.iter().find(own).map(|c| c.text.trim())
}

fn number_of(beam: &Fragment) -> &str {
    beam.attribute("number").unwrap_or("1")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_beam_that_nothing_ends_is_no_beam() {
        let note = |beams: &[&str]| {
            let beam = |kind: &&str| Fragment::leaf("beam", *kind).set("number", 1);
            beams.iter().map(beam).fold(Fragment::new("note"), Fragment::with)
        };
        let bar = |notes: &[&[&str]]| notes.iter().fold(Fragment::new("measure"), |bar, own| bar.with(note(own)));
        let said =
            |bar: &Fragment| bar.children.iter().map(|n| n.child("beam").map(|b| b.text.clone())).collect::<Vec<_>>();
        let mut part = [bar(&[&["begin"], &["continue"]]), bar(&[&[]]), bar(&[&["begin"]]), bar(&[&["end"]])];
        mend_open(&mut part);
        assert_eq!(said(&part[0]), [Some("begin".into()), Some("end".into())]);
        // Over a barline it is one.
        assert_eq!([said(&part[2]), said(&part[3])], [[Some("begin".into())], [Some("end".into())]]);
        let mut part = [bar(&[&["begin"], &[]])];
        mend_open(&mut part);
        assert_eq!(said(&part[0]), [None, None]);
    }
}
