#!/usr/bin/env python3
"""Write source.musicxml, edition.musicxml and truth.json, always the same bytes.

The source is an invented Andante for oboe and basso.  The edition is its oboe
part moved up a perfect fourth for treble recorder, with the habits of an editor
of a century ago.  Every function that makes an intervention also records it, so
truth.json says what was done, not what some program found.

Notation of the tables, one string a bar:
    Bb4e.   pitch, value (w h q e s), dot      re     eighth rest
    D5e3    one eighth of a triplet             {C5}  appoggiatura before the note
    ~ tie to the next note   ( ) slur starts, stops   ' staccato   tr trill
    ^ fermata   [6/5] figures of the basso, [4>#] two of them in one note
"""
import itertools
import json
import os
import re
from fractions import Fraction as F
from xml.sax.saxutils import escape

HERE = os.path.dirname(os.path.abspath(__file__))

# ---------------------------------------------------------------- the music

OBOE = """
A4e A4e
D5q. E5s F5s E5e C#5e D5e A4e
Bb4e D5e G5q~ G5e F5s E5s F5e D5e
Bb5e A5s G5s A5e F5e G5e F5s E5s F5e D5e~
D5q C#5q rq A4e A4e
D5q. E5s F5s E5e C#5e D5e F5e~
F5e G5s A5s Bb5s A5s G5s F5s E5e C5e G5e E5e~
E5e F5s G5s A5s G5s F5s E5s D5e Bb4e F5e D5e~
D5e E5s F5s G5s F5s E5s D5s C5q rq
A5e. G5s F5e. E5s D5e. C5s Bb4e. A4s
G4e C5e E5e G5e Bb5q. A5s G5s
A5e F5s G5s A5e C5e' Bb5e G5s A5s Bb5e C5e'
A5e F5s G5s A5e C5e' Bb5e G5s A5s Bb5e C5e'
A5s F5s G5s A5s D5s F5s Bb5s D6s F5s D5s E5s F5s Bb4s D5s G5s Bb5s
G5s E5s F5s G5s A5s F5s G5s A5s Bb5s G5s A5s Bb5s C6q
D6e Bb5e A5e F5e G5q.tr F5e
F5h rq A4e A4e
F5q. G5s( A5s G5e) E5e F5e C5e
D5e F5e Bb5q~ Bb5e A5s G5s A5e F5e
re D5e C5e A4e Bb4e. C5s Bb4e G4e
re C5e Bb4e G4e A4e. Bb4s A4e F4e
A4e3 D5e3 C5e3 Bb4e3 D5e3 G5e3 Eb5e3 G5e3 C6e3 A5e3 G5e3 F#5e3
G5q Eb5e C5e {C5}Bb4q A4e.tr G4s
G4q re D5e D5e G5e Bb5q~
Bb5e A5e A5e( G5e) G5e( F#5e) G5q~
G5e E5e F5e D5e {D5}C#5h
D5q. E5s F5s E5e C#5e D5e A4e
Bb4e D5e G5q~ G5e F5s E5s F5e D5e
Bb5s A5s G5s Bb5s A5s G5s F5s A5s G5s F5s E5s G5s F5s E5s D5s F5s
D5e G5e Eb5q {Eb5}D5q C#5e.tr D5s
D5e F5e Bb5q~ Bb5e E5e F5e A5e
F5s D5s E5s F5s G5s E5s F5s G5s A5s F5s G5s A5s Bb5q
A5e F5e E5e C#5e D5e F5e A5q
D6e. C6s Bb5e. A5s G5e. F5s E5e. D5s
C#5e E5e A5e G5e F5e A5e D6e Bb5e
A5e F5e Bb5e G5e E5q.tr D5e
D5h.^ rq
"""

BASSO = """
rq
D3q F3q[6] A3e[#] G3e[#4/2] F3q[6]
G3e A3e Bb3e[6] G3e A3e[7/#] A2e[#] D3q
G3e E3e F3e[6] D3e E3e[#6] C#3e[6/5] D3e Bb2e[6]
A2q[4] A2q[#] A3e G3e F3e E3e
D3q F3q[6] A3e[#] G3e[#4/2] F3e[6] D3e
G3e[7] D3e G2e Bb2e C3e D3e E3e[6] C3e
F3e[7] C3e F2e A2e Bb2e C3e D3e[6] Bb2e
E3e[7] G3e E3e C3e[7] F3e C3e A2e[6] C3e
F3e E3e D3e C3e Bb2e A2e G2q
C3q C3e D3e E3e[6/5] D3e E3e[6/5] C3e[7]
F3q F3e A3e[6] G3q[6] E3q[6/5]
F3q F3e A3e[6] G3q[6] E3q[6/5]
F3q Bb2q D3q G2q
C3q F3q G3q A3q[6]
Bb3e G3e A3e[6] D3e C3q C3q[7]
F3e C3e A2e[6] C3e F2q rq
F3q A3q[6] C4e Bb3e[4/2] A3q[6]
Bb3e C4e D4e[6] Bb3e C4e[7] C3e F3q
F#3q[6/5] D3e[7/#] F#3e G3q G2q
E3q[6/5] C3e[7] E3e F3q F2q
F#2q[6/5] G2q C3q[b] D3q[#]
Eb3q C3q[b] D3q[6/4] D3q[#]
G2q G3q Bb3e[6] G3e E3e[5b] C#3e[7]
D3q[6>5] C#3q[6>5] C3q[5>#4] B2q[6]
Bb2q[6] A2q[6/4] A3e[4>#] G3e[#4/2] E3e[#6] A2e[#]
D3q F3q[6] A3e[#] G3e[#4/2] F3q[6]
G3e A3e Bb3e[6] G3e A3e[7/#] A2e[#] D3q
G3e E3e F3e[6] D3e E3e[#6] C#3e[6/5] D3e C3e
Bb2q[6] G2q[b6] A2q[6/4] A2q[#]
Bb2e C3e D3e[6] Bb2e E3e[5b] C#3e[6/5] D3e F3e[6]
D3q E3q[#6] F3q[6] G3q
A3q[6/4] A3e[#] G3e[#4/2] F3q[6] F3e A3e[#]
Bb3e A3e G3e F3e E3e[5b] D3e C#3q[6]
A2q[#] C#3q[6/5] D3e F3e[6] Bb3e G3e
F3q[6] G3q A3q[#] A2q[#]
D3h.^ rq
"""

FIRST_HALF_END = 16          # a repeat sign after this bar
LAST_MATCHED = 34            # the editor's own close replaces what follows

# What the editor wrote himself, in the edition's key.
CADENZA = """
D5s( F#5s A5s C6s) Bb5s A5s G5s F#5s G5s( Bb5s D6s G6s) F6s Eb6s D6s C6s
Bb5s( D6s C6s A5s) F#5s A5s G5s E5s F#5qtr^ D5e D5e
"""
ENDING = """
Bb5s( C6s D6s Eb6s) F6s( Eb6s D6s C6s) D6s Bb5s A5s G5s F#5s G5s A5s D5s
Eb6e. D6s C6e. Bb5s {Bb5}A5htr
G5s A5s Bb5s D6s G6h.^
"""

# ------------------------------------------------------- notes, bars, parsing

STEPS = "CDEFGAB"
SEMIS = (0, 2, 4, 5, 7, 9, 11)
VALUES = {"w": F(4), "h": F(2), "q": F(1), "e": F(1, 2), "s": F(1, 4)}
TYPES = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "16th"}
ALTERS = {"": 0, "#": 1, "b": -1}
NAMES = {0: "natural", 1: "sharp", -1: "flat"}


class Pitch:
    def __init__(self, step, alter, octave):
        self.step, self.alter, self.octave = step, alter, octave

    @classmethod
    def of(cls, text):
        m = re.fullmatch(r"([A-G])([#b]?)(\d)", text)
        return cls(m[1], ALTERS[m[2]], int(m[3]))

    def place(self):                       # letter names from C0
        return self.octave * 7 + STEPS.index(self.step)

    def midi(self):
        return 12 * (self.octave + 1) + SEMIS[STEPS.index(self.step)] + self.alter

    def up(self, steps, semitones):
        octave, step = divmod(self.place() + steps, 7)
        plain = Pitch(STEPS[step], 0, octave)
        plain.alter = self.midi() + semitones - plain.midi()
        return plain

    def __str__(self):
        return self.step + {0: "", 1: "#", -1: "b"}[self.alter] + str(self.octave)


class Note:
    def __init__(self, pitch, value, dots=0, triplet=False):
        self.pitch, self.value, self.dots, self.triplet = pitch, value, dots, triplet
        self.tie = self.tied = False       # tied to the next, from the last note
        self.slurs = []                    # "stop", "start"
        self.marks = []                    # (group, element, text)
        self.graces, self.figures, self.fermata = [], None, False
        self.cautionary = False

    def duration(self):
        d = VALUES[self.value] * (F(3, 2) if self.dots else 1)
        return d * F(2, 3) if self.triplet else d


class Bar:
    def __init__(self, key, number, source, notes):
        self.key, self.number, self.source, self.notes = key, number, source, notes
        self.directions = []               # (offset, [direction-type content], placement)

    def onsets(self):
        at, out = F(0), []
        for n in self.notes:
            out.append((at, n))
            at += n.duration()
        return out

    def note(self, offset):
        for at, n in self.onsets():
            if at == F(offset) and n.pitch:
                return n
        raise ValueError("no note in bar %s at %s" % (self.number, offset))


TOKEN = re.compile(r"(?:\{(.*?)\})?(r|[A-G][#b]?\d)([whqes])(\.?)(3?)(~?)([()]*)('?)(tr)?(\^?)(?:\[(.*)\])?")


def parse(table, keys, steps=0, semitones=0):
    bars, open_tie = [], False
    for key, line in zip(keys, table.strip().splitlines(), strict=True):
        notes = []
        for token in line.split():
            m = TOKEN.fullmatch(token)
            pitch = None if m[2] == "r" else Pitch.of(m[2]).up(steps, semitones)
            n = Note(pitch, m[3], len(m[4]), bool(m[5]))
            n.graces = [(Pitch.of(g).up(steps, semitones), "eighth") for g in (m[1] or "").split()]
            n.tied, n.tie = open_tie, bool(m[6])
            open_tie = n.tie
            n.slurs = [{"(": "start", ")": "stop"}[c] for c in m[7]]
            if m[8]:
                n.marks.append(("articulations", "staccato", None))
            if m[9]:
                n.marks.append(("ornaments", "trill-mark", None))
            n.fermata, n.figures = bool(m[10]), m[11]
            notes.append(n)
        source = key if isinstance(key, int) else None
        bars.append(Bar(key, str(key), source, notes))
    return bars


def words(text, style=""):
    return "<words%s>%s</words>" % (style, escape(text))


def make_source():
    keys = range(len(OBOE.strip().splitlines()))
    oboe, basso = parse(OBOE, keys), parse(BASSO, keys)
    oboe[0].directions.append((F(0), [words("Andante")], "above"))
    oboe[12].directions.append((F(0), [words("piano")], "below"))
    oboe[13].directions.append((F(0), [words("forte")], "below"))
    return oboe, basso

# ------------------------------------------------------------- the editor

ALTO_LOW, ALTO_HIGH = Pitch.of("F4").midi(), Pitch.of("G6").midi()
CATEGORY = {"articulations": "articulation", "ornaments": "ornament"}


def prints(note, name):
    return note is not None and any(name == other for _, other, _ in note.marks)


class Editor:
    """The edition and the record of what was done to it.

    Bars are called by their source number, the editor's own by a label
    ("c1", "e1" …): that stays readable whatever the printed numbers become.
    """

    def __init__(self, oboe):
        self.source = {b.key: b for b in oboe}
        keys = range(len(oboe))
        bars = parse(OBOE, keys, 3, 5)                  # up a perfect fourth
        for b, o in zip(bars, oboe):
            b.directions = list(o.directions)
        self.moved = {b.key: b for b in bars}
        self.findings, self.passages = [], []
        cadenza = parse(CADENZA, ["c1", "c2"])
        ending = parse(ENDING, ["e1", "e2", "e3"])
        self.bars = bars[:26] + cadenza + bars[26:LAST_MATCHED + 1] + ending
        for i, b in enumerate(self.bars):
            b.number = str(i)                           # numbers run on past the cadenza
        self.index = {b.key: i for i, b in enumerate(self.bars)}

    def bar(self, key):
        return self.bars[self.index[key]]

    def place(self, key, offset):
        return {"bar": self.bar(key).number, "offset": str(F(offset))}

    def source_place(self, key, offset):
        return {"bar": str(key), "offset": str(F(offset))}

    def passage_at(self, key, offset):
        """A finding inside a passage belongs to it; so passages are made first."""
        here = (self.index[key], F(offset))
        for i, p in enumerate(self.passages):
            if p["span"][0] <= here <= p["span"][1]:
                return i
        return None

    def record(self, category, status, key, offset, edition, source=None, end=None, source_offset=None):
        bar = self.bar(key)
        matched = bar.source is not None
        self.findings.append({
            "category": category, "status": status,
            "bar": bar.number, "offset": str(F(offset)),
            "end": self.place(*end) if end else None,
            "source_bar": str(bar.source) if matched else None,
            "source_offset": str(F(offset if source_offset is None else source_offset)) if matched else None,
            "edition_reading": edition, "source_reading": source,
            "passage": self.passage_at(key, offset)})

    def record_lost(self, category, source_bar, offset, reading, passage):
        """Something of a source bar that no bar of the edition answers to."""
        self.findings.append({
            "category": category, "status": "omitted", "bar": None, "offset": None, "end": None,
            "source_bar": str(source_bar), "source_offset": str(F(offset)),
            "edition_reading": None, "source_reading": reading, "passage": passage})

    # -- passages

    def passage(self, kind, first, last, source_from=None, source_to=None, octaves=None):
        span = ((self.index[first[0]], F(first[1])), (self.index[last[0]], F(last[1])))
        midis = [n.pitch.midi() for i in range(span[0][0], span[1][0] + 1)
                 for at, n in self.bars[i].onsets()
                 if n.pitch and not n.tied and span[0] <= (i, at) <= span[1]]
        outside = lambda shift: sum(not ALTO_LOW <= m + shift <= ALTO_HIGH for m in midis)
        self.passages.append({
            "kind": kind, "from": self.place(*first), "to": self.place(*last),
            "source_from": source_from and self.source_place(*source_from),
            "source_to": source_to and self.source_place(*source_to),
            "octaves": octaves, "notes": len(midis), "outside_range": outside(0),
            "outside_range_restored": outside(-12 * (octaves or 0)), "span": span})
        return len(self.passages) - 1

    def drop_octave(self, first, last):
        where = [(k, at, n) for k in range(first[0], last[0] + 1) for at, n in self.bar(k).onsets()
                 if n.pitch and (first[0], F(first[1])) <= (k, at) <= (last[0], F(last[1]))]
        for k, at, n in where:
            n.pitch.octave -= 1
        self.passage("octave-displacement", first, last, first, last, -1)
        for k, at, n in where:
            self.record("octave", "altered", k, at, str(n.pitch), str(self.source[k].note(at).pitch))

    def own_music(self, kind, keys, lost=()):
        """Bars of the editor's own: everything in them is added, all they replace is omitted.

        A note that both closes have at one place is the same, of another length, with the signs that both print.
        """
        last_at = max(at for at, n in self.bar(keys[-1]).onsets() if n.pitch)
        lost_at = lost and max(at for at, n in self.source[lost[-1]].onsets() if n.pitch)
        passage = self.passage(kind, (keys[0], 0), (keys[-1], last_at),
                               (lost[0], 0) if lost else None, (lost[-1], lost_at) if lost else None)
        other = dict(zip(reversed(keys), reversed(lost)))
        both = {}                                       # (bar, offset) of either side: the other's note
        for k, l in other.items():
            for (at, n), (there, m) in itertools.product(self.bar(k).onsets(), self.moved[l].onsets()):
                if n.pitch and m.pitch and not n.tied and (at, str(n.pitch)) == (there, str(m.pitch)):
                    both[k, at], both[l, at] = m, n
        for k in keys:
            for at, n in self.bar(k).onsets():
                if n.graces:
                    self.record("grace", "added", k, at, "grace " + " ".join(str(p) for p, _ in n.graces))
                if (k, at) in both:
                    self.record("rhythm", "altered", k, at, str(n.pitch), str(n.pitch))
                elif n.pitch and not n.tied:
                    self.record("note", "added", k, at, str(n.pitch))
                if "start" in n.slurs:
                    # the slurs of these tables stay within their bar
                    stop, m = next((a, m) for a, m in self.bar(k).onsets() if a > at and "stop" in m.slurs)
                    self.record("slur", "added", k, at, "slur %s–%s" % (n.pitch, m.pitch), end=(k, stop))
                for group, name, _ in n.marks:
                    if not prints(both.get((k, at)), name):
                        self.record(CATEGORY[group], "added", k, at, name)
                if n.fermata:
                    self.record("fermata", "added", k, at, "fermata")
        for k in lost:
            for at, n in self.source[k].onsets():
                if n.pitch and not n.tied and (k, at) not in both:
                    self.record_lost("note", k, at, str(n.pitch), passage)
                for group, name, _ in n.marks:
                    if not prints(both.get((k, at)), name):
                        self.record_lost(CATEGORY[group], k, at, name, passage)
                if n.fermata:
                    self.record_lost("fermata", k, at, "fermata", passage)

    # -- marks

    def direct(self, key, offset, contents, placement):
        self.bar(key).directions.append((F(offset), contents, placement))

    def stop(self, key, offset, content):
        """What ends comes before what begins at the same time."""
        self.bar(key).directions.insert(0, (F(offset), [content], "below"))

    def dynamics(self, key, offset, name):
        self.direct(key, offset, ["<dynamics><%s/></dynamics>" % name], "below")
        self.record("dynamics", "added", key, offset, name)

    def say(self, category, key, offset, text, placement="above"):
        self.direct(key, offset, [words(text, ' font-style="italic"')], placement)
        self.record(category, "added", key, offset, text)

    def rehearsal(self, key, offset, letter):
        self.direct(key, offset, ["<rehearsal>%s</rehearsal>" % letter], "above")
        self.record("rehearsal", "added", key, offset, letter)

    def cresc(self, key, offset, stop_key, stop):
        self.direct(key, offset, [words("cresc.", ' font-style="italic"'), '<dashes type="start" number="1"/>'], "below")
        self.stop(stop_key, stop, '<dashes type="stop" number="1"/>')
        self.record("dynamics", "added", key, offset, "cresc. - - -", end=(stop_key, stop))

    def hairpin(self, key, offset, stop_key, stop, kind):
        self.direct(key, offset, ['<wedge type="%s"/>' % kind], "below")
        self.stop(stop_key, stop, '<wedge type="stop"/>')
        self.record("hairpin", "added", key, offset, kind, end=(stop_key, stop))

    def slur(self, key, offset, stop):
        a, b = self.bar(key).note(offset), self.bar(key).note(stop)
        a.slurs.append("start")
        b.slurs.insert(0, "stop")
        self.record("slur", "added", key, offset, "slur %s–%s" % (a.pitch, b.pitch), end=(key, stop))

    def mark(self, category, key, offset, group, name, text=None):
        self.bar(key).note(offset).marks.append((group, name, text))
        self.record(category, "added", key, offset, "%s %s" % (name, text) if text else name)

    def fermata(self, key, offset):
        self.bar(key).note(offset).fermata = True
        self.record("fermata", "added", key, offset, "fermata")

    def grace(self, key, offset, pitches):
        self.bar(key).note(offset).graces = [(Pitch.of(p), "16th") for p in pitches.split()]
        self.record("grace", "added", key, offset, "grace " + pitches)

    def cautionary(self, key, offset):
        n = self.bar(key).note(offset)
        n.cautionary = True
        self.record("accidental", "added", key, offset, "(%s) %s" % (NAMES[n.pitch.alter], n.pitch))

    # -- the source's own marks, changed or left out

    def reword(self, category, key, contents, reading, source):
        bar = self.bar(key)
        i = next(i for i, d in enumerate(bar.directions) if d[1] == [words(source)])
        offset, _, placement = bar.directions[i]
        bar.directions[i] = (offset, contents, placement)
        self.record(category, "altered", key, offset, reading, source)

    def leave_out(self, key, offset, mark):
        self.bar(key).note(offset).marks.remove(mark)
        self.record(CATEGORY[mark[0]], "omitted", key, offset, None, mark[1])

    def move_slur_end(self, key, start, old, new):
        a, b, c = (self.bar(key).note(x) for x in (start, old, new))
        s = [self.source[key].note(x).pitch for x in (start, old)]
        b.slurs.remove("stop")
        c.slurs.insert(0, "stop")
        self.record("slur", "altered", key, start, "slur %s–%s" % (a.pitch, c.pitch),
                    "slur %s–%s" % (s[0], s[1]), end=(key, new))

    # -- the source's own notes, changed

    def wrong_note(self, key, offset, pitch):
        self.bar(key).note(offset).pitch = Pitch.of(pitch)
        self.record("pitch", "altered", key, offset, pitch, str(self.source[key].note(offset).pitch))

    def dot_pair(self, key, offset):
        """Two even eighths become long and short: one has another length, the next another place too."""
        first, second = self.bar(key).note(offset), self.bar(key).note(F(offset) + F(1, 2))
        first.dots, second.value = 1, "s"
        self.record("rhythm", "altered", key, offset, "%s dotted eighth" % first.pitch, "eighth")
        self.record("rhythm", "altered", key, F(offset) + F(3, 4), "%s 16th" % second.pitch, "eighth",
                    source_offset=F(offset) + F(1, 2))

    def tie(self, key, offset, second):
        a, b = self.bar(key).note(offset), self.bar(key).note(second)
        a.tie = b.tied = True
        self.record("tie", "added", key, offset, "%s held" % a.pitch, "%s struck twice" % self.source[key].note(offset).pitch)

    def write_out_appoggiatura(self, key, offset):
        bar = self.bar(key)
        n = bar.note(offset)
        small = Note(n.graces[0][0], "e")
        n.graces, n.value = [], "e"
        bar.notes.insert(bar.notes.index(n), small)
        s = self.source[key].note(offset)
        self.passage("written-out-ornament", (key, offset), (key, F(offset) + F(1, 2)), (key, offset), (key, offset))
        self.record("written-out", "altered", key, offset, "%s %s eighths" % (small.pitch, n.pitch),
                    "appoggiatura %s before %s quarter" % (s.graces[0][0], s.pitch))


STACCATO, TRILL = ("articulations", "staccato", None), ("ornaments", "trill-mark", None)


def make_edition(oboe):
    e = Editor(oboe)
    # The passages first, in order: later records ask which of them they lie in.
    e.drop_octave((19, "1/2"), (20, "7/2"))
    e.write_out_appoggiatura(22, 2)
    e.own_music("inserted-passage", ["c1", "c2"])
    e.own_music("invented-ending", ["e1", "e2", "e3"], (35, 36))

    # Notes.
    e.wrong_note(15, "1/2", "F6")
    e.wrong_note(28, "9/4", "B5")
    e.wrong_note(32, "1/2", "C6")
    e.dot_pair(18, 3)
    e.tie(23, "3/2", 2)
    e.cautionary(6, "5/2")              # after the sharp of the bar before
    e.grace(17, 0, "F5 G5 A5")

    # The source's own marks.
    e.reword("tempo", 0, [words("Andante con moto", ' font-weight="bold"'),
                          "<metronome><beat-unit>quarter</beat-unit><per-minute>72</per-minute></metronome>"],
             "Andante con moto", "Andante")
    e.record("tempo", "added", 0, 0, "quarter = 72")     # it stands in the same direction
    e.reword("dynamics", 12, ["<dynamics><pp/></dynamics>"], "pp", "piano")
    e.leave_out(12, "7/2", STACCATO)
    e.leave_out(29, 3, TRILL)
    e.move_slur_end(17, "3/2", 2, "5/2")

    # Words and letters.
    e.say("text", 0, 0, "Solo")
    for k, at, letter in ((17, 0, "A"), (26, 0, "B")):
        e.rehearsal(k, at, letter)
    for k, at, text in ((0, 0, "dolce"), (23, "3/2", "espressivo"), (26, 0, "cantabile")):
        e.say("expression", k, at, text)
    for k, at, text in ((29, 2, "poco rit."), (30, 0, "a tempo"), ("e2", 0, "rall.")):
        e.say("tempo", k, at, text)
    e.say("text", "c1", 0, "Cadenza")

    # Dynamics and hairpins.
    for k, at, name in ((0, 0, "p"), (5, 0, "mf"), (9, 0, "f"), (11, 0, "f"), (15, 0, "ff"), (17, 0, "mf"),
                        (19, "1/2", "p"), (21, 0, "mf"), (22, 0, "sf"), (23, "3/2", "p"), (25, 2, "f"),
                        ("c1", 0, "f"), ("c2", 2, "p"), (26, 0, "p"), (29, 1, "sf"), (30, 0, "f"),
                        (33, 0, "ff"), ("e1", 0, "ff"), ("e3", 1, "sfz")):
        e.dynamics(k, at, name)
    e.cresc(31, 0, 32, 2)
    up, down = "crescendo", "diminuendo"
    for k, at, k2, to, kind in ((1, 0, 1, 2, up), (3, 2, 4, 1, down), (6, 0, 6, 2, up), (8, 0, 8, 2, down),
                                (10, 0, 10, 2, up), (14, 0, 15, 0, up), (17, 3, 18, 1, up), (20, 2, 20, "7/2", down),
                                (24, 0, 24, 3, down), ("c2", 0, "c2", "7/4", down), (28, 0, 29, 0, up),
                                (34, 0, 34, "7/2", up), ("e1", 2, "e1", "15/4", up)):
        e.hairpin(k, at, k2, to, kind)

    # Slurs.
    for k, at, to in ((1, "3/2", 2), (2, "5/2", 3), (3, 0, "3/4"), (5, "3/2", 2), (6, "1/2", "7/4"),
                      (7, "1/2", "7/4"), (8, "1/2", "7/4"), (10, 0, "3/2"), (13, 0, "3/4"), (13, 1, "7/4"),
                      (13, 2, "11/4"), (19, 2, 3), (21, 0, "2/3"), (21, 1, "5/3"), (28, 0, "3/4"),
                      (28, 1, "7/4"), (31, 0, "3/4"), (34, 0, "1/2")):
        e.slur(k, at, to)

    # Signs on notes.
    for k, at, name in ((3, 1, "staccato"), (3, "3/2", "staccato"), (4, 1, "tenuto"), (9, 0, "accent"),
                        (9, 1, "accent"), (14, 3, "staccatissimo"), (20, "1/2", "tenuto"), (24, 3, "tenuto"),
                        (30, 1, "accent"), (32, 2, "staccato"), (32, "5/2", "staccato"),
                        ("c1", "11/4", "accent"), ("e2", 0, "accent"), ("e2", 1, "accent")):
        e.mark("articulation", k, at, "articulations", name)
    for k, at in ((4, 1), (8, 2), (16, 0), (27, "7/2")):
        e.mark("breath", k, at, "articulations", "breath-mark")
    for k, at, name in ((0, 0, "up-bow"), (1, 0, "down-bow"), (5, 0, "down-bow"), (10, 0, "up-bow")):
        e.mark("bowing", k, at, "technical", name)
    for k, at, text in ((10, 2, "2"), (13, "7/4", "3"), (15, 0, "3"), (33, 0, "1")):
        e.mark("fingering", k, at, "technical", "fingering", text)
    for k, at, name in ((4, 1, "trill-mark"), (5, 0, "mordent"), (26, 0, "inverted-mordent"), (27, 0, "turn")):
        e.mark("ornament", k, at, "ornaments", name)
    e.fermata(25, 2)
    return e

# ------------------------------------------------------------ writing MusicXML


class Writer:
    def __init__(self, divisions, fifths, edition):
        self.divisions, self.fifths, self.edition = divisions, fifths, edition
        flats = "BEADGCF"[:-fifths]
        self.key = {s: -1 if s in flats else 0 for s in STEPS}
        self.lines, self.count = [], 0

    def out(self, depth, text):
        self.lines.append("  " * depth + text)

    def ticks(self, d):
        t = d * self.divisions
        assert t.denominator == 1
        return int(t)

    def beams(self, bar):
        """Beams by the beat; the edition joins plain eighths over half a bar."""
        onsets, groups, result = bar.onsets(), [], {}
        def window(at):
            if self.edition:
                half = [n for a, n in onsets if a // 2 == at // 2]
                if all(n.value not in "s" and not n.triplet and not n.dots for n in half):
                    return ("half", at // 2)
            return ("beat", at // 1)
        last = None
        for at, n in onsets:
            if n.pitch and n.value in "es":
                if last == window(at):
                    groups[-1].append(n)
                else:
                    groups.append([n])
                last = window(at)
            else:
                last = None
        for group in groups:
            level = lambda n: {"e": 1, "s": 2}[n.value]
            for n in group:
                result[id(n)] = ([], group)
            if len(group) == 1:
                continue
            for lv in (1, 2):
                for i, n in enumerate(group):
                    if level(n) < lv:
                        continue
                    before = i > 0 and level(group[i - 1]) >= lv
                    after = i + 1 < len(group) and level(group[i + 1]) >= lv
                    kind = {(True, True): "continue", (True, False): "end", (False, True): "begin",
                            (False, False): "backward hook" if i else "forward hook"}[before, after]
                    result[id(n)][0].append((lv, kind))
        return result

    def accidental(self, pitch, state, tied=False, cautionary=False):
        """Shown when the pitch differs from what key and bar already say."""
        place = (pitch.step, pitch.octave)
        if tied:
            return                        # the tie carries it over the bar line
        if state.get(place, self.key[pitch.step]) != pitch.alter:
            state[place] = pitch.alter
            self.out(4, "<accidental>%s</accidental>" % NAMES[pitch.alter])
        elif cautionary:
            self.out(4, '<accidental cautionary="yes" parentheses="yes">%s</accidental>' % NAMES[pitch.alter])

    def pitch(self, p):
        self.out(4, "<pitch>")
        self.out(5, "<step>%s</step>" % p.step)
        if p.alter:
            self.out(5, "<alter>%d</alter>" % p.alter)
        self.out(5, "<octave>%d</octave>" % p.octave)
        self.out(4, "</pitch>")

    def open_note(self, at=None):
        self.count += 1
        extra = ""
        if self.edition:
            extra = ' id="n%d"' % self.count
            if at is not None:
                extra += ' default-x="%d"' % (24 + int(at * 56))
        self.out(3, "<note%s>" % extra)

    def direction(self, contents, placement):
        self.out(3, '<direction placement="%s">' % placement)
        for c in contents:
            if self.edition:
                y = ' default-y="%d"' % (28 if placement == "above" else -72)
                c = re.sub(r"^<(words|dynamics|wedge|metronome)", r"<\1" + y, c)
            self.out(4, "<direction-type>")
            self.out(5, c)
            self.out(4, "</direction-type>")
        self.out(3, "</direction>")

    def figured_bass(self, n):
        stages = n.figures.split(">")
        for stage in stages:
            self.out(3, "<figured-bass>")
            for figure in stage.split("/"):
                self.out(4, "<figure>")
                m = re.fullmatch(r"([#b]?)(\d?)([#b]?)", figure)
                if m[1]:
                    self.out(5, "<prefix>%s</prefix>" % NAMES[ALTERS[m[1]]])
                if m[2]:
                    self.out(5, "<figure-number>%s</figure-number>" % m[2])
                if m[3]:
                    self.out(5, "<suffix>%s</suffix>" % NAMES[ALTERS[m[3]]])
                self.out(4, "</figure>")
            if len(stages) > 1:
                self.out(4, "<duration>%d</duration>" % self.ticks(n.duration() / len(stages)))
            self.out(3, "</figured-bass>")

    def graces(self, n, state):
        many = len(n.graces)
        for i, (p, kind) in enumerate(n.graces):
            self.open_note()
            self.out(4, "<grace/>")
            self.pitch(p)
            self.out(4, "<voice>1</voice>")
            self.out(4, "<type>%s</type>" % kind)
            self.accidental(p, state)
            self.out(4, "<stem>up</stem>")
            if many > 1:
                for level in (1, 2):
                    part = "begin" if i == 0 else "end" if i == many - 1 else "continue"
                    self.out(4, '<beam number="%d">%s</beam>' % (level, part))
            self.out(3, "</note>")

    def note(self, at, n, state, beams, middle, triplet_place):
        self.graces(n, state)
        if n.figures:
            self.figured_bass(n)
        self.open_note(at)
        if n.pitch:
            self.pitch(n.pitch)
        else:
            self.out(4, "<rest/>")
        self.out(4, "<duration>%d</duration>" % self.ticks(n.duration()))
        for flag, kind in ((n.tied, "stop"), (n.tie, "start")):
            if flag:
                self.out(4, '<tie type="%s"/>' % kind)
        self.out(4, "<voice>1</voice>")
        self.out(4, "<type>%s</type>" % TYPES[n.value])
        if n.dots:
            self.out(4, "<dot/>")
        if n.pitch:
            self.accidental(n.pitch, state, n.tied, n.cautionary)
        if n.triplet:
            self.out(4, "<time-modification>")
            self.out(5, "<actual-notes>3</actual-notes>")
            self.out(5, "<normal-notes>2</normal-notes>")
            self.out(4, "</time-modification>")
        if n.pitch:
            beam, group = beams.get(id(n), ([], [n]))
            high = sum(m.pitch.place() - middle for m in group) >= 0
            if n.value != "w":
                self.out(4, "<stem>%s</stem>" % ("down" if high else "up"))
            for level, kind in beam:
                self.out(4, '<beam number="%d">%s</beam>' % (level, kind))
        self.notations(n, triplet_place)
        self.out(3, "</note>")

    def notations(self, n, triplet_place):
        body = []
        body += ['<tied type="stop"/>'] * n.tied + ['<tied type="start"/>'] * n.tie
        body += ['<slur number="1" type="%s"/>' % s for s in n.slurs]
        if triplet_place in (0, 2):
            body.append('<tuplet number="1" type="%s"/>' % ("start" if triplet_place == 0 else "stop"))
        for group in ("ornaments", "technical", "articulations"):
            inner = ["<%s/>" % name if text is None else "<%s>%s</%s>" % (name, text, name)
                     for g, name, text in n.marks if g == group]
            if inner:
                body += ["<%s>" % group] + ["  " + x for x in inner] + ["</%s>" % group]
        if n.fermata:
            body.append("<fermata/>")
        if body:
            self.out(4, "<notations>")
            for line in body:
                self.out(5, line)
            self.out(4, "</notations>")

    def part(self, ident, bars, clef, middle):
        self.out(1, '<part id="%s">' % ident)
        for i, bar in enumerate(bars):
            extra = ' implicit="yes"' if i == 0 else ""
            if self.edition:
                extra += ' id="m%d" width="%d"' % (i, 110 if i == 0 else 252)
            self.out(2, '<measure number="%s"%s>' % (bar.number, extra))
            if self.edition and i and i % 4 == 1 and i > 1:
                self.out(3, '<print new-system="yes"/>')
            if i == 0:
                self.out(3, "<attributes>")
                self.out(4, "<divisions>%d</divisions>" % self.divisions)
                self.out(4, "<key>")
                self.out(5, "<fifths>%d</fifths>" % self.fifths)
                self.out(5, "<mode>minor</mode>")
                self.out(4, "</key>")
                self.out(4, "<time>")
                self.out(5, "<beats>4</beats>")
                self.out(5, "<beat-type>4</beat-type>")
                self.out(4, "</time>")
                self.out(4, "<clef>")
                self.out(5, "<sign>%s</sign>" % clef[0])
                self.out(5, "<line>%s</line>" % clef[1])
                self.out(4, "</clef>")
                self.out(3, "</attributes>")
            if bar.source in (1, FIRST_HALF_END + 1):
                self.barline("left", "heavy-light", "forward")
            self.bar(bar, middle)
            if bar.source == FIRST_HALF_END or i == len(bars) - 1:
                self.barline("right", "light-heavy", "backward")
            self.out(2, "</measure>")
        self.out(1, "</part>")

    def barline(self, location, style, direction):
        self.out(3, '<barline location="%s">' % location)
        self.out(4, "<bar-style>%s</bar-style>" % style)
        self.out(4, '<repeat direction="%s"/>' % direction)
        self.out(3, "</barline>")

    def bar(self, bar, middle):
        state, beams, triplet = {}, self.beams(bar), 0
        for at, n in bar.onsets():
            for offset, contents, placement in bar.directions:
                if offset == at:
                    self.direction(contents, placement)
            self.note(at, n, state, beams, middle, triplet % 3 if n.triplet else None)
            triplet += n.triplet
        assert {d[0] for d in bar.directions} <= {at for at, _ in bar.onsets()}

    def save(self, name):
        with open(os.path.join(HERE, name), "w", encoding="utf-8", newline="\n") as f:
            f.write("\n".join(self.lines) + "\n")


HEAD = ('<?xml version="1.0" encoding="UTF-8"?>',
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
        ' "http://www.musicxml.org/dtds/partwise.dtd">',
        '<score-partwise version="4.0">')
TREBLE, BASS = Pitch.of("B4").place(), Pitch.of("D3").place()      # middle lines


def write_source(oboe, basso):
    w = Writer(12, -1, False)
    w.lines += HEAD
    w.lines += """\
  <work>
    <work-title>Sonata III for Oboe and Basso</work-title>
  </work>
  <movement-title>Andante</movement-title>
  <identification>
    <creator type="composer">Tobias Wendelin Harrasch</creator>
  </identification>
  <part-list>
    <score-part id="P1">
      <part-name>Oboe</part-name>
    </score-part>
    <score-part id="P2">
      <part-name>Basso</part-name>
    </score-part>
  </part-list>""".splitlines()
    w.part("P1", oboe, "G2", TREBLE)
    w.part("P2", basso, "F4", BASS)
    w.lines.append("</score-partwise>")
    w.save("source.musicxml")


def write_edition(e):
    w = Writer(24, -2, True)
    w.lines += HEAD
    w.lines += """\
  <work>
    <work-title>Celebrated Andante from the Third Sonata</work-title>
  </work>
  <identification>
    <creator type="composer">T. W. Harrasch</creator>
    <creator type="arranger">Edmund Larkhill-Voss</creator>
    <creator type="editor">Edmund Larkhill-Voss</creator>
    <rights>Revised and fingered edition</rights>
  </identification>
  <defaults>
    <scaling>
      <millimeters>7</millimeters>
      <tenths>40</tenths>
    </scaling>
  </defaults>
  <credit page="1">
    <credit-type>title</credit-type>
    <credit-words default-x="600" default-y="1580" justify="center" font-size="20">CELEBRATED ANDANTE</credit-words>
  </credit>
  <credit page="1">
    <credit-type>arranger</credit-type>
    <credit-words default-x="1120" default-y="1500" justify="right" font-size="11">revised for Treble Recorder by E. Larkhill-Voss</credit-words>
  </credit>
  <part-list>
    <score-part id="P1">
      <part-name>Treble Recorder</part-name>
    </score-part>
  </part-list>""".splitlines()
    w.part("P1", e.bars, "G2", TREBLE)
    w.lines.append("</score-partwise>")
    w.save("edition.musicxml")


def write_truth(e):
    number = {b.number: i for i, b in enumerate(e.bars)}
    order = lambda f: (number[f["bar"]] if f["bar"] else len(number),
                       F(f["offset"]) if f["bar"] else int(f["source_bar"]) * 8 + F(f["source_offset"]),
                       f["category"])
    findings = sorted(e.findings, key=order)
    totals = {}
    for f in findings:
        by = totals.setdefault(f["category"], {})
        by[f["status"]] = by.get(f["status"], 0) + 1
    truth = {"transposition": {"semitones": 5, "steps": 3, "name": "up a perfect fourth"},
             "findings": findings,
             "passages": [{k: v for k, v in p.items() if k != "span"} for p in e.passages],
             "totals": {k: totals[k] for k in sorted(totals)}}
    with open(os.path.join(HERE, "truth.json"), "w", encoding="utf-8", newline="\n") as f:
        f.write(json.dumps(truth, ensure_ascii=False, indent=1) + "\n")


if __name__ == "__main__":
    oboe, basso = make_source()
    write_source(oboe, basso)
    edition = make_edition(oboe)
    write_edition(edition)
    write_truth(edition)
