//! What stands in time rather than on a note: directions, chord symbols, clefs
//! and barlines, and their places among the notes of a bar.

use super::super::apart::Touch;
use super::super::edits::Edits;
use super::super::fragment::Fragment;
use super::super::tree::{child, element, text_of};
use super::context::Context;
use crate::plan::BarPlan;
use crate::score::{Element, NoteId};
use crate::time::{Time, lcm};
use roxmltree::Node;
use std::collections::{BTreeMap, BTreeSet};

/// The finest that a copy's divisions become for the sake of a direction.
pub(super) const MOST_DIVISIONS: i64 = 1 << 16;

/// Where in a document something is put, and at what time that is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Host {
    Before(Element, Time),
    After(Element, Time),
    /// Into a bar in which nothing stands.
    Into(Element),
}

impl Host {
    fn time(self) -> Time {
        match self {
            Host::Before(_, at) | Host::After(_, at) => at,
            Host::Into(_) => Time::zero(),
        }
    }
}

/// What waits for its place in time, in bars that stay and in new ones.
pub(super) struct Timed<'p, 'a, 'i> {
    pub(super) context: &'p Context<'p, 'a, 'i>,
    /// In composed bars, by row.
    in_new: BTreeMap<usize, Vec<(Time, Fragment)>>,
    /// In bars of the edition that stay.
    pub(super) in_kept: BTreeMap<usize, Vec<(Time, Fragment)>>,
    /// Bars of the edition from which figures go.
    pub(super) lost_figures: BTreeSet<usize>,
    /// Bars of the edition that get finer divisions.
    finer: BTreeMap<usize, i64>,
}

/// What is left once all that waited in bars that stay has its place.
pub(super) struct Settled {
    /// What stands in time in composed bars: row, offset, element.
    pub(super) in_new: BTreeMap<usize, Vec<(Time, Fragment)>>,
    /// Bars of the edition that get finer divisions.
    pub(super) finer: BTreeMap<usize, i64>,
}

impl<'p, 'a, 'i> Timed<'p, 'a, 'i> {
    pub(super) fn new(context: &'p Context<'p, 'a, 'i>) -> Self {
        let (in_new, in_kept, finer) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
        Timed { context, in_new, in_kept, lost_figures: BTreeSet::new(), finer }
    }

    /// A new direction (or harmony) at a place of the result.
    pub(super) fn add(&mut self, row: usize, offset: Time, fragment: Fragment) {
        match self.context.plan[row] {
            BarPlan::Keep { edition, .. } => self.in_kept.entry(edition).or_default().push((offset, fragment)),
            _ => self.in_new.entry(row).or_default().push((offset, fragment)),
        }
    }

    /// Puts what was added to bars that stay; where their divisions cannot say
    /// its time, these become finer.
    pub(super) fn settle(mut self, edits: &mut Edits) -> Settled {
        self.settle_figures(edits);
        for (bar, items) in std::mem::take(&mut self.in_kept) {
            let items: Vec<(Host, Time, Fragment)> =
                items.into_iter().map(|(at, f)| (self.host(bar, at, &f), at, f)).collect();
            let distances = items.iter().map(|(host, at, _)| *at - host.time());
            self.refine(edits, bar, distances);
            let divisions = self.divisions(bar);
            for (host, at, fragment) in items {
                for fragment in line_up(vec![(at, fragment)], host.time(), divisions) {
                    match host {
                        Host::Before(element, _) => edits.insert_before(element, fragment),
                        Host::After(element, _) => edits.insert_after(element, fragment),
                        Host::Into(element) => edits.add_child(element, fragment),
                    }
                }
            }
        }
        Settled { in_new: self.in_new, finer: self.finer }
    }

    /// Rests at the end of a bar that is shorter than the other parts' now.
    pub(super) fn fill_up(&mut self, edits: &mut Edits, row: usize, length: Time) {
        let BarPlan::Keep { edition: bar, .. } = self.context.plan[row] else { return };
        let own = &self.context.part.bars[bar];
        let notes = &self.context.part.notes[own.notes.clone()];
        if own.length >= length || notes.is_empty() {
            return;
        }
        self.refine(edits, bar, [length, own.length].into_iter());
        let divisions = self.divisions(bar);
        let measure = self.context.bar_node(bar);
        let mut told = Time::from(own.divisions);
        let (times, end) = super::in_force::times_of(measure, &mut told);
        let Some((last, _)) = times.iter().rfind(|(n, _)| matches!(n.tag_name().name(), "note" | "forward" | "backup"))
        else {
            return;
        };
        let mut cursor = times.iter().find(|(n, _)| n.range().start > last.range().start).map_or(end, |t| t.1);
        for staff in 1..=self.context.part.staves.max(1) {
            let Some(first) = notes.iter().find(|n| n.staff == staff) else { continue };
            let in_voice = notes.iter().filter(|n| n.voice == first.voice && n.grace == 0);
            let end = in_voice.map(|n| n.offset + n.duration).max().unwrap_or_default();
            let mut rest = Fragment::new("note")
                .with(Fragment::new("rest"))
                .with(Fragment::leaf("duration", ticks(length - end, divisions)));
            for name in ["voice", "staff"] {
                if let Some(own) = child(self.context.tree.node(first.element), name) {
                    rest.place(Fragment::copy(own));
                }
            }
            let moved = jump(cursor, end, divisions);
            moved.into_iter().chain([rest]).for_each(|f| edits.insert_after(element(*last), f));
            cursor = length;
        }
    }

    pub(super) fn divisions(&self, bar: usize) -> i64 {
        self.finer.get(&bar).copied().unwrap_or(self.context.part.bars[bar].divisions)
    }

    /// Makes a bar's divisions so fine that they can say all these times.
    pub(super) fn refine(&mut self, edits: &mut Edits, bar: usize, times: impl Iterator<Item = Time>) {
        let old = self.divisions(bar);
        let new = times.fold(old, |d, t| lcm(d, t.denom()));
        if new == old || new > MOST_DIVISIONS {
            return;
        }
        self.finer.insert(bar, new);
        let factor = Time::new(new, self.context.part.bars[bar].divisions.max(1));
        let mut at_start = true;
        let measure = self.context.bar_node(bar);
        for item in super::super::tree::elements(measure) {
            let name = item.tag_name().name();
            let leaf = match name {
                "note" | "backup" | "forward" | "figured-bass" => child(item, "duration"),
                "direction" | "harmony" | "sound" => child(item, "offset"),
                // Those at the start are settled with what holds there.
                "attributes" if !at_start => child(item, "divisions"),
                _ => None,
            };
            at_start &= !matches!(name, "note" | "backup" | "forward");
            let Some(leaf) = leaf else { continue };
            if let Some(ticks) = crate::time::parse_decimal(text_of(leaf)) {
                let mut new = Fragment::shell(leaf);
                new.text = ticks_text(ticks * factor);
                edits.replace(element(leaf), new);
            }
        }
    }

    /// Before the note at its time; after the one that ends there; else before
    /// the last note that comes earlier.
    pub(super) fn host(&self, bar: usize, offset: Time, fragment: &Fragment) -> Host {
        let part = self.context.part.part();
        let notes = part.bars[bar].notes.clone();
        let own = |n: NoteId| &part.notes[n];
        let staff = fragment.child("staff").and_then(|s| s.text.parse::<u32>().ok()).unwrap_or(1);
        let stays = |n: &NoteId| !own(*n).chord && own(*n).grace == 0;
        let at_time = notes.clone().filter(stays).filter(|n| own(*n).offset == offset);
        if let Some(note) = at_time.min_by_key(|n| (own(*n).staff != staff, *n)) {
            // Grace notes before it belong to it.
            let mut first = note;
            while first > notes.start && own(first - 1).grace > 0 && own(first - 1).voice == own(note).voice {
                first -= 1;
            }
            return Host::Before(own(first).element, offset);
        }
        let ending = notes.clone().filter(stays).filter(|n| own(*n).offset + own(*n).duration == offset);
        if let Some(note) = ending.min_by_key(|n| (own(*n).staff != staff, std::cmp::Reverse(*n))) {
            let last = part.chord(note).last().expect("a chord has a note");
            return Host::After(own(last).element, offset);
        }
        let earlier = notes.clone().filter(stays).filter(|n| own(*n).offset < offset).max_by_key(|n| own(*n).offset);
        let host = earlier.or_else(|| notes.clone().find(stays));
        match host {
            Some(host) => Host::Before(own(host).element, own(host).offset),
            None => self.host_in_silent_bar(bar),
        }
    }

    /// In a bar without notes: before whatever moves the time on.
    fn host_in_silent_bar(&self, bar: usize) -> Host {
        let measure = self.context.bar_node(bar);
        let moves = |n: &Node| matches!(n.tag_name().name(), "forward" | "backup" | "barline");
        let head = |n: &Node| n.attribute("location") != Some("left");
        match measure.children().filter(moves).find(head) {
            Some(host) => Host::Before(element(host), Time::zero()),
            None => Host::Into(self.context.part.bars[bar].element),
        }
    }
}

/// The direction that an element stands in, without what it says, on its staff of a part.
pub(super) fn direction_shell(context: &Context, holder: Node<'_, '_>) -> Fragment {
    let mut out = Fragment::shell(holder);
    if context.part.staves > 1 {
        let staff = child(holder, "staff").map_or("1", text_of).parse().unwrap_or(1);
        out.children.push(Fragment::leaf("staff", context.staff_in(staff)));
    }
    out
}

/// The element between what stands beside it.
pub(super) fn flanked(fragment: Fragment, touch: &Touch) -> Vec<Fragment> {
    match touch.flanks.clone() {
        Some([left, right]) => vec![left, fragment, right],
        None => vec![fragment],
    }
}

/// Elements in their direction-type, with what stands between the two.
pub(super) fn in_direction_type(node: Node<'_, '_>, fragments: Vec<Fragment>, touch: &Touch) -> Fragment {
    let parent = node.parent().expect("a mark stands in something");
    let mut kind = Fragment::new("direction-type");
    if parent.tag_name().name() == "dynamics" {
        let mut holder = Fragment::shell(parent);
        touch.of_holder.iter().for_each(|(name, value)| holder.set_attribute(name, value));
        holder.children = fragments;
        kind.children.push(holder);
    } else {
        kind.children = fragments;
    }
    kind
}

/// What stood in one direction-type comes into one again; a sign and its
/// brackets into one `dynamics`.
pub(super) fn join(kind: &mut Fragment, more: Fragment) {
    for item in more.children {
        match kind.children.last_mut() {
            Some(last) if last.name == "dynamics" && item.name == "dynamics" => last.children.extend(item.children),
            _ => kind.children.push(item),
        }
    }
}

pub(super) fn sort_children(direction: &mut Fragment) {
    direction.children.sort_by_key(|c| super::super::elements::rank("direction", &c.name));
}

/// What stands in time, written where the time is `at`. Directions and chord
/// symbols say how far they are from it; to others the time is moved, and back.
/// Figures that follow each other say how long each of them lasts.
pub(super) fn line_up(items: Vec<(Time, Fragment)>, at: Time, divisions: i64) -> Vec<Fragment> {
    let mut out: Vec<Fragment> = Vec::new();
    // The last figure: where it is, and its time.
    let mut figure: Option<(usize, Time)> = None;
    for (time, mut fragment) in items {
        match fragment.name.as_str() {
            "direction" | "harmony" | "sound" => {
                set_offset(&mut fragment, time - at, divisions);
                out.push(fragment);
            }
            "figured-bass" if time == at || figure.is_some_and(|f| f.1 <= time) => {
                if let Some((place, before)) = figure.filter(|f| f.1 < time) {
                    set_duration(&mut out[place], ticks(time - before, divisions));
                }
                figure = Some((out.len(), time));
                out.push(fragment);
            }
            _ => {
                out.extend(jump(at, time, divisions));
                out.push(fragment);
                out.extend(jump(time, at, divisions));
                figure = figure.filter(|_| time == at);
            }
        }
    }
    out
}

pub(super) fn set_duration(figure: &mut Fragment, ticks: i64) {
    figure.remove("duration");
    figure.children.push(Fragment::leaf("duration", ticks));
}

pub(super) fn ticks(time: Time, divisions: i64) -> i64 {
    (time * Time::from(divisions)).round().to_integer()
}

/// From one time of a bar to another.
pub(super) fn jump(from: Time, to: Time, divisions: i64) -> Option<Fragment> {
    let (name, by) = if to > from { ("forward", to - from) } else { ("backup", from - to) };
    (to != from).then(|| Fragment::new(name).with(Fragment::leaf("duration", ticks(by, divisions))))
}

/// `by` is in quarter notes; an offset counts divisions.
fn set_offset(fragment: &mut Fragment, by: Time, divisions: i64) {
    fragment.remove("offset");
    if !by.is_zero() {
        fragment.place(Fragment::leaf("offset", ticks_text(by * Time::from(divisions))));
    }
}

/// A number of divisions; no more decimals than are read.
fn ticks_text(ticks: Time) -> String {
    if ticks.is_integer() {
        return ticks.to_integer().to_string();
    }
    let text = format!("{:.3}", ticks.numer() as f64 / ticks.denom() as f64);
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}
