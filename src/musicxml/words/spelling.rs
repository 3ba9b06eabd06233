//! One spelling for words that were written in many: old letters, missing
//! accents, doubled letters, superscript endings, glyphs of music fonts.

/// What a note sign in a metronome mark becomes.
pub const NOTE_SIGN: &str = "\u{2669}";

/// The dynamics of the glyphs from U+E520 on, by the Standard Music Font Layout.
const DYNAMICS: [&str; 30] = [
    "p", "m", "f", "r", "s", "z", "n", "pppppp", "ppppp", "pppp", "ppp", "pp", "mp", "mf", "pf", "ff", "fff", "ffff",
    "fffff", "ffffff", "fp", "fz", "sf", "sfp", "sfpp", "sfz", "sfzp", "sffz", "rf", "rfz",
];

/// Lower case without accents; marks that only divide become spaces. A full
/// stop or colon inside a word stays, as a full stop: `all.o`, `d.c`.
pub fn folded(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut chars = text.chars().flat_map(char::to_lowercase).peekable();
    while let Some(c) = chars.next() {
        let inside = out.ends_with(|l: char| l.is_alphanumeric()) && chars.peek().is_some_and(|n| n.is_alphanumeric());
        match c {
            'à'..='å' => out.push('a'),
            'è'..='ë' => out.push('e'),
            'ì'..='ï' => out.push('i'),
            'ò'..='ö' | 'ø' => out.push('o'),
            'ù'..='ü' => out.push('u'),
            'ç' => out.push('c'),
            'ñ' => out.push('n'),
            'ß' => out.push_str("ss"),
            'æ' => out.push_str("ae"),
            'œ' => out.push_str("oe"),
            'ſ' => out.push('s'),
            // Accents that are written as characters of their own, soft hyphens.
            '\u{300}'..='\u{36F}' | '\u{AD}' => {}
            // The raised o of 1º and allº.
            'º' | '°' | 'ᵒ' if out.ends_with(|l: char| l.is_alphanumeric() || l == '.') => {
                out.push_str(if out.ends_with(|l: char| l.is_ascii_digit() || l == '.') { "o" } else { ".o" });
            }
            '\'' | '\u{2019}' | '`' | '\u{B4}' if inside => out.push('\''),
            '.' | ':' if inside => out.push('.'),
            '=' => out.push_str(" = "),
            // Notes as characters, and as glyphs of music fonts.
            '\u{2669}'..='\u{266C}' | '\u{1D15D}'..='\u{1D164}' | '\u{E1D0}'..='\u{E1EF}' | '\u{ECA0}'..='\u{ECB6}' => {
                out.push_str(&format!(" {NOTE_SIGN} "));
            }
            '\u{E520}'..='\u{E53D}' => out.push_str(DYNAMICS[c as usize - 0xE520]),
            _ if c.is_alphanumeric() => out.push(c),
            _ => out.push(' '),
        }
    }
    out
}

/// The same without what divides syllables: `cre - scen - do`, `r i t.`
pub fn without_hyphens(text: &str) -> String {
    let mut out = String::new();
    for piece in text.split(['-', '\u{2010}', '\u{2013}', '\u{2014}', '_']).map(str::trim).filter(|p| !p.is_empty()) {
        out.push_str(piece);
    }
    let letters: Vec<&str> = out.split(|c: char| !c.is_alphabetic()).filter(|l| !l.is_empty()).collect();
    if letters.len() > 2 && letters.iter().all(|l| l.chars().count() == 1) { letters.concat() } else { out }
}

/// Without doubled letters, in which old spellings differ most; short words
/// stay, for `ff` is not `f`.
pub fn single_letters(word: &str) -> String {
    if word.len() < 5 {
        return word.to_string();
    }
    let mut out = String::with_capacity(word.len());
    for c in word.chars() {
        if !out.ends_with(c) || !c.is_alphabetic() {
            out.push(c);
        }
    }
    out
}

/// What a word may be a form of, and whether it is no more than spelled
/// otherwise: umlauts written out; Italian superlatives, genders and numbers.
pub fn bases(word: &str) -> Vec<(String, bool)> {
    let mut out = Vec::new();
    let umlauts = word.replace("ae", "a").replace("oe", "o").replace("ue", "u");
    if umlauts != word {
        out.push((umlauts, true));
    }
    let superlative = ["issimo", "issima", "issimi", "issime"].iter().find_map(|end| word.strip_suffix(end));
    let ending = word.strip_suffix(['a', 'i', 'e']).filter(|stem| stem.len() > 3);
    if let Some(stem) = superlative {
        // leggierissimo, fortissima
        out.extend(["o", "e"].map(|end| (format!("{stem}{end}"), false)));
    } else if let Some(stem) = ending {
        out.push((format!("{stem}o"), false));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_and_plain_spellings_meet() {
        for (old, new) in [
            ("Più", "piu"),
            ("Piu\u{300}", "piu"),
            ("mäßig", "massig"),
            ("a\u{308}", "a"),
            ("ſtaccato", "staccato"),
            ("All.º", "all.o"),
            ("All:o", "all.o"),
            ("D.C.", "d.c "),
            ("l’istesso", "l'istesso"),
            ("\u{E522}\u{E520}", "fp"),
        ] {
            assert_eq!(folded(old), new, "{old}");
        }
        assert_eq!(single_letters("affettuoso"), single_letters("afetuoso"));
        assert_eq!(single_letters("ff"), "ff");
        assert_eq!(bases("maessig")[0], ("massig".to_string(), true));
        assert_eq!(bases("marcatissima")[0], ("marcato".to_string(), false));
        assert_eq!(without_hyphens("cre - scen - do"), "crescendo");
        assert_eq!(without_hyphens("R I T."), "RIT");
    }
}
