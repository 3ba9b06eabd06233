//! All that the program makes of two texts, by its library.

use obelus::pitch::Interval;
use obelus::testing::{self, Parsed};
use obelus::{AuditWishes, Comparison, Input, Lines, PassageKind, Policy, ReadScore, Texts, Tree, Wishes};
use obelus::{FindingReport, Transposition};

pub struct Compared {
    /// From the source's sounding pitch to the edition's, of the first part.
    pub interval: Interval,
    /// `category status reading / reading` for each finding of the first part.
    pub found: Vec<String>,
    pub passages: Vec<PassageKind>,
    pub clean: String,
}

pub fn reading(text: &str) -> Parsed {
    let input = Input::from_bytes("score.musicxml", text.into()).unwrap();
    testing::read(&Tree::parse(&input).unwrap()).unwrap()
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
    let [ours, theirs] = inputs.each_ref().map(|input| ReadScore::of(input).unwrap());
    let comparison = Comparison::new(ours, theirs, &Lines::default()).unwrap();
    let audit = comparison.audit(&AuditWishes::default()).unwrap();
    let part = audit.parts.first()?;
    let texts = Texts::new();
    let made = comparison.clean(policy, &Wishes::default(), None, &texts);
    let clean = made.unwrap_or_else(|e| panic!("{e}\n{edition}\n{source}")).0.text().to_string();
    let reading = |r: &Option<String>| r.clone().unwrap_or("-".into());
    let told = |f: &FindingReport| {
        let readings = (reading(&f.edition_reading), reading(&f.source_reading));
        format!("{} {} {} / {}", f.category, f.status.name(), readings.0, readings.1)
    };
    let Transposition { steps, semitones, .. } = part.transposition;
    Some(Compared {
        interval: Interval::new(steps, semitones),
        found: part.findings.iter().map(told).collect(),
        passages: part.passages.iter().map(|p| p.kind).collect(),
        clean,
    })
}
