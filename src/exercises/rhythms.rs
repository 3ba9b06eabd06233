//! Rhythms in which a run is practised: our own, or a teacher's.

use crate::readable::is_odd;
use crate::time::Time;
use serde::Deserialize;

/// Lengths that are given to notes in turn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rhythm {
    /// As it stands above the music.
    pub name: String,
    /// Of a beat each; together whole beats.
    pub lengths: Vec<Time>,
}

/// More notes are no pattern that one keeps in mind.
const MOST_LENGTHS: usize = 16;
const MOST_BEATS: i64 = 4;
/// Each is an exercise of every stretch.
const MOST_RHYTHMS: usize = 32;
/// It stands in one line above the music.
const LONGEST_NAME: usize = 60;

/// What changes a run the most: long and short, in twos, threes and fours. Common practice, no source.
pub fn usual(is_compound: bool) -> Vec<Rhythm> {
    let of = |name: &str, lengths: &[i64], beats: i64| Rhythm::new(name, lengths, beats).expect("checked by a test");
    match is_compound {
        false => vec![
            of("long-short", &[3, 1], 1),
            of("short-long", &[1, 3], 1),
            of("long-short-short", &[2, 1, 1], 1),
            of("long-short-short-short", &[3, 1, 1, 1], 2),
        ],
        true => vec![
            of("long-short", &[2, 1], 1),
            of("short-long", &[1, 2], 1),
            of("long-short-long", &[3, 1, 2], 1),
            of("long-short-short-short", &[3, 1, 1, 1], 2),
        ],
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    rhythm: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    name: String,
    lengths: Vec<i64>,
    #[serde(default = "one")]
    beats: i64,
}

fn one() -> i64 {
    1
}

impl Rhythm {
    /// `lengths` are told against each other; together they take so many beats.
    ///
    /// # Errors
    /// In a sentence, where they are no rhythm.
    fn new(name: &str, lengths: &[i64], beats: i64) -> Result<Rhythm, String> {
        let wrong = |reason: String| Err(format!("rhythm \"{name}\": {reason}"));
        if name.trim().is_empty() {
            return Err("a rhythm needs a name".into());
        }
        if name.chars().any(is_odd) || name.chars().count() > LONGEST_NAME {
            return wrong(format!("its name is one line of at most {LONGEST_NAME} letters and signs"));
        }
        if !(2..=MOST_LENGTHS).contains(&lengths.len()) {
            return wrong(format!("it has 2 to {MOST_LENGTHS} lengths, such as lengths = [3, 1]"));
        }
        if lengths.iter().any(|length| !(1..=64).contains(length)) {
            return wrong("lengths are whole numbers from 1 to 64, such as lengths = [3, 1]".into());
        }
        if !(1..=MOST_BEATS).contains(&beats) {
            return wrong(format!("it takes 1 to {MOST_BEATS} beats"));
        }
        let sum: i64 = lengths.iter().sum();
        let lengths = lengths.iter().map(|length| Time::new(*length * beats, sum)).collect();
        Ok(Rhythm { name: name.trim().into(), lengths })
    }

    /// Rhythms of a table (.toml).
    ///
    /// # Errors
    /// In a sentence, with the line where there is one.
    pub fn table(text: &str) -> Result<Vec<Rhythm>, String> {
        let table: Table = toml::from_str(text).map_err(|fault| {
            let line = fault.span().map_or(1, |span| 1 + text[..span.start].matches('\n').count());
            format!("line {line}: {}", fault.message())
        })?;
        if table.rhythm.is_empty() {
            return Err("there is no [[rhythm]] in it".into());
        }
        if table.rhythm.len() > MOST_RHYTHMS {
            return Err(format!("there are {} rhythms in it; a sheet has room for {MOST_RHYTHMS}", table.rhythm.len()));
        }
        table.rhythm.iter().map(|row| Rhythm::new(&row.name, &row.lengths, row.beats)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn our_own_fill_whole_beats() {
        for rhythm in [false, true].into_iter().flat_map(usual) {
            let sum: Time = rhythm.lengths.iter().copied().sum();
            assert!(sum.is_integer(), "{}", rhythm.name);
        }
    }

    #[test]
    fn a_teachers_table_is_read() {
        let table = Rhythm::table("[[rhythm]]\nname = \"limping\"\nlengths = [1, 3]\n").unwrap();
        assert_eq!(table, [Rhythm { name: "limping".into(), lengths: vec![Time::new(1, 4), Time::new(3, 4)] }]);
        for (text, said) in [
            ("", "rhythm"),
            ("[[rhythm]]\nname = \"a\"\nlengths = [1]\n", "2 to 16 lengths"),
            ("[[rhythm]]\nname = \"a\"\nlengths = [1, 0]\n", "from 1 to 64"),
            ("[[rhythm]]\nname = \"a\"\nlengths = [1, 2]\nbeats = 9\n", "1 to 4 beats"),
            ("[[rhythm]]\nname = \"\"\nlengths = [1, 2]\n", "needs a name"),
            ("[[rhythm]]\nname = \"a\"\nlengths = [9223372036854775807, 1]\n", "from 1 to 64"),
            ("[[rhythm]]\nname = \"a\"\nlengths = [-9223372036854775808, -1]\n", "from 1 to 64"),
            ("[[rhythm]]\nname = \"a\\nb\"\nlengths = [1, 2]\n", "one line"),
            ("[[rhythm]]\nname = \"a\\uFFFE\"\nlengths = [1, 2]\n", "one line"),
            ("[[rhythm]]\nname = \"a\\u202Eb\"\nlengths = [1, 2]\n", "one line"),
            ("[[rhythm]]\nname = \"a\"\nlength = [1, 2]\n", "line 3"),
        ] {
            let fault = Rhythm::table(text).unwrap_err();
            assert!(fault.contains(said), "{fault}");
        }
        let own = |name: &str| format!("[[rhythm]]\nname = \"{name}\"\nlengths = [1, 3]\n");
        assert!(Rhythm::table(&own(&"é".repeat(60))).is_ok() && Rhythm::table(&own("a").repeat(32)).is_ok());
        assert!(Rhythm::table(&own(&"a".repeat(61))).unwrap_err().contains("at most 60"));
        assert!(Rhythm::table(&own("a").repeat(33)).unwrap_err().contains("33 rhythms"));
    }
}
