//! What the words over and under a staff mean, by a lexicon kept as data.

use crate::score::Category;
use serde::Deserialize;
use std::collections::{HashMap, HashSet};
use std::sync::LazyLock;

#[derive(Deserialize)]
struct Lexicon {
    dynamics: HashMap<String, String>,
    tempo: List,
    technique: List,
    structure: List,
    expression: List,
    modifiers: List,
}

#[derive(Deserialize)]
struct List {
    words: HashSet<String>,
}

static LEXICON: LazyLock<Lexicon> =
    LazyLock::new(|| toml::from_str(include_str!("words.toml")).expect("the lexicon is checked by a test"));

/// The category of some words and their meaning: two spellings of the same
/// order mean the same (`cresc.` and `crescendo`).
pub fn classify(words: &str) -> (Category, String) {
    let phrase = normal(words);
    let lexicon = &*LEXICON;
    if let Some(meaning) = lexicon.dynamics.get(&phrase) {
        return (Category::Dynamics, meaning.clone());
    }
    let kinds = [
        (Category::Tempo, &lexicon.tempo),
        (Category::Technique, &lexicon.technique),
        (Category::Structure, &lexicon.structure),
        (Category::Expression, &lexicon.expression),
    ];
    for (category, list) in &kinds {
        if list.words.contains(&phrase) {
            return (*category, phrase);
        }
    }
    let known = pieces(&phrase);
    if known.iter().any(Option::is_none) {
        // An unknown word may be a name; only a tempo that leads is sure.
        let leads = known.first().is_some_and(|k| *k == Some(Word::Of(Category::Tempo)));
        return (if leads { Category::Tempo } else { Category::Text }, phrase);
    }
    let has = |category| known.contains(&Some(Word::Of(category)));
    for category in [Category::Structure, Category::Tempo, Category::Technique, Category::Expression] {
        if has(category) {
            return (category, phrase);
        }
    }
    if has(Category::Dynamics) {
        let meaning: Vec<&str> = phrase.split(' ').map(|w| lexicon.dynamics.get(w).map_or(w, String::as_str)).collect();
        return (Category::Dynamics, meaning.join(" "));
    }
    (Category::Text, phrase)
}

/// Lower case, single spaces, without full stops and the like.
fn normal(words: &str) -> String {
    let spaced: String = words
        .to_lowercase()
        .replace('’', "'")
        .chars()
        .map(|c| {
            if matches!(c, '.' | ',' | ';' | ':' | '(' | ')' | '[' | ']' | '!' | '-' | '–' | '—') { ' ' } else { c }
        })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[derive(Clone, Copy, PartialEq)]
enum Word {
    Of(Category),
    Modifier,
}

/// The longest known pieces, from left to right; `None` for unknown words.
fn pieces(phrase: &str) -> Vec<Option<Word>> {
    let words: Vec<&str> = phrase.split(' ').filter(|w| !w.is_empty()).collect();
    let mut out = Vec::new();
    let mut from = 0;
    while from < words.len() {
        let longest = (from + 1..=words.len().min(from + 4)).rev().find_map(|to| {
            let known = lookup(&words[from..to].join(" "))?;
            Some((to, known))
        });
        match longest {
            Some((to, word)) => {
                out.push(Some(word));
                from = to;
            }
            None => {
                // Numbers only count ("a 2", "tempo 1").
                let number = words[from].bytes().all(|b| b.is_ascii_digit());
                out.push(number.then_some(Word::Modifier));
                from += 1;
            }
        }
    }
    out
}

fn lookup(words: &str) -> Option<Word> {
    let lexicon = &*LEXICON;
    if lexicon.dynamics.contains_key(words) {
        return Some(Word::Of(Category::Dynamics));
    }
    if lexicon.tempo.words.contains(words) {
        return Some(Word::Of(Category::Tempo));
    }
    if lexicon.technique.words.contains(words) {
        return Some(Word::Of(Category::Technique));
    }
    if lexicon.structure.words.contains(words) {
        return Some(Word::Of(Category::Structure));
    }
    if lexicon.expression.words.contains(words) {
        return Some(Word::Of(Category::Expression));
    }
    lexicon.modifiers.words.contains(words).then_some(Word::Modifier)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_fall_into_their_categories() {
        // Common practice, no source.
        let cases = [
            ("cresc.", Category::Dynamics),
            ("poco a poco cresc.", Category::Dynamics),
            ("sempre piano", Category::Dynamics),
            ("più f", Category::Dynamics),
            ("Piano", Category::Dynamics),
            ("pia:", Category::Dynamics),
            ("Allegro con brio", Category::Tempo),
            ("Allegro ma non troppo", Category::Tempo),
            ("poco rit.", Category::Tempo),
            ("a tempo", Category::Tempo),
            ("dolce", Category::Expression),
            ("molto espressivo", Category::Expression),
            ("p dolce", Category::Expression),
            ("pizz.", Category::Technique),
            ("con sord.", Category::Technique),
            ("D.C. al Fine", Category::Structure),
            ("Da Capo", Category::Structure),
            ("Solo", Category::Text),
            ("cf. facsimile", Category::Text),
            ("", Category::Text),
        ];
        for (words, category) in cases {
            assert_eq!(classify(words).0, category, "{words}");
        }
        assert_eq!(classify("cresc.").1, classify("Crescendo").1);
        assert_eq!(classify("più p").1, classify("Più piano").1);
    }

    #[test]
    fn no_entry_stands_in_two_lists() {
        let l = &*LEXICON;
        let lists = [&l.tempo, &l.technique, &l.structure, &l.expression, &l.modifiers];
        let mut seen: HashSet<&str> = l.dynamics.keys().map(String::as_str).collect();
        for word in lists.iter().flat_map(|list| &list.words) {
            assert!(seen.insert(word) || word == "gravement", "{word} stands twice");
            assert_eq!(&normal(word), word, "{word} is not in normal form");
        }
    }
}
