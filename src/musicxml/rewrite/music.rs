//! The music of a bar that is written from the source's: voice by voice, and
//! what stands in time among the notes.

use super::super::fragment::Fragment;
use super::SourceSide;
use super::bars::BarWriter;
use super::timed::{MOST_DIVISIONS, line_up};
use super::voices::{voice_of, voices_in};
use crate::alignment::SourceNote;
use crate::time::{Time, lcm};

/// Notes that are written one after another in one voice.
struct Lane {
    voice: u32,
    name: String,
    chords: Vec<Chord>,
}

/// A note or a chord, with the grace notes before it; the last of a voice may
/// be grace notes alone.
struct Chord {
    from: Time,
    to: Time,
    notes: Vec<SourceNote>,
}

impl<'a, 'i> BarWriter<'_, 'a, 'i> {
    /// The rests with which the edition's bar is filled up, and where they end.
    fn padding(&self, row: usize, shift: Time, divisions: i64) -> (Vec<Fragment>, Time) {
        let bar = self.context.plan[row].edition().filter(|_| shift > Time::zero());
        let Some(bar) = bar.map(|b| &self.context.part.bars[b]) else { return (Vec::new(), Time::zero()) };
        let first_voice = bar.notes.clone().next().map(|n| self.context.part.notes[n].voice);
        let mut end = Time::zero();
        let mut out = Vec::new();
        for note in bar.notes.clone().map(|n| &self.context.part.notes[n]) {
            if note.offset == end && end < shift && Some(note.voice) == first_voice {
                let mut rest = Fragment::copy(self.context.tree.node(note.element));
                rest.remove("duration");
                rest.place(Fragment::leaf("duration", (note.duration * Time::from(divisions)).to_integer()));
                out.push(rest);
                end += note.duration;
            }
        }
        (out, end)
    }

    /// The music of a composed bar, in order, and the divisions it needs.
    pub(super) fn content(&self, row: usize, bar: usize, divisions: i64) -> (Vec<Fragment>, i64) {
        let Some(source) = self.context.source else {
            return (Vec::new(), divisions);
        };
        let notes = &source.part.notes[source.part.bars[bar].notes.clone()];
        let shift = self.context.plan[row].shift();
        let end = source.part.bars[bar].length + shift;
        let mut timed = self.timed.in_new.get(&row).cloned().unwrap_or_default();
        timed.extend(self.context.directions_alone(row));
        timed.sort_by_key(|t| t.0);
        let lengths = notes.iter().flat_map(|n| [n.offset + shift, n.duration]);
        let divisions = lengths.chain([end]).fold(divisions, |d, t| lcm(d, t.denom()));
        let places = timed.iter().map(|t| t.0).fold(divisions, |d, t| lcm(d, t.denom()));
        let divisions = if places <= MOST_DIVISIONS { places } else { divisions };
        let lanes = self.lanes(source, bar, shift);
        let mut hosts: Vec<Vec<Vec<(Time, Fragment)>>> =
            lanes.iter().map(|l| vec![Vec::new(); l.chords.len()]).collect();
        let mut last = Vec::new();
        for (at, fragment) in timed {
            match host(&lanes, at) {
                Some((lane, chord)) => hosts[lane][chord].push((at, fragment)),
                None => last.push((at, fragment)),
            }
        }
        let (mut out, mut cursor) = self.padding(row, shift, divisions);
        let mut last = Some(last);
        for (lane, hosted) in lanes.iter().zip(&mut hosts) {
            for (chord, timed) in lane.chords.iter().zip(hosted) {
                out.extend(jump(&mut cursor, chord.from, divisions));
                out.extend(line_up(std::mem::take(timed), cursor, divisions));
                for id in &chord.notes {
                    let Some(mut fragment) = self.composed.get(id).cloned() else { continue };
                    let note = &source.part[*id];
                    if note.grace == 0 {
                        fragment
                            .place(Fragment::leaf("duration", (note.duration * Time::from(divisions)).to_integer()));
                    }
                    if !lane.name.is_empty() {
                        fragment.remove("voice");
                        fragment.place(Fragment::leaf("voice", &lane.name));
                    }
                    out.push(fragment);
                }
                cursor = chord.to;
            }
            // What comes later than the first voice's last note.
            out.extend(line_up(last.take().unwrap_or_default(), cursor, divisions));
        }
        out.extend(line_up(last.take().unwrap_or_default(), cursor, divisions));
        for (at, length, fragment) in self.context.music_alone(row, divisions, source.part.bars[bar].length) {
            out.extend(at.and_then(|at| jump(&mut cursor, at, divisions)));
            out.push(fragment);
            cursor += length;
        }
        if !notes.is_empty() {
            out.extend(jump(&mut cursor, end, divisions));
        }
        (out, divisions)
    }

    /// The voices of a bar of the source. What overlaps in one is in two.
    fn lanes(&self, source: SourceSide<'a, 'i>, bar: usize, shift: Time) -> Vec<Lane> {
        let mut lanes: Vec<Lane> = Vec::new();
        for voice in voices_in(source.part, bar) {
            let name = self.composer.voices.name_of(source, voice);
            let first = lanes.len();
            lanes.push(Lane { voice, name, chords: Vec::new() });
            let mut before: Vec<SourceNote> = Vec::new();
            let mut home = first;
            let all = source.part.notes_in(&source.part.bars[bar]);
            for id in all.filter(|n| voice_of(source.part, *n) == voice) {
                let note = &source.part[id];
                let (from, to) = (note.offset + shift, note.offset + shift + note.duration);
                if from < Time::zero() {
                    // A rest that filled up the source's bar.
                    continue;
                }
                if note.grace > 0 && !note.grace_after {
                    before.push(id);
                    continue;
                }
                if note.chord || note.grace_after {
                    if let Some(chord) = lanes[home].chords.last_mut() {
                        chord.notes.push(id);
                    }
                    continue;
                }
                let fits = |lane: &Lane| !lane.chords.iter().any(|c| c.from < to && from < c.to);
                home = (first..lanes.len()).find(|l| fits(&lanes[*l])).unwrap_or(lanes.len());
                if home == lanes.len() {
                    let staff = self.context.staff_in(note.staff);
                    let taken = |name: &str| lanes.iter().any(|l| l.name == *name || l.name.is_empty() && name == "1");
                    let later = |name: &str| {
                        voices_in(source.part, bar)
                            .into_iter()
                            .any(|v| self.composer.voices.name_of(source, v) == *name)
                    };
                    let name = self.composer.voices.free(staff, |name| taken(name) || later(name));
                    lanes.push(Lane { voice, name, chords: Vec::new() });
                }
                let mut notes = std::mem::take(&mut before);
                notes.push(id);
                lanes[home].chords.push(Chord { from, to, notes });
            }
            if !before.is_empty() {
                let at = lanes[home].chords.last().map_or(shift.max(Time::zero()), |c| c.to);
                lanes[home].chords.push(Chord { from: at, to: at, notes: before });
            }
            for lane in &mut lanes[first..] {
                lane.chords.sort_by_key(|c| c.from);
            }
        }
        lanes.retain(|l| !l.chords.is_empty());
        // The lanes of one voice stand together.
        lanes.sort_by_key(|l| lane_order(source, bar, l.voice));
        lanes
    }
}

fn lane_order(source: SourceSide<'_, '_>, bar: usize, voice: u32) -> usize {
    voices_in(source.part, bar).iter().position(|v| *v == voice).unwrap_or(0)
}

/// The chord before which something at a time stands: one that begins there,
/// else the one that sounds in the first voice.
fn host(lanes: &[Lane], at: Time) -> Option<(usize, usize)> {
    let begins = lanes
        .iter()
        .enumerate()
        .find_map(|(l, lane)| lane.chords.iter().position(|c| c.from == at && c.to > at).map(|chord| (l, chord)));
    let first = lanes.first()?;
    let sounds = first.chords.iter().rposition(|c| c.from <= at && at < c.to);
    begins.or(sounds.map(|chord| (0, chord)))
}

/// From one time of a bar to another.
fn jump(cursor: &mut Time, to: Time, divisions: i64) -> Option<Fragment> {
    let from = std::mem::replace(cursor, to);
    super::timed::jump(from, to, divisions)
}
