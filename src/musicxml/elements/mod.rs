//! What is known about the elements of MusicXML 4.0: the one table, which all
//! others in this room ask.

mod facts;
mod order;
mod table;

pub use facts::{Enclosed, Facts, Falls, Lettering, Timing};
pub use order::rank;
pub use table::ELEMENTS;

use crate::score::{Category, Wording};
use facts::element;
use rustc_hash::{FxBuildHasher, FxHashMap};
use std::sync::LazyLock;

/// What becomes of an element that stands in a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Placement {
    /// It is a mark of this category.
    Mark(Category),
    /// It is words, and the lexicon tells their category.
    Words,
    /// It says nothing by itself; what it holds is placed under its name.
    Holder,
    /// It belongs to what holds it, and is compared with that.
    Within,
    /// It is not compared, for this reason.
    NotCompared(&'static str),
}

/// Elements that share a parent and a placement.
#[derive(Debug)]
pub struct Siblings {
    /// What holds them.
    pub of: &'static str,
    /// What becomes of them.
    pub is: Placement,
    /// What is known about each.
    pub all: &'static [Facts],
}

impl Siblings {
    /// What they are called.
    pub fn names(&self) -> impl Iterator<Item = &'static str> {
        self.all.iter().map(|facts| facts.name)
    }
}

/// Looked into for every element of a bar; its keys are ours, so a quick hash is safe.
static PLACEMENTS: LazyLock<FxHashMap<(&str, &str), Placement>> = LazyLock::new(|| {
    let mut table = FxHashMap::with_capacity_and_hasher(ELEMENTS.iter().map(|s| s.all.len()).sum(), FxBuildHasher);
    table.extend(ELEMENTS.iter().flat_map(|s| s.names().map(|name| ((s.of, name), s.is))));
    table
});

static FACTS: LazyLock<FxHashMap<&str, &Facts>> = LazyLock::new(|| {
    let all = ELEMENTS.iter().flat_map(|s| s.all).chain(table::DEEPER);
    all.map(|facts| (facts.name, facts)).collect()
});

static NOTHING: Facts = element("");

/// What becomes of an element of a name in another.
pub fn placement(of: &str, name: &str) -> Option<Placement> {
    PLACEMENTS.get(&(of, name)).copied()
}

/// What is known about the elements of a name; of an unknown one nothing, not even its name.
pub fn facts(name: &str) -> &'static Facts {
    FACTS.get(name).copied().unwrap_or(&NOTHING)
}

/// The name of an element, which nearly always is one of the table's.
pub fn own_name(name: &str) -> Wording {
    FACTS.get(name).map_or_else(|| name.to_string().into(), |known| Wording::from(known.name))
}

/// The category of an element that the reader knows to be a mark.
pub fn category(of: &str, name: &str) -> Category {
    match placement(of, name) {
        Some(Placement::Mark(category)) => category,
        other => unreachable!("{name} in {of} is {other:?}"),
    }
}

/// The articulations that a mark sheet can ask for.
pub fn articulations() -> Vec<&'static str> {
    asked_by_name("articulations")
}

/// The ornaments that a mark sheet can ask for.
pub fn ornaments() -> Vec<&'static str> {
    asked_by_name("ornaments")
}

fn asked_by_name(holder: &str) -> Vec<&'static str> {
    let own = ELEMENTS.iter().filter(|s| s.of == holder).flat_map(|s| s.all);
    own.filter(|facts| facts.by_name).map(|facts| facts.name).collect()
}

/// Whether a dynamic has a sign of its own; others are words.
pub fn is_dynamic_sign(name: &str) -> bool {
    name != "other-dynamics" && placement("dynamics", name).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn elements_of_one_name_are_alike() {
        for known in ELEMENTS.iter().flat_map(|s| s.all).chain(table::DEEPER) {
            assert_eq!(facts(known.name), known);
        }
    }

    #[test]
    fn what_has_an_order_has_a_place() {
        for siblings in ELEMENTS.iter().filter(|s| rank(s.of, s.all[0].name).is_some()) {
            assert!(siblings.names().all(|name| rank(siblings.of, name).is_some()), "{siblings:?}");
        }
    }
}
