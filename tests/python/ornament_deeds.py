"""What an editor writes out in small notes that the source has plain, or with a sign or a grace note."""

import copy
from fractions import Fraction

import own_marks
from building import insert
from deed_places import key_alter, pitch_of, written
from moving import STEPS

SMALL = (Fraction(1, 8), Fraction(1, 4), Fraction(1, 2))
SHAPES = {
    "trill-mark": "trill", "mordent": "mordent", "inverted-mordent": "upper", "turn": "turn",
}


def shape_of(kind, length, small):
    """[(steps from the main note, length)] of a realisation, or None if it does not fit."""
    if kind == "turn":
        return [(1, length / 4), (0, length / 4), (-1, length / 4), (0, length / 4)]
    if kind in ("mordent", "upper"):
        rest = length - 2 * small
        return [(0, small), (-1 if kind == "mordent" else 1, small), (0, rest)] if rest >= small else None
    if kind in ("trill", "main trill"):
        count = length / small
        if count.denominator != 1 or count < 4 or count % 2:
            return None
        return [((i + (kind == "trill")) % 2, small) for i in range(int(count))]
    return None


class OrnamentDeeds:
    def realisations(self):
        part, chord = self.draw()
        if chord is None or chord.duration < Fraction(1, 2) or chord.head.find("type") is None:
            return self.appoggiatura()
        note = chord.head
        signs = [s for s in note.findall("notations/ornaments/*")]
        if len(signs) > 1 or signs and signs[0].tag not in SHAPES:
            return False
        kind = SHAPES[signs[0].tag] if signs else self.rng.choice(["trill", "main trill", "mordent", "upper", "turn"])
        shape = shape_of(kind, chord.duration, self.rng.choice(SMALL))
        if shape is None or not self.write_out(part, chord, shape, []):
            return False
        for notations in note.findall("notations"):
            for group in notations.findall("ornaments"):
                own_marks.drop([note, notations], group)
        return True

    def appoggiatura(self):
        """A grace note as a note of its own."""
        part = self.rng.choice(self.parts)
        found = [m for m in self.marks_of(part) if m.category == "grace" and len(m.holder) == 1
                 and len(m.holder[0].members) == 1 and len(m.chord.members) == 1]
        if not found:
            return False
        mark = self.rng.choice(found)
        chord, grace = mark.chord, mark.holder[0]
        if mark.bar.index in self.taken[part.id] or mark.bar.index in self.marked[part.id]:
            return False
        if not self.easy(part, chord, graced=True) or chord.head.find("notations/ornaments") is not None:
            return False
        main, small = pitch_of(chord.head), pitch_of(grace.head)
        away = STEPS.index(small[0]) + 7 * small[2] - STEPS.index(main[0]) - 7 * main[2]
        length = chord.duration / 2
        if abs(away) != 1 or chord.head.find("type") is None:
            return False
        if not self.write_out(part, chord, [(away, length), (0, chord.duration - length)], [grace.head], small):
            return False
        mark.bar.el.remove(grace.head)
        self.own[part.id].remove(mark)
        return True

    def write_out(self, part, chord, shape, without, small=None):
        """Puts small notes in the place of a note, if that leaves no doubt about any other."""
        note, bar = chord.head, chord.bar
        main = pitch_of(note)
        if self.special(note) or abs(main[1]) > 2 or main[1].denominator != 1:
            return False
        lengths = [length for _, length in shape]
        if not self.fits(part, bar, lengths) or None in map(written, lengths):
            return False
        others = self.letters(bar, [note] + without)
        pitches = []
        for away, _ in shape:
            place = STEPS.index(main[0]) + 7 * main[2] + away
            step, octave = STEPS[place % 7], place // 7
            alter = key_alter(step, part.keys[bar.index])
            if away and others.get(step, {alter}) != {alter} or not 1 <= octave <= 8:
                return False
            pitches.append(main if away == 0 else (step, Fraction(alter), octave))
        if small is not None and pitches[0] != small:
            return False
        # Where another voice strikes one of these, it could as well be that.
        for other in part.in_bar[bar.index]:
            if other is not chord and not other.grace and not other.rest and chord.onset <= other.onset < (
                    chord.onset + chord.duration) and any(pitch_of(n) in pitches for n in other.members):
                return False
        # A neighbour of the same pitch would leave open which note was written out.
        line = part.voices[chord.voice]
        at = next(i for i, c in enumerate(line) if c is chord)
        for near in line[max(0, at - 1): at] + line[at + 1: at + 2]:
            if any(pitch_of(n) in pitches for n in near.members):
                return False
        if not self.claim(part, bar.index, bar.index, close=True):
            return False
        for c in part.in_bar[bar.index]:
            for n in c.members:
                for beam in n.findall("beam"):
                    n.remove(beam)
        place, onset, made = list(bar.el).index(note), chord.onset, []
        for at, ((away, length), pitch) in enumerate(zip(shape, pitches)):
            new = note
            if at:
                new = copy.deepcopy(note)
                for tag in ("notations", "lyric", "accidental", "tie"):
                    for child in new.findall(tag):
                        new.remove(child)
            made.append(new)
        for at, (new, (away, length), pitch) in enumerate(zip(made, shape, pitches)):
            self.set_length(part, bar, new, length)
            if away:
                self.set_pitch(new, *pitch, sign=False)
            if at:
                insert(bar.el, place + at, new)
        self.tell(part, "written-out", "altered", "%s%+d%d" % main, bar, chord.onset)
        for length in lengths[:-1]:
            onset += length
        self.passages.append({"part": part.id, "kind": "written-out-ornament", "voice": chord.voice,
                              "from": (bar.el, chord.onset), "to": (bar.el, onset)})
        return True
