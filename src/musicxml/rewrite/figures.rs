//! Figures over a bass: several over one note stand before it in their order,
//! each but the last with its length.

use super::super::edits::Edits;
use super::super::fragment::Fragment;
use super::super::tree::{child, child_text, element};
use super::in_force::times_of;
use super::timed::{Timed, line_up, set_duration, ticks};
use crate::score::Element;
use crate::time::{Time, parse_decimal};

/// A figure before a note: one that is there already, or a new one.
enum Figure {
    Old(Element, Time),
    New(Fragment),
}

/// The figures that stand before one element, which begins at a time.
struct Run {
    host: Element,
    from: Time,
    to: Time,
    figures: Vec<(Time, Figure)>,
    changed: bool,
}

impl Timed<'_, '_, '_> {
    /// Puts new figures among those that stay, in bars of the edition.
    pub(super) fn settle_figures(&mut self, edits: &mut Edits) {
        for bar in 0..self.context.part.bars.len() {
            let new: Vec<(Time, Fragment)> = match self.in_kept.get_mut(&bar) {
                Some(items) => items.extract_if(.., |(_, f)| f.name == "figured-bass").collect(),
                None => Vec::new(),
            };
            if new.is_empty() && !self.has_lost_figures(bar) {
                continue;
            }
            let mut runs = self.runs(edits, bar);
            for (at, fragment) in new {
                let begins = |run: &Run| run.from == at && run.to > at;
                let goes_on = |run: &Run| {
                    let earlier = run.figures.iter().any(|(time, _)| *time < at);
                    (run.from < at && at < run.to).then_some((earlier, run.from))
                };
                let home = runs.iter().position(begins).or_else(|| {
                    let open = runs.iter().enumerate().filter_map(|(i, run)| Some((goes_on(run)?, i)));
                    open.max().map(|(_, i)| i)
                });
                match home {
                    Some(home) => {
                        let run = &mut runs[home];
                        let place = run.figures.iter().position(|(time, _)| *time > at).unwrap_or(run.figures.len());
                        run.figures.insert(place, (at, Figure::New(fragment)));
                        run.changed = true;
                    }
                    None => self.in_kept.entry(bar).or_default().push((at, fragment)),
                }
            }
            let distances =
                runs.iter().filter(|r| r.changed).flat_map(|r| r.figures.iter().map(|(at, _)| *at - r.from));
            let distances: Vec<Time> = distances.collect();
            self.refine(edits, bar, distances.into_iter());
            let divisions = self.divisions(bar);
            for run in runs.into_iter().filter(|r| r.changed) {
                put_run(edits, run, divisions);
            }
        }
    }

    /// Whether a figure goes out of a bar; those after it may have counted on its length.
    fn has_lost_figures(&self, bar: usize) -> bool {
        self.lost_figures.contains(&bar)
    }

    /// The figures of a bar, by the notes that they stand before.
    fn runs(&self, edits: &Edits, bar: usize) -> Vec<Run> {
        let measure = self.context.bar_node(bar);
        let mut divisions = Time::from(self.context.part.bars[bar].divisions);
        let mut out = Vec::new();
        let (mut figures, mut changed, mut ahead) = (Vec::new(), false, Time::zero());
        for (item, at) in times_of(measure, &mut divisions).0 {
            match item.tag_name().name() {
                "figured-bass" => {
                    let length = child_text(item, "duration").and_then(parse_decimal).unwrap_or_default();
                    let length = length / Time::from(self.context.part.bars[bar].divisions.max(1));
                    match edits.is_removed(element(item)) {
                        true => changed = true,
                        false => figures.push((at + ahead, Figure::Old(element(item), length))),
                    }
                    ahead += length;
                }
                "note" if child(item, "grace").is_none() && child(item, "chord").is_none() => {
                    let length = child_text(item, "duration").and_then(parse_decimal).unwrap_or_default();
                    let to = at + length / Time::from(self.context.part.bars[bar].divisions.max(1));
                    let figures = std::mem::take(&mut figures);
                    out.push(Run { host: element(item), from: at, to, figures, changed });
                    (changed, ahead) = (false, Time::zero());
                }
                "backup" | "forward" => {
                    figures.clear();
                    (changed, ahead) = (false, Time::zero());
                }
                _ => {}
            }
        }
        out
    }
}

/// Writes the figures before one note so that each stands at its time.
fn put_run(edits: &mut Edits, run: Run, divisions: i64) {
    let times: Vec<Time> = run.figures.iter().map(|f| f.0).collect();
    let plain = times.first().is_none_or(|first| *first == run.from);
    let mut waiting: Vec<(Time, Fragment)> = Vec::new();
    for (place, (at, figure)) in run.figures.into_iter().enumerate() {
        let length = times[place + 1..].iter().find(|t| **t > at).map(|next| *next - at);
        // Of figures at one time only the last has a length.
        let length = length.filter(|_| times.get(place + 1).is_some_and(|next| *next > at));
        match figure {
            Figure::Old(old, was) if plain => {
                for (_, fragment) in waiting.drain(..) {
                    edits.insert_before(old, fragment);
                }
                if length.is_some_and(|length| length != was) {
                    set_figure_length(edits, old, ticks(length.unwrap_or_default(), divisions));
                }
            }
            Figure::Old(old, _) => {
                waiting.push((at, Fragment::copy(edits.tree().node(old))));
                edits.remove(old);
            }
            Figure::New(mut fragment) => {
                fragment.remove("duration");
                if let Some(length) = length.filter(|_| plain) {
                    set_duration(&mut fragment, ticks(length, divisions));
                }
                waiting.push((at, fragment));
            }
        }
    }
    // Without one at the note's own time the others are put there by moving the time.
    let last = match plain {
        true => waiting.into_iter().map(|(_, f)| f).collect(),
        false => line_up(waiting, run.from, divisions),
    };
    last.into_iter().for_each(|f| edits.insert_before(run.host, f));
}

fn set_figure_length(edits: &mut Edits, figure: Element, ticks: i64) {
    match child(edits.tree().node(figure), "duration") {
        Some(old) => edits.replace(element(old), Fragment::leaf("duration", ticks)),
        None => edits.add_child(figure, Fragment::leaf("duration", ticks)),
    }
}
