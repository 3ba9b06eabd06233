//! What a file prints around the music: headings, and what it says of its editor.

use super::edits::Edits;
use super::fragment::Fragment;
use super::tree::{Tree, child, child_text, element, elements, one_line, text_of};
use super::words::phrase;
use roxmltree::Node;
use std::collections::BTreeSet;

/// What stands above the music of a first page.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Heading {
    /// The movement's; the work's, where the movement has none.
    pub title: Option<String>,
    /// The work, where the title is the movement's.
    pub subtitle: Option<String>,
    pub composer: Option<String>,
}

/// The heading of a document, as it says itself.
pub fn heading(tree: &Tree<'_>) -> Heading {
    let root = tree.root();
    let credited = |kind| credited(root, kind).map(one_line);
    let said = |text: Option<&str>| text.map(one_line).filter(|text| !text.is_empty());
    let movement = said(child_text(root, "movement-title"));
    let work = said(child(root, "work").and_then(|work| child_text(work, "work-title")));
    let mut titles = [movement, work].into_iter().flatten().filter(|title| !is_file_name(title));
    let title = titles.next().or_else(|| credited("title")).or_else(|| largest(root, "center"));
    let subtitle = titles.next().filter(|work| Some(work) != title.as_ref());
    let composer = creators(root).find(|n| n.attribute("type") == Some("composer")).map(text_of);
    let composer = said(composer).or_else(|| credited("composer")).or_else(|| largest(root, "right"));
    Heading { title, subtitle, composer }
}

/// What a program wrote for want of a title.
fn is_file_name(title: &str) -> bool {
    let title = title.to_lowercase();
    [".xml", ".mxl", ".musicxml"].iter().any(|ending| title.ends_with(ending))
}

/// The largest words of a first page that are set so, where no credit says of what kind it is; what
/// is smaller than other text is no heading.
fn largest(root: Node<'_, '_>, side: &str) -> Option<String> {
    let untold = credits(root).filter(|c| kind_of(*c).is_empty() && c.attribute("page").is_none_or(|page| page == "1"));
    let size = |n: &Node<'_, '_>| n.attribute("font-size").and_then(|size| size.parse::<f64>().ok());
    let words = untold.flat_map(elements).filter(|n| n.tag_name().name() == "credit-words");
    let set = words.filter(|n| n.attribute("justify").or(n.attribute("halign")) == Some(side));
    let headings = set.filter(|n| size(n).is_some_and(|size| size >= 10.0));
    let headings = headings.filter(|n| !tells_of_an_editor(&phrase(text_of(*n))) && !tells_of_rights(text_of(*n)));
    // Of several alike the first.
    let largest = headings.reduce(|a, b| if size(&b) > size(&a) { b } else { a })?;
    Some(one_line(text_of(largest))).filter(|text| !text.is_empty())
}

/// All that a document says of the piece and its makers, in one spelling.
pub fn said_of_the_piece(tree: &Tree<'_>) -> BTreeSet<String> {
    let root = tree.root();
    let words = credits(root).flat_map(elements).filter(|n| n.tag_name().name() == "credit-words");
    let titles = [Some(root), child(root, "work")].into_iter().flatten().flat_map(elements);
    let titles = titles.filter(|n| matches!(n.tag_name().name(), "movement-title" | "work-title"));
    let lines = words.chain(titles).chain(creators(root)).flat_map(|n| text_of(n).lines());
    lines.map(phrase).filter(|line| !line.is_empty()).collect()
}

/// Takes what is printed of the editor out of the credits, unless the source
/// says it, too; what says whose rights there are stays. Gives the lines.
pub fn take_out_the_editor(edits: &mut Edits, source: &BTreeSet<String>) -> Vec<String> {
    let root = edits.tree().root();
    let makers: BTreeSet<String> =
        creators(root).filter(|n| n.attribute("type").is_some_and(is_editor)).map(|n| phrase(text_of(n))).collect();
    let mut out = Vec::new();
    for credit in credits(root) {
        let kind = kind_of(credit);
        let is_gone = |line: &str| {
            let said = phrase(line);
            let is_own = is_editor(kind) || makers.contains(&said) || tells_of_an_editor(&said);
            is_own && kind != "rights" && !tells_of_rights(line) && !said.is_empty() && !source.contains(&said)
        };
        let is_words = |n: &Node<'_, '_>| n.tag_name().name() == "credit-words";
        let mut stays = elements(credit).any(|n| matches!(n.tag_name().name(), "credit-symbol" | "credit-image"));
        let mut changes = Vec::new();
        for words in elements(credit).filter(is_words) {
            let (gone, rest): (Vec<&str>, Vec<&str>) = text_of(words).lines().partition(|line| is_gone(line));
            let rest = rest.join("\n");
            stays |= !rest.trim().is_empty();
            if !gone.is_empty() {
                out.extend(gone.into_iter().map(one_line));
                changes.push((words, rest));
            }
        }
        match (changes.is_empty(), stays) {
            (true, _) => {}
            (_, false) => edits.remove(element(credit)),
            (_, true) => {
                for (words, rest) in changes {
                    if rest.trim().is_empty() {
                        edits.remove(element(words));
                    } else {
                        edits.replace(element(words), Fragment { text: rest, ..Fragment::shell(words) });
                    }
                }
            }
        }
    }
    out
}

/// The words of the first credit of a kind.
pub(super) fn credited<'a>(root: Node<'a, '_>, kind: &str) -> Option<&'a str> {
    credits(root).find(|n| kind_of(*n) == kind).and_then(|credit| child_text(credit, "credit-words"))
}

fn credits<'a, 'i>(root: Node<'a, 'i>) -> impl Iterator<Item = Node<'a, 'i>> {
    elements(root).filter(|n| n.tag_name().name() == "credit")
}

fn kind_of<'a>(credit: Node<'a, '_>) -> &'a str {
    child_text(credit, "credit-type").unwrap_or_default()
}

fn creators<'a, 'i>(root: Node<'a, 'i>) -> impl Iterator<Item = Node<'a, 'i>> {
    let all = child(root, "identification").into_iter().flat_map(elements);
    all.filter(|n| n.tag_name().name() == "creator")
}

/// Whether a creator or a credit of this type made the edition and not the music.
fn is_editor(kind: &str) -> bool {
    matches!(kind, "editor" | "arranger" | "transcriber" | "reviser" | "adapter")
}

/// Whoever holds rights is named for the law's sake.
fn tells_of_rights(line: &str) -> bool {
    let said = phrase(line);
    line.contains(['©', '℗'])
        || ["copyright", "all rights reserved", "alle rechte", "tous droits", "tutti i diritti"]
            .iter()
            .any(|words| said.contains(words))
}

/// Whether a line in the spelling of `phrase` names what an editor did.
fn tells_of_an_editor(said: &str) -> bool {
    let said = format!(" {said} ");
    OF_EDITORS.iter().any(|words| said.contains(&format!(" {words} ")))
}

/// English, German, French, Italian; as title pages have them, without accents.
const OF_EDITORS: &[&str] = &[
    "edited by",
    "ed by",
    "edited and",
    "edited for",
    "editor",
    "edition by",
    "edition revised",
    "fingered",
    "fingering by",
    "fingerings by",
    "fingering and",
    "bowed by",
    "bowings by",
    "phrased by",
    "revised by",
    "revised and",
    "revised for",
    "revision by",
    "arranged by",
    "arranged for",
    "arr",
    "arr by",
    "arrangement by",
    "adapted by",
    "adapted for",
    "transcribed by",
    "transcribed for",
    "transcription by",
    "realized by",
    "realised by",
    "realization by",
    "realisation by",
    "prepared by",
    "herausgegeben von",
    "hrsg von",
    "hg von",
    "bearbeitet von",
    "bearbeitet fur",
    "bearbeitung von",
    "bearb von",
    "revidiert von",
    "bezeichnet von",
    "eingerichtet von",
    "eingerichtet fur",
    "fingersatz von",
    "fingersatze von",
    "ubertragen von",
    "generalbassaussetzung",
    "edite par",
    "editee par",
    "edition de",
    "publie par",
    "revu par",
    "revue par",
    "revision par",
    "revision de",
    "doigte par",
    "doigtes par",
    "doigtes de",
    "arrange par",
    "arrangement de",
    "transcrit par",
    "transcription de",
    "transcription par",
    "realisation de",
    "a cura di",
    "revisione di",
    "revisione a cura",
    "riveduto da",
    "riveduta da",
    "diteggiatura di",
    "diteggiato da",
    "trascrizione di",
    "elaborazione di",
    "realizzazione di",
];

#[cfg(test)]
mod tests {
    use super::super::Input;
    use super::*;

    fn taken_out(head: &str, source: &[&str]) -> (String, Vec<String>) {
        let text = format!("<score-partwise>\n{head}\n  <part-list/>\n  <part id=\"P1\"/>\n</score-partwise>");
        let input = Input::from_bytes("x", text.clone().into_bytes()).unwrap();
        let tree = Tree::parse(&input).unwrap();
        let mut edits = Edits::new(&tree);
        let gone = take_out_the_editor(&mut edits, &source.iter().map(|s| phrase(s)).collect());
        (edits.finish().apply(&text).unwrap(), gone)
    }

    fn credit(kind: &str, words: &str) -> String {
        let kind = if kind.is_empty() { String::new() } else { format!("<credit-type>{kind}</credit-type>") };
        format!("  <credit page=\"1\">{kind}<credit-words justify=\"right\">{words}</credit-words></credit>")
    }

    #[test]
    fn what_is_said_of_the_editor_goes_and_all_else_stays() {
        let by = "  <identification><creator type=\"editor\">N. Finch</creator></identification>";
        for words in
            ["Edited by A. B.", "bearbeitet von A. B.", "Revu et doigté par A. B.", "a cura di A. B.", "arr. A. B."]
        {
            let said = if words.starts_with("Revu") { "doigté par A. B." } else { words };
            assert_eq!(taken_out(&credit("", said), &[]).1, [said]);
            // Where the source has it, it is not the editor's.
            assert!(taken_out(&credit("", said), &[said]).1.is_empty(), "{said}");
        }
        for (kind, words) in [("arranger", "A. B."), ("", "N. Finch")] {
            assert_eq!(taken_out(&[by, &credit(kind, words)].join("\n"), &[]).1, [words]);
        }
        for (kind, words) in
            [("", "Sonata"), ("composer", "A. B."), ("rights", "edited by A. B."), ("", "© 1990, edited by A. B.")]
        {
            let head = credit(kind, words);
            let (text, gone) = taken_out(&head, &[]);
            assert!(gone.is_empty() && text.contains(&head), "{words}");
        }
    }

    #[test]
    fn of_several_lines_the_editors_go() {
        let (text, gone) = taken_out(&credit("", "A. Composer\nedited by B &amp; C"), &[]);
        assert_eq!(gone, ["edited by B & C"]);
        assert!(text.contains("<credit-words justify=\"right\">A. Composer</credit-words>"), "{text}");
        let (text, _) = taken_out(&credit("", "edited by B"), &[]);
        assert_eq!(text, "<score-partwise>\n  <part-list/>\n  <part id=\"P1\"/>\n</score-partwise>");
    }

    #[test]
    fn a_heading_is_the_movement_the_work_and_the_composer() {
        let read = |head: &str| {
            let text = format!("<score-partwise>{head}<part-list/><part id=\"P1\"/></score-partwise>");
            let input = Input::from_bytes("x", text.into_bytes()).unwrap();
            heading(&Tree::parse(&input).unwrap())
        };
        let work = "<work><work-title>Sonata</work-title></work>";
        let by = "<identification><creator type=\"composer\">N. N.</creator></identification>";
        let some = |text: &str| Some(text.to_string());
        assert_eq!(
            read(&format!("{work}<movement-title>Air</movement-title>{by}")),
            Heading { title: some("Air"), subtitle: some("Sonata"), composer: some("N. N.") }
        );
        assert_eq!(read(work), Heading { title: some("Sonata"), ..Heading::default() });
        let file = "<movement-title>sonata-3.MXL</movement-title>";
        assert_eq!(read(&[work, file].concat()), Heading { title: some("Sonata"), ..Heading::default() });
        let set = |side: &str, size: u32, words: &str| {
            format!(
                "<credit page=\"1\"><credit-words justify=\"{side}\" font-size=\"{size}\">{words}</credit-words></credit>"
            )
        };
        let untold = [
            set("center", 12, "for two"),
            set("center", 24, "Air"),
            set("right", 9, "7"),
            set("right", 11, "arr. by A. B."),
            set("right", 11, "N. N."),
        ];
        assert_eq!(read(&untold.concat()), Heading { title: some("Air"), composer: some("N. N."), subtitle: None });
        let credited = [credit("title", "Air"), credit("composer", "N. N.")].concat();
        assert_eq!(read(&credited), Heading { title: some("Air"), composer: some("N. N."), subtitle: None });
    }
}
