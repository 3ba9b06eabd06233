//! Making the attributes of each bar say what holds there, once.

use super::super::fragment::Fragment;
use super::super::tree::{child_text, element, elements};
use super::bars::BarWriter;
use super::context::Signatures;
use super::in_force::{Grounds, InForce, State, fifths_of, for_all_staves, has, leading, of_name, say_the_same};
use roxmltree::Node;

impl<'a, 'i> BarWriter<'_, 'a, 'i> {
    fn restores_signatures(&self) -> bool {
        self.context.signatures == Signatures::Source
    }

    /// What holds in the source's bars.
    fn source_in_force(&self) -> &[InForce<'a, 'i>] {
        self.source_in_force.get_or_init(|| self.context.source_in_force())
    }

    /// What the source says at the start of a row.
    fn theirs(&self, row: usize, name: &str) -> Vec<Fragment> {
        let in_force = self.context.plan[row].source().and_then(|bar| self.source_in_force().get(bar));
        let all = in_force.map_or_else(Vec::new, |h| of_name(&h.start, name));
        let first = all.iter().find(|f| f.attributes.iter().all(|a| a.0 != "number" || a.1 == "1"));
        first.map(for_all_staves).into_iter().collect()
    }

    fn new_signature(&self, row: usize, name: &str) -> Option<Vec<Fragment>> {
        self.frame.signatures.get(&(row, name.to_string())).map(|f| vec![f.clone()])
    }

    /// The time signature that a row is to have.
    fn wanted_time(&self, row: usize, own: Option<&InForce>, state: &State<'a, 'i>) -> Vec<Fragment> {
        let said = state.of("time");
        let ours = own.map_or_else(|| said.clone(), |h| of_name(&h.start, "time"));
        let plan = self.context.plan[row];
        let theirs = if self.restores_signatures() || own.is_none() { self.theirs(row, "time") } else { Vec::new() };
        if theirs.is_empty() {
            let goes_on = own.is_some_and(|h| say_the_same(&of_name(&h.before, "time"), &ours));
            return if self.context.goes_on(plan) && goes_on && !said.is_empty() { said } else { ours };
        }
        if say_the_same(&theirs, &ours) {
            return ours;
        }
        self.new_signature(row, "time").filter(|new| say_the_same(new, &theirs)).unwrap_or(theirs)
    }

    /// The key signature that a row is to have.
    fn wanted_key(
        &self,
        row: usize,
        own: Option<&InForce>,
        first: Option<&InForce>,
        state: &State<'a, 'i>,
    ) -> Vec<Fragment> {
        let fifths = self.fifths[row];
        let fits = |keys: &Vec<Fragment>| keys.first().and_then(fifths_of).unwrap_or(0) == fifths;
        let ours = own.or(first.filter(|_| state.held.is_empty())).map(|h| of_name(&h.start, "key"));
        let bar = self.context.plan[row].edition().filter(|_| own.is_some());
        match ours {
            Some(keys) if bar.is_some_and(|bar| self.context.part.bars[bar].fifths == fifths) || fits(&keys) => {
                return keys;
            }
            _ => {}
        }
        let held = state.of("key");
        if !held.is_empty() && fits(&held) {
            return held;
        }
        let new = self.new_signature(row, "key").filter(fits);
        new.unwrap_or_else(|| vec![Fragment::new("key").with(Fragment::leaf("fifths", fifths))])
    }

    /// Makes sure that what a bar of the edition takes for granted still holds
    /// when other bars than before come first, and that nothing is said twice.
    pub(super) fn settle_attributes(
        &mut self,
        row: usize,
        own: &InForce<'a, 'i>,
        divisions: i64,
        state: &mut State<'a, 'i>,
    ) {
        let bar = self.context.plan[row].edition().expect("a bar of the edition");
        let grounds = self.grounds(row, bar, own, divisions);
        let is_silent = own.attributes.is_empty();
        if is_silent && grounds.as_ref().is_some_and(|g| state.is_settled_by(g)) {
            return;
        }
        let mut more: Vec<Fragment> = Vec::new();
        let mut names: Vec<&str> = vec!["divisions", "key", "time"];
        for name in own.start.iter().map(|n| n.tag_name().name()) {
            if !names.contains(&name) {
                names.push(name);
            }
        }
        for name in names {
            let wanted = match name {
                "divisions" => {
                    let said = of_name(&own.start, name);
                    match said.is_empty() && divisions == self.context.part.bars[bar].divisions {
                        true => state.of(name).into_iter().filter(|_| state.divisions() == Some(divisions)).collect(),
                        false => vec![Fragment::leaf(name, divisions)],
                    }
                }
                "key" => self.wanted_key(row, Some(own), None, state),
                "time" => self.wanted_time(row, Some(own), state),
                _ => of_name(&own.start, name),
            };
            self.settle_kind(own, name, &wanted, &state.of(name), &mut more);
            state.set(name, wanted);
        }
        self.add_attributes(bar, more);
        // What comes later in the bar holds after it.
        for item in own.attributes.iter().filter(|(_, at)| !at.is_zero()).flat_map(|(node, _)| elements(*node)) {
            if !self.edits.is_removed(element(item)) && item.tag_name().name() != "divisions" {
                state.put(Fragment::copy(item));
            }
        }
        let scale = divisions / self.context.part.bars[bar].divisions.max(1);
        let late = own.attributes.iter().filter(|(_, at)| !at.is_zero());
        let late = late.filter_map(|(node, _)| child_text(*node, "divisions")?.parse::<i64>().ok()).next_back();
        // A bar that is written again has but one.
        if let Some(late) = late.filter(|_| self.context.plan[row].is_kept()) {
            state.set("divisions", vec![Fragment::leaf("divisions", late * scale)]);
        }
        for (_, item) in self.frame.late_signatures.get(&row).into_iter().flatten() {
            state.put(item.clone());
        }
        if own.attributes.iter().all(|(_, at)| at.is_zero())
            && let Some(grounds) = grounds
        {
            state.settle_by(grounds);
        }
    }

    /// All that decides what holds in a row beside what was settled before it;
    /// `None` where it has signatures of its own to come.
    fn grounds(&self, row: usize, bar: usize, own: &InForce<'a, 'i>, divisions: i64) -> Option<Grounds<'a, 'i>> {
        let is_new = |name: &str| self.frame.signatures.contains_key(&(row, name.to_string()));
        if self.frame.late_signatures.contains_key(&row)
            || !self.frame.signatures.is_empty() && (is_new("key") || is_new("time"))
        {
            return None;
        }
        let plan = self.context.plan[row];
        let theirs = plan.source().filter(|_| self.restores_signatures());
        Some(Grounds {
            own: own.start.clone(),
            theirs: theirs.and_then(|bar| self.source_in_force().get(bar)).map(|h| h.start.clone()),
            fifths: self.fifths[row],
            edition_fifths: self.context.part.bars[bar].fifths,
            divisions,
            edition_divisions: self.context.part.bars[bar].divisions,
            goes_on: self.context.goes_on(plan),
        })
    }

    fn settle_kind(
        &mut self,
        own: &InForce<'a, 'i>,
        name: &str,
        wanted: &[Fragment],
        held: &[Fragment],
        more: &mut Vec<Fragment>,
    ) {
        let declared = own.declared(name);
        let says = |nodes: &[Node], like: &[Fragment]| {
            let said: Vec<Fragment> = nodes.iter().map(|n| Fragment::copy(*n)).collect();
            say_the_same(&said, like)
        };
        if say_the_same(held, wanted) {
            // Where the edition itself said it twice, it may.
            let twice = say_the_same(&of_name(&own.before, name), wanted) && says(&of_nodes(&own.start, name), wanted);
            if !twice {
                declared.iter().for_each(|n| self.edits.remove(element(*n)));
            }
            return;
        }
        // What is said of one staff goes on beside what holds on the others.
        let as_is = of_nodes(&own.start, name);
        if says(&as_is, wanted) {
            let is_held = |n: &Node| has(held, &Fragment::copy(*n));
            let lacking = as_is.iter().filter(|n| !declared.contains(n) && !is_held(n));
            more.extend(lacking.map(|n| Fragment::copy(*n)));
            let before = of_name(&own.before, name);
            let needless = declared.iter().filter(|n| is_held(n) && !has(&before, &Fragment::copy(**n)));
            needless.for_each(|n| self.edits.remove(element(*n)));
            return;
        }
        match declared.split_first() {
            Some((first, rest)) => {
                let mut wanted = wanted.iter().cloned();
                match wanted.next() {
                    Some(new) => self.edits.replace(element(*first), new),
                    None => self.edits.remove(element(*first)),
                }
                rest.iter().for_each(|n| self.edits.remove(element(*n)));
                more.extend(wanted);
            }
            None => more.extend(wanted.iter().cloned()),
        }
    }

    fn add_attributes(&mut self, bar: usize, more: Vec<Fragment>) {
        if more.is_empty() {
            return;
        }
        let measure = self.context.bar_node(bar);
        if let Some(home) = leading(measure).next() {
            return more.into_iter().for_each(|item| self.edits.add_child(element(home), item));
        }
        let mut attributes = Fragment::new("attributes");
        for item in more {
            attributes.place(item);
        }
        match elements(measure).find(|n| n.tag_name().name() != "print") {
            Some(head) => self.edits.insert_before(element(head), attributes),
            None => self.edits.add_child(self.context.part.bars[bar].element, attributes),
        }
    }

    /// The attributes of a new bar: what does not hold already.
    pub(super) fn fresh_attributes(
        &self,
        row: usize,
        divisions: i64,
        first: Option<&InForce>,
        state: &mut State<'a, 'i>,
    ) -> Option<Fragment> {
        let mut out = Fragment::new("attributes");
        let first = first.filter(|_| state.held.is_empty());
        if state.divisions() != Some(divisions) {
            out.place(Fragment::leaf("divisions", divisions));
        }
        let (key, time) = (
            self.wanted_key(row, None, first, state),
            self.wanted_time(row, first.filter(|_| self.theirs(row, "time").is_empty()), state),
        );
        for (name, wanted) in [("key", &key), ("time", &time)] {
            if !say_the_same(&state.of(name), wanted) {
                for item in wanted {
                    out.place(item.clone());
                }
            }
        }
        let settled = ["divisions", "key", "time"];
        let rest: Vec<Fragment> = first.map_or_else(Vec::new, |h| {
            h.start.iter().filter(|n| !settled.contains(&n.tag_name().name())).map(|n| Fragment::copy(*n)).collect()
        });
        for item in &rest {
            out.place(item.clone());
        }
        state.held.extend(rest);
        state.set("divisions", vec![Fragment::leaf("divisions", divisions)]);
        state.set("key", key);
        state.set("time", time);
        for (_, item) in self.frame.late_signatures.get(&row).into_iter().flatten() {
            state.put(item.clone());
        }
        (!out.children.is_empty()).then_some(out)
    }

    /// Attributes and barlines in the middle of a bar that is written again come
    /// to stand among its new notes.
    pub(super) fn carry_over(&mut self, row: usize, own: &InForce<'a, 'i>) {
        for (node, at) in own.attributes.iter().filter(|(_, at)| !at.is_zero()) {
            let mut moved = Fragment::shell(*node);
            let stays = |n: &Node| n.tag_name().name() != "divisions" && !self.edits.is_removed(element(*n));
            moved.children = elements(*node).filter(stays).map(Fragment::copy).collect();
            self.edits.remove(element(*node));
            if !moved.children.is_empty() {
                self.timed.in_new.entry(row).or_default().push((*at, moved));
            }
        }
    }
}

fn of_nodes<'a, 'i>(held: &[Node<'a, 'i>], name: &str) -> Vec<Node<'a, 'i>> {
    held.iter().copied().filter(|n| n.tag_name().name() == name).collect()
}
