//! What the words over and under a staff mean, by a lexicon kept as data.

#[rustfmt::skip]
mod lexicon;
mod spelling;

use super::tree::one_line;
use crate::score::Category;
use rustc_hash::FxHashMap;
use spelling::{NOTE_SIGN, bases, folded, single_letters, without_hyphens};
use std::borrow::Cow;
use std::sync::LazyLock;

/// What a phrase of the lexicon says.
#[derive(Clone, Copy)]
struct Entry {
    word: Word,
    meaning: &'static str,
}

#[derive(Clone, Copy, PartialEq)]
enum Word {
    Of(Category),
    Modifier,
}

/// No entry has more words.
const LONGEST: usize = 6;

/// The phrases that stand for themselves, by what they are.
const LISTS: [(Word, &[lexicon::List]); 5] = [
    (Word::Of(Category::Tempo), lexicon::TEMPO),
    (Word::Of(Category::Technique), lexicon::TECHNIQUE),
    (Word::Of(Category::Structure), lexicon::STRUCTURE),
    (Word::Of(Category::Expression), lexicon::EXPRESSION),
    (Word::Modifier, lexicon::MODIFIERS),
];

static ENTRIES: LazyLock<FxHashMap<&str, Entry>> = LazyLock::new(|| {
    let dynamics = lexicon::DYNAMICS.iter().flat_map(|(_, list)| *list);
    let dynamics = dynamics.map(|(phrase, meaning)| (*phrase, Entry { word: Word::Of(Category::Dynamics), meaning }));
    let of_list = |(word, languages): (Word, &'static [lexicon::List])| {
        languages.iter().flat_map(|(_, list)| *list).map(move |phrase| (*phrase, Entry { word, meaning: phrase }))
    };
    dynamics.chain(LISTS.into_iter().flat_map(of_list)).collect()
});

/// The same without doubled letters.
static LOOSE: LazyLock<FxHashMap<String, Entry>> =
    LazyLock::new(|| ENTRIES.iter().map(|(phrase, entry)| (single_letters(phrase), *entry)).collect());

static ABBREVIATIONS: LazyLock<FxHashMap<&str, &str>> =
    LazyLock::new(|| lexicon::ABBREVIATIONS.iter().copied().collect());

/// Words in one spelling, whatever divides them.
pub fn phrase(words: &str) -> String {
    one_line(&folded(words).replace('.', " "))
}

/// What is longer, in bytes, is prose.
const LONGEST_ORDER: usize = 300;

/// The category of some words and their meaning: two spellings of the same
/// order mean the same (`cresc.` and `crescendo`).
pub fn classify(words: &str) -> (Category, String) {
    if words.len() > LONGEST_ORDER {
        return (Category::Text, one_line(words));
    }
    let found = of_phrase(words, true);
    if found.0 != Category::Text {
        return found;
    }
    let whole = without_hyphens(words);
    if whole == words {
        return found;
    }
    Some(of_phrase(&whole, false)).filter(|again| again.0 != Category::Text).unwrap_or(found)
}

/// `names` tells whether there may be names in it.
fn of_phrase(words: &str, names: bool) -> (Category, String) {
    let folded = folded(words);
    let plain = one_line(&folded.replace('.', " "));
    // Of signs alone, the signs count.
    let text = || (Category::Text, if plain.is_empty() { words.trim().to_string() } else { plain.clone() });
    if is_metronome(&plain) {
        return (Category::Tempo, plain);
    }
    let pieces = pieces(&written_out(&folded));
    let meaning = || pieces.iter().map(|p| &*p.1).collect::<Vec<_>>().join(" ");
    if pieces.iter().any(|p| p.0.is_none()) {
        // An unknown word may be a name; only a whole word that leads is sure.
        let is_whole = |word: &str| word.len() > 3 || ENTRIES.contains_key(word);
        let whole = folded.split_whitespace().next().is_some_and(is_whole);
        let ways = ["da capo", "dal segno", "attacca"];
        return match pieces.first() {
            Some((Some(Word::Of(Category::Tempo)), _)) if names && whole => (Category::Tempo, meaning()),
            Some((Some(Word::Of(Category::Structure)), way)) if names && ways.iter().any(|w| way.starts_with(w)) => {
                (Category::Structure, meaning())
            }
            _ => text(),
        };
    }
    let has = |category| pieces.iter().any(|p| p.0 == Some(Word::Of(category)));
    let order = [Category::Structure, Category::Tempo, Category::Technique, Category::Expression, Category::Dynamics];
    order.into_iter().find(|c| has(*c)).map_or_else(text, |category| (category, meaning()))
}

/// The words of a phrase, abbreviations written out.
fn written_out(folded: &str) -> Vec<String> {
    let short = &*ABBREVIATIONS;
    let mut words: Vec<String> = Vec::new();
    for word in folded.split_whitespace() {
        // `all.o` is one word, `d.c` two.
        if short.contains_key(word) {
            words.push(word.into());
        } else {
            words.extend(word.split('.').map(str::to_string));
        }
    }
    let mut out: Vec<String> = Vec::new();
    let mut from = 0;
    while from < words.len() {
        let up_to = |most: usize| (from + 1..=words.len().min(from + most)).rev();
        let short_at = |to: usize| {
            let phrase = words[from..to].join(" ");
            let leading = || short.get(format!("^{phrase}").as_str()).filter(|_| from == 0);
            short.get(phrase.as_str()).or_else(leading)
        };
        // "on the string" is no stringendo.
        let known = up_to(LONGEST).find(|to| ENTRIES.contains_key(words[from..*to].join(" ").as_str()));
        match up_to(3).find_map(|to| short_at(to).map(|long| (to, long))) {
            Some((to, long)) if known.is_none_or(|known| known <= to) => {
                out.extend(long.split(' ').map(str::to_string));
                from = to;
            }
            _ => {
                let to = known.unwrap_or(from + 1);
                out.extend_from_slice(&words[from..to]);
                from = to;
            }
        }
    }
    out
}

/// The longest known pieces, from left to right, with their meanings; `None`
/// for unknown words.
fn pieces(words: &[String]) -> Vec<(Option<Word>, Cow<'static, str>)> {
    let mut out = Vec::new();
    let mut from = 0;
    while from < words.len() {
        let longest = (from + 1..=words.len().min(from + LONGEST)).rev().find_map(|to| {
            let (word, meaning) = lookup(&words[from..to].join(" "))?;
            Some((to, word, meaning))
        });
        match longest {
            Some((to, word, meaning)) => {
                out.push((Some(word), meaning));
                from = to;
            }
            None => {
                // Numbers only count ("tempo 1", "Allegro II").
                let word = &words[from];
                let number = word.bytes().all(|b| b.is_ascii_digit()) || word.bytes().all(|b| b"ivx".contains(&b));
                out.push((number.then_some(Word::Modifier), word.clone().into()));
                from += 1;
            }
        }
    }
    out
}

fn lookup(phrase: &str) -> Option<(Word, Cow<'static, str>)> {
    let loosely = |phrase: &str| LOOSE.get(&single_letters(phrase));
    let known =
        |phrase: &str| ENTRIES.get(phrase).or_else(|| if phrase.len() >= 5 { loosely(phrase) } else { None }).copied();
    if let Some(entry) = known(phrase) {
        return Some((entry.word, entry.meaning.into()));
    }
    bases(phrase).into_iter().find_map(|(base, is_same)| {
        let entry = known(&base)?;
        // A form of a word says something of its own.
        let meaning = if is_same { entry.meaning.into() } else { phrase.to_string().into() };
        Some((entry.word, meaning))
    })
}

/// `♩ = 72`, `q = 165`, `quarter = c. 60`, `♩ = ♪`, `M.M. 60`.
fn is_metronome(plain: &str) -> bool {
    const UNITS: [&str; 26] = [
        NOTE_SIGN,
        "w",
        "h",
        "q",
        "e",
        "x",
        "s",
        "mm",
        "m",
        "whole",
        "half",
        "quarter",
        "eighth",
        "semibreve",
        "minim",
        "crotchet",
        "quaver",
        "semiminima",
        "croma",
        "blanche",
        "noire",
        "croche",
        "halbe",
        "viertel",
        "achtel",
        "note",
    ];
    let words: Vec<&str> = plain.split(' ').collect();
    let is_number = |word: &&str| word.bytes().all(|b| b.is_ascii_digit()) && !word.is_empty();
    let is_unit =
        |word: &&str| UNITS.contains(word) || word.starts_with("metnote") || word.starts_with("metaugmentation");
    if let Some(equals) = words.iter().position(|w| *w == "=") {
        let left = words[..equals].last().is_some_and(is_unit);
        let mut right =
            words[equals + 1..].iter().skip_while(|w| matches!(**w, "c" | "ca" | "circa" | "about" | "etwa"));
        return left && right.next().is_some_and(|w| is_number(w) || is_unit(w));
    }
    match words.as_slice() {
        ["m", "m", rest @ ..] | ["mm", rest @ ..] => rest.iter().any(is_number),
        [number, "bpm"] => is_number(number),
        _ => false,
    }
}

#[cfg(test)]
mod tests;
