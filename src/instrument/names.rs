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

/// How unlike two plain names are; 0 when one contains the other.
pub(super) fn unlikeness(wanted: &str, name: &str) -> usize {
    if !wanted.is_empty() && (name.contains(wanted) || wanted.contains(name)) {
        return 0;
    }
    distance(wanted, name)
}

/// Letters to change, add or take out to make one name of the other.
fn distance(one: &str, other: &str) -> usize {
    let other: Vec<char> = other.chars().collect();
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (i, letter) in one.chars().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, o) in other.iter().enumerate() {
            let changed = corner + usize::from(letter != *o);
            corner = row[j + 1];
            row[j + 1] = changed.min(corner + 1).min(row[j] + 1);
        }
    }
    row[other.len()]
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

    #[test]
    fn unlike_names_are_far_apart() {
        assert_eq!(distance("oboe", "oboe"), 0);
        assert_eq!(distance("obo", "oboe"), 1);
        assert_eq!(distance("", "oboe"), 4);
        assert_eq!(unlikeness("recorder", "altorecorder"), 0);
    }
}
