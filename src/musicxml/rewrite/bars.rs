//! Whole bars: composed from the source's notes, put in, taken out, numbered.

use super::super::fragment::Fragment;
use super::super::marks::is_double;
use super::super::tree::{Tree, child, child_text, element, text_of};
use super::{Fate, PartRewrite};
use crate::score::{Element, Part};
use crate::time::Time;
use roxmltree::Node;

/// What a rebuilt bar replaces; attributes, prints and barlines stay.
const MUSIC: [&str; 6] = ["note", "backup", "forward", "direction", "harmony", "figured-bass"];

impl<'a, 'i> PartRewrite<'_, 'a, 'i> {
    /// The signature of each row: the source's moved one where signatures are
    /// restored, else the edition's.
    pub(super) fn row_fifths(&self) -> Vec<i32> {
        let moved = |row: usize, bar: usize| {
            self.source.map(|s| s.part.sounding_fifths(bar) + self.writing_interval(row).fifths())
        };
        let mut last = self.part.bars.first().map_or(0, |b| b.fifths);
        let mut follows = false;
        let mut out = Vec::new();
        for (row, fate) in self.fates.iter().enumerate() {
            let source = fate.source().filter(|b| self.source.is_some_and(|s| *b < s.part.bars.len()));
            let theirs = source.and_then(|bar| moved(row, bar));
            match fate.edition().filter(|b| *b < self.part.bars.len()) {
                Some(_) if matches!(fate, Fate::Drop { .. }) => {}
                // A bar that is the edition's own goes on in what was restored before it.
                Some(bar) if self.goes_on(*fate) && self.part.bars[bar].fifths == self.part.bars[bar - 1].fifths => {}
                Some(bar) => {
                    let ours = self.part.bars[bar].fifths;
                    let near = theirs.is_some_and(|t| (t - ours).abs() <= 1);
                    follows = theirs == Some(ours);
                    last = if self.signatures_restored && !near { theirs.unwrap_or(ours) } else { ours };
                }
                None if follows => last = theirs.unwrap_or(last),
                None => {}
            }
            out.push(last);
        }
        out
    }

    /// Whether a bar has no source that would say its signatures, though others have.
    fn goes_on(&self, fate: Fate) -> bool {
        self.signatures_restored && fate.source().is_none() && fate.edition().is_some_and(|b| b > 0)
    }

    /// The time signature in force in a bar of the edition.
    fn edition_time(&self, bar: usize) -> Option<Node<'a, 'i>> {
        let tree = self.plan.tree();
        let times = self.edition_times.get_or_init(|| times_in_force(self.part, |e| tree.node(e)));
        times.get(bar).copied().flatten().map(|e| tree.node(e))
    }

    /// The same of the source.
    fn source_time(&self, bar: usize) -> Option<Node<'a, 'i>> {
        let source = self.source?;
        let times = self.source_times.get_or_init(|| times_in_force(source.part, |e| source.node(e)));
        times.get(bar).copied().flatten().map(|e| source.node(e))
    }

    /// Writes rebuilt and fresh bars, takes dropped ones out, numbers all.
    pub(super) fn put_bars(&mut self) {
        self.settle_final_barline();
        for ((_, left), (home, barline)) in std::mem::take(&mut self.new_barlines) {
            if left {
                self.plan.insert_before(home, barline);
            } else {
                self.plan.insert_after(home, barline);
            }
        }
        let natural = self.fates.iter().all(|f| matches!(f, Fate::Keep { .. } | Fate::Absent));
        if natural {
            return;
        }
        let mut state = State::default();
        let mut anchor: Option<Element> = None;
        let mut moved_by = 0_i64;
        let mut last_number = 0_i64;
        for (row, fate) in self.fates.iter().copied().enumerate() {
            match fate {
                Fate::Keep { edition, .. } | Fate::Rebuild { edition, .. } => {
                    let bar = &self.part.bars[edition];
                    let number = bar.number.parse::<i64>().ok();
                    if let Some(number) = number {
                        last_number = number + moved_by;
                        if moved_by != 0 {
                            let measure = self.measure(edition);
                            self.plan.set_attribute(measure, "number", last_number.to_string());
                        }
                    }
                    let own = bar.divisions;
                    match fate {
                        Fate::Rebuild { source, .. } => {
                            let (content, divisions) = self.content(row, source, own);
                            // What holds in the bar stands before its notes.
                            self.settle_attributes(row, edition, divisions, &mut state);
                            self.rebuild(edition, content);
                        }
                        _ => self.settle_attributes(row, edition, own, &mut state),
                    }
                    anchor = Some(self.measure(edition));
                }
                Fate::Fresh { source } => {
                    let measure = self.fresh(row, source, &mut state, last_number + 1);
                    let counted = measure.attributes.iter().all(|a| a != &("implicit".to_string(), "yes".to_string()));
                    if counted {
                        moved_by += 1;
                        last_number += 1;
                    }
                    match anchor {
                        Some(after) => self.plan.insert_after(after, measure),
                        None => {
                            let first = self.measure(0);
                            self.plan.insert_before(first, measure);
                        }
                    }
                }
                Fate::Drop { edition } => {
                    let measure = self.measure(edition);
                    let node = self.plan.tree().node(measure);
                    let counted = self.part.bars[edition].number.parse::<i64>().is_ok()
                        && node.attribute("implicit") != Some("yes");
                    moved_by -= i64::from(counted);
                    self.plan.remove(measure);
                    state.skipped(edition);
                    anchor = Some(measure);
                }
                Fate::Absent => {}
            }
        }
    }

    /// The double bar at the end stays at the end, whatever bar that is now.
    fn settle_final_barline(&mut self) {
        let Some(last) = self.part.bars.len().checked_sub(1) else { return };
        let tree = self.plan.tree();
        let old = right_style(tree.node(self.part.bars[last].element));
        let Some(end) = self.fates.iter().rposition(|f| f.is_in_result()) else { return };
        let still_last = self.fates[end].edition() == Some(last);
        let Some(old) = old.filter(|_| !still_last) else { return };
        let goes = self.edition_rows.get(&last).is_some_and(|r| matches!(self.fates[*r], Fate::Drop { .. }));
        let repeats = old.parent().is_some_and(|b| child(b, "repeat").is_some());
        if !goes && !repeats && text_of(old) == "light-heavy" {
            self.plan.remove(element(old));
        }
        if let Fate::Keep { edition, .. } | Fate::Rebuild { edition, .. } = self.fates[end] {
            let measure = tree.node(self.part.bars[edition].element);
            let has_one = right_style(measure).is_some() || self.new_barlines.contains_key(&(end, false));
            if let Some(home) = measure.last_element_child().filter(|_| !has_one) {
                let barline = Fragment::new("barline").set("location", "right").with(Fragment::copy(old));
                self.plan.insert_after(element(home), barline);
            }
        }
    }

    /// The measure of a bar; in a timewise score the part lies inside it.
    fn measure(&self, bar: usize) -> Element {
        let node = self.plan.tree().node(self.part.bars[bar].element);
        match node.tag_name().name() {
            "part" => node.parent().map_or(self.part.bars[bar].element, element),
            _ => self.part.bars[bar].element,
        }
    }

    /// The edition's bar gets other music.
    fn rebuild(&mut self, edition: usize, content: Vec<Fragment>) {
        let measure = self.plan.tree().node(self.part.bars[edition].element);
        let old: Vec<Node> =
            measure.children().filter(|n| n.is_element() && MUSIC.contains(&n.tag_name().name())).collect();
        for node in &old {
            self.plan.remove(element(*node));
        }
        for fragment in content {
            match old.first() {
                Some(first) => self.plan.insert_before(element(*first), fragment),
                None => self.plan.add_child(self.part.bars[edition].element, fragment),
            }
        }
    }

    /// A new bar with the source's music.
    fn fresh(&mut self, row: usize, bar: usize, state: &mut State, number: i64) -> Fragment {
        let source = self.source;
        let own = source.map(|s| (&s.part.bars[bar], s.node(s.part.bars[bar].element)));
        let mut measure = Fragment::new("measure").set("number", number);
        if let Some((_, node)) = own
            && node.attribute("implicit") == Some("yes")
        {
            measure.set_attribute("implicit", "yes");
            measure.set_attribute("number", node.attribute("number").unwrap_or("0"));
        }
        let near = self.nearest_edition_bar(row).unwrap_or(0);
        let in_force = state.divisions.unwrap_or_else(|| self.part.bars.get(near).map_or(1, |b| b.divisions));
        let (content, divisions) = self.content(row, bar, in_force);
        let mut attributes = Fragment::new("attributes");
        if state.divisions != Some(divisions) {
            attributes.place(Fragment::leaf("divisions", divisions));
            state.divisions = Some(divisions);
        }
        let fifths = self.fifths.get(row).copied().unwrap_or(0);
        if state.fifths.is_some_and(|f| f != fifths) || state.fifths.is_none() {
            attributes.place(Fragment::new("key").with(Fragment::leaf("fifths", fifths)));
            state.fifths = Some(fifths);
        }
        if let Some(meter) = self.source_time(bar).map(Fragment::copy)
            && state.meter.as_ref() != Some(&meter)
        {
            attributes.place(meter.clone());
            state.meter = Some(meter);
        }
        let is_first = self.fates[..row].iter().all(|f| !f.is_in_result());
        if is_first && !self.part.bars.is_empty() {
            for other in other_attributes(self.plan.tree(), self.part, 0..1) {
                attributes.place(Fragment::copy(other));
            }
        }
        if !attributes.children.is_empty() {
            measure.children.push(attributes);
        }
        let mut barlines = self.barlines.remove(&row).unwrap_or_default();
        if let Some((_, node)) = own
            && !barlines.iter().any(|b| !b.0 && b.1.name == "bar-style")
        {
            // A style that is no mark, as the double bar at the end, comes along.
            let last = source.is_some_and(|s| bar + 1 == s.part.bars.len());
            let style = right_style(node).filter(|style| last || !is_double(text_of(*style)));
            barlines.extend(style.map(|style| (false, Fragment::copy(style))));
        }
        let side = |left: bool, location: &str, measure: &mut Fragment| {
            let mut barline = Fragment::new("barline").set("location", location);
            for (_, fragment) in barlines.iter().filter(|b| b.0 == left) {
                barline.place(fragment.clone());
            }
            if !barline.children.is_empty() {
                measure.children.push(barline);
            }
        };
        side(true, "left", &mut measure);
        if content.is_empty() {
            // A part that the source lacks rests.
            let length =
                own.map_or_else(|| self.part.bars.get(near).map_or(Time::from(4), |b| b.length), |o| o.0.length);
            let ticks = (length * Time::from(divisions)).to_integer();
            let rest = Fragment::new("note")
                .with(Fragment::new("rest").set("measure", "yes"))
                .with(Fragment::leaf("duration", ticks))
                .with(Fragment::leaf("voice", 1));
            measure.children.push(rest);
        }
        measure.children.extend(content);
        side(false, "right", &mut measure);
        measure
    }

    /// Makes sure that what a bar of the edition takes for granted still holds
    /// when other bars than before come first.
    fn settle_attributes(&mut self, row: usize, bar: usize, divisions: i64, state: &mut State) {
        let tree = self.plan.tree();
        let measure = tree.node(self.part.bars[bar].element);
        let own = child(measure, "attributes");
        let first = measure.children().find(|n| n.is_element() && MUSIC.contains(&n.tag_name().name()));
        let leads = own.filter(|a| first.is_none_or(|f| a.range().start < f.range().start));
        let declares = |name: &str| leads.and_then(|a| child(a, name));
        let mut wanted: Vec<Fragment> = Vec::new();
        match declares("divisions") {
            Some(node) if divisions != self.part.bars[bar].divisions => {
                self.plan.replace(element(node), Fragment::leaf("divisions", divisions));
            }
            Some(_) => {}
            // Bars that went may have said what holds.
            None if state.divisions.map_or(state.dropped_from.is_some(), |d| d != divisions) => {
                wanted.push(Fragment::leaf("divisions", divisions));
            }
            None => {}
        }
        let fifths = self.fifths.get(row).copied().unwrap_or(self.part.bars[bar].fifths);
        if declares("key").is_none() && state.fifths.map_or(state.dropped_from.is_some(), |f| f != fifths) {
            wanted.push(Fragment::new("key").with(Fragment::leaf("fifths", fifths)));
        }
        let theirs = self.fates[row].source().filter(|_| self.signatures_restored);
        let restored = theirs.and_then(|bar| self.source_time(bar));
        let meter = match restored {
            None if self.goes_on(self.fates[row]) && state.meter.is_some() => state.meter.clone(),
            other => other.or_else(|| self.edition_time(bar)).map(Fragment::copy),
        };
        let unsaid = state.meter.is_some() || state.dropped_from.is_some();
        if declares("time").is_none() && unsaid && state.meter != meter {
            wanted.extend(meter.clone());
        }
        if let Some(from) = state.dropped_from {
            for other in other_attributes(tree, self.part, from..bar) {
                let mut own = leads.into_iter().flat_map(|a| a.children());
                if !own.any(|n| same_kind(n, other)) {
                    wanted.push(Fragment::copy(other));
                }
            }
        }
        match leads {
            Some(attributes) => wanted.into_iter().for_each(|w| self.plan.add_child(element(attributes), w)),
            None if !wanted.is_empty() => {
                let mut attributes = Fragment::new("attributes");
                for fragment in wanted {
                    attributes.place(fragment);
                }
                let elements = measure.children().filter(|n| n.is_element());
                let head = elements.into_iter().find(|n| n.tag_name().name() != "print");
                match head {
                    Some(head) => self.plan.insert_before(element(head), attributes),
                    None => self.plan.add_child(self.part.bars[bar].element, attributes),
                }
            }
            None => {}
        }
        // After the bar its own last divisions hold.
        let last = measure
            .children()
            .filter(|n| n.tag_name().name() == "attributes")
            .filter_map(|a| child_text(a, "divisions").and_then(|t| t.parse().ok()))
            .next_back();
        state.divisions = Some(match last {
            Some(last) if divisions == self.part.bars[bar].divisions => last,
            _ => divisions,
        });
        state.fifths = Some(fifths);
        state.meter = meter;
        state.dropped_from = None;
    }
}

/// What holds at a point of the result.
#[derive(Default)]
struct State {
    divisions: Option<i64>,
    fifths: Option<i32>,
    meter: Option<Fragment>,
    dropped_from: Option<usize>,
}

impl State {
    fn skipped(&mut self, bar: usize) {
        self.dropped_from.get_or_insert(bar);
    }
}

/// The style of a measure's right barline.
fn right_style<'a, 'i>(measure: Node<'a, 'i>) -> Option<Node<'a, 'i>> {
    let barlines = measure.children().filter(|n| n.tag_name().name() == "barline");
    let right = barlines.filter(|b| b.attribute("location").unwrap_or("right") == "right");
    right.filter_map(|b| child(b, "bar-style")).next_back()
}

/// The time signature in force in each bar.
fn times_in_force<'a, 'i: 'a>(part: &Part, node: impl Fn(Element) -> Node<'a, 'i>) -> Vec<Option<Element>> {
    let mut last = None;
    let own = |bar: &crate::score::Bar| {
        let attributes = node(bar.element).children().filter(|n| n.tag_name().name() == "attributes");
        attributes.filter_map(|a| child(a, "time")).next_back().map(element)
    };
    part.bars
        .iter()
        .map(|bar| {
            last = own(bar).or(last);
            last
        })
        .collect()
}

/// What attributes say in some bars besides divisions and signatures: clefs,
/// transposition, staves; of each the last.
fn other_attributes<'a, 'i>(tree: &'a Tree<'i>, part: &Part, bars: std::ops::Range<usize>) -> Vec<Node<'a, 'i>> {
    let mut out: Vec<Node<'a, 'i>> = Vec::new();
    for bar in &part.bars[bars] {
        let attributes = tree.node(bar.element).children().filter(|n| n.tag_name().name() == "attributes");
        let other = |n: &Node| {
            // Signatures are settled by themselves, and words are marks.
            let apart = ["divisions", "key", "time", "measure-style", "directive"];
            n.is_element() && !apart.contains(&n.tag_name().name())
        };
        for item in attributes.flat_map(|a| a.children()).filter(other) {
            out.retain(|n| !same_kind(*n, item));
            out.push(item);
        }
    }
    out
}

fn same_kind(one: Node<'_, '_>, other: Node<'_, '_>) -> bool {
    one.tag_name().name() == other.tag_name().name() && one.attribute("number") == other.attribute("number")
}
