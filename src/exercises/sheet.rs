//! The sheet: stretch after stretch, each as it stands and then its exercises.

use super::forms::{Form, RHYTHM};
use super::ladder::ladder;
use super::lay::lay;
use super::passage::Passage;
use super::rhythms::{self, Rhythm};
use super::{Exercise, ExerciseError, ExerciseWishes, Player, Practice, Practised};
use crate::instrument::{Clef, Range, ReadAs};
use crate::keys::{HardStretch, Study};
use crate::musicxml::sheet::{Begins, Ends, SheetBar, SheetPart, SheetTempo, Weight, Words};
use crate::pitch::Interval;
use crate::readable::capital;
use crate::report::fingers::{across, why};
use crate::score::NoteId;
use crate::time::Value;

/// Stretches that are looked at for one that can be written.
const SPARE: usize = 3;

impl Player<'_> {
    /// A sheet, with headings still to be filled in.
    ///
    /// # Errors
    /// Where there is nothing to practise, or the bars that are named cannot be.
    pub fn practise(&self, wishes: &ExerciseWishes) -> Result<Practice, ExerciseError> {
        let study = Study::new(self.part, self.instrument, self.view, self.chart, self.tempo);
        if !self.part.struck().any(|note| self.part.notes[note].pitch().is_some()) {
            return Err(ExerciseError::NoNotes { part: self.part.spoken().into_owned() });
        }
        let wanted = ExerciseWishes { most: wishes.most * SPARE, ..wishes.clone() };
        let mut sheet = SheetWriter::new(SheetPart::for_instrument(self.instrument), &self.instrument.written);
        let mut warnings = Vec::new();
        for hard in self.stretches(&study, &wanted)? {
            if sheet.stretches.len() == wishes.most {
                break;
            }
            let done = self.passage(&study, &hard).and_then(|passage| {
                let place = self.place(&hard);
                let own = passage.metre.is_compound();
                let rhythms = wishes.rhythms.clone().unwrap_or_else(|| rhythms::usual(own));
                let clef = self.readable(self.clef(hard.first), &passage);
                sheet
                    .stretch(hard, clef, &place, &passage, (&wishes.forms, &rhythms))
                    .ok_or(ExerciseError::Lengths { place })
            });
            match done {
                Ok(()) => {}
                // What was asked for is not left out in silence.
                Err(error) if wishes.bars.is_some() => return Err(error),
                Err(error) => warnings.push(format!("left out: {error}")),
            }
        }
        warnings.dedup();
        let left_out = warnings.len();
        let SheetWriter { mut part, stretches, unwritten, .. } = sheet;
        let in_words = |heading| format!("left out where its lengths cannot be written as notes: {heading}");
        warnings.extend(unwritten.into_iter().map(in_words));
        if let Some(last) = part.bars.last_mut().filter(|bar| bar.ends != Ends::Repeat) {
            last.ends = Ends::Final;
        }
        Ok(Practice { stretches, sheet: part, left_out, warnings })
    }

    /// The part's own clef where the player reads what the part prints, and that clef; else the instrument's.
    fn clef(&self, note: NoteId) -> Clef {
        let own = &self.part.notes[note];
        let printed = (self.clefs)(own.bar, own.staff);
        let is_read = |clef: &Clef| *clef == self.instrument.clef || self.instrument.other_clefs.contains(clef);
        let as_printed = |clef: &Clef| match self.view.read_as {
            ReadAs::Written => clef.octaves == 0,
            ReadAs::Sounding => self.view.transposition == own.transpose.plus(Interval::octaves(clef.octaves)),
        };
        // One octave for the whole sheet.
        let same_octave = |clef: &Clef| clef.octaves == self.instrument.clef.octaves;
        printed.filter(|c| is_read(c) && as_printed(c) && same_octave(c)).unwrap_or(self.instrument.clef)
    }

    /// Another clef of the instrument where this one needs too many ledger lines: a part may change it within the bar.
    fn readable(&self, clef: Clef, passage: &Passage) -> Clef {
        let farthest = |clef: &Clef| {
            let middle = Clef { octaves: 0, ..*clef }.middle_line();
            passage.tones.iter().filter_map(|tone| Some((tone.pitch?.staff_place() - middle).abs())).max()
        };
        if farthest(&clef) <= Some(FARTHEST) {
            return clef;
        }
        let own = std::iter::once(&self.instrument.clef).chain(&self.instrument.other_clefs);
        let same_octave = own.filter(|other| other.octaves == clef.octaves).copied();
        std::iter::once(clef).chain(same_octave).min_by_key(farthest).unwrap_or(clef)
    }

    fn place(&self, hard: &HardStretch) -> String {
        let [from, to] = [hard.first, hard.last].map(|note| self.point(note));
        across(&from, &to)
    }
}

/// Places from the middle line to the note on the fourth ledger line.
const FARTHEST: i32 = 12;

struct SheetWriter<'r> {
    part: SheetPart,
    range: &'r Range,
    stretches: Vec<Practised>,
    /// Headings of exercises that no note values say, each once.
    unwritten: Vec<String>,
    clef: Option<Clef>,
    fifths: Option<i32>,
    time: Option<(i64, i64)>,
}

impl<'r> SheetWriter<'r> {
    fn new(part: SheetPart, range: &'r Range) -> SheetWriter<'r> {
        SheetWriter { part, range, stretches: Vec::new(), unwritten: Vec::new(), clef: None, fifths: None, time: None }
    }

    /// Adds a stretch with its exercises; `None`, and nothing, where it cannot be written.
    fn stretch(
        &mut self,
        hard: HardStretch,
        clef: Clef,
        place: &str,
        passage: &Passage,
        (forms, rhythms): (&[Form], &[Rhythm]),
    ) -> Option<()> {
        let ladder = ladder(hard.start.per_minute.round() as u32, hard.tempo.per_minute.round() as u32);
        let number = self.stretches.len() + 1;
        let mut bars = lay(&[passage.as_it_stands()], passage.metre, true)?;
        let first = bars.first_mut()?;
        first.begins = Begins::Line;
        first.clef = Some(clef).filter(|clef| self.clef != Some(*clef));
        first.fifths = Some(passage.fifths).filter(|fifths| self.fifths != Some(*fifths));
        first.time = Some(passage.metre.signature).filter(|time| self.time != Some(*time));
        first.words = vec![
            Words { text: format!("{number}. {}", capital(place)), short: None, weight: Weight::Heading },
            Words { text: remark(&hard), short: None, weight: Weight::Remark },
        ];
        let beat = Value::of(hard.tempo.beat.length(), 2);
        first.tempo = beat.map(|beat| SheetTempo { beat, per_minute: ladder[0], then: ladder[1..].to_vec() });
        let mut exercises = Vec::new();
        add(&mut bars, 0, None, "As it stands", &mut exercises);
        let mut all = bars;
        for form in forms {
            for made in form.make(passage, rhythms, self.range) {
                let Some(mut bars) = lay(&made.tries, passage.metre, made.rests) else {
                    if !self.unwritten.contains(&made.heading) {
                        self.unwritten.push(made.heading);
                    }
                    continue;
                };
                let first = bars.first_mut()?;
                let short = made.heading.strip_prefix(RHYTHM).map(capital);
                first.words = vec![Words { text: made.heading.clone(), short, weight: Weight::Lesser }];
                if *form == Form::Whole {
                    first.begins = Begins::Repeat;
                    bars.last_mut()?.ends = Ends::Repeat;
                }
                add(&mut bars, all.len(), Some(*form), &made.heading, &mut exercises);
                all.extend(bars);
            }
        }
        self.clef = Some(clef);
        self.fifths = Some(passage.fifths);
        self.time = Some(passage.metre.signature);
        self.part.bars.extend(all);
        self.stretches.push(Practised { hard, ladder, exercises });
        Some(())
    }
}

/// Ends an exercise, and notes where it is.
fn add(bars: &mut [SheetBar], at: usize, form: Option<Form>, heading: &str, to: &mut Vec<Exercise>) {
    if let Some(last) = bars.last_mut().filter(|bar| bar.ends == Ends::Plain) {
        last.ends = Ends::Double;
    }
    to.push(Exercise { form, heading: heading.into(), first_bar: at + 1, last_bar: at + bars.len() });
}

/// Why it is hard, in a line.
fn remark(hard: &HardStretch) -> String {
    match hard.lies_badly {
        true => format!("{}; it lies badly on this instrument", why(hard)),
        false => why(hard),
    }
}
