//! Names of instruments, compared as people write them.

/// Words in a part's name that do not change the instrument.
const PASSING: [&str; 20] = [
    "i",
    "ii",
    "iii",
    "iv",
    "primo",
    "secondo",
    "prima",
    "seconda",
    "1mo",
    "2do",
    "1st",
    "2nd",
    "first",
    "second",
    "solo",
    "obbligato",
    "concertato",
    "concertante",
    "ripieno",
    "principale",
];

/// Small letters and digits only; accents, spaces and hyphens do not count.
pub(super) fn plain(name: &str) -> String {
    letters(name).collect()
}

/// Whether a name is this one, which is plain.
pub(super) fn is(name: &str, plain: &str) -> bool {
    if name.is_ascii() {
        let letters = name.bytes().filter(u8::is_ascii_alphanumeric).map(|letter| letter.to_ascii_lowercase());
        return letters.eq(plain.bytes());
    }
    letters(name).eq(plain.chars())
}

fn letters(name: &str) -> impl Iterator<Item = char> {
    name.chars().flat_map(char::to_lowercase).flat_map(|letter| {
        let (one, two) = match letter {
            'ä' | 'à' | 'á' | 'â' => ('a', None),
            'è' | 'é' | 'ê' | 'ë' => ('e', None),
            'ì' | 'í' | 'î' | 'ï' => ('i', None),
            'ö' | 'ò' | 'ó' | 'ô' => ('o', None),
            'ü' | 'ù' | 'ú' | 'û' => ('u', None),
            'ç' => ('c', None),
            'ß' => ('s', Some('s')),
            '♭' => ('b', None),
            _ => (letter, None),
        };
        std::iter::once(one).filter(|letter| letter.is_alphanumeric()).chain(two)
    })
}

/// A part's name without numbers, brackets and words such as `solo`.
pub(super) fn core(part_name: &str) -> String {
    let open = part_name.find(['(', '[']).unwrap_or(part_name.len());
    let words = part_name[..open]
        .split_whitespace()
        .filter(|word| {
            let word = word.trim_matches(|c: char| !c.is_alphanumeric());
            !PASSING.contains(&word.to_lowercase().as_str()) && !word.bytes().all(|b| b.is_ascii_digit())
        })
        .collect::<Vec<_>>();
    plain(&words.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_compared_without_dress() {
        assert_eq!(plain("Alt-Blockflöte"), "altblockflote");
        assert_eq!(plain("Großbass"), "grossbass");
        assert_eq!(core("Violino II (ripieno)"), "violino");
        assert_eq!(core("Treble Recorder 1"), "treblerecorder");
        assert_eq!(core("Oboe I."), "oboe");
    }
}
