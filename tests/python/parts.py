"""Reading a part: where its notes are, and which marks it has."""

from fractions import Fraction

from files import elements, text_of
from moving import number

# Marks of these kinds that lie within a quarter note of each other could
# rightly be read as one mark that was altered; the others only on one onset.
CLOSE = {
    "dynamics", "hairpin", "tempo", "expression", "technique", "octave-line", "pedal", "rehearsal", "text",
}
WORDY = ("dynamics", "tempo", "expression", "technique", "text")
NUMBERS = range(1, 7)  # MusicXML up to 3.1 knows no more


class Chord:
    """A head note with the chord notes that follow it."""

    def __init__(self, head, bar, onset, duration):
        self.head, self.members, self.bar = head, [head], bar
        self.onset, self.duration = onset, duration
        self.time = bar.start + onset
        self.voice = text_of(head, "voice", "1")
        self.staff = text_of(head, "staff")
        self.grace = head.find("grace") is not None
        self.cue = head.find("cue") is not None
        self.rest = head.find("rest") is not None
        self.slurred = False

    def has(self, path):
        return any(note.find(path) is not None for note in self.members)

    def tie(self, kind):
        return any(
            tie.get("type") == kind
            for note in self.members
            for tie in note.findall("tie") + note.findall("notations/tied"))

    @property
    def playable(self):
        size = self.head.find("type")
        return not (
            self.grace or self.cue or self.rest or self.head.get("print-object") == "no"
            or (size is not None and size.get("size") in ("cue", "grace-cue")))


class Bar:
    def __init__(self, el, index, start):
        self.el, self.index, self.start = el, index, start
        self.number, self.length = el.get("number", ""), Fraction(0)


class Part:
    """What of a part an editor must know: where the notes are, and which marks there are."""

    def __init__(self, el):
        self.el, self.id = el, el.get("id")
        self.bars, self.chords, self.directions = [], [], []
        self.staves, self.keys = 1, []
        self.beat = Fraction(1)   # the longest, but a quarter at least
        self.points = {}          # category -> times of marks
        self.spans = {}           # category -> [(from, to)]
        self.numbers = {}         # kind of span -> [(bar index, number, type)] in file order
        self.lyrics = el.find(".//lyric") is not None
        self.read()
        self.voices, self.in_bar = {}, [[] for _ in self.bars]
        for chord in self.chords:
            self.in_bar[chord.bar.index].append(chord)
            if not chord.grace:
                self.voices.setdefault(chord.voice, []).append(chord)

    def mark(self, category, time, end=None):
        self.points.setdefault(category, []).append(time)
        if end is not None:
            self.points[category].append(end)
            self.spans.setdefault(category, []).append((time, end))

    def free(self, category, time, end=None):
        """May a mark of this category be put here, in plain sight of the others?"""
        margin = self.beat if category in CLOSE else Fraction(0)
        first, last = time - margin, (time if end is None else end) + margin
        for point in self.points.get(category, ()):
            if first <= point <= last:
                return False
        return not any(a <= last and first <= b for a, b in self.spans.get(category, ()))

    def read(self):
        divisions, start, key, beat = Fraction(1), Fraction(0), 0, Fraction(1)
        opened = {}
        for index, el in enumerate(self.el.findall("measure")):
            bar = Bar(el, index, start)
            self.bars.append(bar)
            cursor, previous = Fraction(0), Fraction(0)
            for item in elements(el):
                if item.tag == "attributes":
                    divisions = number(text_of(item, "divisions")) or divisions
                    self.staves = max(self.staves, int(text_of(item, "staves", "1")))
                    for unit in item.findall("time/beat-type"):
                        self.beat = max(self.beat, 4 / number(unit.text))
                        beat = 4 / number(unit.text)
                    for signature in item.findall("key"):
                        key = int(text_of(signature, "fifths", "0"))
                elif item.tag == "backup":
                    cursor -= number(text_of(item, "duration")) / divisions
                elif item.tag == "forward":
                    cursor += number(text_of(item, "duration")) / divisions
                elif item.tag == "note":
                    grace = item.find("grace") is not None
                    length = Fraction(0) if grace else number(text_of(item, "duration")) / divisions
                    if item.find("chord") is not None and self.chords and self.chords[-1].bar is bar:
                        self.chords[-1].members.append(item)
                        self.read_note(item, bar, previous, opened)
                        continue
                    previous = cursor
                    self.chords.append(Chord(item, bar, cursor, length))
                    self.read_note(item, bar, cursor, opened)
                    cursor += length
                elif item.tag in ("direction", "harmony", "figured-bass"):
                    shift = number(text_of(item, "offset")) / divisions
                    self.read_direction(item, bar, cursor, shift, opened)
                elif item.tag == "barline" and item.find("fermata") is not None:
                    # It could stand for a fermata on any late note of the bar.
                    self.spans.setdefault("fermata", []).append((start, start + 16))
                bar.length = max(bar.length, cursor)
            self.keys.append(key)
            bar.beat = beat
            start += bar.length
        for chord in self.chords:
            chord.slurred = chord.has("notations/slur")

    def number_used(self, kind, el, bar, time, opened):
        key = (kind, el.get("number", "1"))
        self.numbers.setdefault(kind, []).append((bar.index, el.get("number", "1"), el.get("type")))
        if el.get("type") == "stop":
            if key in opened:
                self.spans.setdefault(kind, []).append(tuple(sorted((opened.pop(key), time))))
        elif el.get("type") != "continue":
            opened[key] = time

    def read_note(self, note, bar, onset, opened):
        time = bar.start + onset
        if note.find("grace") is not None:
            self.mark("grace", time)
        accidental = note.find("accidental")
        if accidental is not None and {"cautionary", "editorial", "parentheses", "bracket"} & set(accidental.keys()):
            self.mark("accidental", time)
        for notations in note.findall("notations"):
            for item in elements(notations):
                if item.tag == "articulations":
                    for child in elements(item):
                        breath = child.tag in ("breath-mark", "caesura")
                        self.mark("breath" if breath else "articulation", time)
                elif item.tag == "ornaments":
                    self.mark("ornament", time)
                    for wave in item.findall("wavy-line"):
                        self.number_used("wavy-line", wave, bar, time, opened)
                elif item.tag in ("arpeggiate", "non-arpeggiate", "glissando", "slide"):
                    self.mark("ornament", time)
                elif item.tag == "technical":
                    for child in elements(item):
                        self.mark(technical(child.tag), time)
                elif item.tag in ("fermata", "dynamics"):
                    self.mark(item.tag, time)
                elif item.tag == "slur":
                    self.number_used("slur", item, bar, time, opened)
                elif item.tag == "other-notation":
                    self.mark("text", time)

    def read_direction(self, item, bar, cursor, shift, opened):
        if item.tag == "direction" and shift == 0:
            self.directions.append((item, bar, cursor))
        for time in {bar.start + cursor, bar.start + cursor + shift}:
            if item.tag != "direction":
                self.mark("harmony", time)
            for child in item.findall("direction-type/*"):
                if child.tag == "wedge":
                    self.mark("hairpin", time)
                    self.number_used("hairpin", child, bar, time, opened)
                elif child.tag == "octave-shift":
                    self.mark("octave-line", time)
                    self.number_used("octave-line", child, bar, time, opened)
                elif child.tag in ("pedal", "damp", "damp-all"):
                    self.mark("pedal", time)
                    self.number_used("pedal", child, bar, time, opened)
                elif child.tag == "dynamics":
                    self.mark("dynamics", time)
                elif child.tag == "metronome":
                    self.mark("tempo", time)
                else:
                    # What words mean is not this tool's to say: they may be any of these.
                    for category in WORDY + ("rehearsal", "structure"):
                        self.mark(category, time)

    def free_number(self, kind, first, last):
        """A number that no span of this kind uses anywhere near bars first..last."""
        used = set()
        by_number = {}
        for bar, name, what in self.numbers.get(kind, ()):
            by_number.setdefault(name, []).append((bar, what))
        for name, events in by_number.items():
            reach = []
            if events[0][1] == "stop":
                reach.append((0, events[0][0]))
            for here, following in zip(events, events[1:] + [(len(self.bars), "start")]):
                # Only between a stop and the next start is the number surely free.
                surely = here[1] == "stop" and following[1] not in ("stop", "continue")
                reach.append((here[0], here[0] if surely else following[0]))
            if any(a <= last + 1 and first - 1 <= b for a, b in reach):
                used.add(name)
        for name in NUMBERS:
            if str(name) not in used:
                return str(name)
        return None


def technical(tag):
    if tag in ("up-bow", "down-bow"):
        return "bowing"
    if tag in ("fingering", "string", "fret", "pluck", "thumb-position", "hole"):
        return "fingering"
    return "technique"
