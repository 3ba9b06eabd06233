//! Tries laid into full bars, with a rest after each.

use super::metre::Metre;
use super::tone::{Tone, Try};
use crate::musicxml::sheet::{SheetBar, SheetNote};
use crate::pitch::Pitch;
use crate::time::Time;

/// More bars are no exercise.
const MOST_BARS: usize = 64;

/// The bars of an exercise, with `rests` between its tries; `None` where its lengths cannot be written.
pub fn lay(tries: &[Try], metre: Metre, rests: bool) -> Option<Vec<SheetBar>> {
    let mut music: Vec<Tone> = Vec::new();
    let mut now = Time::zero();
    let rest_until = |music: &mut Vec<Tone>, now: &mut Time, time: Time| {
        if time > *now {
            match music.last_mut().filter(|last| last.pitch.is_none()) {
                Some(rest) => rest.length += time - *now,
                None => music.push(Tone::rest(time - *now)),
            }
            *now = time;
        }
    };
    for (place, own) in tries.iter().enumerate() {
        let mut begins = now + own.start;
        // A try that has room in a bar does not cross a barline.
        let left = Metre::behind(begins, metre.bar) - begins;
        if place > 0 && own.length() > left && own.start + own.length() <= metre.bar {
            begins = Metre::up_to(begins, metre.bar) + own.start;
        }
        rest_until(&mut music, &mut now, begins);
        for (at, tone) in own.tones.iter().enumerate() {
            let mut tone = tone.clone();
            if own.lands && at + 1 == own.tones.len() {
                tone.length = metre.held(now % metre.bar, tone.length);
            }
            now += tone.length;
            music.push(tone);
        }
        // A rest to get ready again, but not behind the last, nor where the next begins with one.
        let rests = rests && tries.get(place + 1).is_some_and(|next| next.start < metre.part());
        let until = match (place + 1 == tries.len(), rests) {
            (true, _) => Metre::up_to(now, metre.bar),
            (_, false) => Metre::up_to(now, metre.block()),
            (_, true) => {
                shorten(&mut music, &mut now, own, metre);
                let least = if (now / metre.block()).is_integer() { metre.pulse } else { metre.part() };
                Metre::up_to(now + least, metre.block())
            }
        };
        rest_until(&mut music, &mut now, until);
    }
    bars(&music, metre)
}

/// A last note that would fill the last beat of a bar leaves the end of it for a rest.
fn shorten(music: &mut [Tone], now: &mut Time, own: &Try, metre: Metre) {
    let fills = own.lands && (*now / metre.block()).is_integer();
    if let Some(last) = music.last_mut().filter(|last| fills && last.length == metre.pulse) {
        last.length -= metre.part();
        *now -= metre.part();
    }
}

/// Cuts music at its barlines, and into what can be printed.
fn bars(music: &[Tone], metre: Metre) -> Option<Vec<SheetBar>> {
    let mut out: Vec<SheetBar> = Vec::new();
    let mut now = Time::zero();
    let mut slur = Slur::default();
    for (place, tone) in music.iter().enumerate() {
        let (starts, stops) = slur.at(tone, music.get(place + 1));
        let end = now + tone.length;
        let mut is_first = true;
        while now < end {
            let bar = (now / metre.bar).floor();
            if bar.to_integer() as usize >= MOST_BARS {
                return None;
            }
            while out.len() <= bar.to_integer() as usize {
                out.push(SheetBar::default());
            }
            let own = out.last_mut()?;
            let from = bar * metre.bar;
            let piece = end.min(from + metre.bar) - now;
            if is_first {
                own.notes.extend(tone.graces.iter().map(|pitch| grace(*pitch, now - from)));
            }
            let is_rest = tone.pitch.is_none();
            if is_rest && piece == metre.bar {
                own.notes.push(note(tone, now - from, piece, metre));
                now += piece;
                continue;
            }
            for value in metre.values(now - from, piece, is_rest)? {
                let mut note = SheetNote { value: Some(value), ..note(tone, now - from, value.length(), metre) };
                now += value.length();
                if !is_rest {
                    note.tied_from = !is_first;
                    note.tied_to = now < end;
                    note.slur_starts = starts && is_first;
                    note.slur_stops = stops && is_first;
                    note.fingering = tone.fingering.clone().filter(|_| is_first);
                }
                is_first = false;
                own.notes.push(note);
            }
        }
    }
    Some(out)
}

/// The slur that is open.
#[derive(Default)]
struct Slur(Option<usize>);

impl Slur {
    /// Whether one starts at a note, and whether one stops.
    fn at(&mut self, tone: &Tone, next: Option<&Tone>) -> (bool, bool) {
        let goes_on = tone.joined.filter(|_| tone.pitch.is_some() && next.is_some_and(|next| next.pitch.is_some()));
        let was = std::mem::replace(&mut self.0, goes_on);
        (goes_on.is_some() && goes_on != was, was.is_some() && goes_on != was)
    }
}

fn note(tone: &Tone, offset: Time, length: Time, metre: Metre) -> SheetNote {
    SheetNote { pitch: tone.pitch, offset, length, beamed_in: metre.beam_group(offset), ..SheetNote::default() }
}

fn grace(pitch: Pitch, offset: Time) -> SheetNote {
    SheetNote { pitch: Some(pitch), is_grace: true, offset, ..SheetNote::default() }
}
