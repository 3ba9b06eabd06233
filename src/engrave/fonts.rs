//! The fonts that come with the engraver, and of its text font the letters that a
//! page uses: words fit where they were measured, whatever fonts a machine has.

use super::letters::{Face, Used};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use base64::engine::{DecodePaddingMode, GeneralPurpose, GeneralPurposeConfig};
use flate2::{Compression, write::ZlibEncoder};
use std::collections::BTreeMap;
use std::io::Write;
use subsetter::GlyphRemapper;
use ttf_parser::RawFace;

/// Style sheets pad their fonts, or do not.
const PACKED: GeneralPurpose = GeneralPurpose::new(
    &base64::alphabet::STANDARD,
    GeneralPurposeConfig::new().with_decode_padding_mode(DecodePaddingMode::Indifferent),
);

/// The faces of a font, packed, in the order of its style sheet.
fn packed(css: &str) -> Vec<Vec<u8>> {
    let text = verovio_data::DATA.get_file(css).and_then(|f| f.contents_utf8()).unwrap_or_default();
    let fonts = text.split("base64,").skip(1).filter_map(|font| {
        let end = font.find([')', '"', '\'']).unwrap_or(font.len());
        let letters: String = font[..end].split_whitespace().collect();
        PACKED.decode(letters).ok()
    });
    fonts.collect()
}

/// The faces of a font, in the order of its style sheet.
pub fn faces(css: &str) -> Vec<Vec<u8>> {
    packed(css).iter().filter_map(|font| wuff::decompress_woff2(font).ok()).collect()
}

/// The style sheet of the text font, with the letters used of each face.
pub fn text_font(used: &Used) -> String {
    let packed = packed("Liberation.css");
    // The order of the style sheet.
    let faces = [Face::Regular, Face::Bold, Face::Italic, Face::BoldItalic];
    let mut out = String::new();
    for (face, font) in faces.iter().zip(&packed) {
        let Some(letters) = used.get(face) else { continue };
        let font = wuff::decompress_woff2(font).ok();
        let Some(font) = font.and_then(|font| part_of(&font, letters.iter().copied())) else { continue };
        let weight = if matches!(face, Face::Bold | Face::BoldItalic) { "bold" } else { "normal" };
        let style = if matches!(face, Face::Italic | Face::BoldItalic) { "italic" } else { "normal" };
        out += &format!(
            "@font-face{{font-family:\"{}\";font-weight:{weight};font-style:{style};src:url(data:font/woff;base64,{})}}",
            super::TEXT_FONT,
            STANDARD.encode(font)
        );
    }
    out
}

/// A font with some of its letters, for a browser.
fn part_of(font: &[u8], letters: impl Iterator<Item = char>) -> Option<Vec<u8>> {
    let face = ttf_parser::Face::parse(font, 0).ok()?;
    let mut kept = GlyphRemapper::new();
    let codes: BTreeMap<u16, u16> = letters
        .filter_map(|c| {
            let glyph = face.glyph_index(c)?;
            Some((u16::try_from(u32::from(c)).ok()?, kept.remap(glyph.0)))
        })
        .collect();
    let small = subsetter::subset(font, 0, &kept).ok()?;
    let raw = RawFace::parse(&small, 0).ok()?;
    let mut tables: BTreeMap<[u8; 4], Vec<u8>> = BTreeMap::new();
    for record in raw.table_records {
        tables.insert(record.tag.to_bytes(), raw.table(record.tag)?.to_vec());
    }
    // A document of its own needs to know neither; a browser does.
    let measures = ttf_parser::Tag::from_bytes(b"OS/2");
    tables.insert(*b"OS/2", face.raw_face().table(measures)?.to_vec());
    tables.insert(*b"cmap", codes_table(&codes));
    woff(&tables)
}

/// Which letter is which glyph: the table `cmap`, one segment for each.
fn codes_table(codes: &BTreeMap<u16, u16>) -> Vec<u8> {
    // The table ends with a segment for no letter.
    let mut segments: Vec<(u16, u16)> = codes.iter().map(|(code, glyph)| (*code, glyph.wrapping_sub(*code))).collect();
    segments.push((u16::MAX, 1));
    let count = segments.len() as u16;
    let power = count.ilog2() as u16;
    let search = 2 << power;
    let mut out: Vec<u16> = vec![0, 1, 3, 1, 0, 12];
    out.extend([4, 16 + 8 * count, 0, 2 * count, search, power, 2 * count - search]);
    out.extend(segments.iter().map(|s| s.0));
    out.push(0);
    out.extend(segments.iter().map(|s| s.0));
    out.extend(segments.iter().map(|s| s.1));
    out.extend(segments.iter().map(|_| 0));
    out.iter().flat_map(|n| n.to_be_bytes()).collect()
}

/// Tables in the packing of the web: the Web Open Font Format, 1.0.
fn woff(tables: &BTreeMap<[u8; 4], Vec<u8>>) -> Option<Vec<u8>> {
    let padded = |length: usize| length.div_ceil(4) * 4;
    let count = tables.len();
    let unpacked = 12 + 16 * count + tables.values().map(|t| padded(t.len())).sum::<usize>();
    let mut directory = Vec::new();
    let mut body = Vec::new();
    let start = 44 + 20 * count;
    for (tag, table) in tables {
        let mut encoder = ZlibEncoder::new(Vec::new(), Compression::best());
        encoder.write_all(table).ok()?;
        let packed = encoder.finish().ok()?;
        let stored = if packed.len() < table.len() { &packed } else { table };
        directory.extend(tag);
        for number in [start + body.len(), stored.len(), table.len()] {
            directory.extend(u32::try_from(number).ok()?.to_be_bytes());
        }
        directory.extend(checksum(table).to_be_bytes());
        body.extend(stored);
        body.resize(padded(body.len()), 0);
    }
    let mut out = b"wOFF\x00\x01\x00\x00".to_vec();
    out.extend(u32::try_from(start + body.len()).ok()?.to_be_bytes());
    out.extend(u16::try_from(count).ok()?.to_be_bytes());
    out.extend([0, 0]);
    out.extend(u32::try_from(unpacked).ok()?.to_be_bytes());
    // Version 1.0, and no metadata.
    out.extend([0, 1, 0, 0]);
    out.extend([0; 20]);
    Some([out, directory, body].concat())
}

fn checksum(table: &[u8]) -> u32 {
    let words = table.chunks(4).map(|word| {
        let mut bytes = [0; 4];
        bytes[..word.len()].copy_from_slice(word);
        u32::from_be_bytes(bytes)
    });
    words.fold(0, u32::wrapping_add)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_of_a_font_has_the_letters_and_widths_of_the_whole() {
        let whole = faces("Liberation.css").remove(0);
        let letters = "Wo ein treues Herze \u{e9}\u{2212}";
        let packed = part_of(&whole, letters.chars()).unwrap();
        assert!(packed.len() < 30_000, "{}", packed.len());
        let part = wuff::decompress_woff1(&packed).unwrap();
        let (whole, part) = [&whole, &part].map(|f| ttf_parser::Face::parse(f, 0).unwrap()).into();
        for c in letters.chars() {
            let [a, b] = [&whole, &part].map(|f| f.glyph_hor_advance(f.glyph_index(c).unwrap()));
            assert_eq!(a, b, "{c}");
        }
        assert_eq!(part.glyph_index('x'), None);
    }
}
