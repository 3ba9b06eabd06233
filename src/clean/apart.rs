//! The table of how marks are set apart: the one that comes along, and rows of
//! the user's own.

use super::toml_fault;
use crate::musicxml::apart::{Look, Manner, Points, manners_of};
use crate::score::Category;
use std::collections::BTreeMap;
use std::sync::LazyLock;
use toml::Spanned;
use toml::de::DeTable;
use toml::de::DeValue;

const STANDARD: &str = include_str!("apart.toml");

static TABLE: LazyLock<Apart> = LazyLock::new(|| {
    let mut table = Apart { rows: BTreeMap::new(), points: Points::default() };
    table.add(STANDARD).expect("the table that comes along is checked by a test");
    table
});

/// What becomes of the additions of a category.
#[derive(Debug, Clone, PartialEq)]
enum Treatment {
    Out,
    /// Without a manner they stay as they are.
    Shown(Vec<Manner>),
}

/// A manner for each category of marks.
#[derive(Debug, Clone, PartialEq)]
pub struct Apart {
    rows: BTreeMap<Category, Treatment>,
    points: Points,
}

impl Default for Apart {
    fn default() -> Apart {
        TABLE.clone()
    }
}

/// What is wrong with a table, with line and column.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct TableError(String);

impl Apart {
    /// The table that comes along with rows of the user's own in their places.
    ///
    /// # Errors
    /// The first row that is wrong, and what could stand there.
    pub fn with_rows(text: &str) -> Result<Apart, TableError> {
        let mut table = Apart::default();
        table.add(text)?;
        Ok(table)
    }

    /// Whether additions of a category are taken out.
    pub fn takes_out(&self, category: Category) -> bool {
        self.rows.get(&category) == Some(&Treatment::Out)
    }

    /// How an addition of a category looks, without a colour.
    pub fn look(&self, category: Category) -> Look {
        let manners = match self.rows.get(&category) {
            Some(Treatment::Shown(manners)) => manners.clone(),
            _ => Vec::new(),
        };
        Look { manners, points: self.points, ..Look::default() }
    }

    /// Whether the table leaves a category as it is.
    pub fn leaves(&self, category: Category) -> bool {
        self.rows.get(&category) == Some(&Treatment::Shown(Vec::new()))
    }

    fn add(&mut self, text: &str) -> Result<(), TableError> {
        let wrong = |at: usize, reason: String| TableError(toml_fault::at(text, at, &reason));
        let table = DeTable::parse(text).map_err(|e| TableError(toml_fault::told(text, &e)))?;
        for (name, value) in table.get_ref() {
            if name.get_ref() == "points" {
                self.add_points(value).map_err(|(at, reason)| wrong(at, reason))?;
                continue;
            }
            let category = name.get_ref().parse().ok().filter(|c: &Category| !c.is_of_notes()).ok_or_else(|| {
                let all: Vec<&str> = Category::of_marks().map(Category::name).collect();
                let reason =
                    format!("\"{}\" is not a category of marks; the categories are {}", name.get_ref(), all.join(", "));
                wrong(name.span().start, reason)
            })?;
            let row = row(category, value).map_err(|(at, reason)| wrong(at, reason))?;
            self.rows.insert(category, row);
        }
        Ok(())
    }

    fn add_points(&mut self, value: &Spanned<DeValue<'_>>) -> Result<(), (usize, String)> {
        let DeValue::Table(sizes) = value.get_ref() else {
            return Err((value.span().start, "sizes are written under [points]".into()));
        };
        for (name, value) in sizes {
            let place = match &**name.get_ref() {
                "words" => &mut self.points.words,
                "fingerings" => &mut self.points.fingerings,
                "signs" => &mut self.points.signs,
                other => {
                    let reason = format!("\"{other}\" has no size; words, fingerings and signs have one");
                    return Err((name.span().start, reason));
                }
            };
            let size = match value.get_ref() {
                DeValue::Integer(number) => number.as_str().parse().ok(),
                DeValue::Float(number) => number.as_str().parse().ok(),
                _ => None,
            };
            *place = size.filter(|size| (1.0..=100.0).contains(size)).ok_or_else(|| {
                (value.span().start, format!("the size of {} is a number of points from 1 to 100", name.get_ref()))
            })?;
        }
        Ok(())
    }
}

/// A manner or a list of them.
fn row(category: Category, value: &Spanned<DeValue<'_>>) -> Result<Treatment, (usize, String)> {
    let allowed = manners_of(category);
    let all = || {
        let names: Vec<&str> = allowed.iter().map(Into::into).chain(["plain", "out"]).collect();
        format!("{category} can be {}", names.join(", "))
    };
    let manner = |value: &Spanned<DeValue<'_>>| {
        let wrong = |what: &str| (value.span().start, format!("{what}; {}", all()));
        let DeValue::String(text) = value.get_ref() else {
            return Err(wrong("the way to set it apart is a word in quotes"));
        };
        let known = text.parse().ok().filter(|manner| allowed.contains(manner));
        known.ok_or_else(|| wrong(&format!("\"{text}\" is not a way to set {category} apart")))
    };
    match value.get_ref() {
        DeValue::String(text) if text == "out" => Ok(Treatment::Out),
        DeValue::String(text) if text == "plain" => Ok(Treatment::Shown(Vec::new())),
        DeValue::Array(manners) => manners.iter().map(manner).collect::<Result<_, _>>().map(Treatment::Shown),
        _ => manner(value).map(|manner| Treatment::Shown(vec![manner])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_has_a_row_for_every_category_of_marks() {
        let table = Apart::default();
        for category in Category::all() {
            assert_eq!(table.rows.contains_key(&category), !category.is_of_notes(), "{category}");
        }
        assert!(table.takes_out(Category::Structure) && !table.takes_out(Category::Slur));
        assert_eq!(table.look(Category::Hairpin).manners, [Manner::Dashed]);
    }

    #[test]
    fn a_row_of_the_users_takes_the_place_of_ours() {
        let text = "slur = \"dotted\"\ntempo = [\"small\", \"italic\"]\nlyric = \"out\"\nbreath = \"plain\"\n\n[points]\nwords = 7.5\n";
        let table = Apart::with_rows(text).unwrap();
        assert_eq!(table.look(Category::Slur).manners, [Manner::Dotted]);
        assert_eq!(table.look(Category::Tempo).manners, [Manner::Small, Manner::Italic]);
        assert_eq!(table.look(Category::Hairpin).manners, [Manner::Dashed]);
        assert!(table.takes_out(Category::Lyric) && table.leaves(Category::Breath));
        assert_eq!((table.points.words, table.points.signs), (7.5, 15.0));
    }

    #[test]
    fn faults_have_their_place_and_what_is_allowed() {
        let said = |text: &str| Apart::with_rows(text).unwrap_err().to_string();
        assert_eq!(
            said("dynamics = \"small\"\nslur = \"brackets\""),
            "line 2, column 8: \"brackets\" is not a way to set slur apart; slur can be dashed, dotted, plain, out"
        );
        assert_eq!(
            said("text = [\"italic\", \"wavy\"]"),
            "line 1, column 19: \"wavy\" is not a way to set text apart; text can be dashed, dotted, brackets, parentheses, small, \
             italic, plain, out"
        );
        assert!(
            said("\nslurs = \"dashed\"")
                .starts_with("line 2, column 1: \"slurs\" is not a category of marks; the categories are")
        );
        assert!(said("octave = \"small\"").contains("not a category of marks"));
        assert!(said("slur = 3").contains("the way to set it apart is a word in quotes; slur can be dashed"));
        assert!(said("slur = [\"out\"]").contains("\"out\" is not a way to set slur apart"));
        assert!(said("slur = \"dashed").starts_with("line 1, column "));
        assert_eq!(
            said("[points]\nwords = 0"),
            "line 2, column 9: the size of words is a number of points from 1 to 100"
        );
        assert_eq!(
            said("[points]\nnotes = 3"),
            "line 2, column 1: \"notes\" has no size; words, fingerings and signs have one"
        );
    }
}
