//! What the clean copy must hold, worked out from both scores and never from
//! the text that was made.

use super::content::{Content, mark_line, note_line, numbered, signatures};
use super::job::PartJob;
use super::marks::Verdict;
use crate::alignment::{EditionNote, SourceMark, SourceNote};
use crate::findings::{Finding, Subject};
use crate::pitch::{Interval, Pitch};
use crate::plan::BarPlan;
use crate::score::{Anchor, Category, Element, Mark, Place, Sound};
use std::collections::BTreeMap;

impl PartJob<'_, '_, '_> {
    /// What the result must hold: the source moved, and what is kept.
    pub fn expected(&self) -> Content {
        let rows = numbered(self.plan.rows());
        let mut out =
            Content { part: self.edition.id.clone(), bars: rows.iter().flatten().count(), ..Content::default() };
        self.expect_notes(&rows, &mut out);
        self.expect_marks(&rows, &mut out);
        self.expect_signatures(&mut out);
        out.sort();
        out
    }

    fn edition_bar(&self, rows: &[Option<usize>], bar: usize) -> Option<(usize, BarPlan)> {
        let row = self.sides.collation.edition_row(Place::start_of(bar));
        Some((rows[row]?, self.plan[row]))
    }

    fn source_bar(&self, rows: &[Option<usize>], bar: usize) -> Option<(usize, BarPlan)> {
        let row = self.sides.collation.source_row(Place::start_of(bar));
        Some((rows[row]?, self.plan[row]))
    }

    fn expect_notes(&self, rows: &[Option<usize>], out: &mut Content) {
        let interval = self.alignment.interval;
        // What is left as the edition has it, by note.
        let mut kept: BTreeMap<EditionNote, Vec<&Finding>> = BTreeMap::new();
        let mut kept_out: Vec<SourceNote> = Vec::new();
        for (finding, _) in self.with(|f| f.category.is_of_notes()).filter(|(_, undone)| !undone) {
            match finding.subject {
                Subject::Note { edition: Some(e), .. } => kept.entry(e).or_default().push(finding),
                Subject::Note { edition: None, source: Some(s) } => kept_out.push(s),
                Subject::Tie(t) => {
                    let tie = &self.alignment.ties[t];
                    kept.entry(tie.edition[0]).or_default().push(finding);
                    tie.edition.iter().skip(1).for_each(|e| kept.entry(*e).or_default().push(finding));
                    kept_out.extend(tie.source.iter().skip(1));
                }
                Subject::WrittenOutOrnament(r) => {
                    let r = &self.alignment.written_out[r];
                    r.edition.iter().for_each(|e| kept.entry(*e).or_default().push(finding));
                    kept_out.push(r.source);
                    kept_out.extend(&r.chord);
                }
                _ => {}
            }
        }
        for s in self.source.struck() {
            if kept_out.contains(&s) {
                continue;
            }
            let note = &self.source[s];
            let Some((bar, plan)) = self.source_bar(rows, note.bar) else {
                continue;
            };
            let shift = plan.shift();
            let partner = self.alignment.source_to_edition[s];
            let left = partner.and_then(|e| kept.get(&e)).map_or(&[][..], Vec::as_slice);
            let is_left = |c: Category| left.iter().any(|f| f.category == c);
            if matches!(plan, BarPlan::Keep { .. }) && (is_left(Category::Rhythm) || is_left(Category::Tie)) {
                continue;
            }
            let of_pitch = is_left(Category::Octave) || is_left(Category::Pitch) || is_left(Category::Spelling);
            let sound = match (partner.filter(|_| of_pitch), note.sound) {
                (Some(e), _) => self.edition[e].sound,
                (None, Sound::Pitched(p)) => Sound::Pitched(self.spelled(p, partner, interval)),
                (None, other) => other,
            };
            out.notes.push(note_line(
                Place { bar, offset: note.offset + shift },
                sound,
                Interval::UNISON,
                self.source.sounding(s),
            ));
        }
        for e in self.edition.struck().filter(|e| self.is_compared(*e)) {
            let note = &self.edition[e];
            let Some((bar, plan)) = self.edition_bar(rows, note.bar) else {
                continue;
            };
            let BarPlan::Keep { source, .. } = plan else {
                continue;
            };
            let alone = kept.get(&e).is_some_and(|findings| {
                let of = |c: Category| findings.iter().any(|f| f.category == c);
                of(Category::Note) || of(Category::Rhythm) || of(Category::Tie) || of(Category::WrittenOut)
            });
            if alone || source.is_none() {
                // A kept rhythm may have had its pitch put right.
                let wrong = |f: &&Finding| matches!(f.subject, Subject::Note { edition: Some(n), .. } if n == e);
                let fixed = self
                    .with(|f| matches!(f.category, Category::Octave | Category::Pitch | Category::Spelling))
                    .filter(|(f, undone)| wrong(f) && *undone)
                    .find_map(|_| self.source[self.alignment.edition_to_source[e]?].pitch());
                let sound = fixed.map_or(note.sound, |p| Sound::Pitched(p.moved(interval).simplest()));
                out.notes.push(note_line(
                    Place { bar, ..note.place() },
                    sound,
                    Interval::UNISON,
                    self.edition.sounding(e),
                ));
            }
        }
    }

    /// A source pitch as the result spells it: as the edition does where its
    /// note was right, else with no more than double accidentals.
    fn spelled(&self, pitch: Pitch, partner: Option<EditionNote>, interval: Interval) -> Pitch {
        let moved = pitch.moved(interval);
        let ours = partner.and_then(|e| self.edition[e].pitch());
        if ours == Some(moved) { moved } else { moved.simplest() }
    }

    fn expect_marks(&self, rows: &[Option<usize>], out: &mut Content) {
        let decisions = self.mark_decisions();
        let mut source: Vec<SourceMark> = self.restored_signs();
        let graces: Vec<Element> = self.gone_graces(&decisions).flat_map(|m| m.elements.iter().copied()).collect();
        let is_gone =
            |place: Anchor| self.edition.carrier(place).is_some_and(|n| graces.contains(&self.edition[n].element));
        for pair in self.alignment.marks.iter() {
            match self.verdict(pair, &decisions) {
                Verdict::Edition => {
                    let mark = self.edition.mark(pair.edition.expect("the edition's"));
                    let composed = [Some(mark.at), mark.end].into_iter().flatten().any(|p| {
                        self.edition_bar(rows, p.bar).is_none_or(|(_, plan)| !matches!(plan, BarPlan::Keep { .. }))
                    });
                    // What stood on a grace note goes with it.
                    let torn = is_gone(mark.at) || mark.end.is_some_and(is_gone);
                    match pair.source {
                        Some(s) if (composed || torn) && pair.same => source.push(s),
                        _ if torn && mark.category != Category::Grace => {}
                        _ => self.expect_edition_mark(mark, composed, rows, out),
                    }
                }
                Verdict::Source => source.extend(pair.source),
                Verdict::Neither => {}
            }
        }
        for mark in source.into_iter().map(|m| self.source.mark(m)) {
            let place = |p: Anchor| {
                let (bar, plan) = self.source_bar(rows, p.bar)?;
                let shift = plan.shift();
                Some(Place { bar, offset: p.offset + shift })
            };
            if mark.category != Category::Signature
                && let Some(at) = place(mark.at)
            {
                out.marks.push(mark_line(mark, at, mark.end.and_then(place), self.alignment.interval));
            }
        }
    }

    fn expect_edition_mark(&self, mark: &Mark, composed: bool, rows: &[Option<usize>], out: &mut Content) {
        // Grace notes go with a bar that is written again.
        if mark.category == Category::Signature || composed && mark.category == Category::Grace {
            return;
        }
        let place = |p: Anchor| {
            let (bar, plan) = self.edition_bar(rows, p.bar)?;
            if matches!(plan, BarPlan::Keep { .. }) {
                return Some(Place { bar, ..p.place });
            }
            // In a rebuilt bar the mark follows its note.
            match self.edition.carrier(p).map(|n| self.edition.head(n)) {
                Some(note) => {
                    let source = self.alignment.edition_to_source[note]?;
                    Some(Place { bar, offset: self.source[source].offset + plan.shift() })
                }
                None => Some(Place { bar, ..p.place }),
            }
        };
        let at = place(mark.at);
        let end = mark.end.and_then(place);
        let whole = at.filter(|_| mark.end.is_none() || end.is_some() || !composed);
        if let Some(at) = whole {
            out.marks.push(mark_line(mark, at, end, Interval::UNISON));
        }
    }

    /// Each bar's signatures: the source's where they are restored.
    fn expect_signatures(&self, out: &mut Content) {
        let by = Some(self.alignment.interval.fifths());
        out.signatures = signatures(&self.edition, &self.source, self.plan.rows(), self.signatures(), by);
    }
}
