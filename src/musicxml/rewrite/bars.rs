//! Whole bars: composed from the source's notes, put in, taken out, numbered.

use super::super::fragment::Fragment;
use super::super::tree::{Tree, child, child_text, element, text_of};
use super::lay::set_offset;
use super::{Fate, PartRewrite, SourceSide, pitch_fragment, voice_name};
use crate::pitch::{Interval, LETTERS, Pitch};
use crate::score::{Element, NoteId, Part, Sound};
use crate::time::Time;
use num_traits::Zero;
use roxmltree::Node;

/// What a rebuilt bar replaces; attributes, prints and barlines stay.
const MUSIC: [&str; 6] = ["note", "backup", "forward", "direction", "harmony", "figured-bass"];

impl<'a, 'i> PartRewrite<'_, 'a, 'i> {
    /// A note of the source as the edition would write it: its pitch moved,
    /// voice and staff renamed, without marks. Its length waits for the bar.
    pub(super) fn compose_note(&self, source: SourceSide<'a, 'i>, note: NoteId, row: usize) -> Fragment {
        let own = &source.part.notes[note];
        let node = source.tree.node(own.element);
        let mut out = Fragment::shell(node);
        let by = self.writing_interval(row);
        let one_voice = self.voices_in(source.part, own.bar).len() == 1;
        for item in node.children().filter(|n| n.is_element()) {
            match item.tag_name().name() {
                "pitch" => {
                    let sounding = own.pitch().map(|p| p.moved(source.alignment.interval));
                    let sounding = self.overrides.get(&note).copied().or(sounding);
                    let written = sounding.map(|p| p.moved(self.transpose_at(row).inverse()).simplest());
                    out.children.extend(written.map(pitch_fragment));
                }
                "rest" => {
                    let mut rest = Fragment::copy(item);
                    if one_voice {
                        rest.children.clear();
                    } else {
                        move_named_pitch(&mut rest, "display-step", "", by);
                    }
                    out.children.push(rest);
                }
                "grace" | "cue" | "chord" | "unpitched" | "tie" | "type" | "dot" | "time-modification" | "notehead" => {
                    out.children.push(Fragment::copy(item));
                }
                "beam" if self.uses("beam") => out.children.push(Fragment::copy(item)),
                "stem" if self.uses("stem") => out.children.push(Fragment::copy(item)),
                "notations" => {
                    let kept = |n: &Node| matches!(n.tag_name().name(), "tied" | "tuplet");
                    let kept: Vec<Fragment> = item.children().filter(kept).map(Fragment::copy).collect();
                    if !kept.is_empty() {
                        let notations = out.child_mut("notations");
                        notations.children.extend(kept);
                    }
                }
                _ => {}
            }
        }
        let voice = self.voice_in(source, own.voice);
        if !voice.is_empty() {
            out.place(Fragment::leaf("voice", voice));
        }
        if self.part.staves > 1 {
            out.place(Fragment::leaf("staff", self.staff_in(row, own.staff)));
        }
        out
    }

    /// Whether the edition writes elements of a kind at all.
    fn uses(&self, name: &str) -> bool {
        let tree = self.plan.tree();
        self.part.notes.iter().take(200).any(|n| child(tree.node(n.element), name).is_some())
    }

    /// The edition's name for a voice of the source.
    fn voice_in(&self, source: SourceSide, voice: u32) -> String {
        let mut votes: Vec<(usize, u32)> = Vec::new();
        for (s, e) in source.alignment.source_to_edition.iter().enumerate() {
            if let Some(e) = e.filter(|_| source.part.notes[s].voice == voice) {
                let own = self.part.notes[e].voice;
                match votes.iter_mut().find(|v| v.1 == own) {
                    Some(vote) => vote.0 += 1,
                    None => votes.push((1, own)),
                }
            }
        }
        let best = votes.into_iter().max_by_key(|v| (v.0, std::cmp::Reverse(v.1))).map(|v| v.1);
        let named = |part: &Part, tree: &Tree, voice: u32| {
            let note = part.notes.iter().find(|n| n.voice == voice)?;
            Some(voice_name(tree, note.element))
        };
        match best {
            Some(voice) => named(self.part, self.plan.tree(), voice).unwrap_or_default(),
            None => named(source.part, source.tree, voice).unwrap_or_default(),
        }
    }

    /// The edition's staff for a staff of the source.
    pub(super) fn staff_in(&self, _row: usize, staff: u32) -> u32 {
        staff.min(self.part.staves)
    }

    fn voices_in(&self, part: &Part, bar: usize) -> Vec<u32> {
        let mut voices = Vec::new();
        for note in part.bars[bar].notes.clone() {
            let voice = part.notes[note].voice;
            if !voices.contains(&voice) {
                voices.push(voice);
            }
        }
        voices
    }

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

    /// Puts grace notes in front of the notes they lead to.
    pub(super) fn put_graces(&mut self) {
        for group in &self.new_graces {
            let main = self.part.chord(group.main);
            for note in &group.notes {
                let fragment = self.composed[note].clone();
                if group.after {
                    self.plan.insert_after(self.part.notes[main.end - 1].element, fragment);
                } else {
                    self.plan.insert_before(self.part.notes[main.start].element, fragment);
                }
            }
        }
    }

    /// Writes rebuilt and fresh bars, takes dropped ones out, numbers all.
    pub(super) fn put_bars(&mut self) {
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
                    let divisions = match fate {
                        Fate::Rebuild { .. } => self.rebuild(row, edition),
                        _ => bar.divisions,
                    };
                    self.settle_attributes(row, edition, divisions, &mut state);
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

    /// The measure of a bar; in a timewise score the part lies inside it.
    fn measure(&self, bar: usize) -> Element {
        let node = self.plan.tree().node(self.part.bars[bar].element);
        match node.tag_name().name() {
            "part" => node.parent().map_or(self.part.bars[bar].element, element),
            _ => self.part.bars[bar].element,
        }
    }

    /// The music of a composed bar, in order, and the divisions it needs.
    fn content(&self, row: usize, bar: usize, divisions: i64) -> (Vec<Fragment>, i64) {
        let Some(source) = self.source else {
            return (Vec::new(), divisions);
        };
        let notes = source.part.bars[bar].notes.clone();
        let times = notes.clone().flat_map(|n| {
            let note = &source.part.notes[n];
            [note.offset, note.duration]
        });
        let divisions = times.fold(divisions, |d, t| lcm(d, *t.denom()));
        let ticks = |t: Time| (t * Time::from(divisions)).to_integer();
        let mut timed = self.timed.get(&row).cloned().unwrap_or_default();
        timed.sort_by_key(|t| t.0);
        let mut timed = timed.into_iter().peekable();
        let mut out = Vec::new();
        let mut cursor = Time::zero();
        let jump = |to: Time, cursor: &mut Time, out: &mut Vec<Fragment>| {
            if to != *cursor {
                let (name, by) = if to > *cursor { ("forward", to - *cursor) } else { ("backup", *cursor - to) };
                out.push(Fragment::new(name).with(Fragment::leaf("duration", ticks(by))));
                *cursor = to;
            }
        };
        for voice in self.voices_in(source.part, bar) {
            for id in notes.clone().filter(|n| source.part.notes[*n].voice == voice) {
                let note = &source.part.notes[id];
                if !note.chord {
                    jump(note.offset, &mut cursor, &mut out);
                    while timed.peek().is_some_and(|t| t.0 <= note.offset) {
                        let (at, mut fragment) = timed.next().expect("peeked");
                        set_offset(&mut fragment, at - cursor, divisions);
                        out.push(fragment);
                    }
                }
                let Some(mut fragment) = self.composed.get(&id).cloned() else {
                    continue;
                };
                if note.grace == 0 {
                    fragment.place(Fragment::leaf("duration", ticks(note.duration)));
                }
                out.push(fragment);
                if !note.chord {
                    cursor += note.duration;
                }
            }
            // What comes later than the first voice's last note.
            for (at, mut fragment) in timed.by_ref() {
                set_offset(&mut fragment, at - cursor, divisions);
                out.push(fragment);
            }
        }
        let end = source.part.bars[bar].length;
        if !notes.is_empty() {
            jump(end.max(cursor), &mut cursor, &mut out);
        }
        (out, divisions)
    }

    /// The edition's bar gets the source's music. Returns its divisions.
    fn rebuild(&mut self, row: usize, edition: usize) -> i64 {
        let Some(source) = self.fates[row].source() else {
            return self.part.bars[edition].divisions;
        };
        let tree = self.plan.tree();
        let measure = tree.node(self.part.bars[edition].element);
        let old: Vec<Node> =
            measure.children().filter(|n| n.is_element() && MUSIC.contains(&n.tag_name().name())).collect();
        let (content, divisions) = self.content(row, source, self.part.bars[edition].divisions);
        for node in &old {
            self.plan.remove(element(*node));
        }
        for fragment in content {
            match old.first() {
                Some(first) => self.plan.insert_before(element(*first), fragment),
                None => self.plan.add_child(self.part.bars[edition].element, fragment),
            }
        }
        divisions
    }

    /// A new bar with the source's music.
    fn fresh(&mut self, row: usize, bar: usize, state: &mut State, number: i64) -> Fragment {
        let source = self.source;
        let own = source.map(|s| (&s.part.bars[bar], s.tree.node(s.part.bars[bar].element)));
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
        if let Some(source) = source {
            let meter = time_in_force(source.tree, source.part, bar);
            if let Some(meter) = meter.map(Fragment::copy)
                && state.meter.as_ref() != Some(&meter)
            {
                attributes.place(meter.clone());
                state.meter = Some(meter);
            }
        }
        if !attributes.children.is_empty() {
            measure.children.push(attributes);
        }
        let barlines = self.barlines.remove(&row).unwrap_or_default();
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
            None if state.divisions.is_some_and(|d| d != divisions) => {
                wanted.push(Fragment::leaf("divisions", divisions));
            }
            None => {}
        }
        let fifths = self.fifths.get(row).copied().unwrap_or(self.part.bars[bar].fifths);
        if declares("key").is_none() && state.fifths.is_some_and(|f| f != fifths) {
            wanted.push(Fragment::new("key").with(Fragment::leaf("fifths", fifths)));
        }
        let meter = time_in_force(tree, self.part, bar).map(Fragment::copy);
        if declares("time").is_none() && state.meter.is_some() && state.meter != meter {
            wanted.extend(meter.clone());
        }
        if let Some(from) = state.dropped_from {
            for clef in clefs_since(tree, self.part, from, bar) {
                let number = clef.attribute("number").unwrap_or("1");
                let own = leads.into_iter().flat_map(|a| a.children());
                let mut own = own.filter(|n| n.tag_name().name() == "clef");
                if !own.any(|c| c.attribute("number").unwrap_or("1") == number) {
                    wanted.push(Fragment::copy(clef));
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

/// The time signature in force in a bar.
fn time_in_force<'a, 'i>(tree: &'a Tree<'i>, part: &Part, bar: usize) -> Option<Node<'a, 'i>> {
    part.bars[..=bar].iter().rev().find_map(|b| {
        let attributes = tree.node(b.element).children().filter(|n| n.tag_name().name() == "attributes");
        attributes.filter_map(|a| child(a, "time")).next_back()
    })
}

/// The last clef of each staff among bars that were taken out.
fn clefs_since<'a, 'i>(tree: &'a Tree<'i>, part: &Part, from: usize, to: usize) -> Vec<Node<'a, 'i>> {
    let mut out: Vec<Node<'a, 'i>> = Vec::new();
    for bar in &part.bars[from..to] {
        let attributes = tree.node(bar.element).children().filter(|n| n.tag_name().name() == "attributes");
        for clef in attributes.flat_map(|a| a.children()).filter(|n| n.tag_name().name() == "clef") {
            out.retain(|c| c.attribute("number") != clef.attribute("number"));
            out.push(clef);
        }
    }
    out
}

/// Moves a pitch that is written as children of an element: the root of a
/// chord symbol, or the place of a rest.
pub(super) fn move_named_pitch(holder: &mut Fragment, step: &str, alter: &str, by: Interval) {
    let text = |f: &Fragment, name: &str| f.child(name).map(|c| c.text.trim().to_string());
    let Some(letter) = text(holder, step) else {
        return;
    };
    let is_rest = alter.is_empty();
    let octave = text(holder, "display-octave").and_then(|o| o.parse().ok()).unwrap_or(4);
    let Some(base) = Pitch::parse(&format!("{letter}4")) else {
        return;
    };
    let signs: i32 = text(holder, alter).and_then(|t| t.parse().ok()).unwrap_or(0);
    let moved = Pitch::new(base.step, signs * 100, octave).moved(by);
    let moved = if is_rest { moved } else { moved.simplest() };
    for child in &mut holder.children {
        if child.name == step {
            child.text = LETTERS[moved.step as usize].to_string();
        } else if child.name == "display-octave" {
            child.text = moved.octave.to_string();
        }
    }
    if is_rest {
        return;
    }
    holder.remove(alter);
    if moved.alter != 0 {
        let at = holder.children.iter().position(|c| c.name == step).map_or(0, |p| p + 1);
        holder.children.insert(at, Fragment::leaf(alter, moved.alter / 100));
    }
}

fn lcm(a: i64, b: i64) -> i64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    a / x * b
}

/// Whether a note of the edition is written with a pitch.
pub(super) fn is_pitched(part: &Part, note: NoteId) -> bool {
    matches!(part.notes[note].sound, Sound::Pitched(_))
}

/// The text of a stem, if the note has one.
pub(super) fn stem_of<'a>(tree: &'a Tree<'_>, part: &Part, note: NoteId) -> Option<(Element, &'a str)> {
    child(tree.node(part.notes[note].element), "stem").map(|n| (element(n), text_of(n)))
}
