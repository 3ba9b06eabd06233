//! From scores, alignment and findings to the one result of an audit.

use super::*;
use crate::alignment::{EditionBar, EditionNote, EditionPart, SourceBar, SourcePart};
use crate::collate::{BarPair, Collation, PartAlignment, Scope};
use crate::findings::{self, PartFindings, Passage};
use crate::instrument::{BetterOctave, PlayedOn, RangeCheck, ReadAs, check};
use crate::pitch::Interval;
use crate::score::Score;
use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::ops::{Range, RangeInclusive};

/// Everything that an audit has worked out.
#[derive(Clone)]
pub struct Material<'a> {
    pub edition: &'a Score,
    pub source: &'a Score,
    pub edition_file: &'a str,
    pub source_file: &'a str,
    pub collation: &'a Collation,
    /// In the order of `Collation::parts`.
    pub findings: &'a [PartFindings],
    /// The instrument of each pair of parts.
    pub instruments: &'a [Option<PlayedOn<'a>>],
    /// Only these bars of the edition.
    pub bars: Option<&'a Bars>,
    /// The user's reading of the octave.
    pub asked: Option<ReadAs>,
    /// For the hardest stretches; `None` leaves them out.
    pub hands: Option<Hands<'a>>,
    pub warnings: Vec<String>,
}

/// Puts the result together.
///
/// # Errors
/// When `bars` names a bar that a part does not have.
pub fn audit(material: Material) -> Result<Audit, BarError> {
    let m = &material;
    let alone = |parts: &[usize], score: &Score, compared: &[usize]| -> Vec<LineAlone> {
        let doubles = |part: &Part| compared.iter().any(|c| crate::collate::doubles(part, &score.parts[*c]));
        let of =
            |part: &Part| LineAlone { doubles: doubles(part), part: PartName::of(part), notes: part.struck().count() };
        parts.iter().map(|p| of(&score.parts[*p])).collect()
    };
    let (ours, theirs): (Vec<usize>, Vec<usize>) = m.collation.parts.iter().map(|a| (a.edition, a.source)).unzip();
    let mut parts = Vec::new();
    for (place, alignment) in m.collation.parts.iter().enumerate() {
        let edition = alignment.edition_part(m.edition);
        let all = 0..=edition.bars.len().saturating_sub(1);
        let builder = PartBuilder {
            edition,
            source: alignment.source_part(m.source),
            alignment,
            collation: m.collation,
            found: &m.findings[place],
            bars: m.bars.map_or(Ok(all), |bars| bars.find(&edition))?,
            only_some: m.bars.is_some(),
            range: m.instruments[place].map(|on| (on, check(&edition, on.instrument, m.asked))),
            hands: m.hands,
            doublings: doublings(m, place),
        };
        parts.push(builder.build());
    }
    Ok(Audit {
        schema: SCHEMA,
        edition: ScoreName { file: m.edition_file.into(), title: m.edition.title.clone() },
        source: ScoreName { file: m.source_file.into(), title: m.source.title.clone() },
        parts,
        not_compared: NotCompared {
            edition: alone(&m.collation.unmatched_edition, m.edition, &ours),
            source: alone(&m.collation.unmatched_source, m.source, &theirs),
        },
        warnings: material.warnings.into_iter().chain(phrases::values(material.collation.scale)).collect(),
    })
}

/// The edition's other lines beside the same line of the source.
fn doublings(m: &Material, place: usize) -> Vec<String> {
    let own = m.collation.parts[place].source;
    let others = m.collation.parts.iter().enumerate().filter(|(other, a)| *other != place && a.source == own);
    others.map(|(_, a)| PartName::of(&m.edition.parts[a.edition]).spoken().into_owned()).collect()
}

/// The passages that have something in some bars, by their places among those found.
pub(super) fn passages_in(found: &PartFindings, bars: &RangeInclusive<usize>) -> Vec<usize> {
    let used: HashSet<usize> = found.findings.iter().filter(|f| is_in(f, bars)).filter_map(|f| f.passage).collect();
    let touches = |p: &Passage| p.at.from.bar <= *bars.end() && p.at.to.bar >= *bars.start();
    (0..found.passages.len()).filter(|p| touches(&found.passages[*p]) || used.contains(p)).collect()
}

/// The printed number of the source's bar that a bar of the edition stands for.
pub(super) fn source_bar(collation: &Collation, source: &Part, bar: usize) -> Option<String> {
    let row = collation.outline[collation.edition_row(Place::start_of(bar))];
    row.source_played().and_then(|b| source.bars.get(b.index())).map(|b| b.number.clone())
}

struct PartBuilder<'a> {
    edition: EditionPart<'a>,
    source: SourcePart<'a>,
    alignment: &'a PartAlignment,
    collation: &'a Collation,
    found: &'a PartFindings,
    bars: RangeInclusive<usize>,
    only_some: bool,
    range: Option<(PlayedOn<'a>, RangeCheck)>,
    hands: Option<Hands<'a>>,
    doublings: Vec<String>,
}

impl PartBuilder<'_> {
    fn build(self) -> PartReport {
        let kept: Vec<&Finding> = self.found.findings.iter().filter(|f| is_in(f, &self.bars)).collect();
        // The new place of each passage that stays.
        let places: BTreeMap<usize, usize> =
            passages_in(self.found, &self.bars).into_iter().enumerate().map(|(new, old)| (old, new)).collect();
        let interval = self.alignment.interval;
        let numbers = self.edition.bars.iter().map(|b| b.number.clone());
        let in_bars = |bar: usize| self.bars.contains(&bar);
        let scope = &self.collation.scope.edition;
        let marks = self.edition.marks.iter();
        PartReport {
            part: PartName::of(&self.edition),
            source_part: PartName::of(&self.source),
            scope: self.scope(),
            transposition: Transposition {
                semitones: interval.semitones,
                steps: interval.steps,
                name: interval.name(),
            },
            notes: self.notes(),
            findings: kept.iter().map(|f| self.finding(f, &places)).collect(),
            passages: places.keys().map(|p| self.passage(*p)).collect(),
            bars: self.bar_reports(&kept),
            totals: findings::count(kept.iter().copied()),
            range: self.range_result(),
            foreign_bars: self.foreign_bars(),
            doublings: self.doublings.clone(),
            marks: marks.filter(|m| in_bars(m.at.bar) && scope.contains(&m.at.bar)).count(),
            only: self.only(),
            first_bar: *self.bars.start(),
            bar_numbers: numbers.enumerate().filter_map(|(b, number)| in_bars(b).then_some(number)).collect(),
        }
    }

    fn scope(&self) -> ScopeReport {
        let Scope { edition, source } = &self.collation.scope;
        let ends = |part: &Part, bars: &Range<usize>| {
            let bars = bars.start..bars.end.min(part.bars.len());
            let last = bars.end.saturating_sub(1).max(bars.start);
            let end = part.bars.get(last).map_or(Time::zero(), |b| b.length);
            (
                Point::new(part, Place::start_of(bars.start)),
                Point::new(part, Place { bar: last, offset: end }),
                part.bars.len() - bars.len(),
            )
        };
        let (from, to, edition_rest) = ends(&self.edition, edition);
        let (source_from, source_to, source_rest) = ends(&self.source, source);
        ScopeReport { from, to, source_from, source_to, edition_rest, source_rest }
    }

    /// What only the edition has, and what stands in the place of other music.
    fn foreign_bars(&self) -> BTreeSet<usize> {
        let outline = &self.collation.outline;
        let stretches = self.found.passages.iter().filter(|p| p.kind != PassageKind::Cut).filter_map(|p| p.other_music);
        let rows = stretches.flat_map(|s| self.alignment.other_music[s].rows.iter());
        let in_passages = rows.filter_map(|row| outline[row].edition).map(EditionBar::index);
        let alone =
            outline.iter().filter(|row| row.source.is_none()).filter_map(|row| row.edition).map(EditionBar::index);
        let scope = &self.collation.scope.edition;
        let outside = (0..self.edition.bars.len()).filter(|b| !scope.contains(b));
        in_passages.chain(alone).chain(outside).collect()
    }

    fn only(&self) -> Option<String> {
        let number = |bar: usize| self.edition.bars.get(bar).map(|b| b.number.as_str());
        let (first, last) = (number(*self.bars.start())?, number(*self.bars.end())?);
        let one = self.bars.start() == self.bars.end();
        self.only_some.then(|| match one {
            true => format!("bar {first}"),
            false => format!("bars {first} to {last}"),
        })
    }

    fn notes(&self) -> NoteCounts {
        let scope = &self.collation.scope.edition;
        let is_in = |n: &EditionNote| self.bars.contains(&self.edition[*n].bar);
        let inside = |n: &EditionNote| scope.contains(&self.edition[*n].bar);
        let ours: Vec<EditionNote> = self.edition.struck().filter(is_in).filter(inside).collect();
        let matched = |n: &&EditionNote| self.alignment.edition_to_source[**n].is_some();
        NoteCounts { edition: ours.len(), source: self.source_notes(), matched: ours.iter().filter(matched).count() }
    }

    /// Struck notes of the source in the stretch of the bars looked at.
    fn source_notes(&self) -> usize {
        let bars = self.edition.bars.len();
        if bars == 0 || self.bars == (0..=bars - 1) {
            let scope = &self.collation.scope.source;
            return self.source.struck().filter(|n| scope.contains(&self.source[*n].bar)).count();
        }
        let own = |r: &&BarPair| r.edition.is_some_and(|b| self.bars.contains(&b.index()));
        let mut theirs: Vec<SourceBar> = self.collation.outline.iter().filter(own).filter_map(|r| r.source).collect();
        theirs.dedup();
        theirs.into_iter().map(|bar| self.source.struck_in(bar).count()).sum()
    }

    fn point(&self, place: Place) -> Point {
        Point::new(&self.edition, place)
    }

    fn source_point(&self, place: Place) -> Point {
        Point::new(&self.source, place)
    }

    fn finding(&self, f: &Finding, places: &BTreeMap<usize, usize>) -> FindingReport {
        let there = f.source_at;
        FindingReport {
            category: f.category,
            status: f.status,
            at: self.point(f.at),
            end: f.end.map(|end| self.point(end)),
            source_bar: there.map(|place| self.source.bars.get(place.bar).map_or(String::new(), |b| b.number.clone())),
            source_bar_index: there.map(|place| place.bar),
            source_offset: there.map(|place| time::text(place.offset)),
            voice: f.voice,
            staff: f.staff,
            edition_reading: f.edition_reading.clone(),
            source_reading: f.source_reading.clone(),
            passage: f.passage.map(|p| places[&p]),
        }
    }

    fn passage(&self, place: usize) -> PassageReport {
        let p: &Passage = &self.found.passages[place];
        let before = self.collation.outline[..p.row]
            .iter()
            .rev()
            .find_map(|row| row.edition)
            .map(|bar| self.edition[bar].number.clone());
        let range = self.range.as_ref().map(|r| &r.1);
        PassageReport {
            kind: p.kind,
            from: self.point(p.at.from),
            to: self.point(p.at.to),
            source_from: p.in_source.map(|s| self.source_point(s.from)),
            source_to: p.in_source.map(|s| self.source_point(s.to)),
            octaves: p.octaves,
            partly: self.is_partly(p),
            notes: if p.kind == PassageKind::Cut { p.source.len() } else { p.edition.len() },
            outside_range: range.map(|r| p.edition.iter().filter(|n| r.is_outside(n.index())).count()),
            outside_range_restored: range.map(|r| self.outside_restored(p, r)),
            bar_before: before,
            bars_cut: self.bars_cut(p),
            bars_written: match p.kind {
                PassageKind::WrittenOutRepeat | PassageKind::WrittenOutOrnament => p.bars,
                _ => 0,
            },
            ornaments: p.ornaments.clone(),
        }
    }

    /// Whether the source has half as many notes beside a passage of other music as it has others.
    fn is_partly(&self, p: &Passage) -> bool {
        if p.kind != PassageKind::RewrittenPassage {
            return false;
        }
        let during = |n: &EditionNote| p.at.contains(self.edition.place(*n));
        let own: HashSet<EditionNote> = p.edition.iter().copied().collect();
        let beside = self.edition.struck().filter(during).filter(|n| !own.contains(n));
        2 * beside.filter(|n| self.alignment.edition_to_source[*n].is_some()).count() >= own.len()
    }

    fn bars_cut(&self, p: &Passage) -> Vec<(usize, String)> {
        let stretch = p.other_music.and_then(|s| self.alignment.other_music.get(s));
        let Some(stretch) = stretch.filter(|_| p.kind == PassageKind::Cut) else {
            return Vec::new();
        };
        let rows = &self.collation.outline[stretch.rows.iter()];
        // Where the edition has its bar, only a part of the source's is missing.
        let all = &self.collation.outline;
        let beside = [stretch.rows.first.checked_sub(1), Some(stretch.rows.last + 1)].map(|r| all.get(r?)?.source);
        let in_part = rows.iter().any(|r| r.edition.is_some() || r.source.is_some() && beside.contains(&r.source));
        if in_part {
            return Vec::new();
        }
        rows.iter()
            .filter_map(|r| r.source)
            .filter_map(|b| Some((b.index(), self.source.bar(b)?.number.clone())))
            .collect()
    }

    /// How many notes would be outside with the source's music in place of the
    /// edition's.
    fn outside_restored(&self, p: &Passage, check: &RangeCheck) -> usize {
        let is_outside = |bar: usize, sounding: crate::pitch::Pitch| {
            check.range.leaves(check.read(&self.edition, bar, sounding)).is_some()
        };
        match p.octaves {
            // The edition's own notes, put back: a wrong one among them stays.
            Some(octaves) => p
                .edition
                .iter()
                .map(|n| &self.edition[*n])
                .filter_map(|n| Some((n.bar, n.pitch()?.moved(Interval::octaves(-octaves)))))
                .filter(|(bar, pitch)| is_outside(*bar, *pitch))
                .count(),
            None => p
                .source
                .iter()
                .filter_map(|n| self.source[*n].pitch())
                .map(|pitch| pitch.moved(self.alignment.interval))
                .filter(|pitch| is_outside(p.at.from.bar, *pitch))
                .count(),
        }
    }

    fn bar_reports(&self, kept: &[&Finding]) -> Vec<BarReport> {
        let mut by_bar: BTreeMap<usize, Vec<&Finding>> = BTreeMap::new();
        for finding in kept {
            by_bar.entry(finding.at.bar).or_default().push(finding);
        }
        by_bar
            .into_iter()
            .map(|(bar, found)| BarReport {
                bar: self.edition.bars[bar].number.clone(),
                bar_index: bar,
                source_bar: source_bar(self.collation, &self.source, bar),
                counts: findings::count(found.into_iter()),
            })
            .collect()
    }

    /// Only those that begin in the bars looked at.
    fn hardest(&self, on: &PlayedOn, check: &RangeCheck) -> Option<Hardest> {
        let mut hardest = fingers::hardest(&self.edition, on.instrument, check.read_as, self.hands?)?;
        hardest.stretches.retain(|s| self.bars.contains(&s.from.bar_index));
        (!self.only_some || !hardest.stretches.is_empty()).then_some(hardest)
    }

    fn range_result(&self) -> Option<RangeResult> {
        let (on, check) = self.range.as_ref()?;
        let displaced: HashSet<EditionNote> = self
            .found
            .passages
            .iter()
            .filter(|p| p.kind == PassageKind::OctaveDisplacement)
            .flat_map(|p| p.edition.iter().copied())
            .collect();
        let outside = check
            .outside
            .iter()
            .filter(|o| self.bars.contains(&self.edition.notes[o.note].bar))
            .map(|o| {
                let note = &self.edition.notes[o.note];
                OutsideReport {
                    at: Point::new(&self.edition, note.place()),
                    pitch: o.pitch.to_string(),
                    side: o.side,
                    displaced: displaced.contains(&EditionNote::new(o.note)),
                }
            })
            .collect();
        Some(RangeResult {
            instrument: check.instrument.clone(),
            lowest: check.range.lowest.to_string(),
            highest: check.range.highest.to_string(),
            words: check.range_words.clone(),
            outside,
            better_octave: BetterOctave::of(&self.edition, on.instrument, check),
            hardest: self.hardest(on, check),
            reading: check.octave_sentence.clone(),
            guessed: on.guessed,
        })
    }
}
