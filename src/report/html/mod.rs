//! The audit as one page that needs nothing else: no network, and no script to
//! be read. All that comes from files passes through `maud`, which escapes it.

mod alone;
mod bars;
mod chart;
mod copier;
mod cuts;
mod element;
mod flags;
mod folds;
mod heads;
mod links;
mod looks;
mod notes;
mod part;
mod picture;
mod pieces;
mod plot;
mod ranking;
mod staves;
mod system;

use super::{Audit, Material, ScoreName, phrases, verdict};
use crate::beside::Staves;
use crate::engrave;
use crate::readable::unturned;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};
pub use picture::Glyphs;
use sha2::{Digest, Sha256};

pub use alone::{DrawnThing, Lies, drawn_alone};
pub use looks::out_of_line;
pub use ranking::page as ranking;

const STYLE: &str = concat!(include_str!("staves.css"), include_str!("plot.css"), include_str!("style.css"));
/// That of pictures alone.
pub const PICTURES_STYLE: &str = concat!(include_str!("staves.css"), include_str!("plot.css"));
const SCRIPT: &str = include_str!("script.js");
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
    let body = html! {
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
    };
    let (body, looks) = looks::out_of_line(&body.into_string());
    let fonts = (!glyphs.letters.is_empty()).then(|| engrave::text_font(&glyphs.letters));
    let music = uses_music_font.then(|| engrave::music_font().to_string());
    let styles: Vec<String> = [Some(STYLE.to_string()), fonts, music, Some(looks)].into_iter().flatten().collect();
    page_of(&format!("{title}: what the editor did"), &body, styles, Some(SCRIPT))
}

/// A page that is complete in itself, around what it shows.
fn page_of(title: &str, body: &str, styles: Vec<String>, script: Option<&str>) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy(&styles, script));
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                meta name="color-scheme" content="light dark";
                meta name="generator" content="obelus";
                title { (title) }
                @for style in &styles { style { (PreEscaped(style)) } }
            }
            body {
                (PreEscaped(body))
                @if let Some(script) = script { script { (PreEscaped(script)) } }
            }
        }
    };
    unturned(&page.into_string()) + "\n"
}

/// Nothing is fetched, and no style or script holds but ours, whatever a file has put into the page.
fn policy(styles: &[String], script: Option<&str>) -> String {
    let hash = |text: &str| format!("'sha256-{}'", STANDARD.encode(Sha256::digest(text)));
    let styles: Vec<String> = styles.iter().map(|style| hash(style)).collect();
    format!(
        "default-src 'none'; style-src {}; script-src {}; font-src data:; base-uri 'none'; form-action 'none'",
        styles.join(" "),
        script.map_or("'none'".into(), hash)
    )
}

/// A piece of the staves of one part by itself, each mark with its findings.
pub fn staves_alone(
    material: &Material,
    audit: &Audit,
    (place, piece): (usize, usize),
    staves: &Staves,
    glyphs: &mut Glyphs,
) -> Option<String> {
    let alignment = &material.collation.parts[place];
    let (edition, source) = (alignment.edition_part(material.edition), alignment.source_part(material.source));
    let found = &material.findings[place];
    let score = staves::Score::new(staves, found, &audit.parts[place], [&edition, &source], glyphs)?;
    Some(score.piece(&format!("p{}", place + 1), piece).into_string())
}

/// The compass of one part by itself, source and edition in one picture.
pub fn compass_alone(material: &Material, place: usize) -> String {
    let alignment = &material.collation.parts[place];
    let (edition, source) = (alignment.edition_part(material.edition), alignment.source_part(material.source));
    let found = &material.findings[place];
    let sides = chart::Sides { edition, source, alignment, collation: material.collation, found, check: None };
    part::compass(&sides.chart(0..material.collation.outline.len()), None).into_string()
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
