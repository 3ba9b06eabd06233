//! From any bytes through the whole program, without files: what the fuzz targets and the replay of their finds share.

#![allow(dead_code)] // each user takes its own share of these calls

use obelus::beside::side_by_side;
use obelus::clean::{self, Additions, NewKey, PartFor, Player, Policy, Sides, Wishes};
use obelus::collate::{self, Choice, Collation};
use obelus::findings::{self, PartFindings};
use obelus::instrument::Instruments;
use obelus::musicxml::{self, Input, Reading, Tree};
use obelus::pitch::Interval;
use obelus::report::{self, Material};
use std::sync::LazyLock;

/// What stands between edition and source in a case of two scores.
pub const BETWEEN: &[u8] = b"\n<!-- and its source -->\n";

static TABLE: LazyLock<Instruments> = LazyLock::new(Instruments::standard);

/// Reads a score; what cannot be read must say so in words.
pub fn read(bytes: &[u8]) {
    let Some(input) = input("case", bytes) else { return };
    let Some((tree, _)) = score(&input) else { return };
    // What is not edited comes back byte for byte.
    assert!(tree.input.encode(tree.text()).expect("nothing is packed anew") == bytes, "the bytes do not come back");
}

/// Audits one score against another, in all formats.
pub fn audit(bytes: &[u8]) {
    both(bytes, |edition, source| {
        let (collation, findings) = compare(&mut edition.1, &mut source.1, false);
        let guess = |part: usize| TABLE.guess(&edition.1.score.parts[part].name).map(|i| (i, true));
        let instruments: Vec<_> = collation.parts.iter().map(|pair| guess(pair.edition)).collect();
        let material = Material {
            edition: &edition.1.score,
            source: &source.1.score,
            edition_file: "edition",
            source_file: "source",
            collation: &collation,
            findings: &findings,
            instruments: &instruments,
            bars: None,
            asked: None,
            hands: None,
            warnings: musicxml::warnings_of_both(&edition.1, &source.1),
        };
        let audit = report::audit(material.clone()).expect("all bars are there");
        assert!(report::audit_html(&material, &audit, &[]).ends_with("</html>\n"));
        assert!(!report::audit_text(&audit, 80).is_empty());
        assert!(!report::audit_csv(&audit).is_empty());
        assert!(!audit.json().is_empty());
    });
}

/// Cleans one score by another; it may be refused.
pub fn clean(bytes: &[u8]) {
    both(bytes, |edition, source| {
        let (collation, findings) = compare(&mut edition.1, &mut source.1, true);
        if collation.parts.is_empty() {
            return; // The program refuses two scores that have nothing in common.
        }
        let sides = Sides {
            edition_tree: &edition.0,
            edition: &edition.1.score,
            source_tree: &source.0,
            source: &source.1.score,
            collation: &collation,
            findings: &findings,
        };
        let beside = side_by_side(sides);
        assert!(
            musicxml::read(&Tree::parse(&input("both", beside.text.as_bytes()).expect("text")).expect("XML")).is_ok()
        );
        for additions in [Additions::Strip, Additions::Bracket, Additions::Color] {
            // A copy that fails its proof is refused, too; that is what the proof is for.
            let mut policy = Policy { additions, ..Policy::default() };
            let part = collation.parts[0].edition;
            match clean::clean(sides, &policy) {
                Ok(cleaned) => {
                    let player =
                        |name| Player { instrument: TABLE.find(name).expect("it is known"), asked: None, part };
                    let wishes = Wishes {
                        key: Some(NewKey::By(Interval::new(2, 3))),
                        players: vec![player("alto recorder")],
                        fit: true,
                        written_for: Some(PartFor {
                            player: player("clarinet in B flat"),
                            name: Some("Clarinet".into()),
                        }),
                    };
                    if let Err(failure) = clean::adapt(edition.0.input, cleaned, &wishes, &mut policy, None) {
                        assert!(!failure.to_string().is_empty());
                    }
                }
                Err(failure) => assert!(!failure.to_string().is_empty()),
            }
        }
    });
}

type Side<'i> = (Tree<'i>, Reading);

fn both(bytes: &[u8], then: impl Fn(&mut Side<'_>, &mut Side<'_>)) {
    let at = bytes.windows(BETWEEN.len()).position(|w| w == BETWEEN);
    let (edition, source) = at.map_or((bytes, bytes), |at| (&bytes[..at], &bytes[at + BETWEEN.len()..]));
    let (Some(edition), Some(source)) = (input("edition", edition), input("source", source)) else { return };
    let (Some(mut edition), Some(mut source)) = (score(&edition), score(&source)) else { return };
    then(&mut edition, &mut source);
}

fn compare(edition: &mut Reading, source: &mut Reading, whole_bars: bool) -> (Collation, Vec<PartFindings>) {
    let pairing = collate::pair_parts(&mut edition.score, &mut source.score, Choice::default());
    let collation = collate::lay(&edition.score, &source.score, pairing, whole_bars);
    let findings = findings::find(&edition.score, &source.score, &collation);
    (collation, findings)
}

fn input(name: &str, bytes: &[u8]) -> Option<Input> {
    Input::from_bytes(name, bytes.to_vec()).map_err(|error| assert!(error.to_string().starts_with(name))).ok()
}

fn score(input: &Input) -> Option<Side<'_>> {
    let refused = |error: musicxml::Error| assert!(error.to_string().starts_with(&input.file));
    let tree = Tree::parse(input).map_err(refused).ok()?;
    let reading = musicxml::read(&tree).map_err(refused).ok()?;
    Some((tree, reading))
}
