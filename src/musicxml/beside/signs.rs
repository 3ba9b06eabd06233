//! What the engraver would draw alike on the staves of both sides, though each
//! has its own: barlines, endings, signatures.

use super::super::fragment::Fragment;
use serde::{Deserialize, Serialize};

/// What one side has in a bar.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signs {
    pub left: Barline,
    pub right: Barline,
    pub ending: Option<Ending>,
    /// Where an ending stops: whether it is closed.
    pub stop: Option<bool>,
    /// Signatures that come with the bar, each with its staff.
    pub keys: Vec<(u32, Key)>,
    pub times: Vec<(u32, Vec<Time>)>,
    /// Those that come within it.
    pub inside: Vec<Inside>,
}

/// Signatures before a note that does not begin its bar.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Inside {
    /// Its id.
    pub note: String,
    pub key: Option<Key>,
    pub time: Option<Vec<Time>>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Barline {
    /// As MusicXML calls it; empty for a plain one.
    pub style: String,
    pub repeats: bool,
    pub color: Option<String>,
}

/// Where an ending begins.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ending {
    pub text: String,
    pub color: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Key {
    pub fifths: i32,
    pub is_printed: bool,
    pub color: Option<String>,
}

/// A time signature, or one of several that are added.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Time {
    pub beats: String,
    pub unit: String,
    /// As MusicXML calls it; empty for two numbers.
    pub symbol: String,
    pub is_printed: bool,
    pub color: Option<String>,
}

/// What one side has, bar by bar. What the engraver would read of it is taken
/// out, but for the signatures of the first bar.
pub(super) fn taken_out(measures: &mut [Fragment]) -> Vec<Signs> {
    let mut held = Held { staves: 1, ..Held::default() };
    let mut out = Vec::with_capacity(measures.len());
    for (place, measure) in measures.iter_mut().enumerate() {
        let mut signs = Signs::default();
        let music = measure.children.iter().position(|f| f.name == "note").unwrap_or(measure.children.len());
        let onsets = onsets(&measure.children);
        for at in 0..measure.children.len() {
            let child = &mut measure.children[at];
            let name = child.name.clone();
            match name.as_str() {
                "attributes" => held.hear(child),
                "barline" => signs.hear(child),
                _ => {}
            }
            if at < music {
                held.draw(&mut signs, place > 0);
            } else if name == "attributes" {
                // Where no note begins it comes with the next bar.
                let here = measure.children.iter_mut().zip(&onsets).filter(|(_, onset)| **onset == onsets[at]);
                held.draw_inside(&mut signs, here.map(|(child, _)| child).collect(), &format!("s{place}-{at}"));
            }
        }
        if music == 0 {
            held.draw(&mut signs, place > 0);
        }
        out.push(signs);
    }
    out
}

impl Signs {
    fn hear(&mut self, barline: &mut Fragment) {
        let location = barline.attribute("location").unwrap_or("right").to_string();
        if let Some(at) = barline.children.iter().position(|c| c.name == "ending") {
            let own = barline.children.remove(at);
            let numbers = own.attribute("number").unwrap_or("1");
            match own.attribute("type") {
                Some("start") => {
                    let text = if own.text.trim().is_empty() { format!("{numbers}.") } else { own.text.trim().into() };
                    self.ending = Some(Ending { text, color: own.attribute("color").map(String::from) });
                }
                kind => self.stop = Some(kind == Some("stop")),
            }
        }
        let style = barline.child("bar-style");
        let line = Barline {
            style: style.map(|s| s.text.trim().to_string()).unwrap_or_default(),
            repeats: barline.child("repeat").is_some(),
            color: style.and_then(|s| s.attribute("color")).map(String::from),
        };
        match location.as_str() {
            "left" => self.left = line,
            "right" => self.right = line,
            _ => {}
        }
    }
}

/// What holds on the staves of a side, and what of it is not drawn yet.
#[derive(Default)]
struct Held {
    staves: u32,
    keys: Vec<(u32, Key)>,
    times: Vec<(u32, Vec<Time>)>,
    new_keys: Vec<(u32, Key)>,
    new_times: Vec<(u32, Vec<Time>)>,
}

impl Held {
    fn hear(&mut self, attributes: &Fragment) {
        let staves = attributes.child("staves").and_then(|s| s.text.trim().parse().ok());
        self.staves = staves.unwrap_or(self.staves);
        for said in &attributes.children {
            let number: Option<u32> = said.attribute("number").and_then(|n| n.parse().ok());
            let own = match number {
                Some(staff) => staff..=staff,
                None => 1..=self.staves,
            };
            match said.name.as_str() {
                "key" => {
                    let Some(key) = key(said) else { continue };
                    own.for_each(|staff| note(&self.keys, &mut self.new_keys, staff, &key));
                }
                "time" => {
                    let time = times(said);
                    if !time.is_empty() {
                        own.for_each(|staff| note(&self.times, &mut self.new_times, staff, &time));
                    }
                }
                _ => {}
            }
        }
    }

    fn draw(&mut self, signs: &mut Signs, is_drawn: bool) {
        let (keys, times) = (std::mem::take(&mut self.new_keys), std::mem::take(&mut self.new_times));
        keys.iter().for_each(|(staff, key)| put(&mut self.keys, *staff, key.clone()));
        times.iter().for_each(|(staff, time)| put(&mut self.times, *staff, time.clone()));
        if is_drawn {
            signs.keys.extend(keys);
            signs.times.extend(times);
        }
    }

    /// Draws what is new before the note that begins there, which gets an id.
    fn draw_inside(&mut self, signs: &mut Signs, mut here: Vec<&mut Fragment>, id: &str) {
        for staff in 1..=self.staves {
            let is_new = self.new_keys.iter().any(|k| k.0 == staff) || self.new_times.iter().any(|t| t.0 == staff);
            let Some(note) = here.iter_mut().find(|c| is_new && is_note_on(c, staff)) else { continue };
            let id = format!("{id}-{staff}");
            note.set_attribute("id", &id);
            let key = taken(&mut self.new_keys, staff).inspect(|key| put(&mut self.keys, staff, key.clone()));
            let time = taken(&mut self.new_times, staff).inspect(|time| put(&mut self.times, staff, time.clone()));
            signs.inside.push(Inside { note: id, key, time });
        }
    }
}

/// When each child of a bar begins.
pub(super) fn onsets(children: &[Fragment]) -> Vec<i64> {
    let mut at = 0;
    let onset = |child: &Fragment| {
        let lasts: i64 = child.child("duration").and_then(|d| d.text.trim().parse().ok()).unwrap_or_default();
        let here = at;
        match child.name.as_str() {
            "backup" => at -= lasts,
            "note" if child.child("chord").is_some() => return here - 1,
            _ => at += lasts,
        }
        here
    };
    children.iter().map(onset).collect()
}

fn is_note_on(child: &Fragment, staff: u32) -> bool {
    let own = child.child("staff").map_or(Ok(1), |s| s.text.trim().parse::<u32>());
    child.name == "note" && child.child("chord").is_none() && own == Ok(staff)
}

/// Remembers what is new on a staff.
fn note<T: Clone + PartialEq>(held: &[(u32, T)], new: &mut Vec<(u32, T)>, staff: u32, said: &T) {
    new.retain(|one| one.0 != staff);
    if !held.iter().any(|one| one.0 == staff && one.1 == *said) {
        new.push((staff, said.clone()));
    }
}

fn taken<T>(new: &mut Vec<(u32, T)>, staff: u32) -> Option<T> {
    let at = new.iter().position(|one| one.0 == staff)?;
    Some(new.remove(at).1)
}

fn put<T>(held: &mut Vec<(u32, T)>, staff: u32, said: T) {
    held.retain(|one| one.0 != staff);
    held.push((staff, said));
}

fn is_printed(fragment: &Fragment) -> bool {
    fragment.attribute("print-object") != Some("no")
}

fn key(said: &Fragment) -> Option<Key> {
    let fifths = said.child("fifths")?.text.trim().parse().ok()?;
    Some(Key { fifths, is_printed: is_printed(said), color: said.attribute("color").map(String::from) })
}

fn times(said: &Fragment) -> Vec<Time> {
    let of =
        |name: &'static str| said.children.iter().filter(move |c| c.name == name).map(|c| c.text.trim().to_string());
    let symbol = said.attribute("symbol").unwrap_or_default();
    let color = said.attribute("color").map(String::from);
    let one =
        |(beats, unit)| Time { beats, unit, symbol: symbol.into(), is_printed: is_printed(said), color: color.clone() };
    of("beats").zip(of("beat-type")).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holding(name: &str, inner: Vec<Fragment>) -> Fragment {
        let mut out = Fragment::new(name);
        out.children = inner;
        out
    }

    fn key(fifths: i32) -> Fragment {
        Fragment::new("key").with(Fragment::leaf("fifths", fifths))
    }

    #[test]
    fn signatures_come_with_the_bar_where_they_are_new() {
        let said = |inner| holding("attributes", vec![inner]);
        let note = || Fragment::new("note");
        let mut measures = [
            holding("measure", vec![said(Fragment::leaf("staves", 2)), said(key(1)), note()]),
            holding("measure", vec![said(key(1)), note(), said(key(-2).set("number", 2))]),
            holding("measure", vec![note()]),
            holding("measure", vec![said(key(3)), note()]),
        ];
        let signs = taken_out(&mut measures);
        let keys: Vec<Vec<(u32, i32)>> =
            signs.iter().map(|s| s.keys.iter().map(|(staff, key)| (*staff, key.fifths)).collect()).collect();
        assert_eq!(keys, [vec![], vec![], vec![(2, -2)], vec![(1, 3), (2, 3)]]);
    }

    #[test]
    fn signatures_within_a_bar_come_before_their_note() {
        let said = |inner| holding("attributes", vec![inner]);
        let lasting = |name: &str, duration: i64| Fragment::new(name).with(Fragment::leaf("duration", duration));
        let note = |staff: u32| lasting("note", 2).with(Fragment::leaf("staff", staff));
        let first = said(Fragment::leaf("staves", 2));
        let other = |lasts: i64| lasting("note", lasts).with(Fragment::leaf("staff", 2));
        let bar = |lower: i64| {
            let upper = vec![first.clone(), said(key(1)), note(1), said(key(-2)), note(1)];
            let lower = vec![lasting("backup", 4), other(lower), other(4 - lower)];
            holding("measure", [upper, lower].concat())
        };
        let mut measures = [bar(1), holding("measure", vec![note(1)]), bar(2)];
        let signs = taken_out(&mut measures);
        let key = Key { fifths: -2, is_printed: true, color: None };
        assert_eq!(signs[0].inside, [Inside { note: "s0-3-1".into(), key: Some(key.clone()), time: None }]);
        assert_eq!(measures[0].children[4].attribute("id"), Some("s0-3-1"));
        // The other staff has no note there in the first bar.
        assert_eq!(signs[1].keys, [(2, key)]);
        assert_eq!(signs[2].inside.iter().map(|i| i.note.as_str()).collect::<Vec<_>>(), ["s2-3-1", "s2-3-2"]);
        assert_eq!(measures[2].children[7].attribute("id"), Some("s2-3-2"));
    }

    #[test]
    fn barlines_and_endings_are_those_of_their_side() {
        let ending = Fragment::new("ending").set("number", "1, 2").set("type", "start").set("color", "#000007");
        let left = Fragment::new("barline").set("location", "left").with(ending);
        let style = Fragment::leaf("bar-style", "light-heavy").set("color", "#000003");
        let stop = Fragment::new("ending").set("number", "1").set("type", "discontinue");
        let right = Fragment::new("barline").with(style).with(stop).with(Fragment::new("repeat"));
        let mut measures = [holding("measure", vec![left, Fragment::new("note"), right])];
        let signs = taken_out(&mut measures).remove(0);
        assert_eq!(signs.ending, Some(Ending { text: "1, 2.".into(), color: Some("#000007".into()) }));
        assert_eq!((signs.stop, signs.left), (Some(false), Barline::default()));
        let line = Barline { style: "light-heavy".into(), repeats: true, color: Some("#000003".into()) };
        assert_eq!(signs.right, line);
        assert!(measures[0].children.iter().all(|c| c.child("ending").is_none()));
    }
}
