//! A score cleaned by itself and then made one's own, by the library.

#![allow(dead_code)] // each test binary uses its own share of these calls

use obelus::clean::{self, Cleaned, Failure, PartFor, Player, Policy, Sides, Wishes};
use obelus::collate::{self, Choice};
use obelus::findings;
use obelus::instrument::{Instrument, Instruments, Reading};
use obelus::musicxml::{self, Input, Tree};
use std::sync::LazyLock;

static TABLE: LazyLock<Instruments> = LazyLock::new(Instruments::standard);

/// # Panics
/// If the standard table has no such instrument.
pub fn instrument(name: &str) -> &'static Instrument {
    TABLE.find(name).unwrap()
}

/// The first part made to fit, at most moving octaves.
pub fn fit(text: &str, name: &str) -> Cleaned {
    let players = vec![Player { instrument: instrument(name), asked: None, part: 0 }];
    adapt(text, &Wishes { players, fit: true, ..Wishes::default() }).unwrap()
}

/// The first part written for an instrument, and called so.
pub fn write_for(text: &str, instrument: &Instrument, asked: Option<Reading>) -> Result<Cleaned, Failure> {
    let player = Player { instrument, asked, part: 0 };
    let written_for = Some(PartFor { player, name: Some(instrument.name.clone()) });
    adapt(text, &Wishes { written_for, ..Wishes::default() })
}

pub fn adapt(text: &str, wishes: &Wishes) -> Result<Cleaned, Failure> {
    let input = Input::from_bytes("score.musicxml", text.into()).unwrap();
    let tree = Tree::parse(&input).unwrap();
    let mut score = musicxml::read(&tree).unwrap().score;
    let mut source = score.clone();
    let pairing = collate::pair_parts(&mut score, &mut source, Choice::default());
    let collation = collate::lay(&score, &source, pairing, true);
    let found = findings::find(&score, &source, &collation);
    let (edition_tree, source_tree) = (&tree, &tree);
    let (edition, source, collation, findings) = (&score, &source, &collation, &found);
    let sides = Sides { edition_tree, edition, source_tree, source, collation, findings };
    let mut policy = Policy::default();
    let cleaned = clean::clean(sides, &policy)?;
    clean::adapt(&input, cleaned, wishes, &mut policy, None)
}
