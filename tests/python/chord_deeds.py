"""What an editor does with chords, and with what a repeat is written out as."""

import copy
from fractions import Fraction

from building import element, insert
from deed_places import key_alter, pitch_of
from deeds import Deeds
from moving import NATURAL, STEPS
from parts import Part

FOR_ALL = ("tempo", "rehearsal", "structure")


def height(pitch):
    return NATURAL[STEPS.index(pitch[0])] + pitch[1] + 12 * pitch[2]


class ChordDeeds(Deeds):
    """The deeds of Deeds, and those that want chords. `beside` says which parts are to share a staff or a line."""

    STRUCTURES = Deeds.STRUCTURES + ("revoiced",)
    NAMES = ("written-out-repeat", "revoiced", "broken", "thinned", "filled") + Deeds.NAMES[1:]

    def __init__(self, root, rng, beside=(), source=None):
        self.beside = {name: group for group in beside for name in group}
        super().__init__(root, rng)
        # What stands for all, by bar of the source, in whatever part.
        self.standing = {}
        for part in map(Part, (source if source is not None else root).iter("part")):
            for category in FOR_ALL:
                for time in part.points.get(category, ()):
                    index = max((b.index for b in part.bars if b.start <= time), default=0)
                    self.standing.setdefault(index, []).append((category, part.id))
        self.of_id = {part.id: part for part in self.all}

    def guard(self, part):
        super().guard(part)
        for bar in part.bars:
            for category, _ in self.standing.get(self.places.get(bar.el, (None,))[0], ()):
                part.spans.setdefault(category, []).append((bar.start, bar.start + bar.length))

    def draw_mark(self, wanted=None):
        part, mark = super().draw_mark(wanted)
        # Left out or altered in one part, it would still stand in another.
        if mark is not None and any(category == mark.category and name != part.id
                                    for i in mark.bars for category, name in self.standing.get(i, ())):
            return part, None
        return part, mark

    def group(self, part):
        return [self.of_id[name] for name in self.beside.get(part.id, (part.id,)) if name in self.of_id]

    def chords_at(self, part, time):
        return [c for p in self.group(part) for c in Deeds.chords_at(self, p, time)]

    def heard(self, part, first, last):
        return set().union(*(Deeds.heard(self, p, first, last) for p in self.group(part)))

    def draw_chord(self, least):
        """A chord of so many notes at least, of which no two are one pitch."""
        part, chord = self.draw(single=False)
        # Most places have none: look through the bar.
        if chord is None:
            return part, None
        found = [c for c in part.in_bar[chord.bar.index] if self.easy(part, c) and len(c.members) >= least
                 and not any(self.special(n) for n in c.members) and len({pitch_of(n)[:2] for n in c.members}) == len(c.members)]
        return part, self.rng.choice(found) if found else None

    def alone(self, part, chord, pitches):
        """Whether no other voice strikes one of these pitches meanwhile, in whatever octave."""
        letters = {p[0] for p in pitches}
        end = chord.time + chord.duration
        return not any(
            other is not chord and not other.rest and other.time < end and other.time + other.duration > chord.time
            and any(pitch_of(n) and pitch_of(n)[0] in letters for n in other.members)
            for p in self.group(part) for i in (chord.bar.index,) for other in p.in_bar[i])

    # -- single chords

    def thinned(self):
        part, chord = self.draw_chord(3)
        if chord is None:
            return False
        bare = [n for n in chord.members[1:] if n.find("notations") is None and n.find("lyric") is None]
        if not bare:
            return False
        note = self.rng.choice(bare)
        if not self.alone(part, chord, [pitch_of(note)]) or not self.claim(part, chord.bar.index, chord.bar.index):
            return False
        pitch = pitch_of(note)
        chord.bar.el.remove(note)
        chord.members.remove(note)
        self.tell(part, "note", "omitted", "%s%+d%d" % pitch, chord.bar, chord.onset)
        return True

    def filled(self):
        """A third or a fifth more in a chord, or at a single note."""
        part, chord = self.draw_chord(1)
        if chord is None:
            return False
        pitches = [pitch_of(n) for n in chord.members]
        base = self.rng.choice(pitches)
        place = STEPS.index(base[0]) + 7 * base[2] + self.rng.choice([-4, -2, 2, 4])
        step, octave = STEPS[place % 7], place // 7
        new = (step, Fraction(key_alter(step, part.keys[chord.bar.index])), octave)
        if step in {p[0] for p in pitches} or not 1 <= octave <= 7 or not self.alone(part, chord, [new]):
            return False
        if self.letters(chord.bar).get(step, {new[1]}) != {new[1]}:
            return False
        if not self.claim(part, chord.bar.index, chord.bar.index):
            return False
        note = copy.deepcopy(chord.members[-1])
        for tag in ("notations", "lyric", "beam"):
            for child in note.findall(tag):
                note.remove(child)
        if note.find("chord") is None:
            note.insert(0, element("chord"))
        self.set_pitch(note, *new, sign=False)
        insert(chord.bar.el, list(chord.bar.el).index(chord.members[-1]) + 1, note)
        self.tell(part, "note", "added", "%s%+d%d" % new, chord.bar, chord.onset)
        return True

    def broken(self):
        """A chord played one note after another."""
        part, chord = self.draw_chord(3)
        if chord is None or len(chord.members) != 3 or chord.head.find("type") is None:
            return False
        length = chord.duration / 4
        if not self.fits(part, chord.bar, [length]) or length < Fraction(1, 8) or chord.duration not in (1, 2, 4):
            return False
        if any(n.find(t) is not None for n in chord.members for t in ("notations", "lyric", "beam", "accidental")):
            return False
        pitches = sorted((pitch_of(n) for n in chord.members), key=height)
        line = part.voices[chord.voice]
        at = next(i for i, c in enumerate(line) if c is chord)
        near = [pitch_of(n) for c in line[max(0, at - 1): at] + line[at + 1: at + 2] for n in c.members if not c.rest]
        if set(near) & set(pitches) or not self.alone(part, chord, pitches):
            return False
        if not self.claim(part, chord.bar.index, chord.bar.index, close=True):
            return False
        place, order = list(chord.bar.el).index(chord.head), (0, 1, 2, 1)
        for note in chord.members[1:]:
            chord.bar.el.remove(note)
        for turn, which in enumerate(order):
            new = chord.head if turn == 0 else copy.deepcopy(chord.head)
            self.set_length(part, chord.bar, new, length)
            self.set_pitch(new, *pitches[which], sign=False)
            if turn:
                insert(chord.bar.el, place + turn, new)
        self.tell(part, "written-out", "altered", "arpeggio", chord.bar, chord.onset)
        self.passages.append({"part": part.id, "kind": "written-out-ornament", "voice": chord.voice,
                              "from": (chord.bar.el, chord.onset), "to": (chord.bar.el, chord.onset + 3 * length)})
        return True

    # -- stretches

    def revoiced(self):
        """The chords of a stretch turned over: the lowest note an octave up, or the highest one down."""
        part, first = self.draw_chord(3)
        if first is None:
            return False
        line = part.voices[first.voice]
        at = next(i for i, c in enumerate(line) if c is first)
        run = []
        for chord in line[at: at + self.rng.randint(4, 12)]:
            if chord.rest or len(chord.members) < 3 or not self.easy(part, chord) or any(
                    self.special(n) for n in chord.members) or chord.staff != first.staff:
                break
            run.append(chord)
        if len(run) < 4:
            return False
        up = self.rng.random() < 0.5
        for chord in run:
            pitches = sorted((pitch_of(n) for n in chord.members), key=height)
            if len({p[0] for p in pitches}) < len(pitches) or height(pitches[-1]) - height(pitches[0]) >= 12:
                return False
            moved = pitches[0] if up else pitches[-1]
            if not 2 <= moved[2] + (1 if up else -1) <= 7 or not self.alone(part, chord, [moved]):
                return False
        if not self.claim(part, run[0].bar.index, run[-1].bar.index, close=True):
            return False
        for chord in run:
            note = (min if up else max)(chord.members, key=lambda n: height(pitch_of(n)))
            octave = note.find("pitch/octave")
            octave.text = str(int(octave.text) + (1 if up else -1))
            self.tell(part, "octave", "altered", "%s%+d%d" % pitch_of(note), chord.bar, chord.onset)
        self.passages.append({"part": part.id, "kind": "revoiced-chords", "voice": first.voice,
                              "from": self.place_of(run[0]), "to": self.place_of(run[-1])})
        return True

    # -- a repeat written out, with faults in it

    def written_out_repeat(self):
        found = self.strain() if self.same_bars() else None
        if not super().written_out_repeat():
            return False
        first, last = found
        for _ in range(self.rng.choice([0, 1, 1, 2])):
            any(self.fault(first, last) for _ in range(20))
        return True

    def fault(self, first, last):
        """A wrong note, or a mark left out, one of the times; not two in one bar."""
        part = self.rng.choice(self.parts)
        bar = part.bars[self.rng.randint(first, last)]
        second = self.rng.random() < 0.5
        count = last - first + 1
        where = list(part.el.findall("measure"))
        el = where[where.index(bar.el) + count] if second else bar.el
        if any(f["at"][0] in (bar.el, where[where.index(bar.el) + (count if not second else 0)]) and f["category"] != "structure"
               for f in self.findings):
            return False
        chords = [c for c in part.in_bar[bar.index] if self.easy(part, c) and len(c.members) == 1]
        if not chords:
            return False
        chord = self.rng.choice(chords)
        note = el.findall("note")[bar.el.findall("note").index(chord.head)]
        # What the second time has, the source has in the bar that it repeats.
        self.places[el] = (bar.index, bar.number)
        if self.rng.random() < 0.5:
            new = self.neighbour(part, chord, (-2, -1, 1, 2))
            if new is None:
                return False
            self.set_pitch(note, *new, sign=False)
            self.findings.append({"part": part.id, "category": "pitch", "status": "altered", "reading": "%s%+d%d" % new,
                                  "at": (el, chord.onset)})
            return True
        for notations in note.findall("notations"):
            for group in notations.findall("articulations"):
                signs = [s for s in group if s.tag not in ("breath-mark", "caesura")]
                if len(group) == 1 and signs:
                    notations.remove(group)
                    if not len(notations):
                        note.remove(notations)
                    self.findings.append({"part": part.id, "category": "articulation", "status": "omitted",
                                          "reading": signs[0].tag, "at": (el, chord.onset)})
                    return True
        return False
