//! Which of the names that there are may be meant by one that there is not.

/// So many names at most are suggested.
const MOST: usize = 7;

/// A question that names what may be meant, the likest first; `None` where nothing comes near. Each candidate is a name
/// as people are shown it, with all the ways of calling it. Both sides are compared as `plain` makes them.
pub fn did_you_mean<'n>(
    wanted: &str,
    candidates: impl IntoIterator<Item = (&'n str, Vec<&'n str>)>,
    plain: impl Fn(&str) -> String,
) -> Option<String> {
    let wanted = plain(wanted);
    let most = wanted.chars().count() / 3;
    let near = |(name, called): (&'n str, Vec<&'n str>)| {
        let least = called.into_iter().map(|c| unlikeness(&wanted, &plain(c))).min()?;
        (least <= most).then_some((least, name))
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

/// How unlike two plain names are: letters to change, add, take out or exchange; 0 when one contains the other.
fn unlikeness(wanted: &str, name: &str) -> usize {
    let contains = |one: &str, other: &str| one.chars().count() > 1 && other.contains(one);
    match contains(wanted, name) || contains(name, wanted) {
        true => 0,
        false => strsim::damerau_levenshtein(wanted, name),
    }
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
    }
}
