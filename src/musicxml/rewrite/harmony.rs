//! Chord symbols, figures and syllables of a document as this part writes them.

use super::super::fragment::Fragment;
use super::super::pitches::move_named_pitch;
use super::context::Context;
use crate::pitch::{Interval, accidental_name, alteration_of};
use crate::score::Mark;

impl Context<'_, '_, '_> {
    /// A chord symbol or figures of a document, as this part writes them: `by` leads
    /// from what is written there to what is here, `writing` from what sounds.
    pub(super) fn moved_harmony(
        &self,
        mut fragment: Fragment,
        mark: &Mark,
        by: Interval,
        writing: Interval,
    ) -> Fragment {
        let mut altered = mark.sign.pitches().into_iter();
        for item in &mut fragment.children {
            match item.name.as_str() {
                "root" => move_root(item, "root-step", "root-alter", by),
                "bass" => move_root(item, "bass-step", "bass-alter", by),
                // The pitches of figures are those that their signs make.
                "figure" if by.fifths() != 0 => {
                    for sign in item.children.iter_mut().filter(|c| matches!(c.name.as_str(), "prefix" | "suffix")) {
                        let pitch = alteration_of(sign.text.trim()).and_then(|_| altered.next());
                        let name = pitch.and_then(|p| accidental_name(p.moved(writing).alter));
                        sign.text = name.map_or_else(|| sign.text.clone(), str::to_string);
                    }
                }
                _ => {}
            }
        }
        if self.part.staves <= 1 {
            fragment.remove("staff");
        }
        fragment
    }

    /// A syllable of the source in the verse that has its place in this part,
    /// whatever that is called.
    pub(super) fn in_verse(&self, mut fragment: Fragment, mark: &Mark) -> Fragment {
        let verse = mark.sign.verse();
        let like = self.part.marks.iter().find(|m| m.sign.verse() == verse);
        let called = |name: &str| {
            let node = like.map(|m| self.tree.node(m.elements[0]));
            node.and_then(|node| node.attribute(name)).map(str::to_string)
        };
        let own = fragment.attribute("number").or(fragment.attribute("name")).unwrap_or("1");
        let verse = verse.unwrap_or(1).to_string();
        let theirs = like.map_or(verse.clone(), |_| called("number").or(called("name")).unwrap_or("1".into()));
        if own == theirs {
            return fragment;
        }
        fragment.attributes.retain(|(name, _)| !matches!(name.as_str(), "number" | "name"));
        match like {
            Some(_) => ["number", "name"].iter().for_each(|name| {
                called(name).iter().for_each(|value| fragment.set_attribute(name, value));
            }),
            None => fragment.set_attribute("number", &verse),
        }
        fragment
    }
}

/// Moves a root or a bass; a text that is printed for the old one goes.
fn move_root(item: &mut Fragment, step: &str, alter: &str, by: Interval) {
    move_named_pitch(item, step, alter, by);
    let letter = item.children.iter_mut().find(|c| c.name == step).filter(|_| by.steps % 7 != 0);
    if let Some(letter) = letter {
        letter.attributes.retain(|(name, value)| name != "text" || value.trim().is_empty());
    }
}
