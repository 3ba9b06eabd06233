//! Pages drawn by the engraver as a PDF: true sizes, fonts inside, text that can
//! be searched and selected.

use super::Paper;
use super::fonts::faces;
use super::wrapped::wrapped;
use krilla::Document;
use krilla::geom::Size;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla_svg::{SurfaceExt, SvgSettings};
use std::sync::Arc;
use usvg::fontdb::{Database, Source};

/// Points of a tenth of a millimetre.
const POINT: f32 = 72.0 / 254.0;

/// What the document says of itself.
pub struct About<'a> {
    pub title: &'a str,
    pub author: Option<&'a str>,
    /// What stands at the foot of all pages but the first.
    pub name: &'a str,
    /// A line at the foot of the first page.
    pub foot: &'a str,
    /// What brackets and colours mean, above the foot of the first page.
    pub key: Option<&'a str>,
}

/// Why there is no PDF.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("page {page} cannot be put on paper: {reason}")]
    Page { page: usize, reason: String },
    #[error("the pages cannot be put together: {0}")]
    Document(String),
}

/// Puts pages on paper.
///
/// # Errors
/// When a page is no SVG, or the document would not be valid.
pub fn write(pages: &[String], paper: Paper, about: &About) -> Result<Vec<u8>, Error> {
    let fonts = Arc::new(fonts());
    let options = usvg::Options { fontdb: fonts, font_family: "Liberation Serif".into(), ..usvg::Options::default() };
    let (width, height) = paper.size();
    let size = [width, height].map(|side| side as f32 * POINT);
    let fault = |page: usize, reason: &str| Error::Page { page: page + 1, reason: reason.into() };
    let mut document = Document::new();
    for (place, svg) in pages.iter().enumerate() {
        let (foot, key) = if place == 0 { (about.foot, about.key) } else { (about.name, None) };
        let svg = with_foot(svg, paper, [key.unwrap_or_default(), foot], [place + 1, pages.len()])
            .ok_or_else(|| fault(place, "it has no end"))?;
        let tree = usvg::Tree::from_str(&svg, &options).map_err(|e| fault(place, &e.to_string()))?;
        let settings = PageSettings::from_wh(size[0], size[1]).ok_or_else(|| fault(place, "it has no size"))?;
        let area = Size::from_wh(size[0], size[1]).ok_or_else(|| fault(place, "it has no size"))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        surface.draw_svg(&tree, area, SvgSettings::default()).ok_or_else(|| fault(place, "it cannot be drawn"))?;
        surface.finish();
        page.finish();
    }
    let mut metadata =
        Metadata::new().title(about.title.into()).creator(concat!("obelus ", env!("CARGO_PKG_VERSION")).into());
    if let Some(author) = about.author {
        metadata = metadata.authors(vec![author.into()]);
    }
    document.set_metadata(metadata);
    document.finish().map_err(|e| Error::Document(format!("{e:?}")))
}

/// A page with its foot: where the music is from or what it is, and which page this is.
fn with_foot(svg: &str, paper: Paper, [key, foot]: [&str; 2], [page, of]: [usize; 2]) -> Option<String> {
    // Text within text of no size is not seen everywhere.
    let svg = svg.replace(" font-size=\"0px\"", " font-size=\"1px\"");
    let end = svg.rfind("</svg>")?;
    let (width, height) = paper.size();
    // A long one leaves room for the number of the page.
    let foot = wrapped(foot, f64::from(LETTERS), f64::from(width - 2 * SIDE - NUMBER), 1).concat();
    let said = match (page, of) {
        (1, 1) => foot,
        _ if foot.is_empty() => format!("{page} of {of}"),
        _ => format!("{foot} · {page} of {of}"),
    };
    let line = |text: &str, above: u32| {
        let text = wrapped(text, f64::from(LETTERS), f64::from(width - 2 * SIDE), 1).concat();
        format!(
            "<text x=\"{}\" y=\"{}\" text-anchor=\"middle\" font-family=\"serif\" font-size=\"{LETTERS}\">{}</text>",
            width / 2,
            height - FOOT - above,
            quick_xml::escape::escape(&text)
        )
    };
    let text = [line(key, KEY), line(&said, 0)].concat();
    Some(format!("{}{text}{}", &svg[..end], &svg[end..]))
}

/// The letters at the foot, and the margins beside them.
const LETTERS: u32 = 32;
const SIDE: u32 = 100;
/// The number of a page.
const NUMBER: u32 = 220;
/// From the lower edge to the line at the foot, in tenths of a millimetre.
const FOOT: u32 = 100;
/// From there up to the key.
const KEY: u32 = 50;

/// The fonts that the engraver reckons with, whatever fonts the system has.
fn fonts() -> Database {
    let mut out = Database::new();
    for css in ["Leipzig.css", "Bravura.css", "Liberation.css"] {
        for font in faces(css) {
            out.load_font_source(Source::Binary(Arc::new(font)));
        }
    }
    out.set_serif_family("Liberation Serif");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fonts_are_those_that_pages_name() {
        let fonts = fonts();
        let families: Vec<&str> = fonts.faces().flat_map(|f| &f.families).map(|f| f.0.as_str()).collect();
        for name in ["Leipzig", "Bravura"] {
            assert_eq!(families.iter().filter(|f| **f == name).count(), 1, "{families:?}");
        }
        assert_eq!(families.iter().filter(|f| **f == "Liberation Serif").count(), 4, "{families:?}");
    }
}
