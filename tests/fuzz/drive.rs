//! From any bytes through the whole program, without files: what the fuzz targets and the replay of their finds share.

#![allow(dead_code)] // each user takes its own share of these calls

use obelus::beside::side_by_side;
use obelus::clean::{self, Additions, Cleaned, Decision, Decisions, Failure, NewKey, PartFor, Player, Policy, Restore};
use obelus::clean::{Said, Sides, Texts, Wishes};
use obelus::collate::{self, Choice, Collation, Pairing};
use obelus::findings::{self, PartFindings};
use obelus::instrument::Instruments;
use obelus::musicxml::{self, Input, Reading, Tree};
use obelus::pitch::Interval;
use obelus::report::{self, Bars, Material, Notes};
use obelus::score::{Category, Line, Score};
use std::sync::LazyLock;

/// What stands between edition and source in a case of two scores.
pub const BETWEEN: &[u8] = b"\n<!-- and its source -->\n";

/// What stands before the bytes that choose lines and options; a case without is tried with none.
pub const WITH: &[u8] = b"\n<!-- tried with -->\n";

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
    both(bytes, |edition, source, mut options| {
        let pairing = pair(&mut edition.1, &mut source.1, &mut options);
        let (collation, findings) = lay(&edition.1.score, &source.1.score, pairing, false);
        let guess = |part: usize| TABLE.guess(&edition.1.score.parts[part].name).map(|i| (i, true));
        let instruments: Vec<_> = collation.parts.iter().map(|pair| guess(pair.edition)).collect();
        let bars = options.flag().then(|| Bars(format!("{}-{}", options.below(3), options.below(5))));
        let material = Material {
            edition: &edition.1.score,
            source: &source.1.score,
            edition_file: "edition",
            source_file: "source",
            collation: &collation,
            findings: &findings,
            instruments: &instruments,
            bars: bars.as_ref(),
            asked: None,
            hands: None,
            warnings: musicxml::warnings_of_both(&edition.1, &source.1),
        };
        let audit = match report::audit(material.clone()) {
            Ok(audit) => audit,
            Err(error) => return assert!(bars.is_some(), "all bars are there: {error}"),
        };
        assert!(report::audit_html(&material, &audit, &[]).ends_with("</html>\n"));
        assert!(!report::audit_text(&audit, 80).is_empty());
        assert!(!report::audit_csv(&audit).is_empty());
        assert!(!audit.json().is_empty());
    });
}

/// Cleans one score by another.
pub fn clean(bytes: &[u8]) {
    both(bytes, |edition, source, mut options| {
        let pairing = pair(&mut edition.1, &mut source.1, &mut options);
        let (collation, findings) = lay(&edition.1.score, &source.1.score, pairing.clone(), true);
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
        // With nothing in it, it is refused.
        if beside.parts > 0 {
            let input = input("both", beside.text.as_bytes()).expect("text");
            musicxml::read(&Tree::parse(&input).expect("XML")).expect("a score");
        }
        let part = edition.1.score.printed_part_of(collation.parts[0].edition);
        for additions in [Additions::Strip, Additions::Bracket, Additions::Color] {
            let (policy, texts) = (policy(&sides, additions, &mut options), Texts::new());
            match clean::clean(sides, &policy, &Wishes::default(), None, &texts) {
                Ok((_, cleaned)) => {
                    told(&sides, pairing.clone(), &policy, &cleaned);
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
                        own_marks: None,
                    };
                    if let Err(failure) = clean::clean(sides, &policy, &wishes, None, &texts) {
                        assert!(!failure.to_string().is_empty());
                    }
                }
                // What cannot be undone stays, unless all or nothing is wanted.
                Err(failure) => {
                    assert!(policy.strict || matches!(failure, Failure::Decision(_)), "refused: {failure}");
                    assert!(!failure.to_string().is_empty());
                }
            }
        }
    });
}

/// What is taken out, put back and decided by hand.
fn policy(sides: &Sides, additions: Additions, options: &mut Options) -> Policy {
    let mut policy = Policy { additions, strict: options.flag(), ..Policy::default() };
    let kinds = [Restore::Octaves, Restore::Passages, Restore::Readings, Restore::Omissions];
    policy.leave = kinds.into_iter().filter(|_| options.flag()).collect();
    if options.flag() {
        let of_marks: Vec<Category> = Category::ALL.iter().copied().filter(|c| !c.is_of_notes()).collect();
        policy.keep = [of_marks[options.below(of_marks.len())]].into();
    }
    if options.flag() {
        let file = clean::decisions_file(sides.edition, sides.collation, sides.findings, &policy);
        let mut decisions = Decisions::parse(&file).expect("what it writes it can read");
        let words = decisions.passages.values_mut();
        words.filter(|_| options.flag()).for_each(|word| *word = Decision::Keep);
        for said in decisions.findings.values_mut() {
            let words = [*said, Said::Keep, Said::Out, Said::Passage];
            *said = words[options.below(words.len())];
        }
        policy.decisions = Some(decisions);
    }
    policy
}

/// What is said of a copy.
fn told(sides: &Sides, pairing: Pairing, policy: &Policy, cleaned: &Cleaned) {
    assert!(cleaned.left.is_empty() || !policy.strict, "bars were left");
    assert!(cleaned.left.iter().all(|bar| !bar.reason.is_empty()), "a bar is left for no reason");
    let (collation, findings) = lay(sides.edition, sides.source, pairing, false);
    let audit = report::audit(Material {
        edition: sides.edition,
        source: sides.source,
        edition_file: "edition",
        source_file: "source",
        collation: &collation,
        findings: &findings,
        instruments: &vec![None; collation.parts.len()],
        bars: None,
        asked: None,
        hands: None,
        warnings: Vec::new(),
    });
    let notes = Notes {
        audit: &audit.expect("all bars are there"),
        edition: sides.edition,
        source: sides.source,
        collation: &collation,
        findings: &findings,
        outcomes: &clean::outcomes(*sides, cleaned, &collation, &findings),
        names: &clean::finding_names(sides.edition, sides.collation, sides.findings),
        rows: &cleaned.rows,
        on: &cleaned.on,
        provenance: None,
        remarks: &cleaned.warnings,
    };
    assert!(!notes.markdown().is_empty() && !notes.csv().is_empty());
    assert!(!report::clean_text("copy", cleaned, &cleaned.warnings, 80).is_empty());
    assert!(!report::clean_json(["copy", "edition", "source"], cleaned, &cleaned.warnings).is_empty());
}

/// Chooses lines and options, byte by byte; when they are used up, it chooses none.
struct Options<'b>(std::slice::Iter<'b, u8>);

impl Options<'_> {
    fn below(&mut self, end: usize) -> usize {
        usize::from(self.0.next().copied().unwrap_or_default()) % end
    }

    fn flag(&mut self) -> bool {
        self.below(2) == 1
    }

    /// A line of a score as a person may name it: a part, a staff of it, a voice.
    fn line(&mut self, score: &mut Score) -> Option<usize> {
        if !self.flag() || score.printed().is_empty() {
            return None;
        }
        let place = self.below(score.printed().len());
        let part = &score.parts[place];
        let staff = Some(self.below(3) as u32).filter(|staff| *staff > 0 && part.staves > 1);
        let voice = part.voices.get(self.below(part.voices.len() + 1)).copied();
        let line = Line { staff, voice };
        // Else it is refused.
        part.notes.iter().any(|n| line.holds(part, n)).then(|| collate::draw_line(score, place, line))
    }
}

type Side<'i> = (Tree<'i>, Reading);

fn both(bytes: &[u8], then: impl Fn(&mut Side<'_>, &mut Side<'_>, Options<'_>)) {
    let (bytes, options) = divided(bytes, WITH);
    let options = Options(options.unwrap_or_default().iter());
    let (edition, source) = divided(bytes, BETWEEN);
    let (Some(edition), Some(source)) = (input("edition", edition), input("source", source.unwrap_or(edition))) else {
        return;
    };
    let (Some(mut edition), Some(mut source)) = (score(&edition), score(&source)) else { return };
    then(&mut edition, &mut source, options);
}

fn divided<'b>(bytes: &'b [u8], at: &[u8]) -> (&'b [u8], Option<&'b [u8]>) {
    match bytes.windows(at.len()).position(|w| w == at) {
        Some(place) => (&bytes[..place], Some(&bytes[place + at.len()..])),
        None => (bytes, None),
    }
}

fn pair(edition: &mut Reading, source: &mut Reading, options: &mut Options) -> Pairing {
    let choice = Choice { edition: options.line(&mut edition.score), source: options.line(&mut source.score) };
    collate::pair_parts(&mut edition.score, &mut source.score, choice)
}

fn lay(edition: &Score, source: &Score, pairing: Pairing, whole_bars: bool) -> (Collation, Vec<PartFindings>) {
    let collation = collate::lay(edition, source, pairing, whole_bars);
    let findings = findings::find(edition, source, &collation);
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
