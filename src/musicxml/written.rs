//! What stands in each bar as it is written, read for itself: how far it
//! reaches, whether a voice has two notes at once, which signatures and clefs
//! it prints and which hold. The proof of a copy looks at this; it shares
//! nothing with the reader but where the bars are.

use super::tree::{Tree, child_text, elements, text_of};
use crate::score::{Part, Score};
use crate::time::{Time, parse_decimal};
use roxmltree::Node;
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;
use std::rc::Rc;

/// One bar of one part.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WrittenBar {
    /// How far its notes reach from its start, in quarter notes.
    pub length: Time,
    /// Where a note begins while another of its voice and staff sounds that is not of its chord.
    pub clashes: Vec<Time>,
    /// What holds for its first note, staff by staff.
    pub in_force: Rc<BTreeMap<Held, String>>,
    /// What it prints though it holds already.
    pub twice: Vec<(Held, String)>,
}

/// A signature or a clef of a staff, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Held {
    pub sign: Sign,
    pub staff: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sign {
    Key,
    Time,
    Clef,
}

impl Sign {
    pub fn name(self) -> &'static str {
        match self {
            Sign::Key => "key signature",
            Sign::Time => "time signature",
            Sign::Clef => "clef",
        }
    }
}

/// The bars of all printed parts of a score as they are written.
#[derive(Debug)]
pub struct WrittenScore<'t> {
    pub parts: Vec<Vec<WrittenBar>>,
    read: ReadBars<'t>,
}

/// How far a bar reaches and where its voices clash, by its divisions and the
/// text between its tags. The same text says the same, where it has no attributes.
type ReadBars<'t> = FxHashMap<(Option<Time>, &'t str), (Time, Vec<Time>)>;

impl<'t> WrittenScore<'t> {
    pub fn of(tree: &Tree<'t>, score: &Score) -> WrittenScore<'t> {
        WrittenScore::like(tree, score, &ReadBars::default())
    }

    /// A score made from this one: bars with the same text are not read again.
    pub fn changed<'c>(&self, tree: &Tree<'c>, score: &Score) -> WrittenScore<'c> {
        WrittenScore::like(tree, score, &self.read)
    }

    fn like(tree: &Tree<'t>, score: &Score, known: &ReadBars) -> WrittenScore<'t> {
        let mut read = ReadBars::default();
        let mut of_part = |part: &Part| {
            let mut walk = Walk { tree, known, read: &mut read, divisions: None, staves: 1, holds: Rc::default() };
            part.bars.iter().map(|bar| walk.known_bar(tree.node(bar.element))).collect()
        };
        let parts = score.printed().iter().map(&mut of_part).collect();
        WrittenScore { parts, read }
    }
}

struct Walk<'w, 't, 'k> {
    tree: &'w Tree<'t>,
    known: &'w ReadBars<'k>,
    read: &'w mut ReadBars<'t>,
    divisions: Option<Time>,
    staves: usize,
    holds: Rc<BTreeMap<Held, String>>,
}

impl Walk<'_, '_, '_> {
    fn known_bar(&mut self, node: Node) -> WrittenBar {
        if elements(node).any(|n| n.tag_name().name() == "attributes") {
            return self.bar(node);
        }
        let within = node.first_child().map_or(0, |n| n.range().start)..node.last_child().map_or(0, |n| n.range().end);
        let key = (self.divisions, &self.tree.text()[within]);
        if let Some((length, clashes)) = self.known.get(&key) {
            let (length, clashes, in_force) = (*length, clashes.clone(), self.holds.clone());
            return WrittenBar { length, clashes, in_force, twice: vec![] };
        }
        let out = self.bar(node);
        self.read.insert(key, (out.length, out.clashes.clone()));
        out
    }

    fn bar(&mut self, node: Node) -> WrittenBar {
        let mut out = WrittenBar { in_force: self.holds.clone(), ..WrittenBar::default() };
        let mut now = Time::zero();
        // Few voices sound in a bar: a list is quicker than a table.
        let mut busy: Vec<(Voice, Vec<(Time, Time)>)> = Vec::new();
        for item in elements(node) {
            let name = item.tag_name().name();
            match name {
                "attributes" => {
                    self.attributes(item, &mut out);
                    if now.is_zero() {
                        out.in_force.clone_from(&self.holds);
                    }
                }
                "backup" => now -= self.duration(item),
                "forward" => now += self.duration(item),
                "note" => {
                    let note = NoteText::of(item);
                    if note.joins {
                        continue;
                    }
                    let until = now + self.quarters(note.duration);
                    if !note.is_cue {
                        let key = (note.staff, note.voice);
                        let at = busy.iter().position(|b| b.0 == key).unwrap_or_else(|| {
                            busy.push((key, Vec::new()));
                            busy.len() - 1
                        });
                        let own = &mut busy[at].1;
                        if own.iter().rev().any(|(from, to)| *from < until && now < *to) {
                            out.clashes.push(now);
                        }
                        own.push((now, until));
                    }
                    now = until;
                }
                _ => {}
            }
            out.length = out.length.max(now);
        }
        out
    }

    fn duration(&self, node: Node) -> Time {
        self.quarters(child_text(node, "duration"))
    }

    fn quarters(&self, units: Option<&str>) -> Time {
        units.and_then(parse_decimal).unwrap_or_default() / self.divisions.unwrap_or(Time::from(1))
    }

    fn attributes(&mut self, node: Node, out: &mut WrittenBar) {
        // The number of staves stands after the key and the time that hold for all of them.
        if let Some(staves) = child_text(node, "staves") {
            self.staves = staves.trim().parse().unwrap_or(1).clamp(1, 100);
        }
        for item in elements(node) {
            let sign = match item.tag_name().name() {
                "divisions" => {
                    self.divisions = parse_decimal(text_of(item)).filter(|d| *d > Time::zero()).or(self.divisions);
                    continue;
                }
                "key" => Sign::Key,
                "time" => Sign::Time,
                "clef" => Sign::Clef,
                _ => continue,
            };
            let number: Option<usize> = item.attribute("number").and_then(|n| n.trim().parse().ok());
            let staves = match (sign, number) {
                (_, Some(one)) => one..=one,
                (Sign::Clef, None) => 1..=1,
                (_, None) => 1..=self.staves,
            };
            let said = said(item, sign);
            let held: Vec<Held> = staves.map(|staff| Held { sign, staff }).collect();
            if held.iter().all(|h| self.holds.get(h) == Some(&said)) {
                out.twice.extend(held.first().map(|h| (*h, said.clone())));
            }
            Rc::make_mut(&mut self.holds).extend(held.into_iter().map(|h| (h, said.clone())));
        }
    }
}

/// A voice by its staff and its name.
type Voice<'a> = (&'a str, &'a str);

/// What of a note its place in a bar depends on.
struct NoteText<'a> {
    /// It takes no time of its own: a grace note, or one of a chord.
    joins: bool,
    is_cue: bool,
    duration: Option<&'a str>,
    staff: &'a str,
    voice: &'a str,
}

impl<'a> NoteText<'a> {
    fn of(node: Node<'a, '_>) -> NoteText<'a> {
        let mut out = NoteText { joins: false, is_cue: false, duration: None, staff: "1", voice: "1" };
        for item in elements(node) {
            match item.tag_name().name() {
                "grace" | "chord" => {
                    out.joins = true;
                    break;
                }
                "cue" => out.is_cue = true,
                "duration" => out.duration = out.duration.or(Some(text_of(item))),
                "voice" => out.voice = text_of(item),
                "staff" => {
                    out.staff = text_of(item);
                    break;
                }
                _ => {}
            }
        }
        out
    }
}

/// What a signature or a clef says, however it is drawn.
fn said(node: Node, sign: Sign) -> String {
    let telling: &[&str] = match sign {
        Sign::Key => &["fifths", "key-step", "key-alter"],
        Sign::Time => &["beats", "beat-type", "senza-misura"],
        Sign::Clef => &["sign", "line", "clef-octave-change"],
    };
    let of = elements(node).filter(|n| telling.contains(&n.tag_name().name()));
    let texts: Vec<&str> = of.map(text_of).filter(|text| !text.is_empty()).collect();
    match sign {
        Sign::Time if texts.is_empty() => "free".into(),
        Sign::Time => texts.join("/"),
        _ => texts.join(" "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::musicxml::{Input, read};

    fn bars(music: &str) -> Vec<WrittenBar> {
        let text = format!(
            "<score-partwise><part-list><score-part id=\"P1\"><part-name>Violin</part-name></score-part></part-list>\
             <part id=\"P1\">{music}</part></score-partwise>"
        );
        let input = Input::from_bytes("t.musicxml", text.into_bytes()).unwrap();
        let tree = Tree::parse(&input).unwrap();
        let score = read(&tree).unwrap().score;
        WrittenScore::of(&tree, &score).parts.remove(0)
    }

    const HEAD: &str = "<attributes><divisions>2</divisions><key><fifths>1</fifths></key><time><beats>2</beats>\
                        <beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>";

    fn note(duration: u32, more: &str) -> String {
        format!(
            "<note>{more}<pitch><step>C</step><octave>5</octave></pitch><duration>{duration}</duration>\
             <voice>1</voice></note>"
        )
    }

    #[test]
    fn bars_are_as_long_as_what_is_in_them() {
        let (one, two, back) = (note(2, ""), note(4, ""), "<backup><duration>4</duration></backup>");
        let all = bars(&format!(
            "<measure number=\"1\">{HEAD}{two}</measure><measure number=\"2\">{one}</measure>\
             <measure number=\"3\">{one}<forward><duration>2</duration></forward></measure>\
             <measure number=\"4\">{two}{back}{one}</measure>"
        ));
        let lengths: Vec<Time> = all.iter().map(|b| b.length).collect();
        assert_eq!(lengths, [2, 1, 2, 2].map(Time::from));
        assert_eq!(all[3].clashes, [Time::zero()]);
        assert!(all[..3].iter().all(|b| b.clashes.is_empty()));
    }

    #[test]
    fn signatures_hold_for_all_staves_that_are_declared_after_them() {
        let head = HEAD.replace("</time>", "</time><staves>2</staves>");
        let all = bars(&format!("<measure number=\"1\">{head}{}</measure>", note(4, "")));
        for sign in [Sign::Key, Sign::Time] {
            let staves = all[0].in_force.keys().filter(|h| h.sign == sign).map(|h| h.staff).collect::<Vec<_>>();
            assert_eq!(staves, [1, 2], "{sign:?}");
        }
    }

    #[test]
    fn a_chord_is_no_clash() {
        let all = bars(&format!("<measure number=\"1\">{HEAD}{}{}</measure>", note(4, ""), note(4, "<chord/>")));
        assert_eq!((all[0].length, all[0].clashes.len()), (Time::from(2), 0));
    }

    #[test]
    fn what_holds_and_what_is_said_twice() {
        let again = "<attributes><time symbol=\"cut\"><beats>2</beats><beat-type>4</beat-type></time></attributes>";
        let bass = "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>";
        let n = note(4, "");
        let all = bars(&format!(
            "<measure number=\"1\">{HEAD}{n}</measure><measure number=\"2\">{again}{n}{bass}</measure>\
             <measure number=\"3\">{n}</measure>"
        ));
        let held = |sign| Held { sign, staff: 1 };
        assert!(all[0].twice.is_empty());
        // A bar that comes first says itself what holds in it.
        assert_eq!(all[0].in_force[&held(Sign::Key)], "1");
        assert_eq!(all[1].in_force[&held(Sign::Clef)], "G 2");
        assert_eq!(all[1].twice, [(held(Sign::Time), "2/4".to_string())]);
        assert_eq!(all[2].in_force[&held(Sign::Clef)], "F 4");
        assert_eq!(all[2].in_force[&held(Sign::Key)], "1");
    }
}
