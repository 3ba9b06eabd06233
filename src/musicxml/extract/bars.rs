//! A bar with one line: its notes and signs at the times that they had.

use super::Extractor;
use crate::musicxml::fragment::Fragment;
use crate::musicxml::tree::{child, child_text, element, elements, text_of};
use crate::score::Element;
use crate::time::{Time, parse_decimal};
use roxmltree::Node;

/// A note with its chord, or a sign.
struct Item<'a, 'i> {
    /// Its first element and its last; none of what is new.
    nodes: Option<[Node<'a, 'i>; 2]>,
    new: Option<Fragment>,
    from: Time,
    to: Time,
    /// Its place in the document, and whether it leaves that.
    place: usize,
    strays: bool,
    divisions: Time,
}

impl Item<'_, '_> {
    /// Whether time may stand at a place before it, or after it.
    fn begins_after(&self, at: Time) -> bool {
        self.from >= at
    }

    fn ends_before(&self, at: Time) -> bool {
        self.to <= at
    }
}

/// The music of a bar, and the signs that stand in it.
#[derive(Default)]
struct Content<'a, 'i> {
    music: Vec<Item<'a, 'i>>,
    signs: Vec<Item<'a, 'i>>,
    /// Time in the bar, and when the present chord began.
    now: Time,
    chord: Time,
    /// A note of the present chord is the line's.
    in_chord: bool,
}

impl<'a, 'i> Extractor<'_, 'a, 'i> {
    pub(super) fn bar(&mut self, index: usize) {
        let bar = &self.part.bars[index];
        let node = self.tree.node(bar.element);
        let mut content = Content::default();
        for (place, item) in elements(node).enumerate() {
            self.take(item, place, &mut content);
        }
        let (Content { mut music, signs, .. }, divisions) = (content, self.divisions);
        if !music.iter().any(|m| m.to > m.from) {
            music.push(Item {
                nodes: None,
                new: Some(self.rest_of_bar(bar.length * divisions)),
                from: Time::zero(),
                to: bar.length,
                place: usize::MAX,
                strays: false,
                divisions,
            });
        }
        let furthest = music.iter().map(|m| m.to).max().unwrap_or_default();
        let items = in_order(music, signs);
        let now = self.lay(index, items);
        let lacks = bar.length - now.max(furthest);
        if lacks > Time::zero() {
            let by = (bar.length - now) * divisions;
            // What goes beyond the time signature is as long only with a sign.
            let full = bar.length <= bar.meter.bar;
            let silence = if full { moved(by) } else { self.silence(by, Fragment::new("rest")) };
            self.append(index, silence);
        }
    }

    fn take(&mut self, node: Node<'a, 'i>, place: usize, bar: &mut Content<'a, 'i>) {
        let ticks = child_text(node, "duration").and_then(parse_decimal).unwrap_or_default();
        let divisions = self.divisions;
        let lasts = ticks / divisions;
        let sign =
            |at: Time| Item { nodes: Some([node, node]), new: None, from: at, to: at, place, strays: false, divisions };
        match node.tag_name().name() {
            "note" => self.take_note(node, place, lasts, bar),
            "backup" => {
                bar.now = (bar.now - lasts).max(Time::zero());
                self.edits.remove(element(node));
            }
            "forward" => {
                bar.now += lasts;
                self.edits.remove(element(node));
            }
            "attributes" => {
                bar.signs.push(sign(bar.now));
                let said = child_text(node, "divisions").and_then(parse_decimal).filter(|d| *d > Time::zero());
                self.divisions = said.unwrap_or(divisions);
                self.settle_attributes(node);
                let was_empty = elements(node).next().is_none();
                if !was_empty && elements(node).all(|n| self.edits.is_removed(element(n))) {
                    bar.signs.pop();
                    self.edits.remove(element(node));
                }
            }
            "direction" | "harmony" | "figured-bass" => {
                if !self.is_own_sign(node) {
                    self.edits.remove(element(node));
                    return;
                }
                let next = node.next_siblings().skip(1).find(|n| n.tag_name().name() == "note");
                let between = next.is_some_and(|n| child(n, "chord").is_some());
                bar.signs.push(sign(if between { bar.chord } else { bar.now }));
                child(node, "staff").into_iter().for_each(|staff| self.edits.remove(element(staff)));
                let voice = child(node, "voice").filter(|voice| !self.voices.contains(text_of(*voice)));
                voice.into_iter().for_each(|voice| self.edits.remove(element(voice)));
            }
            "barline" => match node.attribute("location") {
                Some("left") => bar.signs.push(sign(Time::zero())),
                Some("middle") => bar.signs.push(sign(bar.now)),
                _ => {}
            },
            "print" => {
                self.keep_staff_of(node, "staff-layout");
                bar.signs.push(sign(bar.now));
            }
            _ => bar.signs.push(sign(bar.now)),
        }
    }

    fn take_note(&mut self, node: Node<'a, 'i>, place: usize, lasts: Time, bar: &mut Content<'a, 'i>) {
        let chord = child(node, "chord");
        let lasts = if child(node, "grace").is_some() { Time::zero() } else { lasts };
        if chord.is_none() {
            (bar.chord, bar.in_chord) = (bar.now, false);
            bar.now += lasts;
        }
        if !self.own_notes.contains(&element(node)) {
            self.edits.remove(element(node));
            return;
        }
        child(node, "staff").into_iter().for_each(|staff| self.edits.remove(element(staff)));
        if let (Some(_), true, Some(head)) = (chord, bar.in_chord, bar.music.last_mut()) {
            head.nodes = head.nodes.map(|[first, _]| [first, node]);
            return;
        }
        // The chord's first note is another line's.
        chord.into_iter().for_each(|sign| self.edits.remove(element(sign)));
        bar.in_chord = true;
        let from = bar.chord;
        let (nodes, divisions) = (Some([node, node]), self.divisions);
        bar.music.push(Item { nodes, new: None, from, to: from + lasts, place, strays: false, divisions });
    }

    /// Puts what moves the time between the items, and those that stood elsewhere
    /// where they belong; gives the time at the end.
    fn lay(&mut self, index: usize, items: Vec<Item<'a, 'i>>) -> Time {
        let mut now = Time::zero();
        let mut waiting: Vec<Fragment> = Vec::new();
        let mut last: Option<(usize, Element)> = None;
        for item in items {
            if item.from != now {
                waiting.push(moved((item.from - now) * item.divisions));
            }
            now = item.to;
            let in_place = item.nodes.filter(|_| !item.strays && last.is_none_or(|(place, _)| place < item.place));
            match (in_place, item.nodes, item.new) {
                (Some([first, end]), ..) => {
                    waiting.drain(..).for_each(|w| self.edits.insert_before(element(first), w));
                    last = Some((item.place, element(end)));
                }
                (None, Some([first, _]), _) => {
                    let copy = self.copy(first);
                    self.edits.remove(element(first));
                    waiting.push(copy);
                }
                (None, None, new) => waiting.extend(new),
            }
        }
        waiting.into_iter().for_each(|w| match last {
            Some((_, last)) => self.edits.insert_after(last, w),
            None => self.append(index, w),
        });
        now
    }

    /// At the end of the bar, before its barline.
    fn append(&mut self, index: usize, new: Fragment) {
        let bar = self.tree.node(self.part.bars[index].element);
        let barline = elements(bar).last().filter(|n| n.tag_name().name() == "barline");
        match barline.filter(|n| n.attribute("location").is_none_or(|l| l == "right")) {
            Some(barline) => self.edits.insert_before(element(barline), new),
            None => match elements(bar).last() {
                Some(last) => self.edits.insert_after(element(last), new),
                None => self.edits.add_child(element(bar), new),
            },
        }
    }

    fn rest_of_bar(&self, ticks: Time) -> Fragment {
        self.silence(ticks, Fragment::new("rest").set("measure", "yes"))
    }

    fn silence(&self, ticks: Time, rest: Fragment) -> Fragment {
        Fragment::new("note")
            .with(rest)
            .with(Fragment::leaf("duration", ticks.round().to_integer()))
            .with(Fragment::leaf("voice", self.voices.first().unwrap_or(&"1")))
    }
}

/// Time goes on without a note, or back.
fn moved(ticks: Time) -> Fragment {
    let name = if ticks < Time::zero() { "backup" } else { "forward" };
    Fragment::new(name).with(Fragment::leaf("duration", ticks.round().to_integer().abs()))
}

/// Each sign where it stood among the notes that are left, or else where its
/// time comes.
fn in_order<'a, 'i>(music: Vec<Item<'a, 'i>>, signs: Vec<Item<'a, 'i>>) -> Vec<Item<'a, 'i>> {
    let fits = |gap: usize, at: Time| {
        (gap == 0 || music[gap - 1].ends_before(at)) && (gap == music.len() || music[gap].begins_after(at))
    };
    let own_gap = |sign: &Item| music.iter().take_while(|m| m.place < sign.place).count();
    let gap_of = |sign: &Item| {
        let own = own_gap(sign);
        if fits(own, sign.from) {
            return own;
        }
        let first = (0..=music.len()).find(|gap| fits(*gap, sign.from));
        // After grace notes that end what came before.
        let last = first.map(|first| (first..=music.len()).take_while(|gap| fits(*gap, sign.from)).last());
        last.flatten().unwrap_or_else(|| {
            let sounds = music.iter().rposition(|m| m.from < sign.from && sign.from < m.to);
            sounds.map_or(music.len(), |at| at + 1)
        })
    };
    let at = |sign: Item<'a, 'i>| {
        let gap = gap_of(&sign);
        (gap, Item { strays: gap != own_gap(&sign), ..sign })
    };
    let mut placed: Vec<(usize, Item)> = signs.into_iter().map(at).collect();
    placed.sort_by_key(|(gap, sign)| (*gap, sign.from, sign.place));
    let mut placed = placed.into_iter().peekable();
    let mut out = Vec::new();
    for (at, item) in music.into_iter().enumerate() {
        while let Some((_, sign)) = placed.next_if(|(gap, _)| *gap <= at) {
            out.push(sign);
        }
        out.push(item);
    }
    out.extend(placed.map(|(_, sign)| sign));
    out
}
