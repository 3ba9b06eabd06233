//! All that the program makes of two texts, by its library.

use obelus::clean::{self, Policy, Sides};
use obelus::collate::{self, Choice};
use obelus::findings::{self, PassageKind};
use obelus::musicxml::{self, Input, Reading, Tree};
use obelus::pitch::Interval;

pub struct Compared {
    /// From the source's sounding pitch to the edition's, of the first part.
    pub interval: Interval,
    /// `category status reading / reading` for each finding of the first part.
    pub found: Vec<String>,
    pub passages: Vec<PassageKind>,
    pub clean: String,
}

pub fn reading(text: &str) -> Reading {
    let input = Input::from_bytes("score.musicxml", text.into()).unwrap();
    musicxml::read(&Tree::parse(&input).unwrap()).unwrap()
}

/// # Panics
/// If the two have nothing in common, or if the clean copy fails its proof.
pub fn compare(edition: &str, source: &str) -> Compared {
    compare_with(edition, source, &Policy::default())
}

pub fn compare_with(edition: &str, source: &str, policy: &Policy) -> Compared {
    compare_if_alike(edition, source, policy).expect("the two have a part in common")
}

/// `None` when the two are not alike enough to be laid side by side.
pub fn compare_if_alike(edition: &str, source: &str, policy: &Policy) -> Option<Compared> {
    let inputs = [edition, source].map(|t| Input::from_bytes("score.musicxml", t.into()).unwrap());
    let trees = [Tree::parse(&inputs[0]).unwrap(), Tree::parse(&inputs[1]).unwrap()];
    let mut scores = [musicxml::read(&trees[0]).unwrap().score, musicxml::read(&trees[1]).unwrap().score];
    let [ours, theirs] = &mut scores;
    let pairing = collate::pair_parts(ours, theirs, Choice::default());
    let collation = collate::lay(&scores[0], &scores[1], pairing.clone(), false);
    let interval = collation.parts.first()?.interval;
    let found = findings::find(&scores[0], &scores[1], &collation);
    let bar_by_bar = collate::lay(&scores[0], &scores[1], pairing, true);
    let found_so = findings::find(&scores[0], &scores[1], &bar_by_bar);
    let sides = Sides {
        edition_tree: &trees[0],
        edition: &scores[0],
        source_tree: &trees[1],
        source: &scores[1],
        collation: &bar_by_bar,
        findings: &found_so,
    };
    let clean = clean::clean(sides, policy).unwrap_or_else(|e| panic!("{e}\n{edition}\n{source}")).text;
    let reading = |r: &Option<String>| r.clone().unwrap_or("-".into());
    let told = |f: &findings::Finding| {
        let readings = (reading(&f.edition_reading), reading(&f.source_reading));
        format!("{} {} {} / {}", f.category, f.status.name(), readings.0, readings.1)
    };
    let passages = found[0].passages.iter().map(|p| p.kind).collect();
    Some(Compared { interval, found: found[0].findings.iter().map(told).collect(), passages, clean })
}
