//! What a mark reads, for people: the one place where signs become text.

use super::harmony::{ChordItem, ChordSymbol, ChordTone, Figure, FigureSign, FiguredBass};
use super::sign::{HairpinKind, Pedal, Repeat, Sign, StaffSide, Tremolo};
use super::{Category, Mark, Meaning};
use crate::pitch::{Interval, Pitch, accidental_name, key_name, short_accidental};
use std::borrow::Cow;

impl Mark {
    /// As it is printed, in words where it is a sign: `staccato`, `f`, `cresc.`, `double bar`.
    pub fn reading(&self) -> Cow<'_, str> {
        self.sign.reading(self.category)
    }

    /// The same in another key: `sounding` leads from what sounds to what sounds there,
    /// `writing` to what is written there.
    pub fn moved_reading(&self, sounding: Interval, writing: Interval) -> Cow<'_, str> {
        match &self.sign {
            Sign::Chord(chord) => {
                let name = |tone: &ChordTone| match tone.pitch {
                    Some(pitch) => pitch.moved(writing).simplest().name(),
                    None => tone.printed.clone(),
                };
                chord.reading(name).into()
            }
            Sign::Figures(bass) => {
                let name = |sign: &FigureSign| match sign.pitch {
                    Some(pitch) => accidental_name(pitch.moved(writing).alter).map_or("", short_accidental).to_string(),
                    None => short_accidental(&sign.name).to_string(),
                };
                bass.reading(name).into()
            }
            _ if sounding == Interval::UNISON => self.reading(),
            Sign::Key { sounding: key, .. } => key_name(key + writing.fifths()).into(),
            Sign::Grace { pitches, slashed } => grace(pitches.iter().map(|p| p.moved(sounding)), *slashed).into(),
            _ => self.reading(),
        }
    }
}

impl Sign {
    /// What it reads as a mark of a category.
    fn reading(&self, category: Category) -> Cow<'_, str> {
        let called = |name| called(category, name);
        match self {
            Sign::Named(name) => called(name),
            Sign::Detailed { name, words, .. } => format!("{} {words}", called(name)).trim().to_string().into(),
            Sign::Arpeggio { name, direction } => format!("{name} {direction}").trim().replace('-', " ").into(),
            Sign::Line { kind, text } if text.is_empty() => called(kind.name()),
            Sign::Line { kind, text } => format!("{} {text}", called(kind.name())).trim().to_string().into(),
            Sign::Textual { text, .. }
            | Sign::Rehearsal(text)
            | Sign::KeyOfSigns(text)
            | Sign::Time(text)
            | Sign::Lyric { text, .. } => text.into(),
            Sign::Words { printed, .. } | Sign::OtherDynamics { printed, .. } => printed.into(),
            Sign::Metronome(metronome) => Cow::Borrowed(&metronome.printed),
            Sign::Fermata { shape } => format!("{shape} fermata").into(),
            Sign::Hole { words, .. } => format!("{words} hole").into(),
            Sign::Symbol(name) => format!("symbol {name}").into(),
            Sign::Key { written, .. } => key_name(*written).into(),
            Sign::Grace { pitches, slashed } => grace(pitches.iter().copied(), *slashed).into(),
            Sign::Chord(chord) => chord.reading(|tone| tone.printed.clone()).into(),
            Sign::Figures(bass) => bass.reading(|sign| short_accidental(&sign.name).to_string()).into(),
            Sign::Accidental { why, sign } => format!("{why} {sign}").into(),
            Sign::AccidentalMark { sign, of_ornament: true } => format!("{sign} at the ornament").into(),
            Sign::AccidentalMark { sign, of_ornament: false } => format!("{sign} above or below").into(),
            Sign::Hairpin(hairpin) => {
                let from = if hairpin.from_nothing { " from nothing" } else { "" };
                let to = if hairpin.to_nothing { " to nothing" } else { "" };
                match &hairpin.kind {
                    HairpinKind::Other(name) => format!("{name}{to}").into(),
                    kind => format!("{}{from}{to}", kind.name()).into(),
                }
            }
            Sign::OctaveLine(line) => match line.side {
                Some(StaffSide::Above) => format!("{} above", line.size).into(),
                Some(StaffSide::Below) => format!("{} below", line.size).into(),
                None => "".into(),
            },
            Sign::Pedal(Pedal::Sustain) => "pedal".into(),
            Sign::Pedal(Pedal::Sostenuto) => "sostenuto pedal".into(),
            Sign::Pedal(Pedal::Change) => "pedal change".into(),
            Sign::Trill { .. } => "trill".into(),
            Sign::Tremolo { strokes, kind: Tremolo::OnOneNote } => {
                format!("tremolo {strokes}").trim().to_string().into()
            }
            Sign::Tremolo { strokes, kind: Tremolo::BetweenTwo } => {
                format!("tremolo {strokes} with the next note").into()
            }
            Sign::Tremolo { kind: Tremolo::Unmeasured, .. } => "unmeasured tremolo".into(),
            Sign::Repeat { direction, times } => {
                let direction = match direction {
                    Repeat::Forward => "forward",
                    Repeat::Backward => "backward",
                };
                match times {
                    Some(times) => format!("{direction} repeat, {times} times").into(),
                    None => format!("{direction} repeat").into(),
                }
            }
            Sign::Ending(ending) => format!("ending {}", ending.numbers).into(),
            Sign::DoubleBar => "double bar".into(),
        }
    }
}

impl Meaning<'_> {
    /// What it says as a mark of a category.
    pub fn reading(&self, category: Category) -> Cow<'_, str> {
        match self {
            Meaning::Term(term) => Cow::Borrowed(term),
            Meaning::Sign(sign) => sign.reading(category),
            Meaning::Key(fifths) => key_name(*fifths).into(),
            Meaning::Grace { .. } => "grace notes".into(),
            Meaning::Chord(_) => "chord symbol".into(),
            Meaning::Figures(_) => "figures".into(),
            Meaning::AccidentalMark(Some(sign)) => Cow::Borrowed(sign),
            Meaning::AccidentalMark(None) | Meaning::Accidental => "accidental".into(),
        }
    }
}

/// A name as people read it. Articulations and techniques go by their names.
fn called(category: Category, name: &str) -> Cow<'_, str> {
    match category {
        Category::Ornament | Category::Text if name.contains('-') => name.replace('-', " ").into(),
        _ => name.into(),
    }
}

fn grace(pitches: impl Iterator<Item = Pitch>, slashed: bool) -> String {
    let names: Vec<String> = pitches.map(|p| p.to_string()).collect();
    format!("{}{}", names.join(" "), if slashed { " slashed" } else { "" })
}

impl ChordSymbol {
    /// As in `C major/E`; `name` names its tones.
    fn reading(&self, name: impl Fn(&ChordTone) -> String) -> String {
        let mut out = String::new();
        for item in &self.items {
            let (joined, text) = match item {
                ChordItem::Root(tone) => (" ", name(tone)),
                ChordItem::Bass(tone) => ("/", name(tone)),
                ChordItem::Inversion(inversion) => (" inversion ", inversion.clone()),
                ChordItem::Diagram => (" with a chord diagram", String::new()),
                ChordItem::Numeral(text) | ChordItem::Function(text) | ChordItem::Degree(text) => (" ", text.clone()),
                ChordItem::Kind { printed, .. } => (" ", printed.clone()),
            };
            out.push_str(joined);
            out.push_str(&text);
        }
        if let Some(form) = &self.form {
            out.push_str(&format!(" ({form})"));
        }
        out.split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

impl FiguredBass {
    /// As in `#6/4`; `name` names the signs.
    fn reading(&self, name: impl Fn(&FigureSign) -> String) -> String {
        let told = |sign: &Option<FigureSign>| sign.as_ref().map_or(String::new(), &name);
        let figure = |figure: &Figure| {
            let space = if figure.number.is_empty() { "" } else { " " };
            let text = format!("{}{space}{} {}", told(&figure.before), figure.number, told(&figure.after));
            format!("{}{}", text.trim(), if figure.goes_on { " _" } else { "" })
        };
        let figures = self.figures.iter().map(figure).collect::<Vec<_>>().join("/");
        if self.in_parentheses { format!("({figures})") } else { figures }
    }
}
