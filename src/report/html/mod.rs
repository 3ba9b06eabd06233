//! The audit as one page that needs nothing else: no network, and no script to
//! be read. All that comes from files passes through `maud`, which escapes it.

mod bars;
mod chart;
mod copier;
mod cuts;
mod element;
mod flags;
mod folds;
mod heads;
mod links;
mod notes;
mod part;
mod picture;
mod pieces;
mod plot;
mod staves;
mod system;

use super::{Audit, Material, ScoreName, phrases, verdict};
use crate::beside::Staves;
use crate::engrave;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use picture::Glyphs;

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("script.js");
/// Nothing is fetched, whatever a file has put into the page.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; font-src data:; base-uri 'none'; \
                      form-action 'none'";

/// How text says that it is set in the engraver's font.
const MUSIC_FONT: &str = "font-family=\"Leipzig\"";

/// The whole page; `material` is what `audit` was made from.
pub fn audit(material: &Material, audit: &Audit, staves: &[Result<Staves, String>]) -> String {
    let title = audit.edition.title.as_deref().unwrap_or("Edition and source");
    let several = audit.parts.len() > 1;
    let open = folds::open(audit);
    let mut glyphs = Glyphs::default();
    let sections: Vec<Markup> = (0..audit.parts.len())
        .map(|place| part::section(material, audit, place, open[place], staves.get(place), &mut glyphs))
        .collect();
    let uses_music_font = sections.iter().any(|s| s.0.contains(MUSIC_FONT));
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="color-scheme" content="light dark";
                meta name="generator" content="obelus";
                title { (title) ": what the editor did" }
                style { (PreEscaped(STYLE)) }
                @if !glyphs.letters.is_empty() { style { (PreEscaped(engrave::text_font(&glyphs.letters))) } }
                @if uses_music_font { style { (PreEscaped(engrave::music_font())) } }
            }
            body {
                @if !glyphs.is_empty() {
                    svg.glyphs aria-hidden="true" { defs { (PreEscaped(glyphs.definitions())) } }
                }
                header {
                    h1 { bdi { (title) } }
                    p.kicker { "What the editor did, bar by bar" }
                    (compared(audit))
                    @for sentence in phrases::unmatched(audit) { p { (sentence) } }
                    @if audit.parts.is_empty() { p { (verdict::NOTHING_COMPARED) } }
                    @if several {
                        nav aria-label="Parts" {
                            ul.jump {
                                @for (place, part) in audit.parts.iter().enumerate() {
                                    li {
                                        a href=(format!("#p{}-found", place + 1)) { (verdict::heading(part)) }
                                        " " span.hint { (folds::found(part)) }
                                    }
                                }
                            }
                        }
                    }
                }
                main {
                    @for section in &sections { (section) }
                    @if !audit.warnings.is_empty() {
                        section aria-labelledby="warnings" {
                            h2 #warnings { "Warnings" }
                            ul { @for warning in &audit.warnings { li { (warning) } } }
                        }
                    }
                }
                footer { p { (phrases::CAUTION) } }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    };
    page.into_string() + "\n"
}

fn compared(audit: &Audit) -> Markup {
    let named = |side: &str, name: &ScoreName| {
        let title = name.title.as_deref().filter(|t| side == "Source" && Some(*t) != audit.edition.title.as_deref());
        html! {
            dt { (side) }
            dd { bdi { (file_name(&name.file)) } @if let Some(title) = title { " (" bdi { (title) } ")" } }
        }
    };
    html! { dl.compared { (named("Edition", &audit.edition)) (named("Source", &audit.source)) } }
}

/// Where a file lies tells its owner's machine, not the music.
fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).find(|name| !name.is_empty()).unwrap_or(path)
}

#[cfg(test)]
mod tests {
    #[test]
    fn files_are_called_by_their_names() {
        for (path, name) in
            [("/a b/c.xml", "c.xml"), ("C:\\a\\c.xml", "c.xml"), ("c.xml", "c.xml"), ("/", "/"), ("", "")]
        {
            assert_eq!(super::file_name(path), name);
        }
    }
}
