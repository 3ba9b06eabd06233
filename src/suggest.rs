//! Which of the names that there are may be meant by one that there is not.

/// So many names at most are suggested.
const MOST: usize = 7;
/// Letters of a name; a longer one is no slip of the pen, and the work grows with its square.
const LONGEST: usize = 100;

/// A question that names what may be meant, the likest first; `None` where nothing comes near. Each candidate is a name
/// as people are shown it, with all the ways of calling it. Both sides are compared as `plain` makes them.
pub fn did_you_mean<'n>(
    wanted: &str,
    candidates: impl IntoIterator<Item = (&'n str, Vec<&'n str>)>,
    plain: impl Fn(&str) -> String,
) -> Option<String> {
    let wanted = plain(wanted);
    let length = wanted.chars().count();
    if length > LONGEST {
        return None;
    }
    let most = length / 3;
    let near = |(name, called): (&'n str, Vec<&'n str>)| {
        let least = called.into_iter().filter_map(|c| unlikeness(&wanted, &plain(c), most)).min()?;
        Some((least, name))
    };
    let mut near: Vec<(usize, &str)> = candidates.into_iter().filter_map(near).collect();
    near.sort_by_key(|n| n.0);
    near.truncate(MOST);
    let near: Vec<&str> = near.into_iter().map(|n| n.1).collect();
    match near.split_last()? {
        (one, []) => Some(format!("did you mean \"{one}\"?")),
        (last, rest) => Some(format!("did you mean {} or {last}?", rest.join(", "))),
    }
}

/// How unlike two plain names are: letters to change, add, take out or exchange; 0 when one contains the other, `None`
/// where they differ in more than `most`.
fn unlikeness(wanted: &str, name: &str, most: usize) -> Option<usize> {
    let contains = |one: &str, other: &str| one.chars().count() > 1 && other.contains(one);
    if contains(wanted, name) || contains(name, wanted) {
        return Some(0);
    }
    let longer = name.chars().count().abs_diff(wanted.chars().count());
    (longer <= most).then(|| strsim::damerau_levenshtein(wanted, name)).filter(|least| *least <= most)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(wanted: &str, names: &[&'static str]) -> Option<String> {
        did_you_mean(wanted, names.iter().map(|n| (*n, vec![*n])), str::to_lowercase)
    }

    #[test]
    fn only_names_that_come_near_are_suggested() {
        let names = ["Oboe", "Violino", "Viola"];
        assert_eq!(asked("oboee", &names).as_deref(), Some("did you mean \"Oboe\"?"));
        assert_eq!(asked("vioal", &names).as_deref(), Some("did you mean \"Viola\"?"));
        assert_eq!(asked("violo", &names).as_deref(), Some("did you mean \"Viola\"?"));
        assert_eq!(asked("vio", &names).as_deref(), Some("did you mean Violino or Viola?"));
        assert_eq!(asked("trumpet", &names), None);
        assert_eq!(asked("", &names), None);
        // As long as arguments may be: the table of the work would fill all memory.
        assert_eq!(asked(&"oboa".repeat(30_000), &names), None);
        let long: &'static str = "oboe".repeat(1_000_000).leak();
        assert_eq!(asked("oboa", &[long]), None);
    }
}
