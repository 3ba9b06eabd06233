//! Whole bars: written again, put in, taken out, numbered.

use super::super::edits::Edits;
use super::super::elements::facts;
use super::super::fragment::Fragment;
use super::super::marks::is_double;
use super::super::tree::{child, element, text_of};
use super::compose::Composer;
use super::context::{Context, Signatures};
use super::frame::{BarSide, Frame};
use super::in_force::{InForce, State, leading, right_style};
use super::timed::Settled;
use super::voice_name;
use crate::alignment::SourceNote;
use crate::plan::BarPlan;
use crate::score::{Element, Note};
use crate::time::{Time, lcm};
use roxmltree::Node;
use std::cell::OnceCell;
use std::collections::BTreeMap;

/// Writes the bars of a part once all that comes into them is settled.
pub(super) struct BarWriter<'p, 'a, 'i> {
    pub(super) context: &'p Context<'p, 'a, 'i>,
    pub(super) edits: &'p mut Edits<'a, 'i>,
    pub(super) composer: Composer<'p, 'a, 'i>,
    /// The notes of new and rebuilt bars, with their marks and accidentals.
    pub(super) composed: BTreeMap<SourceNote, Fragment>,
    pub(super) timed: Settled,
    pub(super) frame: Frame<'p, 'a, 'i>,
    /// The signature that each row has.
    pub(super) fifths: Vec<i32>,
    /// What holds in the source's bars, once it is asked for.
    pub(super) source_in_force: OnceCell<Vec<InForce<'a, 'i>>>,
}

impl<'a, 'i> BarWriter<'_, 'a, 'i> {
    /// Writes rebuilt and fresh bars, takes dropped ones out, numbers all.
    pub(super) fn write(mut self) {
        self.settle_final_barline();
        for ((_, side), (home, barline)) in std::mem::take(&mut self.frame.new_barlines) {
            match side {
                BarSide::Left => self.edits.insert_before(home, barline),
                BarSide::Right => self.edits.insert_after(home, barline),
            }
        }
        let natural = self.context.plan.keeps_all();
        if natural && self.context.signatures == Signatures::Edition && self.timed.finer.is_empty() {
            return;
        }
        let in_force = self.context.edition_in_force();
        let mut state = State::default();
        let mut anchor: Option<Element> = None;
        let mut moved_by = 0_i64;
        let mut last_number = 0_i64;
        for (row, plan) in self.context.plan.rows().iter().copied().enumerate() {
            match plan {
                BarPlan::Keep { edition, .. } | BarPlan::Rebuild { edition, .. } => {
                    let bar = &self.context.part.bars[edition];
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
                            self.carry_over(row, &in_force[edition]);
                            let (content, divisions) = self.content(row, source, own);
                            // What holds in the bar stands before its notes.
                            self.settle_attributes(row, &in_force[edition], divisions, &mut state);
                            self.rebuild(edition, content);
                        }
                        _ => {
                            let divisions = self.timed.finer.get(&edition).copied().unwrap_or(own);
                            self.settle_attributes(row, &in_force[edition], divisions, &mut state);
                        }
                    }
                    anchor = Some(self.measure(edition));
                }
                BarPlan::Fresh { source } => {
                    let measure = self.fresh(row, source, in_force.first(), &mut state, last_number + 1);
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
                    let node = self.context.tree.node(measure);
                    let counted = self.context.part.bars[edition].number.parse::<i64>().is_ok()
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
        let Some(last) = self.context.part.bars.len().checked_sub(1) else { return };
        let tree = self.context.tree;
        let old = right_style(tree.node(self.context.part.bars[last].element));
        let Some(end) = self.context.plan.rows().iter().rposition(|f| f.is_in_result()) else { return };
        let still_last = self.context.plan[end].edition() == Some(last);
        let Some(old) = old.filter(|_| !still_last) else { return };
        let goes =
            self.context.plan.edition_row(last).is_some_and(|r| matches!(self.context.plan[r], BarPlan::Drop { .. }));
        let repeats = old.parent().is_some_and(|b| child(b, "repeat").is_some());
        if !goes && !repeats && text_of(old) == "light-heavy" {
            self.edits.remove(element(old));
        }
        if let BarPlan::Keep { edition, .. } | BarPlan::Rebuild { edition, .. } = self.context.plan[end] {
            let measure = tree.node(self.context.part.bars[edition].element);
            let has_one =
                right_style(measure).is_some() || self.frame.new_barlines.contains_key(&(end, BarSide::Right));
            if let Some(home) = measure.last_element_child().filter(|_| !has_one) {
                let barline = Fragment::new("barline").set("location", "right").with(Fragment::copy(old));
                self.edits.insert_after(element(home), barline);
            }
        }
    }

    /// The measure of a bar; in a timewise score the part lies inside it.
    fn measure(&self, bar: usize) -> Element {
        let node = self.context.bar_node(bar);
        match node.tag_name().name() {
            "part" => node.parent().map_or(self.context.part.bars[bar].element, element),
            _ => self.context.part.bars[bar].element,
        }
    }

    /// The edition's bar gets other music.
    fn rebuild(&mut self, edition: usize, content: Vec<Fragment>) {
        let measure = self.context.bar_node(edition);
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
            (None, None) => {
                content.into_iter().for_each(|f| self.edits.add_child(self.context.part.bars[edition].element, f))
            }
        }
    }

    /// A new bar with the source's music.
    fn fresh(
        &mut self,
        row: usize,
        bar: usize,
        first: Option<&InForce<'a, 'i>>,
        state: &mut State<'a, 'i>,
        number: i64,
    ) -> Fragment {
        let source = self.context.frame().filter(|s| bar < s.part.bars.len());
        let own = source.map(|s| (&s.part.part().bars[bar], s.node(s.part.bars[bar].element)));
        let mut measure = Fragment::new("measure").set("number", number);
        if let Some((_, node)) = own
            && node.attribute("implicit") == Some("yes")
        {
            measure.set_attribute("implicit", "yes");
            measure.set_attribute("number", node.attribute("number").unwrap_or("0"));
        }
        let near = self.context.nearest_edition_bar(row).unwrap_or(0);
        let in_force = state.divisions().unwrap_or_else(|| self.context.part.bars.get(near).map_or(1, |b| b.divisions));
        let (mut content, mut divisions) = self.content(row, bar, in_force);
        if content.is_empty() {
            // A part that the source lacks rests.
            let length = own
                .map_or_else(|| self.context.part.bars.get(near).map_or(Time::from(4), |b| b.length), |o| o.0.length);
            divisions = lcm(divisions, length.denom());
            content = self.rests(near, length, divisions);
        }
        measure.children.extend(self.fresh_attributes(row, divisions, first, state));
        let mut barlines = self.frame.barlines.remove(&row).unwrap_or_default();
        if let Some((_, node)) = own
            && !barlines.iter().any(|b| b.0 == BarSide::Right && b.1.name == "bar-style")
        {
            // A style that is no mark, as the double bar at the end, comes along.
            let last = source.is_some_and(|s| bar + 1 == s.part.bars.len());
            let style = right_style(node).filter(|style| last || !is_double(text_of(*style)));
            barlines.extend(style.map(|style| (BarSide::Right, Fragment::copy(style))));
        }
        let barline = |side: BarSide, measure: &mut Fragment| {
            let mut barline = Fragment::new("barline").set("location", side.location());
            for (_, fragment) in barlines.iter().filter(|b| b.0 == side) {
                barline.place(fragment.clone());
            }
            if !barline.children.is_empty() {
                measure.children.push(barline);
            }
        };
        barline(BarSide::Left, &mut measure);
        measure.children.extend(content);
        barline(BarSide::Right, &mut measure);
        measure
    }

    /// A bar of rest for each staff, in the voice that the part has on it.
    fn rests(&self, near: usize, length: Time, divisions: i64) -> Vec<Fragment> {
        let ticks = (length * Time::from(divisions)).to_integer();
        let voice_on = |staff: u32| {
            let near = self.context.part.bars.get(near).map_or(0..0, |b| b.notes.clone());
            let on_staff = |n: &&Note| n.staff == staff;
            let own = self.context.part.notes[near]
                .iter()
                .find(on_staff)
                .or_else(|| self.context.part.notes.iter().find(on_staff));
            own.map_or_else(|| staff.to_string(), |n| voice_name(self.context.tree.node(n.element)))
        };
        let mut out = Vec::new();
        for staff in 1..=self.context.part.staves.max(1) {
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
            if self.context.part.staves > 1 {
                rest.place(Fragment::leaf("staff", staff));
            }
            out.push(rest);
        }
        out
    }
}
