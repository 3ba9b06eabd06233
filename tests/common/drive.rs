//! From any bytes through the whole program, without files: what the fuzz targets and the replay of their finds share.

#![allow(dead_code)] // each user takes its own share of these calls

use obelus::pitch::Interval;
use obelus::score::{Category, Score};
use obelus::{
    Additions, AuditWishes, Bars, Cleaned, Comparison, Decision, Decisions, Failure, Input, Instruments, LineName,
    Lines, NewKey, NotesForm, PartFor, Player, Policy, ReadScore, Restore, Said, Texts, Tree, WishError, Wishes,
    testing,
};
use std::sync::LazyLock;

/// What stands between edition and source in a case of two scores.
pub const BETWEEN: &[u8] = b"\n<!-- and its source -->\n";

/// What stands before the bytes that choose lines and options; a case without is tried with none.
pub const WITH: &[u8] = b"\n<!-- tried with -->\n";

static TABLE: LazyLock<Instruments> = LazyLock::new(Instruments::standard);

/// Reads a score; what cannot be read must say so in words.
pub fn read(bytes: &[u8]) {
    let Some(input) = input("case", bytes) else { return };
    if score(&input).is_some() {
        // What is not edited comes back byte for byte.
        assert!(input.encode(&input.text).expect("nothing is packed anew") == bytes, "the bytes do not come back");
    }
}

/// Audits one score against another, in all formats.
pub fn audit(bytes: &[u8]) {
    both(bytes, |comparison, mut options| {
        let bars = options.flag().then(|| Bars(format!("{}-{}", options.below(3), options.below(5))));
        let wishes = AuditWishes { bars, ..AuditWishes::default() };
        let audit = match comparison.audit(&wishes) {
            Ok(audit) => audit,
            Err(WishError::Bars(error)) => return assert!(wishes.bars.is_some(), "all bars are there: {error}"),
            Err(error) => panic!("no instrument was named: {error}"),
        };
        assert!(comparison.page(&wishes, &audit, &[]).expect("the audit is there").ends_with("</html>\n"));
        assert!(!audit.text(80).is_empty());
        assert!(!audit.csv().is_empty());
        assert!(!audit.json().is_empty());
    });
}

/// Cleans one score by another.
pub fn clean(bytes: &[u8]) {
    both(bytes, |comparison, mut options| {
        let Some(&part) = comparison.compared_parts().first() else {
            return; // The program refuses two scores that have nothing in common.
        };
        let beside = comparison.side_by_side();
        // With nothing in it, it is refused.
        if beside.parts > 0 {
            let input = input("both", beside.text.as_bytes()).expect("text");
            testing::read(&Tree::parse(&input).expect("XML")).expect("a score");
        }
        for additions in [Additions::Strip, Additions::Bracket, Additions::Color] {
            let (policy, texts) = (policy(comparison, additions, &mut options), Texts::new());
            match comparison.clean(&policy, &Wishes::default(), None, &texts) {
                Ok((_, cleaned)) => {
                    told(comparison, &policy, &cleaned);
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
                    if let Err(failure) = comparison.clean(&policy, &wishes, None, &texts) {
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
fn policy(comparison: &Comparison<Tree>, additions: Additions, options: &mut Options) -> Policy {
    let mut policy = Policy { additions, strict: options.flag(), ..Policy::default() };
    let kinds = [Restore::Octaves, Restore::Passages, Restore::Readings, Restore::Omissions];
    policy.leave = kinds.into_iter().filter(|_| options.flag()).collect();
    if options.flag() {
        let of_marks: Vec<Category> = Category::of_marks().collect();
        policy.keep = [of_marks[options.below(of_marks.len())]].into();
    }
    if options.flag() {
        let mut decisions = Decisions::parse(&comparison.decisions()).expect("what it writes it can read");
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
fn told(comparison: &Comparison<Tree>, policy: &Policy, cleaned: &Cleaned) {
    assert!(cleaned.left.is_empty() || !policy.strict, "bars were left");
    assert!(cleaned.left.iter().all(|bar| !bar.reason.is_empty()), "a bar is left for no reason");
    for form in [NotesForm::Markdown, NotesForm::Csv] {
        assert!(!comparison.critical_notes(form, cleaned, None, &cleaned.warnings).is_empty());
    }
    assert!(!testing::clean_text("copy", cleaned, &cleaned.warnings, 80).is_empty());
    assert!(!testing::clean_json(["copy", "edition", "source"], cleaned, &cleaned.warnings).is_empty());
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
    fn line(&mut self, score: &Score) -> LineName {
        if !self.flag() || score.printed().is_empty() {
            return LineName::default();
        }
        let place = self.below(score.printed().len());
        let part = &score.parts[place];
        let staff = Some(self.below(3) as u32).filter(|staff| *staff > 0 && part.staves > 1);
        let voice = part.voices.get(self.below(part.voices.len() + 1)).copied();
        LineName { part: Some((place + 1).to_string()), staff, voice }
    }
}

fn both(bytes: &[u8], then: impl Fn(&Comparison<Tree>, Options<'_>)) {
    let (bytes, options) = divided(bytes, WITH);
    let mut options = Options(options.unwrap_or_default().iter());
    let (edition, source) = divided(bytes, BETWEEN);
    let (Some(edition), Some(source)) = (input("edition", edition), input("source", source.unwrap_or(edition))) else {
        return;
    };
    let (Some(edition), Some(source)) = (score(&edition), score(&source)) else { return };
    let lines = Lines { edition: options.line(edition.score()), source: options.line(source.score()) };
    match Comparison::new(edition, source, &lines) {
        Ok(comparison) => then(&comparison, options),
        // A line without notes.
        Err(refusal) => assert!(!refusal.to_string().is_empty()),
    }
}

fn divided<'b>(bytes: &'b [u8], at: &[u8]) -> (&'b [u8], Option<&'b [u8]>) {
    match bytes.windows(at.len()).position(|w| w == at) {
        Some(place) => (&bytes[..place], Some(&bytes[place + at.len()..])),
        None => (bytes, None),
    }
}

fn input(name: &str, bytes: &[u8]) -> Option<Input> {
    Input::from_bytes(name, bytes.to_vec()).map_err(|error| assert!(error.to_string().starts_with(name))).ok()
}

/// What cannot be read must say so, with the file.
fn score(input: &Input) -> Option<ReadScore<Tree<'_>>> {
    ReadScore::of(input).map_err(|error| assert!(error.to_string().starts_with(&input.file))).ok()
}
