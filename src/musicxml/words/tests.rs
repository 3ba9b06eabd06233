use super::*;
use std::collections::HashSet;

#[test]
fn words_fall_into_their_categories() {
    // Common practice, no source.
    let cases = [
        (
            Category::Dynamics,
            "cresc.|poco a poco cresc.|sempre piano|più f|Piano|pia:|(f)|cresc. - - - -|cre - scen - do|p.o|F.te|\u{E520}|\
             [p]|sempre più crescendo|subito p|p sub.|meno f|mezzo-forte|quasi f|cresc. molto|poco f|\u{201C}forte\u{201D}|mezza voce|sotto voce.|molto dim.|leiser|très doux|getting louder|PP",
        ),
        (
            Category::Tempo,
            "Allegro con brio|Allegro ma non troppo|poco rit.|a tempo|Andante con moto|con moto|Allegro. 120|ALLEGRO|\
             adaggio|Allo|All.\u{BA}|And.te|And. cantabile|All:o assai|\u{2669} = 72|q = 165|(quarter = c. 60)|M.M. 60|\
             Piu\u{300} mosso|Pi\u{FB} lento|Sehr langsam|M\u{E4}ssig|Maessig|Massig|Nicht schnell|Gravement|rit. e dim.|\
             Finale. Presto|Trio. Vivace.|Tempo I.|Tempo di Menuetto|Allegro di Bravour|R I T.|L\u{2019}istesso tempo|senza rall.|\
             Assai sostenuto e molto adagio|Un poco più vivace|Allegro (Hornpipe)|largetto|\
             Largo e staccato|Andante grazioso|Langsam und schmachtend|Ziemlich bewegt|Assez vif|Tr\u{E8}s mod\u{E9}r\u{E9}|\
             Lentement et tendrement|Vivace ma non troppo presto|meno mosso|accel. poco a poco|Siciliana|colla parte",
        ),
        (
            Category::Expression,
            "dolce|molto espressivo|p dolce|con fuoco|dol.|espr.|Mit innigster Empfindung|tendrement|With expression|\
             sempre dolcissimo|la melodia sempre marcata|affetuo\u{17F}o|Con delicatezza|legieramente|Menuetto grazioso",
        ),
        (
            Category::Technique,
            "pizz.|con sord.|sempre stacc.|stoccato|Ped.|ten.|tr|a2|a 2|div.|sul G.|col punto d'arco|senza vibrato|mit D\u{E4}mpfer|\
             mit Daempfer|arco|sempre legatissimo|non legato|una corda|m.d.|staccato e dolce|con Ped.|\
             senza Ped.|Ped. simile|arco nat.|gliss.|sul pont.|D\u{E4}mpfer weg|l.h.|unis.",
        ),
        (
            Category::Structure,
            "D.C. al Fine|Da Capo|DC|D. S.|Fine|[FINE]|attacca subito|attaca|Menuetto D.C.|D.C.\n al Fine|1a volta|Reprise|\
             Da Capo ma senza replicarlo|D.S. al Coda|To Coda|V.S.|M.D.C.|2a volta",
        ),
        (
            Category::Text,
            "Solo|Tutti|Violino|Flauto dolce|1.|2.|II|cf. facsimile||*|8va|loco|sempre|Menuetto|Variazione 3|N.C.|K. 525|\
             Eine kleine Nachtmusik|e|la|Oboe|Theme and variation",
        ),
    ];
    let mut wrong = Vec::new();
    for (category, all) in cases {
        for words in all.split('|') {
            let found = classify(words).0;
            if found != category {
                wrong.push(format!("{words:?} is {found}, not {category}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn spellings_of_one_order_mean_the_same() {
    let same = [
        "cresc.|Crescendo|cre-scen-do|cresc. _ _ _",
        "più p|Più piano|piu\u{300} p|Piu P.",
        "Allegro|Allo|all.o|ALLEGRO.",
        "D.C. al Fine|Da capo al fine|DC al Fine",
        "pizz.|pizzicato",
        "m\u{E4}\u{DF}ig|Maessig|massig",
        "espr.|espressivo",
        "Tempo I|tempo primo|Tempo 1\u{BA}",
        "un po' più mosso|Un poco piu mosso",
    ];
    for all in same {
        let meanings: HashSet<(Category, String)> = all.split('|').map(classify).collect();
        assert_eq!(meanings.len(), 1, "{meanings:?}");
    }
    for (one, other) in [("rit.", "rall."), ("1.", "2."), ("[", "*"), ("dolce", "dolcissimo"), ("Solo", "Tutti")] {
        assert_ne!(classify(one), classify(other));
    }
}

#[test]
fn no_entry_stands_twice_and_all_can_be_found() {
    let spelled = |phrase: &str| one_line(&folded(phrase));
    let mut seen: HashSet<&str> = HashSet::new();
    let listed = LISTS
        .iter()
        .flat_map(|(word, languages)| languages.iter().flat_map(|(_, list)| *list).map(move |phrase| (*word, *phrase)));
    let dynamics = lexicon::DYNAMICS.iter().flat_map(|(_, list)| *list);
    let dynamics = dynamics.map(|(phrase, _)| (Word::Of(Category::Dynamics), *phrase));
    for (word, phrase) in listed.chain(dynamics) {
        assert_eq!(phrase, spelled(phrase), "the spelling in which it is looked up");
        assert!(seen.insert(phrase), "{phrase} stands twice");
        assert!(phrase.split(' ').count() <= LONGEST, "{phrase} is too long");
        let found = lookup(phrase).map(|e| e.0);
        assert!(found == Some(word), "{phrase} is found as something else");
        if let Word::Of(category) = word {
            assert_eq!(classify(phrase).0, category, "{phrase}");
        }
    }
    let mut shorts = HashSet::new();
    for (short, long) in lexicon::ABBREVIATIONS {
        assert!(!seen.contains(short) && shorts.insert(short), "{short} stands twice");
        assert_eq!(*long, spelled(long), "the spelling in which it is looked up");
        let words: Vec<String> = long.split(' ').map(str::to_string).collect();
        assert!(pieces(&words).iter().all(|p| p.0.is_some()), "{short} stands for {long}, which is not known");
    }
}

#[test]
fn the_lexicon_is_as_large_as_it_is_said_to_be() {
    let of = |language: &str| {
        let lists = LISTS.iter().filter(|l| l.0 != Word::Modifier).flat_map(|l| l.1);
        let listed: usize = lists.filter(|l| l.0 == language).map(|l| l.1.len()).sum();
        listed + lexicon::DYNAMICS.iter().filter(|l| l.0 == language).map(|l| l.1.len()).sum::<usize>()
    };
    // Modifiers and abbreviations apart.
    assert_eq!(["italian", "french", "german", "english"].map(of), COUNTS);
}

/// Entries in Italian, French, German and English.
const COUNTS: [usize; 4] = [564, 253, 262, 211];
