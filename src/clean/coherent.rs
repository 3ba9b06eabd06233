//! Whether a copy is one score: its bars are as long in all parts, its voices
//! are voices, every staff keeps its key, time and clef, and parts without a
//! counterpart are the edition's. Looked at in the texts as they are written.

use super::Sides;
use super::compare::Difference;
use crate::musicxml::{Tree, WrittenBar, WrittenScore, WrittenSign};
use crate::plan::BarPlan;
use crate::score::{Note, Part, Place, Score, Sound};
use crate::time::{Time, beat_text, compared};
use std::cell::OnceCell;
use std::collections::BTreeSet;

/// Both sides as they are written.
pub(super) struct Written<'i> {
    edition: WrittenScore<'i>,
    /// Read once a bar of it comes in.
    source: OnceCell<WrittenScore<'i>>,
}

impl<'i> Written<'i> {
    pub(super) fn of(sides: Sides<'_, 'i>) -> Written<'i> {
        Written { edition: WrittenScore::of(sides.edition_tree, sides.edition), source: OnceCell::new() }
    }

    /// Where the copy is not one score, though the edition was. `shape` says
    /// which bars of the two sides it was to have.
    pub(super) fn faults(&self, sides: Sides<'_, 'i>, tree: &Tree, copy: &Score, shape: &[BarPlan]) -> Vec<Difference> {
        let rows: Vec<BarPlan> = shape.iter().copied().filter(|plan| plan.is_in_result()).collect();
        let look = Look { written: self, sides, copy, bars: self.edition.changed(tree, copy).parts };
        rows.iter().enumerate().flat_map(|(bar, plan)| look.bar(bar, *plan)).collect()
    }
}

struct Look<'l, 'a, 'i> {
    written: &'l Written<'i>,
    sides: Sides<'a, 'i>,
    copy: &'l Score,
    bars: Vec<Vec<WrittenBar>>,
}

/// The values of one bar in all parts that differ, if they do.
fn unequal<T: Ord>(parts: &[Vec<WrittenBar>], bar: usize, of: impl Fn(&WrittenBar) -> Option<T>) -> BTreeSet<T> {
    let all: BTreeSet<T> = parts.iter().filter_map(|bars| bars.get(bar)).filter_map(of).collect();
    if all.len() > 1 { all } else { BTreeSet::new() }
}

fn length(bar: &WrittenBar) -> Option<Time> {
    Some(bar.length).filter(|length| *length > Time::zero())
}

fn meter(bar: &WrittenBar) -> Option<String> {
    let first = bar.in_force.iter().find(|(held, _)| held.sign == WrittenSign::Time);
    first.map(|(_, said)| said.clone())
}

impl Look<'_, '_, '_> {
    fn source(&self) -> &[Vec<WrittenBar>] {
        &self.written.source.get_or_init(|| WrittenScore::of(self.sides.source_tree, self.sides.source)).parts
    }

    fn bar(&self, bar: usize, plan: BarPlan) -> Vec<Difference> {
        let mut out = Vec::new();
        let source = plan.source().filter(|_| plan.is_composed());
        let excused = |of: &dyn Fn(&[Vec<WrittenBar>], usize) -> bool| {
            plan.edition().is_some_and(|b| of(&self.written.edition.parts, b))
                || source.is_some_and(|b| of(self.source(), b))
        };
        let lengths = unequal(&self.bars, bar, length);
        if !lengths.is_empty() && !excused(&|parts, bar| !unequal(parts, bar, length).is_empty()) {
            let all: Vec<Time> = lengths.into_iter().collect();
            out.push(self.fault(0, bar, format!("its parts would differ in length: {}", compared(&all))));
        }
        let meters = unequal(&self.bars, bar, meter);
        if !meters.is_empty() && !excused(&|parts, bar| !unequal(parts, bar, meter).is_empty()) {
            let all: Vec<String> = meters.into_iter().collect();
            out.push(self.fault(
                0,
                bar,
                format!("its parts would have different time signatures: {}", all.join(" and ")),
            ));
        }
        for part in 0..self.bars.len() {
            if let Some(own) = self.bars[part].get(bar) {
                let before = plan.edition().and_then(|b| self.written.edition.parts.get(part)?.get(b));
                self.voices(part, bar, own, before, &mut out);
                self.signs(part, bar, own, before, source, &mut out);
                self.part_without_counterpart(part, bar, plan, &mut out);
            }
        }
        out
    }

    fn fault(&self, part: usize, bar: usize, what: String) -> Difference {
        let part = &self.copy.parts[part];
        let number = part.bars.get(bar).map_or("-".into(), |b| b.number.clone());
        Difference { part: part.id.clone(), bar: number, what, bars: vec![bar] }
    }

    fn voices(
        &self,
        part: usize,
        bar: usize,
        own: &WrittenBar,
        before: Option<&WrittenBar>,
        out: &mut Vec<Difference>,
    ) {
        if own.clashes.len() > before.map_or(0, |b| b.clashes.len()) {
            let at = beat_text(self.copy.parts[part].beat(Place { bar, offset: own.clashes[0] }));
            out.push(self.fault(part, bar, format!("one voice would have two notes at once at beat {at}")));
        }
    }

    fn signs(
        &self,
        part: usize,
        bar: usize,
        own: &WrittenBar,
        before: Option<&WrittenBar>,
        source: Option<usize>,
        out: &mut Vec<Difference>,
    ) {
        for (held, said) in before.iter().flat_map(|b| &*b.in_force) {
            let now = own.in_force.get(held);
            let clef_differs = held.sign == WrittenSign::Clef && now != Some(said);
            if now.is_none() || clef_differs {
                out.push(self.fault(
                    part,
                    bar,
                    format!("the {} of staff {} would be lost", held.sign.name(), held.staff),
                ));
            }
        }
        let said_so = |bars: &[WrittenBar], bar: usize, sign| {
            bars.get(bar).is_some_and(|b| b.twice.iter().any(|(held, _)| held.sign == sign))
        };
        for (held, said) in &own.twice {
            let in_edition = before.is_some_and(|b| b.twice.iter().any(|(other, _)| other.sign == held.sign));
            let in_source = || source.is_some_and(|b| self.source().iter().any(|bars| said_so(bars, b, held.sign)));
            if !in_edition && !in_source() {
                out.push(self.fault(part, bar, format!("the {} {said} would appear twice", held.sign.name())));
            }
        }
    }

    /// Note for note the edition's; nothing but rests where a bar came back.
    fn part_without_counterpart(&self, part: usize, bar: usize, plan: BarPlan, out: &mut Vec<Difference>) {
        let has = |a: usize| a == part || self.sides.edition.parts[a].derived_from.contains(&part);
        if self.sides.collation.parts.iter().any(|a| has(a.edition)) {
            return;
        }
        let own = notes(&self.copy.parts[part], bar);
        let right = match plan.edition() {
            Some(before) => own == notes(&self.sides.edition.parts[part], before),
            None => own.is_empty(),
        };
        if !right {
            let name = self.copy.parts[part].spoken();
            out.push(self.fault(part, bar, format!("the notes of {name}, which was not compared, would change")));
        }
    }
}

/// Where a note stands, how long it is, on which staff, and what it sounds.
type Plain = (Time, Time, u32, Sound, bool, u32);

fn notes(part: &Part, bar: usize) -> Vec<Plain> {
    let plain = |n: &Note| (n.offset, n.duration, n.staff, n.sound, n.chord, n.grace);
    let Some(bar) = part.bars.get(bar) else { return Vec::new() };
    let mut out: Vec<Plain> = bar.notes.clone().map(|n| &part.notes[n]).filter(|n| !n.is_rest()).map(plain).collect();
    out.sort();
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::collate::{self, Choice};
    use crate::findings;
    use crate::musicxml::{Input, read};
    use crate::plan::Plan;

    const HEAD: &str = "<attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4</beats>\
                        <beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>";

    fn quarters(steps: &str) -> String {
        let note = |step| {
            format!(
                "<note><pitch><step>{step}</step><octave>5</octave></pitch><duration>1</duration><voice>1</voice></note>"
            )
        };
        steps.chars().map(note).collect()
    }

    fn part(id: &str, bars: &[String]) -> String {
        let bars = bars.iter().enumerate().map(|(i, bar)| format!("<measure number=\"{}\">{bar}</measure>", i + 1));
        format!("<part id=\"{id}\">{}</part>", bars.collect::<String>())
    }

    fn score(parts: &[&[String]]) -> String {
        let ids = (0..parts.len()).map(|i| format!("P{i}"));
        let list = ids.clone().map(|id| format!("<score-part id=\"{id}\"><part-name>{id}</part-name></score-part>"));
        let music = parts.iter().zip(ids).map(|(bars, id)| part(&id, bars));
        format!(
            "<score-partwise><part-list>{}</part-list>{}</score-partwise>",
            list.collect::<String>(),
            music.collect::<String>()
        )
    }

    /// What is wrong with a copy of an edition of two parts, of which the source has the first.
    fn faults(copy: &[&[String]]) -> Vec<String> {
        let (upper, lower) = (upper(), lower());
        let inputs = [score(&[&upper, &lower]), score(&[&upper]), score(copy)]
            .map(|text| Input::from_bytes("t.musicxml", text.into_bytes()).unwrap());
        let trees = inputs.each_ref().map(|input| Tree::parse(input).unwrap());
        let scores = trees.each_ref().map(|tree| read(tree).unwrap().score);
        let collation = collate::collate(&scores[0], &scores[1], Choice::default());
        let findings = findings::find(&scores[0], &scores[1], &collation);
        let sides = Sides {
            edition_tree: &trees[0],
            edition: &scores[0],
            source_tree: &trees[1],
            source: &scores[1],
            collation: &collation,
            findings: &findings,
        };
        let shape = Plan::keep_all(&scores[0].parts[0]);
        let faults = Written::of(sides).faults(sides, &trees[2], &scores[2], shape.rows());
        faults.into_iter().map(|d| format!("{} {}: {}", d.part, d.bar, d.what)).collect()
    }

    fn upper() -> Vec<String> {
        vec![format!("{HEAD}{}", quarters("CDEF")), quarters("GFED"), quarters("CEGE")]
    }

    fn lower() -> Vec<String> {
        vec![format!("{HEAD}{}", quarters("CCCC")), quarters("GGGG"), quarters("CCCC")]
    }

    fn with(mut bars: Vec<String>, bar: usize, music: String) -> Vec<String> {
        bars[bar] = music;
        bars
    }

    #[test]
    fn the_edition_itself_is_one_score() {
        assert!(faults(&[&upper(), &lower()]).is_empty());
    }

    #[test]
    fn a_bar_that_is_shorter_in_one_part_is_a_fault() {
        let short = with(upper(), 1, quarters("GFE"));
        assert_eq!(faults(&[&short, &lower()]), ["P0 2: its parts would differ in length: 3 and 4 quarters"]);
    }

    #[test]
    fn two_notes_of_one_voice_at_once_are_a_fault() {
        let back = "<backup><duration>2</duration></backup>";
        let clash =
            with(upper(), 1, quarters("GFED") + back + &quarters("E") + "<forward><duration>1</duration></forward>");
        assert_eq!(faults(&[&clash, &lower()]), ["P0 2: one voice would have two notes at once at beat 3"]);
    }

    #[test]
    fn lost_and_repeated_signatures_are_faults() {
        let bare = with(
            upper(),
            0,
            quarters("CDEF").replacen("<note>", "<attributes><divisions>1</divisions></attributes><note>", 1),
        );
        let lost = faults(&[&bare, &lower()]);
        assert!(lost.contains(&"P0 2: the key signature of staff 1 would be lost".to_string()), "{lost:?}");
        assert!(lost.contains(&"P0 3: the clef of staff 1 would be lost".to_string()), "{lost:?}");
        let time = "<attributes><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";
        let twice = with(upper(), 2, time.to_string() + &quarters("CEGE"));
        assert_eq!(faults(&[&twice, &lower()]), ["P0 3: the time signature 4/4 would appear twice"]);
    }

    #[test]
    fn a_part_without_a_counterpart_keeps_its_notes() {
        let other = with(lower(), 2, quarters("CCCD"));
        assert_eq!(faults(&[&upper(), &other]), ["P1 3: the notes of P1, which was not compared, would change"]);
    }
}
