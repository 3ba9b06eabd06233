//! Whole bars: composed from the source's notes, put in, taken out, numbered.

use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::super::marks::is_double;
use super::super::tree::{child, element, text_of};
use super::compose::lcm;
use super::holding::{Holding, State, leading, right_style};
use super::{PartRewrite, voice_name};
use crate::plan::BarPlan;
use crate::score::{Element, Note};
use crate::time::Time;
use roxmltree::Node;

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
        for (row, plan) in self.plan.rows().iter().enumerate() {
            let source = plan.source().filter(|b| self.source.is_some_and(|s| *b < s.part.bars.len()));
            let theirs = source.and_then(|bar| moved(row, bar));
            match plan.edition().filter(|b| *b < self.part.bars.len()) {
                Some(_) if matches!(plan, BarPlan::Drop { .. }) => {}
                // A bar that is the edition's own goes on in what was restored before it.
                Some(bar) if self.goes_on(*plan) && self.part.bars[bar].fifths == self.part.bars[bar - 1].fifths => {}
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

    /// Writes rebuilt and fresh bars, takes dropped ones out, numbers all.
    pub(super) fn put_bars(&mut self) {
        self.settle_final_barline();
        for ((_, left), (home, barline)) in std::mem::take(&mut self.new_barlines) {
            if left {
                self.edits.insert_before(home, barline);
            } else {
                self.edits.insert_after(home, barline);
            }
        }
        let natural = self.plan.keeps_all();
        if natural && !self.signatures_restored && self.finer.is_empty() {
            return;
        }
        let holdings = self.edition_holdings();
        let mut state = State::default();
        let mut anchor: Option<Element> = None;
        let mut moved_by = 0_i64;
        let mut last_number = 0_i64;
        for (row, plan) in self.plan.rows().iter().copied().enumerate() {
            match plan {
                BarPlan::Keep { edition, .. } | BarPlan::Rebuild { edition, .. } => {
                    let bar = &self.part.bars[edition];
                    let number = bar.number.parse::<i64>().ok();
                    if let Some(number) = number {
                        last_number = number + moved_by;
                        if moved_by != 0 {
                            let measure = self.measure(edition);
                            self.edits.set_attribute(measure, "number", last_number.to_string());
                        }
                    }
                    let own = bar.divisions;
                    match plan {
                        BarPlan::Rebuild { source, .. } => {
                            self.carry_over(row, &holdings[edition]);
                            let (content, divisions) = self.content(row, source, own);
                            // What holds in the bar stands before its notes.
                            self.settle_attributes(row, &holdings[edition], divisions, &mut state);
                            self.rebuild(edition, content);
                        }
                        _ => {
                            let divisions = self.finer.get(&edition).copied().unwrap_or(own);
                            self.settle_attributes(row, &holdings[edition], divisions, &mut state);
                        }
                    }
                    anchor = Some(self.measure(edition));
                }
                BarPlan::Fresh { source } => {
                    let measure = self.fresh(row, source, holdings.first(), &mut state, last_number + 1);
                    let counted = measure.attributes.iter().all(|a| a != &("implicit".to_string(), "yes".to_string()));
                    if counted {
                        moved_by += 1;
                        last_number += 1;
                    }
                    match anchor {
                        Some(after) => self.edits.insert_after(after, measure),
                        None => {
                            let first = self.measure(0);
                            self.edits.insert_before(first, measure);
                        }
                    }
                }
                BarPlan::Drop { edition } => {
                    let measure = self.measure(edition);
                    let node = self.edits.tree().node(measure);
                    let counted = self.part.bars[edition].number.parse::<i64>().is_ok()
                        && node.attribute("implicit") != Some("yes");
                    moved_by -= i64::from(counted);
                    self.edits.remove(measure);
                    anchor = Some(measure);
                }
                BarPlan::Absent => {}
            }
        }
    }

    /// The double bar at the end stays at the end, whatever bar that is now.
    fn settle_final_barline(&mut self) {
        let Some(last) = self.part.bars.len().checked_sub(1) else { return };
        let tree = self.edits.tree();
        let old = right_style(tree.node(self.part.bars[last].element));
        let Some(end) = self.plan.rows().iter().rposition(|f| f.is_in_result()) else { return };
        let still_last = self.plan[end].edition() == Some(last);
        let Some(old) = old.filter(|_| !still_last) else { return };
        let goes = self.plan.edition_row(last).is_some_and(|r| matches!(self.plan[r], BarPlan::Drop { .. }));
        let repeats = old.parent().is_some_and(|b| child(b, "repeat").is_some());
        if !goes && !repeats && text_of(old) == "light-heavy" {
            self.edits.remove(element(old));
        }
        if let BarPlan::Keep { edition, .. } | BarPlan::Rebuild { edition, .. } = self.plan[end] {
            let measure = tree.node(self.part.bars[edition].element);
            let has_one = right_style(measure).is_some() || self.new_barlines.contains_key(&(end, false));
            if let Some(home) = measure.last_element_child().filter(|_| !has_one) {
                let barline = Fragment::new("barline").set("location", "right").with(Fragment::copy(old));
                self.edits.insert_after(element(home), barline);
            }
        }
    }

    /// The measure of a bar; in a timewise score the part lies inside it.
    fn measure(&self, bar: usize) -> Element {
        let node = self.edits.tree().node(self.part.bars[bar].element);
        match node.tag_name().name() {
            "part" => node.parent().map_or(self.part.bars[bar].element, element),
            _ => self.part.bars[bar].element,
        }
    }

    /// The edition's bar gets other music.
    fn rebuild(&mut self, edition: usize, content: Vec<Fragment>) {
        let measure = self.edits.tree().node(self.part.bars[edition].element);
        let old: Vec<Node> =
            measure.children().filter(|n| n.is_element() && facts(n.tag_name().name()).is_music()).collect();
        for node in &old {
            self.edits.remove(element(*node));
        }
        // What stands before all notes stays before them.
        let head = leading(measure).last();
        match (head, old.first()) {
            (Some(head), _) => content.into_iter().for_each(|f| self.edits.insert_after(element(head), f)),
            (None, Some(first)) => content.into_iter().for_each(|f| self.edits.insert_before(element(*first), f)),
            (None, None) => content.into_iter().for_each(|f| self.edits.add_child(self.part.bars[edition].element, f)),
        }
    }

    /// A new bar with the source's music.
    fn fresh(
        &mut self,
        row: usize,
        bar: usize,
        first: Option<&Holding<'a, 'i>>,
        state: &mut State<'a, 'i>,
        number: i64,
    ) -> Fragment {
        let source = self.frame().filter(|s| bar < s.part.bars.len());
        let own = source.map(|s| (&s.part.bars[bar], s.node(s.part.bars[bar].element)));
        let mut measure = Fragment::new("measure").set("number", number);
        if let Some((_, node)) = own
            && node.attribute("implicit") == Some("yes")
        {
            measure.set_attribute("implicit", "yes");
            measure.set_attribute("number", node.attribute("number").unwrap_or("0"));
        }
        let near = self.nearest_edition_bar(row).unwrap_or(0);
        let in_force = state.divisions().unwrap_or_else(|| self.part.bars.get(near).map_or(1, |b| b.divisions));
        let (mut content, mut divisions) = self.content(row, bar, in_force);
        if content.is_empty() {
            // A part that the source lacks rests.
            let length =
                own.map_or_else(|| self.part.bars.get(near).map_or(Time::from(4), |b| b.length), |o| o.0.length);
            divisions = lcm(divisions, length.denom());
            content = self.rests(near, length, divisions);
        }
        measure.children.extend(self.fresh_attributes(row, divisions, first, state));
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
        measure.children.extend(content);
        side(false, "right", &mut measure);
        measure
    }

    /// A bar of rest for each staff, in the voice that the part has on it.
    fn rests(&self, near: usize, length: Time, divisions: i64) -> Vec<Fragment> {
        let ticks = (length * Time::from(divisions)).to_integer();
        let voice_on = |staff: u32| {
            let near = self.part.bars.get(near).map_or(0..0, |b| b.notes.clone());
            let on_staff = |n: &&Note| n.staff == staff;
            let own = self.part.notes[near].iter().find(on_staff).or_else(|| self.part.notes.iter().find(on_staff));
            own.map_or_else(|| staff.to_string(), |n| voice_name(self.edits.tree().node(n.element)))
        };
        let mut out = Vec::new();
        for staff in 1..=self.part.staves.max(1) {
            if staff > 1 {
                out.push(Fragment::new("backup").with(Fragment::leaf("duration", ticks)));
            }
            let mut rest = Fragment::new("note")
                .with(Fragment::new("rest").set("measure", "yes"))
                .with(Fragment::leaf("duration", ticks));
            let voice = voice_on(staff);
            if !voice.is_empty() {
                rest.place(Fragment::leaf("voice", voice));
            }
            if self.part.staves > 1 {
                rest.place(Fragment::leaf("staff", staff));
            }
            out.push(rest);
        }
        out
    }
}
